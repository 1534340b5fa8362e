"""Pins on walls that were painted by hand: what is taken for caps, and what never is."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from walls import CELL_MM, flat_wall, tissue_of

from jarvision.photo_settings import PinSettings
from jarvision.records import Patch, TissueClass
from jarvision.tissue.pins import find_pins

SHAPE = (320, 300)
WHITE, CAP = 0.75, 0.38  # linear light of growth and of a greyish brown cap
PLACES = ((100, 150), (130, 170), (120, 200))


def painted(
    places: tuple[tuple[int, int], ...],
    *,
    axes_mm: tuple[float, float] = (2.0, 1.4),
    light: float = CAP,
    kind: TissueClass = TissueClass.MYCELIUM,
    ground: TissueClass = TissueClass.MYCELIUM,
) -> tuple[Patch, ...]:
    """What is found on a white wall with ellipses of these half axes."""
    light_map = np.full(SHAPE, WHITE, dtype=np.float32)
    classes = np.full(SHAPE, ground, dtype=np.uint8)
    for col, row in places:
        spot = np.zeros(SHAPE, dtype=np.uint8)
        axes = tuple(round(mm / CELL_MM) for mm in axes_mm)
        cv2.ellipse(spot, (col, row), axes, 0, 0, 360, 1, -1)
        light_map[spot > 0] = light
        classes[spot > 0] = kind
    noise = np.random.default_rng(3).normal(1.0, 0.02, SHAPE)
    light_map = cv2.GaussianBlur((light_map * noise).astype(np.float32), (0, 0), 1.0)
    linear = np.repeat(light_map[..., None], 3, axis=2)
    return find_pins(flat_wall(classes, linear=linear), tissue_of(classes), settings=PinSettings())


def test_a_group_of_caps_is_one_patch_with_their_area_and_place() -> None:
    (pins,) = painted(PLACES)
    assert pins.kind == "pins"
    assert pins.area_cm2 == pytest.approx(3 * np.pi * 2.0 * 1.4 / 100.0, rel=0.15)
    middle = np.mean(PLACES, axis=0)
    assert pins.height_mm == pytest.approx((SHAPE[0] - 0.5 - middle[1]) * CELL_MM, abs=0.5)
    assert pins.confidence < 0.6  # it may ask for a look, no more


@pytest.mark.parametrize(
    "changes",
    [
        {"places": PLACES[:1]},
        {"places": ((30, 40), (270, 280))},
        {"axes_mm": (6.0, 5.0)},
        {"axes_mm": (3.0, 0.9)},
        {"axes_mm": (0.5, 0.5)},
        {"light": 0.6},
        {"light": 0.95},
        {"kind": TissueClass.BARE},
        {"kind": TissueClass.GREEN},
        {"ground": TissueClass.BARE},
    ],
    ids=["alone", "far apart", "large", "long", "specks", "shadows", "bright", "kernels", "mould",
         "bare wall"],
)  # fmt: skip
def test_what_is_no_group_of_caps_is_not_taken_for_one(changes: dict) -> None:
    assert painted(**{"places": PLACES, **changes}) == ()


def test_caps_among_many_other_dark_spots_cannot_be_told() -> None:
    others = tuple((c, r) for c in range(20, 300, 40) for r in (230, 260, 290))
    classes = np.full(SHAPE, TissueClass.MYCELIUM, dtype=np.uint8)
    linear = np.full((*SHAPE, 3), WHITE, dtype=np.float32)
    for places, kind in ((PLACES, TissueClass.MYCELIUM), (others, TissueClass.BARE)):
        for col, row in places:
            spot = np.zeros(SHAPE, dtype=np.uint8)
            cv2.ellipse(spot, (col, row), (8, 6), 0, 0, 360, 1, -1)
            linear[spot > 0], classes[spot > 0] = CAP, kind
    wall = flat_wall(classes, linear=linear)
    assert find_pins(wall, tissue_of(classes), settings=PinSettings()) == ()
