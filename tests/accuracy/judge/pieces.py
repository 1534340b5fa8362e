"""Pieces scattered over a plane, found by distance: which piece lies uppermost at each place."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from jarvision.records import BoolArray, Float32Array

from .noise import hashed

Outline = Callable[[Float32Array, Float32Array, Float32Array], Float32Array]
"""From a piece's own coordinates (-1 to 1 along and across) and its random number to a distance:
0 in its middle, 1 on its edge."""


def oval(u: Float32Array, v: Float32Array, _: Float32Array) -> Float32Array:
    """An ellipse."""
    return np.asarray(np.sqrt(u * u + v * v), np.float32)


def pointed(u: Float32Array, v: Float32Array, _: Float32Array) -> Float32Array:
    """A kernel with two pointed ends."""
    return np.asarray(np.maximum(np.abs(u), np.abs(v) + 0.75 * u * u), np.float32)


def slab(u: Float32Array, v: Float32Array, _: Float32Array) -> Float32Array:
    """A strip with square ends."""
    return np.asarray(np.maximum(np.abs(u), np.abs(v)), np.float32)


def shard(u: Float32Array, v: Float32Array, lot: Float32Array) -> Float32Array:
    """An irregular polygon of five sides: each side at its own distance."""
    far = np.zeros_like(u)
    for side in range(5):
        way = np.float32(2 * np.pi / 5) * side + np.float32(1.3) * lot
        at = np.float32(0.62) + np.float32(0.38) * np.modf(lot * (17.0 + 7.0 * side))[0]
        far = np.maximum(far, (u * np.cos(way) + v * np.sin(way)) / at)
    return np.asarray(far, np.float32)


@dataclass(frozen=True)
class Kind:
    """How pieces of one kind look from afar: sizes in mm.

    ``thick_mm`` is how far their middle stands above their edge, ``deep_mm`` how far below one
    another they lie, ``lie`` how much they lie level (0: any way round; 1: along x).
    """

    long_mm: float
    wide_mm: float
    outline: Outline = oval
    thick_mm: float = 1.0
    deep_mm: float = 2.0
    layers: int = 3
    spread: float = 0.25
    lie: float = 0.0
    dome: float = 2.0


@dataclass(frozen=True)
class Scatter:
    """The uppermost piece at each place, every array ``(rows, cols)``.

    ``lot`` and ``lot2`` are the piece's random numbers; ``u``, ``v`` the place on it; ``far`` the
    distance from its middle, 1 at the edge; ``height_mm`` its surface; ``hit`` if there is one.
    """

    lot: Float32Array
    lot2: Float32Array
    u: Float32Array
    v: Float32Array
    far: Float32Array
    height_mm: Float32Array
    hit: BoolArray


def scatter(x: Float32Array, y: Float32Array, kind: Kind, *, seed: int) -> Scatter:
    """Drop pieces of one kind everywhere; ``x`` and ``y`` are places in mm, ``(rows, cols)``."""
    cell = float(np.sqrt(kind.long_mm * kind.wide_mm)) * 0.95
    reach = int(np.ceil(kind.long_mm * (1 + kind.spread) / 2 / cell))
    height = np.full(x.shape, -4.0 * kind.deep_mm - 1.0, dtype=np.float32)
    lot, lot2, at_u, at_v, far = (np.zeros(x.shape, dtype=np.float32) for _ in range(5))
    for layer in range(kind.layers):
        key = seed + 977 * layer
        px, py = x / np.float32(cell) + np.float32(0.37 * layer), y / np.float32(cell)
        i0, j0 = np.floor(px).astype(np.int32), np.floor(py).astype(np.int32)
        for dj in range(-reach, reach + 1):
            for di in range(-reach, reach + 1):
                i, j = i0 + di, j0 + dj
                one, two, three = (hashed(i, j, key + n) for n in range(3))
                size = 1.0 + kind.spread * (2.0 * three - 1.0)
                dx = (px - i - one) * np.float32(2 * cell / kind.long_mm) / size
                dy = (py - j - two) * np.float32(2 * cell / kind.long_mm) / size
                near = np.flatnonzero((dx * dx + dy * dy).ravel() < 1.7)
                if near.size:
                    _lay(near, (dx, dy), (one, two, three), kind=kind, layer=layer,
                         out=(height, lot, lot2, at_u, at_v, far))  # fmt: skip
    hit = height > -4.0 * kind.deep_mm
    return Scatter(lot, lot2, at_u, at_v, far, height, hit)


def _lay(
    near: np.ndarray, way: tuple[Float32Array, Float32Array],
    lots: tuple[Float32Array, Float32Array, Float32Array], *, kind: Kind, layer: int,
    out: tuple[Float32Array, ...],
) -> None:  # fmt: skip
    """Lay one cell's pieces on those places where they come uppermost, in place."""
    dx, dy = (part.ravel()[near] for part in way)
    one, two, three = (part.ravel()[near] for part in lots)
    own = np.modf(one * 53.7 + two * 31.3)[0].astype(np.float32)
    turn = np.float32(np.pi) * (np.modf(own * 91.7)[0] - np.float32(0.5)) * (1.0 - kind.lie)
    cos, sin = np.cos(turn), np.sin(turn)
    u = dx * cos + dy * sin
    v = (dy * cos - dx * sin) * np.float32(kind.long_mm / kind.wide_mm)
    far = kind.outline(u, v, own)
    dome = np.sqrt(np.maximum(0.0, 1.0 - far**kind.dome)) * kind.thick_mm
    z = dome - np.float32(kind.deep_mm) * (np.modf(own * 23.1 + three)[0] + 0.7 * layer)
    flat = [part.reshape(-1) for part in out]
    top = (far < 1.0) & (z > flat[0][near])
    places = near[top]
    for part, value in zip(flat, (z, own, three, u, v, far), strict=True):
        part[places] = value[top]
