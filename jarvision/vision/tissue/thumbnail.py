"""Wall and tissue -> a thumbnail of a few kilobytes: enough to find the same place tomorrow.

The parent process gets readings only, and whole walls are too heavy to send or to keep. The
thumbnail keeps what the days are compared by: how much is covered where, which class stands
where, and the pattern of the contents, by which a turn of the jar is found.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import cast

import cv2
import numpy as np

from jarvision.records import (
    HALF_VIEW_DEG,
    BoolArray,
    ByteArray,
    Float32Array,
    Tissue,
    TissueClass,
    Wall,
    WallThumbnail,
)

SMALL_CELL_DEG, SMALL_CELL_MM = 2.0, 2.0
"""A cell of the small maps: half a kernel, and less than any front runs in a day."""

FINER = 2
"""The pattern is kept at this many samples a cell, both ways: kernels are 3 to 6 mm wide."""

_UNJUDGED = 255
"""In the packed opacity (percent): contents that could not be judged, or none."""

_WIDE_MM = 6.0
"""What is wider than this is light and growth, not the pattern of the contents."""

_EFFORT = 4
"""Of zlib: half the time of its usual 6, and 2 % more bytes."""

_SPAN, _STEP = 2.5, 5.0 / 14
"""The pattern is kept to this many standard deviations on both sides, in 15 steps."""


@dataclass(frozen=True)
class SmallWall:
    """A thumbnail unpacked. Row 0 is the top, the last row stands on the floor.

    Attributes
    ----------
    opacity
        ``(rows, cols)`` share hidden by mycelium, 0 to 1; NaN where nothing could be judged.
    classes
        ``(rows, cols)`` of :class:`jarvision.records.TissueClass`; a STAIN of less than half the
        opacity is one for which nothing on its photo spoke.
    pattern
        ``(2 rows, 2 cols)`` pattern of the contents in local standard deviations, 0 where not seen.
    radius_mm
        Inner radius.
    """

    opacity: Float32Array
    classes: ByteArray
    pattern: Float32Array
    radius_mm: float

    @property
    def cell_width_mm(self) -> float:
        """Width of a cell along the wall; it is ``SMALL_CELL_MM`` high."""
        return self.radius_mm * float(np.deg2rad(SMALL_CELL_DEG))

    @property
    def cell_cm2(self) -> float:
        """True area of a cell."""
        return self.cell_width_mm * SMALL_CELL_MM / 100.0


def shrink(wall: Wall, tissue: Tissue) -> WallThumbnail:
    """Make the thumbnail of one photo's wall."""
    seen = wall.filled & wall.judged
    rows = max(2, int(np.ceil(float(wall.heights_mm.max()) / SMALL_CELL_MM)))
    cols = round(2 * HALF_VIEW_DEG / SMALL_CELL_DEG)
    grid = _Grid.over(wall, rows, cols)
    share = grid.means(seen)
    enough = share >= 0.5
    hidden = grid.means(tissue.opacity * seen) / np.maximum(share, 1e-6)
    votes = np.zeros((len(TissueClass), rows, cols), dtype=np.float32)
    classes = tissue.classes
    if tissue.unproven is not None:
        classes = np.where(tissue.unproven, np.uint8(TissueClass.STAIN), classes)
    for kind in TissueClass:
        here = classes == int(kind)
        if here.any():
            votes[kind] = grid.means(here)
    return pack_thumbnail(
        SmallWall(
            opacity=np.where(enough, np.clip(hidden, 0.0, 1.0), np.nan).astype(np.float32),
            classes=votes.argmax(axis=0).astype(np.uint8),
            pattern=_pattern(wall, seen, _Grid.over(wall, FINER * rows, FINER * cols)),
            radius_mm=wall.radius_mm,
        )
    )


def pack_thumbnail(small: SmallWall) -> WallThumbnail:
    """Pack the maps into bytes: opacity in percent, classes, then the pattern in 15 steps."""
    percent = np.where(np.isfinite(small.opacity), np.rint(100 * small.opacity), _UNJUDGED)
    steps = np.rint((np.clip(small.pattern, -_SPAN, _SPAN) + _SPAN) / _STEP) + 1
    steps = np.where(small.pattern == 0.0, 0, steps)
    packed = b"".join(p.astype(np.uint8).tobytes() for p in (percent, small.classes, steps))
    rows, cols = small.classes.shape
    return WallThumbnail(rows, cols, small.radius_mm, zlib.compress(packed, _EFFORT))


