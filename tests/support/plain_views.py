"""Views in the card's plane that are drawn as they are: a pixel of the photo is one of the view."""

from __future__ import annotations

import numpy as np

from jarvision.vision.jar.plane_view import PlaneView

SHAPE = (912, 630)
"""Rows and columns: 210 mm from x = -10 mm, 304 mm from y = -4 mm, three pixels a millimetre."""


def view_of(rgb: np.ndarray | None = None, to_photo: np.ndarray | None = None) -> PlaneView:
    photo = np.full((*SHAPE, 3), 128, dtype=np.uint8) if rgb is None else rgb
    return PlaneView(photo, np.eye(3) if to_photo is None else to_photo, SHAPE)


def col(x_mm: float) -> int:
    return round((x_mm + 10.0) * 3)


def row(y_mm: float) -> int:
    return round((y_mm + 4.0) * 3)


def box(field: np.ndarray, x_mm: tuple[float, float], y_mm: tuple[float, float]) -> np.ndarray:
    """The part of a field ``(rows, cols, ...)`` of the view between two sides and two heights."""
    return field[row(y_mm[0]) : row(y_mm[1]), col(x_mm[0]) : col(x_mm[1])]


def ridges(*places: tuple[float, float], slope: float = 0.0, wide: float = 1.2) -> np.ndarray:
    """Liveliness with upright ridges: card-plane x in the middle of the band, and height."""
    y, x = np.indices(SHAPE, dtype=float)
    at_x, at_y = x / 3.0 - 10.0, y / 3.0 - 4.0
    change = np.full(SHAPE, 0.2)
    for middle, height in places:
        away = 3.0 * (at_x - middle - slope * (at_y - 237.5))
        change = np.maximum(change, height * (1.0 - (away / (2 * wide)) ** 2))
    return np.maximum(change, 0.2).astype(np.float32)
