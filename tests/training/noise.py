"""Noise of chosen grain sizes, for layers of contents and growth (NumPy, OpenCV)."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from jarvision.records import Float32Array


def smooth_noise(shape: tuple[int, int], size: float, rng: np.random.Generator) -> Float32Array:
    """Noise of about unit spread whose spots are ``size`` pixels across."""
    small = tuple(max(2, round(side / max(size, 1.0)) + 2) for side in shape)
    noise = rng.standard_normal(small, dtype=np.float32)
    if size <= 1.0:
        return np.ascontiguousarray(noise[: shape[0], : shape[1]])
    grown = cv2.resize(noise, shape[::-1], interpolation=cv2.INTER_CUBIC)
    return np.asarray(grown / max(1e-6, float(grown.std())), np.float32)


def fractal(
    shape: tuple[int, int],
    rng: np.random.Generator,
    sizes: Sequence[float] = (2.0, 4.0, 8.0, 16.0, 32.0, 64.0),
    *,
    fall: float = 0.7,
) -> Float32Array:
    """Sum of noises, the finer ones ``fall`` times weaker an octave; unit spread."""
    total = np.zeros(shape, np.float32)
    for step, size in enumerate(sorted(sizes, reverse=True)):
        total += np.float32(fall**step) * smooth_noise(shape, size, rng)
    return np.asarray(total / total.std(), np.float32)


def ranked(field: Float32Array) -> Float32Array:
    """The field's values replaced by their rank, 0 to 1: thresholds become shares of area."""
    some = np.sort(field.ravel()[:: max(1, field.size // 4096)])
    place = np.linspace(0.0, 1.0, some.size, dtype=np.float32)
    return np.interp(field, some, place).astype(np.float32)
