"""Camera pixels -> linear sRGB, for just the pixels that are needed."""

from __future__ import annotations

import numpy as np

from jarvision.colourspace import byte_to_linear_table
from jarvision.records import ByteArray, ColourFit, Float32Array


def decode_bytes(rgb: ByteArray) -> Float32Array:
    """sRGB-encoded bytes to linear light, any shape, by table (IEC 61966-2-1)."""
    return np.asarray(byte_to_linear_table().astype(np.float32)[rgb])


def correct(rgb: ByteArray, fit: ColourFit) -> Float32Array:
    """Corrected linear sRGB of ``(..., 3)`` sRGB-encoded camera pixels."""
    return decode_bytes(rgb) @ fit.matrix.T.astype(np.float32)
