"""Where the contents stand on the unrolled wall: from the glass floor up to the fill line."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import median_filter

from jarvision.records import BoolArray, Float32Array, FloatArray, RawWall, Wall
from jarvision.settings.jar import JarSettings


@dataclass(frozen=True)
class Contents:
    """Which part of the wall is filled.

    Attributes
    ----------
    filled
        ``(rows, cols)``.
    floor_row
        Rows from here on are the glass under the contents.
    line_sd_mm, floor_sd_mm
        Standard uncertainty of the fill line and of the floor, mm.
    """

    filled: BoolArray
    floor_row: int
    line_sd_mm: float
    floor_sd_mm: float


def find_contents(wall: RawWall, emptiness: Float32Array, *, settings: JarSettings) -> Contents:
    """Part the wall into empty glass above, contents, and glass floor below.

    Parameters
    ----------
    emptiness
        ``(rows, cols)`` how much a place looks like glass without contents, 0 to 1.

    Notes
    -----
    Each column is parted where the sum of (emptiness - 1/2), counted from the top, is greatest:
    the split with the fewest wrong places, so that one wrong patch does not move it. The floor is
    level, so there all columns vote together, counted from below, and the usual thickness of a
    jar's bottom has a vote, too.

    Fog and splashes leave many splits almost as good as the best one. The uncertainty is the spread
    of the splits, each weighted by ``exp(votes)``, the votes counted per ``vote_mm`` of height:
    neighbouring rows do not err independently. Where the jar's foot does not show, the network is
    not believed alone, since it never learned what a table looks like.
    """
    step_mm = wall.step_mm
    vote = emptiness - np.float32(0.5)
    rows = vote.shape[0]
    middle = rows // 2
    weight = np.float32(step_mm / settings.vote_mm)
    level = _splits(vote[middle:].mean(axis=1)[::-1, None]) * weight
    thick_mm = (wall.heights_mm[-1] - step_mm / 2) + np.arange(level.shape[0]) * step_mm
    expected_sd_mm = float(np.hypot(settings.floor_sd_mm, wall.foot_sd_mm))
    level -= ((thick_mm / expected_sd_mm) ** 2 / 2)[:, None].astype(np.float32)
    floor_row = rows - int(level.argmax())
    above = _splits(vote[:floor_row])
    above *= weight
    top = above.argmax(axis=0)
    top = _without_jumps(top.astype(np.float64), wall, settings=settings)
    row = np.arange(rows)[:, None]
    return Contents(
        filled=(row >= top[None, :]) & (row < floor_row),
        floor_row=floor_row,
        line_sd_mm=float(np.median(_spread(above[:, ::4]))) * step_mm,
        floor_sd_mm=float(np.hypot(_spread(level)[0] * step_mm, wall.foot_sd_mm)),
    )


def _splits(vote: Float32Array) -> Float32Array:
    """Votes for a split before each row, and after the last one, ``(rows + 1, cols)``."""
    votes = np.zeros((len(vote) + 1, vote.shape[1]), dtype=np.float32)
    np.cumsum(vote, axis=0, out=votes[1:])
    return votes


def _spread(votes: Float32Array) -> Float32Array:
    """Standard deviation of the split of each column, rows."""
    weight = np.exp(votes - votes.max(axis=0))
    weight /= weight.sum(axis=0)
    row = np.arange(votes.shape[0])[:, None]
    mean = (weight * row).sum(axis=0)
    return np.asarray(np.sqrt((weight * (row - mean) ** 2).sum(axis=0)))


def fill_height_mm(wall: Wall) -> float:
    """Median height of the fill line above the inner floor, mm."""
    return float(np.median(wall.filled.sum(axis=0))) * wall.step_mm


def fill_height_sd_mm(wall: Wall, *, radius_sd_mm: float) -> float:
    """Standard uncertainty of the fill height: both its ends, and the scale of the jar."""
    scale = fill_height_mm(wall) * radius_sd_mm / wall.radius_mm
    return float(np.linalg.norm([wall.line_sd_mm, wall.floor_sd_mm, scale]))


def _without_jumps(top: FloatArray, wall: RawWall, *, settings: JarSettings) -> FloatArray:
    """The fill line without the columns where a mirrored lamp or a label hides its place."""
    wide = median_filter(top, size=settings.fill_wide_cells, mode="nearest")
    top = np.where(np.abs(top - wide) * wall.step_mm > settings.fill_jump_mm, wide, top)
    smooth = median_filter(top, size=settings.fill_median_cells, mode="nearest")
    return np.asarray(cv2.GaussianBlur(smooth[None, :], (0, 0), 2.0)[0])
