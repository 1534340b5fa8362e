"""A veil is doubted whole: what hangs together is judged together, and colour speaks too."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from walls import flat_wall

from jarvision.records import RawWall, TissueClass
from jarvision.settings.tissue import VeilSettings
from jarvision.vision.tissue import veil
from jarvision.vision.tissue.doubt import Chances
from jarvision.vision.tissue.together import blue_over_light, doubted_together

SHAPE = 160, 120
SETTINGS = VeilSettings()
ALL = np.ones(SHAPE, np.bool_)
NONE = np.zeros(SHAPE, np.bool_)
BROWN = np.array([0.42, 0.26, 0.13], np.float32)
WHITE = np.array([0.80, 0.76, 0.68], np.float32)
FOG = np.array([0.62, 0.63, 0.63], np.float32)


def clouds(size_mm: float = 1.0) -> np.ndarray:
    """Noise of about so many millimetres, mean 0 and spread 1, ``(rows, cols, 1)``."""
    noise = np.random.default_rng(5).normal(size=SHAPE)
    smooth = cv2.GaussianBlur(noise, (0, 0), size_mm / 0.25 / 2.0)
    return np.asarray(smooth / smooth.std(), np.float32)[..., None]


def wall_of(linear: np.ndarray) -> RawWall:
    return flat_wall(np.full(SHAPE, TissueClass.MYCELIUM, np.uint8), linear=linear)


def contents() -> np.ndarray:
    return np.asarray(BROWN * (1.0 + 0.35 * clouds()), np.float32)


def fogged(share: float = 0.6) -> RawWall:
    return wall_of((1.0 - share) * contents() + share * FOG)


def shaded_growth() -> RawWall:
    return wall_of(np.asarray(WHITE * (1.0 + 0.1 * clouds()), np.float32))


def holed() -> np.ndarray:
    hole = np.clip(0.3 + 0.3 * clouds(), 0.0, 1.0)
    return np.asarray((1.0 - hole) * WHITE + hole * BROWN, np.float32)


# --------------------------------------------------------------------------- colour
@pytest.mark.parametrize("share", [0.3, 0.6])
def test_behind_a_veil_what_is_darker_is_bluer(share: float) -> None:
    assert np.median(blue_over_light(fogged(share), ALL)) < SETTINGS.bluer_when_darker - 0.05


def test_through_holes_in_growth_contents_show_browner() -> None:
    assert np.median(blue_over_light(wall_of(holed()), ALL)) > 0.1


def test_shade_has_no_colour_and_what_is_smooth_says_nothing() -> None:
    assert np.abs(blue_over_light(shaded_growth(), ALL)).max() < 0.02
    grain = np.random.default_rng(2).normal(size=(*SHAPE, 3)) * [0.0, 0.0, 0.03]
    smooth = wall_of(np.asarray(FOG + grain, np.float32))
    assert np.abs(blue_over_light(smooth, ALL)).max() < 0.1


def test_what_does_not_count_is_not_looked_at() -> None:
    """Growth with holes in the upper half, counted or not, seen from below it."""
    growth = shaded_growth().linear.copy()
    growth[:80] = holed()[:80]
    below = ALL.copy()
    below[:80] = False
    place = np.s_[90:92, 20:100]
    alone, counted = (blue_over_light(wall_of(growth), part)[place].mean() for part in (below, ALL))
    assert alone + 0.1 < counted


# --------------------------------------------------------------------------- areas
def left(columns: int) -> np.ndarray:
    part = NONE.copy()
    part[:, :columns] = True
    return part


def together(
    doubted: np.ndarray, *, grown: np.ndarray = ALL, white: np.ndarray = ALL,
    hidden: np.ndarray = NONE, wall: RawWall | None = None,
) -> np.ndarray:  # fmt: skip
    seen = wall or shaded_growth()
    return doubted_together(seen, grown, white, hidden, doubted, settings=SETTINGS)


@pytest.mark.parametrize(("columns", "whole"), [(29, False), (30, True)])
def test_an_area_is_doubted_whole_from_a_quarter_on(columns: int, whole: bool) -> None:
    doubted = left(columns)  # of 120
    assert np.array_equal(together(doubted), ALL if whole else doubted)


def test_only_growth_counts_for_the_quarter() -> None:
    grown = left(80)
    assert np.array_equal(together(left(19), grown=grown), left(19))
    assert together(left(20), grown=grown).all()  # with the 40 columns that are not growth


@pytest.mark.parametrize(("columns", "whole"), [(29, False), (30, True)])
def test_what_was_read_as_hidden_is_as_good_as_doubt(columns: int, whole: bool) -> None:
    hidden = left(columns)
    found = together(NONE, grown=~hidden, hidden=hidden)
    assert np.array_equal(found, ALL if whole else NONE)
    half = left(columns // 2)
    found = together(hidden & ~half, grown=~half, hidden=half)
    assert found.all() == whole


@pytest.mark.parametrize(("apart", "whole"), [(6, True), (12, False)])
def test_areas_up_to_two_millimetres_apart_are_one(apart: int, whole: bool) -> None:
    grown = ALL.copy()
    grown[:, 60 : 60 + apart] = False
    found = together(left(60), grown=grown, white=grown)
    assert found[:, :60].all()
    assert not found[:, 60 : 60 + apart].any()
    assert found[:, 60 + apart :].all() == whole
    assert found[:, 60 + apart :].any() == whole


def test_colour_alone_doubts_fog_and_not_growth_with_a_mirrored_lamp() -> None:
    assert together(NONE, wall=fogged()).all()
    mixed = shaded_growth().linear.copy()
    mixed[:, :45] = fogged().linear[:, :45]  # more than a third of it
    assert not together(NONE, wall=wall_of(mixed)).any()


@pytest.mark.parametrize(("columns", "whole"), [(49, False), (70, True)])
def test_doubt_and_colour_together_doubt_an_area_from_a_half_on(columns: int, whole: bool) -> None:
    """A sixth of it is doubted, so that colour must speak for a third more."""
    doubted = ~left(100)
    mixed = shaded_growth().linear.copy()
    mixed[:, :columns] = fogged().linear[:, :columns]
    wall = wall_of(mixed)
    bluer = blue_over_light(wall, ALL) < SETTINGS.bluer_when_darker
    assert ((bluer | doubted).mean() >= 0.5) == whole
    found = together(doubted, wall=wall)
    assert np.array_equal(found, ALL if whole else doubted)


@pytest.mark.parametrize(("slope", "whole"), [(-0.14, False), (-0.16, True)])
def test_colour_speaks_from_its_slope_on(slope: float, whole: bool) -> None:
    """Stripes so lively that what is taken off for noise hardly counts."""
    light = 0.5 * np.sin(np.arange(SHAPE[1]) * 0.25 / 2.5 * 2.0 * np.pi)[None, :, None]
    colour = 1.0 + slope * np.array([-0.5, 0.0, 0.5])
    wall = wall_of(np.asarray(0.4 * (1.0 + light * colour) * np.ones((SHAPE[0], 1, 1)), np.float32))
    assert np.median(blue_over_light(wall, ALL)) == pytest.approx(slope, abs=0.008)
    assert together(NONE, wall=wall).all() == whole


def test_without_growth_nothing_is_doubted() -> None:
    assert not together(NONE, grown=NONE, hidden=ALL).any()
    assert not together(NONE).any()


# --------------------------------------------------------------------------- with the rest
def test_stain_and_hidden_places_are_doubted_with_the_veil_and_bare_and_mould_are_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    kinds = (TissueClass.MYCELIUM, TissueClass.STAIN, TissueClass.UNJUDGED,
             TissueClass.BARE, TissueClass.GREEN, TissueClass.WET)  # fmt: skip
    classes = np.repeat(np.array(kinds, np.uint8), 20)[None].repeat(SHAPE[0], axis=0)
    monkeypatch.setattr(veil, "find_doubt", lambda raw, grown, *_, **__: grown)
    said = Chances(*np.zeros((5, *SHAPE), np.float32))
    wall = flat_wall(classes, linear=shaded_growth().linear)
    found = veil.find_veil(wall, said, classes, ALL, settings=SETTINGS)
    assert not found.hidden.any()
    assert found.doubted[:, :60].all()
    assert not found.doubted[:, 60:].any()
    # hidden places alone do the same: half of what is grown or hidden
    monkeypatch.setattr(veil, "find_doubt", lambda raw, grown, *_, **__: np.zeros_like(grown))
    again = veil.find_veil(wall, said, classes, ALL, settings=SETTINGS)
    assert np.array_equal(again.doubted, found.doubted)
