"""Coverage and areas of one kind, from chances made by hand."""

import numpy as np
import pytest
from surface_maps import WITHIN, X, chances, disc, picture

from jarvision.base.colourspace import lab_to_linear
from jarvision.settings.surface import SurfaceSettings
from jarvision.vision.surface.cover import family_of, surface_coverage, surface_patches
from jarvision.vision.surface.network import CAP, DISCOLOURED, GROWTH, POOL

SETTINGS = SurfaceSettings()


def test_half_of_a_surface_grown_is_half_covered_and_doubt_widens():
    sure = surface_coverage(picture(), chances(ground={GROWTH: X < 0}), settings=SETTINGS)
    assert sure.low < 50.0 < sure.high and sure.percent == pytest.approx(50.0, abs=1.0)
    unsure = surface_coverage(picture(), chances(0.7, ground={GROWTH: X < 0}), settings=SETTINGS)
    assert unsure.high - unsure.low > 2.0 * (sure.high - sure.low)


def test_caps_hide_the_ground_and_count_as_neither():
    cap = disc(-10, 0, 30)
    said = chances(ground={GROWTH: X < 0, CAP: cap})
    cover = surface_coverage(picture(), said, settings=SETTINGS)
    ground = WITHIN & ~cap
    assert cover.percent == pytest.approx(100.0 * (X < 0)[ground].mean(), abs=1.0)
    assert cover.seen_percent == pytest.approx(100.0 * ground.sum() / WITHIN.sum(), abs=0.5)
    open_one = surface_coverage(picture(), chances(ground={GROWTH: X < 0}), settings=SETTINGS)
    assert cover.high - cover.low > open_one.high - open_one.low


def test_where_caps_hide_everything_nothing_is_told():
    cover = surface_coverage(picture(), chances(ground={CAP: WITHIN}), settings=SETTINGS)
    assert (cover.low, cover.high) == (0.0, 100.0)


def test_mould_is_an_area_with_a_colour_and_only_asks_for_a_look():
    mould = disc(8, -6, 12)
    shown = picture()
    shown.linear[mould] = lab_to_linear(np.array([45.0, -14.0, 9.0]))
    patches = surface_patches(shown, chances(ground={DISCOLOURED: mould}), settings=SETTINGS)
    green = next(patch for patch in patches if patch.kind == "green")
    assert green.area_cm2 == pytest.approx(np.pi * 0.36, rel=0.03)
    assert (green.x_mm, green.y_mm) == (pytest.approx(8, abs=0.2), pytest.approx(-6, abs=0.2))
    assert green.confidence == SETTINGS.patch_confidence_max


def test_unsure_off_colour_is_shade_and_no_patch():
    shade = chances(0.65, ground={DISCOLOURED: disc(8, -6, 12)})
    assert all(p.kind == "bare" for p in surface_patches(picture(), shade, settings=SETTINGS))


def test_pools_are_wet_areas():
    said = chances(ground={GROWTH: WITHIN}, water={POOL: disc(0, 10, 8)})
    wet = [p for p in surface_patches(picture(), said, settings=SETTINGS) if p.kind == "wet"]
    assert len(wet) == 1 and wet[0].area_cm2 == pytest.approx(np.pi * 0.16, rel=0.05)


@pytest.mark.parametrize(
    ("lab", "family"),
    [((45, -12, 10), "green"), ((30, 0, 2), "black"), ((65, 25, 15), "pink"),
     ((70, -1, 40), "yellow"), ((65, 8, 30), "stain")],
)  # fmt: skip
def test_families_go_by_hue(lab, family):
    colours = lab_to_linear(np.array([lab], dtype=float)).astype(np.float32)
    assert family_of(colours) == family
