"""Where things lie: on the wall, in the photo, in the picture that is drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np

from jarvision.records import BoolArray, ByteArray, Float32Array, RawWall

SMALLEST_DRAWN_CM2: Final = 0.15  # finer specks would only be noise to the eye


@dataclass(frozen=True)
class PictureFrame:
    """Crop and scale from photo pixels to picture pixels."""

    x0: float
    y0: float
    scale: float
    width: int
    height: int

    def place(self, points: Float32Array) -> Float32Array:
        """Photo ``(n, 2)`` points as picture points; pixel centres stay pixel centres."""
        corner = np.array([self.x0, self.y0], dtype=np.float32)
        moved = (points - corner + 0.5) * self.scale - 0.5
        return moved.astype(np.float32)


def crop(rgb: ByteArray, frame: PictureFrame) -> ByteArray:
    """Cut and scale with antialiasing; the matrix maps picture pixels to photo pixels."""
    x0, y0 = int(frame.x0), int(frame.y0)
    x1 = min(rgb.shape[1], int(np.ceil(frame.x0 + frame.width / frame.scale)))
    y1 = min(rgb.shape[0], int(np.ceil(frame.y0 + frame.height / frame.scale)))
    method = cv2.INTER_AREA if frame.scale < 1 else cv2.INTER_CUBIC
    size = (frame.width, frame.height)
    return np.asarray(cv2.resize(rgb[y0:y1, x0:x1], size, interpolation=method), dtype=np.uint8)


def contours(mask: BoolArray, wall: RawWall) -> list[Float32Array]:
    """Closed outlines of a wall mask in photo pixels, ``(n, 2)`` each; specks left out."""
    smooth = cv2.medianBlur(np.ascontiguousarray(mask, dtype=np.uint8), 5)
    padded = cv2.copyMakeBorder(smooth, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    lines, _ = cv2.findContours(padded, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    least = SMALLEST_DRAWN_CM2 / wall.cell_cm2
    found = []
    for line in lines:
        if cv2.contourArea(line) < least:
            continue
        grid = line.reshape(-1, 2).astype(np.float32) - 1
        points = photo_points(wall, grid)
        if len(points) > 2:
            found.append(np.vstack([points, points[:1]]))
    return found


def grid_points(wall: RawWall, outline: Sequence[tuple[float, float]]) -> Float32Array:
    """Wall places ``(angle_deg, height_mm)`` as fractional ``(col, row)``, shape ``(n, 2)``."""
    if not outline:
        return np.empty((0, 2), dtype=np.float32)
    places = np.asarray(outline, dtype=np.float64)
    cols = np.interp(places[:, 0], wall.angles_deg, np.arange(len(wall.angles_deg)))
    rows = np.interp(-places[:, 1], -wall.heights_mm, np.arange(len(wall.heights_mm)))
    return np.stack([cols, rows], axis=1).astype(np.float32)


def photo_points(wall: RawWall, grid: Float32Array) -> Float32Array:
    """Photo pixels seen at fractional wall places ``(col, row)``; unseen places drop out."""
    if not len(grid):
        return np.empty((0, 2), dtype=np.float32)
    points = cv2.remap(
        wall.pixels,
        np.ascontiguousarray(grid[None, :, 0]),
        np.ascontiguousarray(grid[None, :, 1]),
        interpolation=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )[0]
    seen: Float32Array = points[np.isfinite(points).all(axis=1)].astype(np.float32)
    return seen
