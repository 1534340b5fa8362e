"""Where the contents stand on the unrolled wall: from the glass floor up to the fill line."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import median_filter

from jarvision.photo_settings import JarSettings
from jarvision.records import BoolArray, Float32Array, FloatArray, Wall


@dataclass(frozen=True)
class Contents:
    """``filled`` is ``(rows, cols)``; rows from ``floor_row`` on are the glass under the jar."""

    filled: BoolArray
    floor_row: int


def find_contents(wall: Wall, emptiness: Float32Array, *, settings: JarSettings) -> Contents:
    """Part the wall into empty glass above, contents, and glass floor below.

    Parameters
    ----------
    emptiness
        ``(rows, cols)`` how much a place looks like glass without contents, 0 to 1.

    Notes
    -----
    Each column is parted where the sum of (emptiness - 1/2), counted from the top, is greatest:
    the split with the fewest wrong places, so that one wrong patch does not move it. The floor is
    level, so there all columns vote together, counted from below.
    """
    vote = emptiness - np.float32(0.5)
    rows = vote.shape[0]
    middle = rows // 2
    level = vote[middle:].mean(axis=1)[::-1].cumsum()
    floor_row = rows - (int(level.argmax()) + 1 if level.max() > 0.0 else 0)
    above = np.cumsum(vote[:floor_row], axis=0)
    top = np.where(above.max(axis=0) > 0.0, above.argmax(axis=0) + 1, 0)
    top = _without_jumps(top.astype(np.float64), wall, settings=settings)
    row = np.arange(rows)[:, None]
    return Contents(filled=(row >= top[None, :]) & (row < floor_row), floor_row=floor_row)


def fill_height_mm(wall: Wall) -> float:
    """Median height of the fill line above the inner floor, mm."""
    step = float(wall.heights_mm[0] - wall.heights_mm[1])
    return float(np.median(wall.filled.sum(axis=0))) * step


def _without_jumps(top: FloatArray, wall: Wall, *, settings: JarSettings) -> FloatArray:
    """The fill line without the columns where a mirrored lamp or a label hides its place."""
    step = float(wall.heights_mm[0] - wall.heights_mm[1])
    wide = median_filter(top, size=settings.fill_wide_cells, mode="nearest")
    top = np.where(np.abs(top - wide) * step > settings.fill_jump_mm, wide, top)
    smooth = median_filter(top, size=settings.fill_median_cells, mode="nearest")
    return np.asarray(cv2.GaussianBlur(smooth[None, :], (0, 0), 2.0)[0])
