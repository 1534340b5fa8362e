"""Procedural pictures for table, wall, fog and room, all linear sRGB reflectance or luminance."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tests.scenes.spec import Room

Float32Array = NDArray[np.float32]

TABLE_PIXELS = 1024
WALL_PIXELS = 512
SKY_SHAPE = (64, 128)


def table(room: Room, *, rng: np.random.Generator) -> Float32Array:
    """Table top ``(1024, 1024, 3)`` for 620 mm of table: planks of wood, plain board or cloth."""
    n = TABLE_PIXELS
    base = np.array(room.table_rgb)
    if room.table == "wood":
        value = _wood(n, rng)
        picture = base * (0.55 + 0.9 * value[..., None] ** np.array([1.0, 1.1, 1.25]))
    elif room.table == "cloth":
        x = np.arange(n)
        weave = (
            0.5 + 0.25 * np.sin(x * 2 * np.pi / 6.0)[None, :] * np.sin(x * 2 * np.pi / 6.0)[:, None]
        )
        noise = ndimage.gaussian_filter(rng.standard_normal((n, n)), 1.0, mode="wrap")
        folds = _smooth((n, n), 120.0, rng)
        picture = base * (0.75 + 0.4 * weave + 0.15 * noise + 0.12 * folds)[..., None]
    else:
        specks = ndimage.gaussian_filter(rng.standard_normal((n, n)), 1.2, mode="wrap")
        stains = _smooth((n, n), 60.0, rng)
        picture = base * (1.0 + 0.06 * specks + 0.05 * stains)[..., None]
    return np.clip(picture, 0.01, 0.92).astype(np.float32)


def _wood(n: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Grain of several planks side by side, about 0 to 1."""
    out = np.zeros((n, n))
    edges = np.linspace(0, n, 6).astype(int)
    for low, high in itertools.pairwise(edges):
        shape = (high - low, n)
        warp = ndimage.gaussian_filter(rng.standard_normal(shape), (10, 160), mode="wrap")
        warp *= 14.0 / max(warp.std(), 1e-9)
        rows = np.arange(shape[0])[:, None] + warp
        rings = 0.5 + 0.5 * np.sin(rows * 2 * np.pi / rng.uniform(9.0, 16.0))
        fibre = ndimage.gaussian_filter(rng.standard_normal(shape), (0.7, 30), mode="wrap")
        fibre /= max(fibre.std(), 1e-9)
        plank = 0.45 + 0.22 * rings**2 + 0.07 * fibre + rng.uniform(-0.12, 0.12)
        plank[:2] *= 0.35  # the joint
        out[low:high] = plank
    return np.clip(out, 0.02, 1.2)


def wall(room: Room, *, rng: np.random.Generator) -> Float32Array:
    """Back wall ``(512, 512, 3)``: paint, tiles or boards."""
    n = WALL_PIXELS
    base = np.array(room.wall_rgb)
    value = 1.0 + 0.03 * _smooth((n, n), 40.0, rng)
    value += 0.02 * ndimage.gaussian_filter(rng.standard_normal((n, n)), 1.0, mode="wrap")
    index = np.arange(n)
    if room.wall == "tiles":
        joint = (index % 64 < 2)[None, :] | (index % 64 < 2)[:, None]
        value = np.where(joint, value * 0.75, value)
    elif room.wall == "boards":
        tone = np.repeat(rng.uniform(0.85, 1.1, 8), n // 8)
        value = value * tone[None, :]
        value[:, index % (n // 8) < 2] *= 0.5
    return np.clip(base * value[..., None], 0.01, 0.92).astype(np.float32)


def fog(opacity: float, *, low_fraction: float, rng: np.random.Generator) -> Float32Array:
    """Opacity of the film on the inner wall ``(384, 768, 1)``: fine dew, thinning out downwards.

    Rows run from the rim down to the inner floor. Drops that ran down have wiped clear tracks.
    """
    shape = (384, 768)
    cloud = 0.8 + 0.10 * _smooth(shape, 30.0, rng) + 0.09 * _smooth(shape, 1.0, rng)
    height = 1.0 - (np.arange(shape[0]) + 0.5) / shape[0]
    edge = low_fraction + 0.05 * _smooth((1, shape[1]), 20.0, rng)[0]
    there = np.clip((height[:, None] - edge[None, :]) / 0.15, 0.0, 1.0)
    for _ in range(rng.integers(0, 14)):
        column, width = rng.integers(0, shape[1] - 8), rng.integers(2, 6)
        start = rng.integers(10, shape[0] // 2)
        there[start : start + rng.integers(40, 250), column : column + width] *= 0.25
    there = ndimage.gaussian_filter(there, 0.7)
    return np.clip(opacity * cloud * there, 0.0, 0.95).astype(np.float32)[..., None]


def sky(*, rng: np.random.Generator) -> Float32Array:
    """The room behind the camera as relative luminance over direction, mean about 1.

    Rows run from straight up to straight down, columns around; what glass mirrors softly:
    lighter ceiling, darker floor, furniture, pale openings.
    """
    rows, cols = SKY_SHAPE
    up = np.cos((np.arange(rows) + 0.5) / rows * np.pi)[:, None]
    picture = np.where(up > 0.45, 1.35, np.where(up > -0.3, 1.0, 0.5)) * np.ones((rows, cols))
    for _ in range(10):
        low, left = rng.integers(rows // 3, rows // 2 + 8), rng.integers(0, cols - 16)
        tall, wide = rng.integers(4, 16), rng.integers(4, 22)
        picture[low - tall // 2 : low + tall, left : left + wide] *= rng.uniform(0.35, 1.25)
    for _ in range(2):
        left = rng.integers(0, cols - 14)
        picture[rows // 3 - 2 : rows // 2, left : left + rng.integers(5, 12)] *= rng.uniform(
            1.5, 3.0
        )
    picture = ndimage.gaussian_filter(picture, 0.8, mode=("nearest", "wrap"))
    return (picture / picture.mean()).astype(np.float32)


def _smooth(shape: tuple[int, int], sigma: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Smooth noise of unit spread, periodic."""
    small = rng.standard_normal(shape)
    out = ndimage.gaussian_filter(small, sigma, mode="wrap")
    return np.asarray(out / max(float(out.std()), 1e-9))
