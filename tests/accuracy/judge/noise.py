"""Hashed lattices: random numbers as functions of place and seed, and smooth noise made of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from jarvision.records import Float32Array

Ints = NDArray[np.int32] | NDArray[np.int64]


def hashed(i: Ints, j: Ints, seed: int) -> Float32Array:
    """A random number from 0 to 1 for each whole-numbered place."""
    with np.errstate(over="ignore"):
        h = i.astype(np.uint32) * np.uint32(0x9E3779B1)
        h ^= j.astype(np.uint32) * np.uint32(0x85EBCA77)
        h ^= np.uint32(seed * 0xC2B2AE3D & 0xFFFFFFFF)
        h ^= h >> np.uint32(15)
        h *= np.uint32(0x2C1B3C6D)
        h ^= h >> np.uint32(12)
        h *= np.uint32(0x297A2D39)
        h ^= h >> np.uint32(15)
    return (h >> np.uint32(8)).astype(np.float32) * np.float32(1.0 / 16777216.0)


def smooth(x: Float32Array, y: Float32Array, *, size: float, seed: int) -> Float32Array:
    """Smooth noise from -1 to 1 with features of ``size``, in the unit of ``x`` and ``y``."""
    u, v = x / np.float32(size), y / np.float32(size)
    i, j = np.floor(u).astype(np.int32), np.floor(v).astype(np.int32)
    fx, fy = u - i, v - j
    fx, fy = fx * fx * (3 - 2 * fx), fy * fy * (3 - 2 * fy)
    low = hashed(i, j, seed) * (1 - fx) + hashed(i + 1, j, seed) * fx
    high = hashed(i, j + 1, seed) * (1 - fx) + hashed(i + 1, j + 1, seed) * fx
    return np.asarray(2.0 * (low * (1 - fy) + high * fy) - 1.0, dtype=np.float32)


def rough(
    x: Float32Array, y: Float32Array, *, size: float, seed: int, octaves: int = 4
) -> Float32Array:
    """Noise with features of ``size`` and finer ones, about -1 to 1."""
    total = np.zeros(np.broadcast(x, y).shape, dtype=np.float32)
    for octave in range(octaves):
        part = smooth(x, y, size=size / 2**octave, seed=seed + 101 * octave)
        total += part * np.float32(0.5**octave)
    return total / np.float32(2.0 - 0.5 ** (octaves - 1))


def ridged(x: Float32Array, y: Float32Array, *, size: float, seed: int) -> Float32Array:
    """Lines: 1 on thin crests that wander and branch, falling to 0 between them."""
    first = 1.0 - np.abs(smooth(x, y, size=size, seed=seed))
    second = 1.0 - np.abs(smooth(x, y, size=size / 2.3, seed=seed + 7))
    return np.asarray(np.maximum(first**6, 0.7 * second**7), dtype=np.float32)


def step(low: float, high: float, value: Float32Array) -> Float32Array:
    """0 up to ``low``, 1 from ``high`` on, smooth between."""
    t = np.clip((value - np.float32(low)) / np.float32(high - low), 0.0, 1.0)
    return np.asarray(t * t * (3 - 2 * t), dtype=np.float32)
