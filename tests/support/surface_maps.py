"""Surface pictures and chances made by hand, as the surface network would give them."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.base.colourspace import lab_to_linear
from jarvision.records import BoolArray
from jarvision.records.mouth import SurfacePicture
from jarvision.vision.surface.network import GROUND, WATER, SurfaceChances

CELL_MM = 0.25
RADIUS_MM = 30.0
AXIS = (np.arange(249) - 124) * CELL_MM
X, Y = np.meshgrid(AXIS, AXIS)
WITHIN = np.hypot(X, Y) <= RADIUS_MM


def disc(x_mm: float, y_mm: float, diameter_mm: float) -> BoolArray:
    """Cells of a disc."""
    return np.asarray(np.hypot(X - x_mm, Y - y_mm) <= diameter_mm / 2.0)


def picture(lab: tuple[float, float, float] = (60.0, 2.0, 12.0)) -> SurfacePicture:
    """A surface of one colour (CIELAB), all of it seen."""
    linear = np.broadcast_to(lab_to_linear(np.array(lab)), (*X.shape, 3)).astype(np.float32)
    pixels = np.stack([X, Y], axis=-1).astype(np.float32) * 4.0 + 300.0
    none = np.zeros_like(WITHIN)
    return SurfacePicture(
        linear=linear.copy(), cell_mm=CELL_MM, pixels=pixels, within=WITHIN, seen=WITHIN,
        glare=none, shade=none,
    )  # fmt: skip


def chances(
    sure: float = 0.98, ground: dict[int, BoolArray] | None = None,
    water: dict[int, BoolArray] | None = None,
) -> SurfaceChances:  # fmt: skip
    """Dry and bare all over but where one says otherwise; each place as sure as told.

    What is said of water falls off at its edges, as a network's chances do.
    """
    wet = [cv2.GaussianBlur(part, (0, 0), 1.0) for part in _maps(len(WATER), 0, water or {}, sure)]
    return SurfaceChances(_maps(len(GROUND), 1, ground or {}, sure), np.stack(wet))


def _maps(count: int, usual: int, said: dict[int, BoolArray], sure: float) -> np.ndarray:
    kinds = np.full(X.shape, usual)
    for kind, where in said.items():
        kinds[where] = kind
    maps = np.full((count, *X.shape), (1.0 - sure) / (count - 1), np.float32)
    np.put_along_axis(maps, kinds[None], np.float32(sure), 0)
    return maps
