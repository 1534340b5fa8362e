"""What is drawn over photos and walls: the places, the labels, the scale."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from fake_shelf import FILL_MM, TODAY, cover, fake_scene

from jarvision.records.photo_reasons import PHOTO_REASONS
from jarvision.vision.overlay import strokes
from jarvision.vision.overlay.callouts import Callout, spread_out, write_callouts
from jarvision.vision.overlay.draw import (
    CAPTION_HEIGHT_PX,
    REFUSAL_CAPTION_PX,
    REFUSAL_WIDTH_PX,
    STRIP_PX_PER_MM,
    STRIP_TOP_MM,
    Caption,
    draw_overlay,
    draw_refusal,
    draw_wall_strip,
)


def test_an_off_colour_patch_is_drawn_and_labelled_beside_the_jar() -> None:
    rgb, jar, wall, tissue, patches = fake_scene(0.9, seed=3, spot="green")
    caption = Caption("J1", TODAY, cover(90))
    inputs = {"jar": jar, "wall": wall, "tissue": tissue, "caption": caption}
    before = rgb.copy()
    with_patch = draw_overlay(rgb, patches=patches, **inputs)
    without = draw_overlay(rgb, patches=(), **inputs)
    assert (rgb == before).all()
    assert with_patch.shape[0] == 1000
    assert with_patch.dtype == rgb.dtype
    changed = (with_patch != without).any(axis=2)
    assert changed.sum() > 2000
    assert not changed[-CAPTION_HEIGHT_PX:].any()  # the caption tells coverage, not patches


def test_the_wall_strip_has_one_scale_in_mm_and_stands_on_the_floor() -> None:
    _, _, wall, tissue, patches = fake_scene(0.7)
    strip = draw_wall_strip(wall, tissue, patches)
    width_mm = 2 * math.pi / 3 * wall.radius_mm  # -60 to 60 degrees
    height_mm = FILL_MM + STRIP_TOP_MM
    assert strip.shape[1] / STRIP_PX_PER_MM == pytest.approx(width_mm, abs=0.5)
    assert strip.shape[0] / STRIP_PX_PER_MM == pytest.approx(height_mm, abs=0.5)


def test_labels_never_hide_one_another_and_count_those_left_out() -> None:
    places = np.array([[300.0, 400.0 + i] for i in range(9)], dtype=np.float32)
    labels = [
        Callout("bare", "1.0 cm²", place[None], strokes.OTHER, (2, float(i)))
        for i, place in enumerate(places)
    ]
    tops = spread_out([float(y) for y in places[:, 1]], 912)
    assert all(b - a >= strokes.TAG_HEIGHT for a, b in itertools.pairwise(tops))
    assert tops[0] >= 0 and tops[-1] + strokes.TAG_HEIGHT <= 912
    some, more = (np.zeros((912, 800, 3), dtype=np.uint8) for _ in range(2))
    write_callouts(some, labels[:6], sides=(200, 600))
    write_callouts(more, labels, sides=(200, 600))
    changed = np.argwhere((some != more).any(axis=2))
    assert len(changed) > 0
    assert changed[:, 0].min() > 860  # only the line that counts the others


def test_the_white_growth_is_named_in_the_picture_so_that_its_line_needs_no_legend() -> None:
    rgb, jar, wall, tissue, _ = fake_scene(0.9)
    told, untold = (
        draw_overlay(
            rgb, jar=jar, wall=wall, tissue=tissue, patches=(), caption=Caption("J1", TODAY, known)
        )
        for known in (cover(90), None)
    )
    changed = (told != untold).any(axis=2)[:-CAPTION_HEIGHT_PX]
    label = (told[:-CAPTION_HEIGHT_PX][changed] == strokes.COVERED_COLOUR).all(axis=1)
    assert label.sum() > 8 * strokes.TAG_HEIGHT / 2  # the tag's edge has the colour of the line


def test_mould_stays_visible_under_its_hatching() -> None:
    rgb, jar, wall, tissue, patches = fake_scene(0.9, spot="green")
    inputs = {"jar": jar, "wall": wall, "tissue": tissue, "caption": Caption("J1", TODAY, None)}
    drawn = draw_overlay(rgb, patches=patches, **inputs)
    plain = draw_overlay(rgb, patches=(), **inputs)
    at = np.argwhere((drawn == strokes.PATCH_COLOURS["green"]).all(axis=2))
    low, high = at.min(axis=0), at.max(axis=0)
    inside = np.s_[low[0] : high[0], low[1] : high[1]]
    same = (drawn[inside] == plain[inside]).all(axis=2).mean()
    assert 0.5 < same < 0.95


def test_a_refused_photo_is_drawn_whole_with_its_advice_below() -> None:
    rgb = fake_scene(0.5)[0]
    drawn = draw_refusal(rgb, title="Not used: blurred", text="Wipe the lens.")
    photo = round(REFUSAL_WIDTH_PX * rgb.shape[0] / rgb.shape[1])
    assert drawn.shape == (photo + REFUSAL_CAPTION_PX, REFUSAL_WIDTH_PX, 3)
    assert (drawn[photo:] != strokes.STRIP).any()


@pytest.mark.parametrize("word", PHOTO_REASONS)
def test_the_advice_for_every_reason_fits_under_its_photo(word: str) -> None:
    rgb = np.zeros((900, 1200, 3), dtype=np.uint8)
    reason = PHOTO_REASONS[word]
    drawn = draw_refusal(rgb, title=f"Not used: {reason.meaning}", text=reason.remedy)
    strip = drawn[-REFUSAL_CAPTION_PX:]
    written = np.argwhere((strip != strokes.STRIP).any(axis=2))
    assert written[:, 0].max() < REFUSAL_CAPTION_PX - 6
    assert written[:, 1].max() < REFUSAL_WIDTH_PX - 6


@pytest.mark.filterwarnings("ignore::UserWarning")
@pytest.mark.parametrize("deficiency", ["Protanomaly", "Deuteranomaly", "Tritanomaly"])
def test_lines_stay_apart_for_colour_blind_eyes(deficiency: str) -> None:
    # Machado, Oliveira and Fernandes 2009, full severity, from the colour-science package.
    colour = pytest.importorskip("colour")
    matrix = colour.blindness.matrix_cvd_Machado2009(deficiency, 1.0)
    names = ("bare", "green", "wet")
    lines = {
        "covered": strokes.COVERED_COLOUR,
        **{name: strokes.PATCH_COLOURS[name] for name in names},
    }
    seen = {}
    for name, rgb in lines.items():
        linear = colour.models.eotf_sRGB(np.array(rgb) / 255)
        shown = np.clip(colour.models.eotf_inverse_sRGB(matrix @ linear), 0, 1)
        seen[name] = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(shown))
    for first, second in itertools.combinations(lines, 2):
        apart = float(colour.delta_E(seen[first], seen[second], method="CIE 2000"))
        assert apart > 20, (first, second)
