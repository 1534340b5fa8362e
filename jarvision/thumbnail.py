"""Wall and tissue -> a thumbnail of a few kilobytes: enough to find the same place tomorrow.

The parent process gets readings only, and whole walls are too heavy to send or to keep. The
thumbnail keeps what the days are compared by: how much is covered where, which class stands
where, and the pattern of the contents, by which a turn of the jar is found.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import cv2
import numpy as np

from jarvision.records import (
    ByteArray,
    Float32Array,
    Tissue,
    TissueClass,
    Wall,
    WallThumbnail,
)

CELL_DEG, CELL_MM = 2.0, 2.0
"""A cell of the small maps: half a kernel, and less than any front runs in a day."""

HALF_WIDTH_DEG = 60.0
"""A view judges the wall this far to both sides of its middle, degrees."""

FINER = 2
"""The pattern is kept at this many samples a cell, both ways: kernels are 3 to 6 mm wide."""

UNJUDGED = 255
"""In the packed opacity (percent): contents that could not be judged, or none."""

_WIDE_MM = 6.0
"""What is wider than this is light and growth, not the pattern of the contents."""

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
        ``(rows, cols)`` of :class:`jarvision.records.TissueClass`.
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
        """Width of a cell along the wall; it is ``CELL_MM`` high."""
        return self.radius_mm * float(np.deg2rad(CELL_DEG))

    @property
    def cell_cm2(self) -> float:
        """True area of a cell."""
        return self.cell_width_mm * CELL_MM / 100.0


def shrink(wall: Wall, tissue: Tissue) -> WallThumbnail:
    """Make the thumbnail of one photo's wall."""
    seen = (wall.filled & wall.judged).astype(np.float32)
    rows = max(2, int(np.ceil(float(wall.heights_mm.max()) / CELL_MM)))
    cols = round(2 * HALF_WIDTH_DEG / CELL_DEG)
    share = _resample(seen, wall, rows, cols)
    enough = share >= 0.5
    hidden = _resample(tissue.opacity * seen, wall, rows, cols) / np.maximum(share, 1e-6)
    votes = np.zeros((len(TissueClass), rows, cols), dtype=np.float32)
    for kind in TissueClass:
        here = tissue.classes == kind
        if here.any():
            votes[kind] = _resample(here.astype(np.float32), wall, rows, cols)
    return pack(
        SmallWall(
            opacity=np.where(enough, np.clip(hidden, 0.0, 1.0), np.nan).astype(np.float32),
            classes=votes.argmax(axis=0).astype(np.uint8),
            pattern=_pattern(wall, seen, FINER * rows, FINER * cols),
            radius_mm=wall.radius_mm,
        )
    )


def pack(small: SmallWall) -> WallThumbnail:
    """Pack the maps into bytes: opacity in percent, classes, then the pattern in 15 steps."""
    percent = np.where(np.isfinite(small.opacity), np.rint(100 * small.opacity), UNJUDGED)
    steps = np.rint((np.clip(small.pattern, -_SPAN, _SPAN) + _SPAN) / _STEP) + 1
    steps = np.where(small.pattern == 0.0, 0, steps)
    packed = b"".join(p.astype(np.uint8).tobytes() for p in (percent, small.classes, steps))
    rows, cols = small.classes.shape
    return WallThumbnail(rows, cols, small.radius_mm, zlib.compress(packed))


def unpack(thumbnail: WallThumbnail) -> SmallWall:
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
        opacity=np.where(percent == UNJUDGED, np.nan, percent / 100.0).astype(np.float32),
        classes=data[cells : 2 * cells].reshape(rows, cols),
        pattern=np.where(steps == 0, 0.0, (steps - 1) * _STEP - _SPAN).astype(np.float32),
        radius_mm=thumbnail.radius_mm,
    )


def _resample(field: Float32Array, wall: Wall, rows: int, cols: int) -> Float32Array:
    """Average a field of the wall over the cells of a grid that stands on the floor."""
    step_deg = 2 * HALF_WIDTH_DEG / cols
    step_mm = CELL_MM * np.ceil(float(wall.heights_mm.max()) / CELL_MM) / rows
    cell_deg = float(wall.angles_deg[1] - wall.angles_deg[0])
    cell_mm = float(wall.heights_mm[0] - wall.heights_mm[1])
    # A box filter as wide as the new cell, then its value at the new cell's centre.
    box = (max(1, round(step_deg / cell_deg)), max(1, round(step_mm / cell_mm)))
    smooth = cv2.blur(field, box, borderType=cv2.BORDER_REPLICATE)
    angles = -HALF_WIDTH_DEG + (np.arange(cols) + 0.5) * step_deg
    heights = (rows - np.arange(rows) - 0.5) * step_mm
    at_x, at_y = np.meshgrid(
        (angles - wall.angles_deg[0]) / cell_deg, (wall.heights_mm[0] - heights) / cell_mm
    )
    return np.asarray(
        cv2.remap(
            smooth, at_x.astype(np.float32), at_y.astype(np.float32), cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
        ),
        dtype=np.float32,
    )  # fmt: skip


def _pattern(wall: Wall, seen: Float32Array, rows: int, cols: int) -> Float32Array:
    """Return the contents' pattern, 0 where it was not seen.

    The logarithm of the light less its wide mean, over its wide spread: lamp and exposure drop out.
    """
    light = np.asarray(cv2.log(np.maximum(wall.linear[..., 1], np.float32(1e-3)))) * seen
    share = _resample(seen, wall, rows, cols)
    level = (_resample(light, wall, rows, cols) / np.maximum(share, 1e-6)).astype(np.float32)
    known = (share >= 0.5).astype(np.float32)
    narrow = (level - _wide_mean(level, known)).astype(np.float32)
    spread = np.sqrt(_wide_mean(narrow**2, known))
    scaled = narrow / np.maximum(spread, 0.02)
    return np.asarray(scaled * known, dtype=np.float32)


def _wide_mean(field: Float32Array, known: Float32Array) -> Float32Array:
    """Return the Gaussian mean of the known places about each place."""
    sigma = _WIDE_MM * FINER / CELL_MM
    total = cv2.GaussianBlur(field * known, (0, 0), sigma)
    weight = cv2.GaussianBlur(known, (0, 0), sigma)
    return np.asarray(total / np.maximum(weight, 1e-3), dtype=np.float32)
