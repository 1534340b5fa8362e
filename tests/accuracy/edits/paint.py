"""Paint on the jar's wall: what is laid flat in mm appears in the photo, through the glass."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from jarvision.records import ByteArray, Float32Array
from tests.accuracy.repaint import TURN_DEG, picture_at
from tests.accuracy.spoil import encoded
from tests.accuracy.white_looks import PX_PER_MM

from .scene import JarScene

ABOVE_MM = 12.0  # paint reaches so far above the straight wall
NOISE = 0.6  # of 255: paint is photographed, too


@dataclass(frozen=True)
class Canvas:
    """The wall laid flat: places of its pixels in mm, each ``(rows, cols)``, and its contents.

    ``x_mm`` is 0 where the wall faces the eye; ``height_mm`` is 0 at the inner floor.
    """

    x_mm: Float32Array
    height_mm: Float32Array
    radius_mm: float
    filled_mm: float

    @classmethod
    def of(cls, scene: JarScene) -> Canvas:
        """The canvas of a photo's jar."""
        radius = scene.wall.radius_mm
        half, tall = radius * np.deg2rad(TURN_DEG), scene.body_mm + ABOVE_MM
        x = np.arange(-half, half, 1.0 / PX_PER_MM, dtype=np.float32)
        height = np.arange(tall, 0.0, -1.0 / PX_PER_MM, dtype=np.float32)
        filled = scene.wall.heights_mm[scene.wall.filled.any(axis=1)]
        top = float(filled.max()) if filled.size else tall
        return cls(*np.meshgrid(x, height), radius, top)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, cols = self.x_mm.shape
        return rows, cols

    def mm(self, deg: float) -> float:
        """Length along the wall of an angle."""
        return self.radius_mm * float(np.deg2rad(deg))


def on_photo(scene: JarScene, canvas: Canvas, flat: Float32Array) -> Float32Array:
    """A picture of the canvas as the photo shows it; the canvas' edge beyond it."""
    col = (scene.places.x_mm - canvas.x_mm[0, 0]) * np.float32(PX_PER_MM)
    row = (canvas.height_mm[0, 0] - scene.places.height_mm) * np.float32(PX_PER_MM)
    return picture_at(flat, col, row)


def lay(
    scene: JarScene, canvas: Canvas, albedo: Float32Array, alpha: Float32Array,
    rng: np.random.Generator, *, soften_mm: float = 0.0,
) -> ByteArray:  # fmt: skip
    """The photo with paint on the jar's wall.

    ``albedo`` ``(rows, cols, 3)`` is linear sRGB, ``alpha`` ``(rows, cols)`` how far it hides what
    is behind; ``soften_mm`` blurs what shows through it.
    """
    seen = on_photo(scene, canvas, alpha)
    seen = np.where(scene.places.glass & (scene.places.height_mm > 0.0), seen, 0.0)[..., None]
    rows, cols = np.nonzero(seen[..., 0] > 0.002)
    if not rows.size:
        return scene.photo.rgb
    part = (slice(rows.min(), rows.max() + 1), slice(cols.min(), cols.max() + 1))
    share, behind = seen[part].astype(np.float32), scene.linear[part]
    if soften_mm > 0.0:
        sigma = soften_mm * scene.jar_px_per_mm
        behind = behind + (cv2.GaussianBlur(behind, (0, 0), sigma) - behind) * share
    paint = on_photo(scene, canvas, albedo)[part] * scene.light[part]
    rgb = scene.photo.rgb.copy()
    mixed = encoded(np.asarray(behind * (1.0 - share) + paint * share, np.float32))
    noise = rng.normal(0.0, NOISE, mixed.shape) * (share > 0.5)
    mixed = np.asarray(np.clip(np.rint(mixed + noise), 0, 255), np.uint8)
    rgb[part] = np.where(share > 0.002, mixed, rgb[part])
    return rgb
