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
    assert pins.height_mm == pytest.approx((SHAPE[0] - 0.5 - middle[1]) * CELL_MM, abs=0.5)
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
