"""Points on a jar's wall for counting by eye: a regular grid with one random start.

The share of points that fall on white growth estimates the share of the wall that it covers,
without bias, wherever the grid starts (Delesse, Rosiwal, Glagolev, Thomson; the manual point count
of ASTM E562, named from memory). A regular grid does better than as many points at random, for it
never leaves a large area without a point, nor puts two into one clump.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass

import numpy as np

from jarvision.records import HALF_VIEW_DEG, WallThumbnail
from jarvision.vision.tissue.thumbnail import (
    SMALL_CELL_DEG,
    SMALL_CELL_MM,
    SmallWall,
    unpack_thumbnail,
)


@dataclass(frozen=True)
class WallPoint:
    """A place of the wall, as ``counts.csv`` writes it."""

    angle_deg: float
    height_mm: float

    @property
    def place(self) -> tuple[float, float]:
        """Angle and height."""
        return self.angle_deg, self.height_mm


def points_of(content: str, thumbnail: WallThumbnail, *, wanted: int) -> tuple[WallPoint, ...]:
    """Points on the seen wall of a photo, about ``wanted`` of them; always the same ones.

    The grid is square on the glass. Its start is drawn from ``content``, the photo's SHA-256, and
    the order of the points as well: one answer shall not suggest the next.
    """
    small = unpack_thumbnail(thumbnail)
    points = _grid(small, wanted=wanted, start=_draws(content, "start", 2))
    ranks = _draws(content, "order", len(points))
    return tuple(point for _, point in sorted(zip(ranks, points, strict=True), key=lambda p: p[0]))


def _grid(small: SmallWall, *, wanted: int, start: list[float]) -> list[WallPoint]:
    """The points of a square grid that lie on seen wall, row by row."""
    seen = np.isfinite(small.opacity)
    seen_cm2 = max(int(np.count_nonzero(seen)), 1) * small.cell_cm2
    pitch_mm = 10.0 * math.sqrt(seen_cm2 / wanted)
    pitch_deg = math.degrees(pitch_mm / small.radius_mm)
    across = np.arange(-HALF_VIEW_DEG + start[0] * pitch_deg, HALF_VIEW_DEG, pitch_deg)
    up = np.arange(start[1] * pitch_mm, seen.shape[0] * SMALL_CELL_MM, pitch_mm)
    return [
        WallPoint(round(float(angle), 2), round(float(height), 2))
        for height in up
        for angle in across
        if seen[cell_at(seen.shape, float(angle), float(height))]
    ]


def cell_at(shape: tuple[int, ...], angle_deg: float, height_mm: float) -> tuple[int, int]:
    """Row and column of a thumbnail's cell at a place of the wall."""
    row = shape[0] - 1 - math.floor(height_mm / SMALL_CELL_MM)
    col = math.floor((angle_deg + HALF_VIEW_DEG) / SMALL_CELL_DEG)
    return min(max(row, 0), shape[0] - 1), min(max(col, 0), shape[1] - 1)


def _draws(content: str, what: str, count: int) -> list[float]:
    """Numbers in [0, 1) that follow from a photo's content, and look drawn."""
    return [_draw(f"{what} {number} {content}") for number in range(count)]


def _draw(text: str) -> float:
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:6], "big") / 2.0**48


def permanent_number(content: str) -> float:
    """The random number in (0, 1) that a photo keeps for good."""
    return _draw(f"wall {content}") + 2.0**-49
