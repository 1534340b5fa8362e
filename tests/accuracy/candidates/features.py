"""Wall -> features: colour and texture of every place, at the scales of fibre and kernel."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import Float32Array, Wall

FINE_MM, COARSE_MM, WIDE_MM = 0.4, 1.2, 4.0
"""Blurs: about a pixel and a half, a third of a kernel, a kernel."""

_FLOOR = np.float32(0.004)
"""Linear light added before a logarithm: the noise of near-black pixels stays small."""

NAMES = (
    "log Y", "log R/G", "log B/G",
    "log Y coarse", "log R/G coarse", "log B/G coarse",
    "log Y wide", "log R/G wide", "log B/G wide",
    "contrast fine", "contrast coarse", "contrast B/G",
    "log Y over bright", "sine of angle", "highest B/G of jar", "lowest B/G of jar",
)  # fmt: skip


def wall_features(wall: Wall) -> Float32Array:
    """Features of all cells, shape ``(rows, cols, 16)``, in the order of :data:`NAMES`.

    Log ratios of channels do not change with the strength of the light; ``log Y`` is relative to
    the card's white. Contrasts are standard deviations of the logs around the coarse mean. The
    last four are the same along a column or over the jar.
    """
    step_mm = float(wall.heights_mm[0] - wall.heights_mm[1])
    linear = np.maximum(wall.linear, 0.0) + _FLOOR
    y = linear @ np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
    logs = np.stack(
        [
            np.log(y),
            np.log(linear[..., 0] / linear[..., 1]),
            np.log(linear[..., 2] / linear[..., 1]),
        ],
        axis=-1,
    )
    fine, coarse, wide = (_blur(logs, sigma / step_mm) for sigma in (FINE_MM, COARSE_MM, WIDE_MM))
    fine_contrast = _contrast(logs[..., 0], FINE_MM * 2 / step_mm)
    coarse_contrast = _contrast(fine[..., 0], COARSE_MM * 2 / step_mm)
    hue_contrast = _contrast(fine[..., 2], COARSE_MM * 2 / step_mm)
    lower = slice(y.shape[0] // 2, None)  # contents stand there, whatever is above
    jar_wide = np.empty((*y.shape, 4), dtype=np.float32)
    jar_wide[..., 0] = fine[..., 0] - np.percentile(coarse[lower, :, 0], 95)
    jar_wide[..., 1] = np.sin(np.deg2rad(wall.angles_deg)).astype(np.float32)
    jar_wide[..., 2:] = np.percentile(coarse[lower, :, 2], (97, 3))
    contrasts = np.stack([fine_contrast, coarse_contrast, hue_contrast], axis=-1)
    return np.concatenate([fine, coarse, wide, contrasts, jar_wide], axis=-1)


def _blur(image: Float32Array, sigma: float) -> Float32Array:
    return np.asarray(cv2.GaussianBlur(image, (0, 0), sigma), dtype=np.float32)


def _contrast(image: Float32Array, sigma: float) -> Float32Array:
    mean = _blur(image, sigma)
    variance = _blur(image * image, sigma) - mean * mean
    return np.sqrt(np.maximum(variance, 0.0))
