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