def unpack_thumbnail(thumbnail: WallThumbnail) -> SmallWall:
    """Unpack a thumbnail.

    Raises
    ------
    ValueError
        When its bytes do not hold what its size says.
    """
    rows, cols = thumbnail.rows, thumbnail.cols
    data = np.frombuffer(zlib.decompress(thumbnail.packed), dtype=np.uint8)
    cells = rows * cols
    if data.size != cells * (2 + FINER**2):
        raise ValueError(f"a thumbnail of {rows} x {cols} cells cannot hold {data.size} bytes")
    percent = data[:cells].reshape(rows, cols)
    steps = data[2 * cells :].reshape(FINER * rows, FINER * cols).astype(np.float32)
    return SmallWall(
        opacity=np.where(percent == _UNJUDGED, np.nan, percent / 100.0).astype(np.float32),
        classes=data[cells : 2 * cells].reshape(rows, cols),
        pattern=np.where(steps == 0, 0.0, (steps - 1) * _STEP - _SPAN).astype(np.float32),
        radius_mm=thumbnail.radius_mm,
    )


@dataclass(frozen=True)
class _Grid:
    """Cells of a grid that stands on the floor, over a wall.

    Attributes
    ----------
    box
        Width and height of a cell, in places of the wall.
    at_x, at_y
        ``(rows, cols)`` place of the wall in the middle of each cell.
    """

    box: tuple[int, int]
    at_x: Float32Array
    at_y: Float32Array

    @classmethod
    def over(cls, wall: Wall, rows: int, cols: int) -> _Grid:
        """The grid of so many cells."""
        step_deg = 2 * HALF_VIEW_DEG / cols
        step_mm = SMALL_CELL_MM * np.ceil(float(wall.heights_mm.max()) / SMALL_CELL_MM) / rows
        cell_deg = float(wall.angles_deg[1] - wall.angles_deg[0])
        angles = -HALF_VIEW_DEG + (np.arange(cols) + 0.5) * step_deg
        heights = (rows - np.arange(rows) - 0.5) * step_mm
        at_x, at_y = np.meshgrid(
            ((angles - wall.angles_deg[0]) / cell_deg).astype(np.float32),
            ((wall.heights_mm[0] - heights) / wall.step_mm).astype(np.float32),
        )
        box = (max(1, round(step_deg / cell_deg)), max(1, round(step_mm / wall.step_mm)))
        return cls(box, at_x, at_y)

    def means(self, field: Float32Array | BoolArray) -> Float32Array:
        """Mean of a field of the wall over each cell: a box as wide, at the cell's middle."""
        plain = cast(
            ByteArray | Float32Array, field.view(np.uint8) if field.dtype == bool else field
        )
        smooth = cv2.boxFilter(plain, cv2.CV_32F, self.box, borderType=cv2.BORDER_REPLICATE)
        seen = cv2.remap(
            smooth, self.at_x, self.at_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT
        )
        return np.asarray(seen, dtype=np.float32)


def _pattern(wall: Wall, seen: BoolArray, grid: _Grid) -> Float32Array:
    """The contents' pattern, 0 where it was not seen.

    The logarithm of the light less its wide mean, over its wide spread: lamp and exposure drop out.
    """
    green = np.maximum(cv2.extractChannel(wall.linear, 1), np.float32(1e-3))
    light = np.asarray(cv2.log(green), dtype=np.float32) * seen
    share = grid.means(seen)
    level = (grid.means(light) / np.maximum(share, 1e-6)).astype(np.float32)
    known = (share >= 0.5).astype(np.float32)
    narrow = (level - _wide_mean(level, known)).astype(np.float32)
    spread = np.sqrt(_wide_mean(narrow**2, known))
    scaled = narrow / np.maximum(spread, 0.02)
    return np.asarray(scaled * known, dtype=np.float32)


def _wide_mean(field: Float32Array, known: Float32Array) -> Float32Array:
    """The Gaussian mean of the known places about each place."""
    sigma = _WIDE_MM * FINER / SMALL_CELL_MM
    total = cv2.GaussianBlur(field * known, (0, 0), sigma)
    weight = cv2.GaussianBlur(known, (0, 0), sigma)
    return np.asarray(total / np.maximum(weight, 1e-3), dtype=np.float32)
