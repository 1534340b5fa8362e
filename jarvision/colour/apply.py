"""Camera pixels -> linear sRGB, for just the pixels that are needed."""

from __future__ import annotations

import numpy as np

from jarvision.colour.light import unbend
from jarvision.records import ColourFit, Float32Array, SampleArray


def correct(samples: SampleArray, fit: ColourFit) -> Float32Array:
    """Corrected linear sRGB of ``(..., 3)`` sRGB-encoded camera pixels, 8 or 16 bits.

    Tone curve and gain go through one table a channel; the matrix and its offset follow.
    """
    steps = np.iinfo(samples.dtype).max
    levels = np.repeat(np.linspace(0.0, 1.0, steps + 1)[:, None], 3, axis=1)
    table = (unbend(levels, fit.tone) / fit.gain).astype(np.float32)
    flat = np.empty(samples.shape, dtype=np.float32)
    for channel in range(3):
        flat[..., channel] = table[samples[..., channel], channel]
    matrix = fit.matrix.astype(np.float32)
    return np.asarray(flat @ matrix[:, :3].T + matrix[:, 3])
