"""Camera pixels -> linear sRGB, for just the pixels that are needed."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import ColourFit, Float32Array, FloatArray, SampleArray
from jarvision.vision.colour.light import unbend


def correct(samples: SampleArray, fit: ColourFit, *, mix: FloatArray | None = None) -> Float32Array:
    """Corrected linear sRGB of ``(..., 3)`` sRGB-encoded camera pixels, 8 or 16 bits.

    Tone curve and gain go through one table a channel; the matrix and its offset follow. ``mix``
    ``(n, 3)`` is what to make of red, green and blue at once: ``(..., n)`` then comes out.
    """
    steps = np.iinfo(samples.dtype).max
    levels = np.repeat(np.linspace(0.0, 1.0, steps + 1)[:, None], 3, axis=1)
    table = (unbend(levels, fit.tone) / fit.gain).astype(np.float32)
    if samples.dtype == np.uint8:
        even = np.asarray(cv2.LUT(samples.reshape(-1, 1, 3), table[None]))
    else:
        even = np.stack([table[samples[..., band], band] for band in range(3)], axis=-1)
    matrix = fit.matrix if mix is None else mix @ fit.matrix
    corrected = np.asarray(cv2.transform(even.reshape(-1, 1, 3), matrix), dtype=np.float32)
    return corrected.reshape(*samples.shape[:-1], len(matrix))
