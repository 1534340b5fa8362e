"""White and pale contents without any growth, as albedo of a jar's wall: rice, flour, cotton, milk.

Each look is a function of the wall's size: linear sRGB ``(rows, cols, 3)`` at ``PX_PER_MM``. They
attack the idea that white is growth; nothing is trained on them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from jarvision.records import Float32Array

PX_PER_MM = 4.0

Look = Callable[[tuple[int, int], np.random.Generator], Float32Array]


@dataclass(frozen=True)
class Pieces:
    """Pieces that lie over one another: size in mm, colour in linear sRGB.

    ``round_off`` is how far a piece's edge is darker than its middle, ``gap`` the light between.
    """

    long_mm: float
    wide_mm: float
    rgb: tuple[float, float, float]
    spread: float
    round_off: float
    gap: float
    layers: float = 3.0


RICE = Pieces(6.4, 2.2, (0.70, 0.68, 0.60), 0.06, 0.25, 0.35)
PERLITE = Pieces(4.0, 3.2, (0.86, 0.86, 0.84), 0.05, 0.35, 0.45)
SHAVINGS = Pieces(16.0, 6.5, (0.70, 0.60, 0.44), 0.10, 0.12, 0.40, layers=4.0)


def pieces(shape: tuple[int, int], rng: np.random.Generator, *, kind: Pieces) -> Float32Array:
    """Ellipses dropped one after the other, each a shaded dome."""
    rows, cols = shape
    area_px = np.pi / 4.0 * kind.long_mm * kind.wide_mm * PX_PER_MM**2
    wall = np.full((rows, cols, 3), np.array(kind.rgb) * kind.gap, dtype=np.float32)
    for _ in range(int(kind.layers * rows * cols / area_px)):
        half = np.array([kind.long_mm, kind.wide_mm]) * PX_PER_MM / 2.0
        half *= rng.uniform(0.75, 1.25, 2)
        _drop(wall, half, rgb=np.array(kind.rgb) * np.exp(rng.normal(0.0, kind.spread)),
              round_off=kind.round_off, rng=rng)  # fmt: skip
    return wall


def _drop(
    wall: Float32Array, half_px: np.ndarray, *, rgb: np.ndarray, round_off: float,
    rng: np.random.Generator,
) -> None:  # fmt: skip
    """Lay one dome on the wall, in place."""
    x, y = rng.uniform(0.0, wall.shape[1]), rng.uniform(0.0, wall.shape[0])
    reach = int(np.ceil(half_px.max()))
    left, top = int(x) - reach, int(y) - reach
    part = wall[max(top, 0) : top + 2 * reach + 1, max(left, 0) : left + 2 * reach + 1]
    across, down = np.meshgrid(
        np.arange(part.shape[1]) + max(left, 0) - x, np.arange(part.shape[0]) + max(top, 0) - y
    )
    turn = rng.uniform(0.0, np.pi)
    u = (across * np.cos(turn) + down * np.sin(turn)) / half_px[0]
    v = (down * np.cos(turn) - across * np.sin(turn)) / half_px[1]
    far = u * u + v * v
    inside = far < 1.0
    part[inside] = rgb * (1.0 - round_off * far[inside] ** 2)[:, None]


def cloud(shape: tuple[int, int], rng: np.random.Generator, *, scale_mm: float) -> Float32Array:
    """Smooth noise of unit variance, ``(rows, cols)``."""
    sigma = scale_mm * PX_PER_MM
    step = max(1, int(sigma / 3.0))
    small = rng.standard_normal((shape[0] // step + 8, shape[1] // step + 8)).astype(np.float32)
    soft = cv2.GaussianBlur(small, (0, 0), sigma / step)
    wide = cv2.resize(soft, shape[::-1], interpolation=cv2.INTER_CUBIC)
    return np.asarray((wide - wide.mean()) / wide.std(), dtype=np.float32)


def tinted(light: Float32Array, rgb: tuple[float, float, float]) -> Float32Array:
    """A grey pattern in one colour."""
    return np.asarray(light[..., None] * np.array(rgb, dtype=np.float32), dtype=np.float32)


def rice(shape: tuple[int, int], rng: np.random.Generator) -> Float32Array:
    """Polished grains of rice."""
    return pieces(shape, rng, kind=RICE)


def perlite(shape: tuple[int, int], rng: np.random.Generator) -> Float32Array:
    """Round white granules."""
    return pieces(shape, rng, kind=PERLITE)


def shavings(shape: tuple[int, int], rng: np.random.Generator) -> Float32Array:
    """Pale shavings of wood, with their grain."""
    grain = 1.0 + 0.05 * cloud(shape, rng, scale_mm=0.4)
    return np.asarray(pieces(shape, rng, kind=SHAVINGS) * grain[..., None], np.float32)


def flour(shape: tuple[int, int], rng: np.random.Generator) -> Float32Array:
    """Flour: almost even, with a few cracks where it settled."""
    crack = np.abs(cloud(shape, rng, scale_mm=6.0)) < 0.02
    dark = cv2.GaussianBlur(crack.astype(np.float32), (0, 0), 1.2)
    light = 1.0 + 0.02 * cloud(shape, rng, scale_mm=0.3) + 0.02 * cloud(shape, rng, scale_mm=8.0)
    return tinted(np.asarray(light - 0.3 * dark, np.float32), (0.84, 0.82, 0.75))


def cotton(shape: tuple[int, int], rng: np.random.Generator) -> Float32Array:
    """Cotton wool: soft folds and fine fibres."""
    fine = rng.standard_normal((2, *shape)).astype(np.float32)
    fibres = cv2.GaussianBlur(fine[0], (0, 0), 0.6, sigmaY=4.0)
    fibres = fibres + cv2.GaussianBlur(fine[1], (0, 0), 4.0, sigmaY=0.6)
    folds = cloud(shape, rng, scale_mm=7.0)
    return tinted(np.asarray(0.93 + 0.05 * folds + 0.15 * fibres, np.float32), (0.88, 0.88, 0.86))


def milk(shape: tuple[int, int], rng: np.random.Generator) -> Float32Array:
    """Milk: nothing to see."""
    return tinted(1.0 + 0.004 * cloud(shape, rng, scale_mm=20.0), (0.83, 0.83, 0.77))


LOOKS: dict[str, Look] = {
    "rice": rice,
    "flour": flour,
    "cotton": cotton,
    "milk": milk,
    "perlite": perlite,
    "pale shavings": shavings,
}
