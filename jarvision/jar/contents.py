"""Wall -> Wall: where the contents begin at the floor and end at the fill line."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from scipy.ndimage import median_filter

from jarvision.photo_settings import JarSettings
from jarvision.records import BoolArray, Float32Array, FloatArray, Wall

_LIGHT_FLOOR = np.float32(0.004)
"""Linear light added before ratios: keeps the noise of near-black pixels from deciding."""


def find_contents(wall: Wall, *, settings: JarSettings) -> Wall:
    """Cut the wall at the contents' floor and mark as ``filled`` what lies under the fill line."""
    wall = _cut_at_floor(wall, settings=settings)
    filled = _below_fill_line(wall, settings=settings)
    return replace(wall, filled=filled, judged=wall.judged & filled)


def fill_height_mm(wall: Wall) -> float:
    """Median height of the fill line above the inner floor, mm."""
    step = float(wall.heights_mm[0] - wall.heights_mm[1])
    return float(np.median(wall.filled.sum(axis=0))) * step


def _cut_at_floor(wall: Wall, *, settings: JarSettings) -> Wall:
    """Drop the rows of the jar's glass bottom.

    The contents' lower edge is level all round: it shows as the uppermost strong step of the row
    medians near the expected floor. Kernels and patches make no step that is level all round.
    """
    step = float(wall.heights_mm[0] - wall.heights_mm[1])
    front = np.abs(wall.angles_deg) <= settings.floor_half_deg
    linear = np.sqrt(np.maximum(wall.linear[:, front], 0.0))
    profile = np.median(linear, axis=1)
    profile = cv2.GaussianBlur(profile, (0, 0), sigmaX=0.1, sigmaY=settings.floor_smooth_mm / step)
    change = np.abs(np.gradient(profile, axis=0)).sum(axis=1)
    near = np.flatnonzero(wall.heights_mm <= settings.floor_reach_mm)
    near = near[near < change.size - 2]
    if near.size < 3:
        return wall
    strong = near[change[near] >= settings.floor_peak_share * change[near].max()]
    row = int(strong[0])
    while row + 1 < change.size and change[row + 1] > change[row]:
        row += 1
    return replace(
        wall,
        linear=wall.linear[:row],
        filled=wall.filled[:row],
        judged=wall.judged[:row],
        pixels=wall.pixels[:row],
        heights_mm=wall.heights_mm[:row] - (wall.heights_mm[row - 1] - step / 2),
    )


def _below_fill_line(wall: Wall, *, settings: JarSettings) -> BoolArray:
    """True under the fill line of each column.

    Above the contents the card's blue-violet field shows through the empty glass, paled by what
    the glass mirrors. Each column is parted where the sum of blueness over the middle level,
    counted from the top, is greatest: one wrong patch above or below the line does not move it.
    """
    blue = _blueness(wall, settings)
    rows = blue.shape[0]
    contents = float(np.median(blue[rows // 2 :]))
    empty = float(np.percentile(blue[: rows // 3], 80))
    if empty - contents < settings.empty_contrast_min:
        return wall.filled  # contents up to the top of the straight wall
    middle = float(np.clip((contents + empty) / 2, settings.middle_min, settings.blueness_edge))
    above = np.cumsum(blue - middle, axis=0)
    top = np.where(above.max(axis=0) > 0.0, above.argmax(axis=0) + 1, 0)
    top = _without_jumps(top.astype(np.float64), wall, settings=settings)
    return np.arange(rows)[:, None] >= top[None, :]


def _without_jumps(top: FloatArray, wall: Wall, *, settings: JarSettings) -> FloatArray:
    """The fill line without the columns where a mirrored lamp or a label hides its place."""
    step = float(wall.heights_mm[0] - wall.heights_mm[1])
    wide = median_filter(top, size=settings.fill_wide_cells, mode="nearest")
    top = np.where(np.abs(top - wide) * step > settings.fill_jump_mm, wide, top)
    return np.asarray(median_filter(top, size=settings.fill_median_cells, mode="nearest"))


def _blueness(wall: Wall, settings: JarSettings) -> Float32Array:
    linear = np.maximum(cv2.GaussianBlur(wall.linear, (0, 0), settings.fill_smooth_cells), 0.0)
    rest = (linear[..., 0] + linear[..., 1]) / 2
    return np.asarray(np.log((linear[..., 2] + _LIGHT_FLOOR) / (rest + _LIGHT_FLOOR)))
