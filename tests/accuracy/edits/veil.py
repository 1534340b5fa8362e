"""Veils on the wall: fog of several kinds, drops, film."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import ByteArray, Float32Array
from tests.accuracy.spoil import encoded
from tests.accuracy.white_looks import PX_PER_MM, cloud

from .paint import Canvas, lay
from .scene import Apply, Edit, JarScene

FOG_RGB = (0.62, 0.63, 0.63)  # what dense fog sends back, of a perfect white
SOFTEN_MM = 0.5  # fog blurs what is behind it


def lower_half(canvas: Canvas, rng: np.random.Generator, *, edge_mm: float) -> Float32Array:
    """1 in the lower half of the contents, 0 above: a wavy, leaning border of some softness."""
    lean = rng.uniform(-0.15, 0.15) * canvas.x_mm
    wave = min(edge_mm, 4.0) * cloud(canvas.shape, rng, scale_mm=9.0)
    over = 0.5 * canvas.filled_mm + lean + wave - canvas.height_mm
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(over / (edge_mm / 3.0), -30, 30))), np.float32)


def clouds(canvas: Canvas, rng: np.random.Generator) -> Float32Array:
    """Denser here and thinner there, 0.5 to 1."""
    wide, fine = (cloud(canvas.shape, rng, scale_mm=mm) for mm in (9.0, 2.5))
    return np.asarray(np.clip(0.8 + 0.15 * wide + 0.08 * fine, 0.45, 1.0), np.float32)


def drops(canvas: Canvas, rng: np.random.Generator) -> Float32Array:
    """Fog with clear drops in it, 0 to 1: it condenses where drops have not yet drunk it up."""
    fog = np.ones(canvas.shape, np.float32)
    rows, cols = canvas.shape
    for _ in range(int(rows * cols / PX_PER_MM**2 / 6.0)):
        size = max(1, round(float(rng.gamma(2.0, 0.45)) * PX_PER_MM))
        at = (int(rng.integers(cols)), int(rng.integers(rows)))
        cv2.circle(fog, at, size, 0.1, -1)
    return np.asarray(cv2.GaussianBlur(fog, (0, 0), 1.5), np.float32)


def runs(canvas: Canvas, rng: np.random.Generator) -> Float32Array:
    """Fog with clear tracks where drops ran down, 0 to 1."""
    fog = np.ones(canvas.shape, np.float32)
    rows, cols = canvas.shape
    for _ in range(int(cols / PX_PER_MM / 7.0)):
        x, y = float(rng.uniform(0, cols)), int(rng.integers(rows))
        wander = np.cumsum(rng.normal(0.0, 0.25, rows - y))
        track = np.column_stack([x + wander, np.arange(y, rows)])
        wide = int(rng.integers(4, 11))
        cv2.polylines(fog, [np.rint(track).astype(np.int32)], False, 0.08, wide)
    return np.asarray(cv2.GaussianBlur(fog, (0, 0), 2.0), np.float32)


def even(canvas: Canvas, _: np.random.Generator) -> Float32Array:
    """The same everywhere."""
    return np.ones(canvas.shape, np.float32)


STRUCTURES = (even, clouds, drops, runs)


def fog(
    share: float, *, structure: int | None = None, where: str = "lower",
    rgb: tuple[float, float, float] = FOG_RGB, soften_mm: float = SOFTEN_MM,
) -> Apply:  # fmt: skip
    """Fog that hides a share of what is behind it, one border in each photo.

    ``structure`` is a place in :data:`STRUCTURES`; None draws one. ``rgb`` is what it sends back
    where it is dense, ``soften_mm`` how far it blurs what shows through.
    """

    def apply(scene: JarScene, rng: np.random.Generator) -> ByteArray:
        canvas = Canvas.of(scene)
        made = STRUCTURES[rng.integers(len(STRUCTURES)) if structure is None else structure]
        edge_mm = float(np.exp(rng.uniform(np.log(1.0), np.log(18.0))))
        low = lower_half(canvas, rng, edge_mm=edge_mm)
        part = {"lower": low, "upper": 1.0 - low, "all": np.ones_like(low)}[where]
        alpha = np.asarray(share * part * made(canvas, rng), np.float32)
        albedo = np.broadcast_to(np.float32(rgb), (*canvas.shape, 3))
        return lay(scene, canvas, np.ascontiguousarray(albedo), alpha, rng, soften_mm=soften_mm)

    return apply


def water(scene: JarScene, rng: np.random.Generator) -> ByteArray:
    """Drops of water on the inside: dark rims and small bright spots, no fog between."""
    canvas = Canvas.of(scene)
    rows, cols = canvas.shape
    light = np.zeros((rows, cols, 3), np.float32)
    alpha = np.zeros((rows, cols), np.float32)
    for _ in range(int(rows * cols / PX_PER_MM**2 / 45.0)):
        size = max(2, round(float(rng.gamma(3.0, 0.4)) * PX_PER_MM))
        at = (int(rng.integers(cols)), int(rng.integers(rows)))
        cv2.circle(alpha, at, size, 0.35, max(1, size // 3))
        spot = (at[0] - size // 3, at[1] - size // 3)
        cv2.circle(alpha, spot, max(1, size // 4), 0.9, -1)
        cv2.circle(light, spot, max(1, size // 4), (1.0, 1.0, 1.0), -1)
    alpha = np.asarray(cv2.GaussianBlur(alpha, (0, 0), 1.0), np.float32)
    return lay(scene, canvas, light, alpha, rng)


def film(scene: JarScene, rng: np.random.Generator) -> ByteArray:
    """Dust and finger marks on the outside, wiped here and there."""
    canvas = Canvas.of(scene)
    smear = cv2.GaussianBlur(cloud(canvas.shape, rng, scale_mm=2.0), (0, 0), 12.0, sigmaY=1.5)
    alpha = np.clip(0.10 + 0.10 * smear / max(float(smear.std()), 1e-6), 0.0, 0.3)
    albedo = np.full((*canvas.shape, 3), 0.5, np.float32)
    return lay(scene, canvas, albedo, np.asarray(alpha, np.float32), rng)


def haze(share: float) -> Apply:
    """A veil over the whole picture, as of a greasy lens."""

    def apply(scene: JarScene, _: np.random.Generator) -> ByteArray:
        mean = scene.linear.mean(axis=(0, 1))
        return encoded(np.asarray(scene.linear * (1.0 - share) + mean * share, np.float32))

    return apply


EDITS = (
    Edit("fog_30", "fog hides 30 % of the lower half, of any kind", "veil", fog(0.3)),
    Edit("fog_60", "fog hides 60 % of the lower half, of any kind", "veil", fog(0.6)),
    Edit("fog_85", "fog hides 85 % of the lower half, of any kind", "veil", fog(0.85)),
    Edit("fog_even_85", "even fog, 85 %, lower half", "veil", fog(0.85, structure=0)),
    Edit("fog_clouds_85", "fog in clouds, 85 %, lower half", "veil", fog(0.85, structure=1)),
    Edit("fog_drops_85", "fog with clear drops, 85 %, lower half", "veil", fog(0.85, structure=2)),
    Edit("fog_runs_85", "fog with tracks of drops, 85 %, lower half", "veil",
         fog(0.85, structure=3)),
    Edit("fog_upper_60", "fog over the upper half, 60 %", "veil", fog(0.6, where="upper")),
    Edit("fog_all_30", "thin fog all over the wall, 30 %", "veil", fog(0.3, where="all")),
    Edit("fog_all_60", "fog all over the wall, 60 %", "veil", fog(0.6, where="all")),
    Edit("water_drops", "drops of water inside", "veil", water),
    Edit("film", "dust and finger marks on the glass", "veil", film),
    Edit("haze_10", "a veil of 10 % over the whole picture", "veil", haze(0.10), harm=False),
    Edit("haze_30", "a veil of 30 % over the whole picture", "veil", haze(0.30)),
)  # fmt: skip
