"""Pins from the chances of caps on walls made by hand: what is a group, and what is left out."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from walls import CELL_MM, flat_wall, tissue_of

from jarvision.records import Patch, TissueClass
from jarvision.settings.tissue import PinSettings
from jarvision.vision.tissue.pins import find_pins

SHAPE = (320, 300)
FILL_ROW = 60
PLACES = ((100, 150), (130, 170), (120, 200))


def found(
    places: tuple[tuple[int, int], ...],
    *,
    axes_mm: tuple[float, float] = (2.0, 1.5),
    chance: float = 0.9,
) -> tuple[Patch, ...]:
    """Pins of a wall, filled below row 60, with ellipses of these half axes and this chance."""
    classes = np.full(SHAPE, TissueClass.MYCELIUM, dtype=np.uint8)
    classes[:FILL_ROW] = TissueClass.OUTSIDE
    caps = np.full(SHAPE, 0.02, dtype=np.float32)
    for col, row in places:
        spot = np.zeros(SHAPE, dtype=np.uint8)
        axes = tuple(round(mm / CELL_MM) for mm in axes_mm)
        cv2.ellipse(spot, (col, row), axes, 0, 0, 360, 1, -1)
        caps[spot > 0] = chance
    return find_pins(flat_wall(classes), tissue_of(classes, caps=caps), settings=PinSettings())


def test_a_group_of_caps_is_one_patch_with_their_area_and_place() -> None:
    (pins,) = found(PLACES)
    assert pins.kind == "pins"
    assert pins.area_cm2 == pytest.approx(3 * np.pi * 2.0 * 1.5 / 100.0, rel=0.1)
    middle = np.mean(PLACES, axis=0)
    assert pins.height_mm == pytest.approx((SHAPE[0] - 0.5 - middle[1]) * CELL_MM, abs=0.01)
    wall = flat_wall(np.full(SHAPE, TissueClass.MYCELIUM, dtype=np.uint8))
    assert pins.angle_deg == pytest.approx(np.interp(middle[0], range(SHAPE[1]), wall.angles_deg))
    angles, heights = np.array(pins.outline).T
    left, right = (wall.angles_deg[col] for col in (100 - 8, 130 + 8))
    assert (angles.min(), angles.max()) == pytest.approx((left, right))
    top, foot = (wall.heights_mm[row] for row in (150 - 6, 200 + 6))
    assert (heights.max(), heights.min()) == pytest.approx((top, foot))
    assert pins.confidence == pytest.approx(0.9, abs=0.01)


def test_fruit_bodies_above_the_fill_line_are_found() -> None:
    (pins,) = found(((100, 30), (120, 25)))
    assert pins.height_mm > (SHAPE[0] - FILL_ROW) * CELL_MM


def test_the_larger_of_two_groups_is_told() -> None:
    (pins,) = found((*PLACES, (280, 300), (270, 310)))
    assert pins.area_cm2 == pytest.approx(3 * np.pi * 2.0 * 1.5 / 100.0, rel=0.1)


@pytest.mark.parametrize(
    "changes",
    [
        {"places": ()},
        {"places": PLACES[:1], "axes_mm": (1.5, 1.25)},
        {"places": ((30, 40), (270, 280)), "axes_mm": (1.5, 1.25)},
        {"axes_mm": (0.5, 0.5)},
        {"chance": 0.45},
        {"places": ((4, 30), (294, 30))},
    ],
    ids=["none", "alone", "far apart", "specks", "hardly likely", "print beside empty glass"],
)
def test_what_is_no_group_of_caps_is_left_out(changes: dict) -> None:
    assert found(**{"places": PLACES, **changes}) == ()


def drawn(*boxes: tuple[int, int, int, int, float], filled: bool = True) -> tuple[Patch, ...]:
    """Pins of a wall with boxes: first column and row, width and height in cells, chance."""
    classes = np.full(SHAPE, TissueClass.MYCELIUM if filled else TissueClass.OUTSIDE, np.uint8)
    caps = np.full(SHAPE, 0.02, dtype=np.float32)
    for col, row, wide, high, chance in boxes:
        caps[row : row + high, col : col + wide] = chance
    return find_pins(flat_wall(classes), tissue_of(classes, caps=caps), settings=PinSettings())


def row_of(count: int, wide: int, high: int, *, apart: int = 12) -> list[tuple]:
    return [(20 + apart * n, 100, wide, high, 0.9) for n in range(count)]


def test_a_spot_counts_from_a_square_millimetre_on_and_a_group_from_eight() -> None:
    assert drawn(*row_of(12, 5, 3)) == ()  # 15 cells, 0.94 mm2 each
    (pins,) = drawn(*row_of(9, 4, 4))  # 1 mm2 each
    assert pins.area_cm2 == pytest.approx(0.09)
    assert drawn(*row_of(7, 4, 4)) == ()


@pytest.mark.parametrize(("chance", "count"), [(0.64, 0), (0.65, 1)])
def test_a_place_is_a_cap_from_its_chance_on(chance: float, count: int) -> None:
    assert len(drawn((50, 100, 20, 20, chance))) == count


@pytest.mark.parametrize(("gap_mm", "cells"), [(29.5, 2), (30.0, 1), (30.5, 1)])
def test_spots_less_than_thirty_millimetres_apart_are_one_group(gap_mm: float, cells: int) -> None:
    (pins,) = drawn((20, 100, 16, 16, 0.9), (20 + round(gap_mm / CELL_MM), 100, 16, 16, 0.9))
    assert pins.area_cm2 == pytest.approx(cells * 16 * 16 * CELL_MM**2 / 100)


def test_a_group_is_as_sure_as_its_caps_are_by_their_area_and_lies_in_their_middle() -> None:
    (pins,) = drawn((20, 100, 30, 10, 0.9), (60, 140, 10, 10, 0.7))
    assert pins.confidence == pytest.approx((3 * 0.9 + 0.7) / 4)
    wall = flat_wall(np.full(SHAPE, TissueClass.MYCELIUM, dtype=np.uint8))
    middle = (3 * 34.5 + 64.5) / 4, (3 * 104.5 + 144.5) / 4
    assert pins.angle_deg == pytest.approx(np.interp(middle[0], range(300), wall.angles_deg))
    assert pins.height_mm == pytest.approx((SHAPE[0] - 0.5 - middle[1]) * CELL_MM)


def test_the_sides_cut_off_the_cards_print_but_no_caps_at_the_contents() -> None:
    for first in (0, SHAPE[1] - 20):
        assert drawn((first, 100, 20, 20, 0.9), filled=False) == ()
        assert len(drawn((first, 100, 20, 20, 0.9))) == 1
    between = (100, 150, 20, 20, 0.9)  # the print comes first, and ends nothing
    (pins,) = drawn((0, 100, 20, 20, 0.9), between, filled=False)
    assert pins.area_cm2 == pytest.approx(0.25)
    for first in (1, SHAPE[1] - 21):
        assert len(drawn((first, 100, 20, 20, 0.9), filled=False)) == 1
