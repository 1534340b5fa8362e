"""Chromatic adaptation: the colour of a surface under another white."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from jarvision.colourspace import WHITE_D65, FloatArray

WHITE_D50: FloatArray = np.array([0.9642, 1.0, 0.8249])
"""XYZ of D50 as ICC profiles round it (ICC.1:2022, 7.2.16, from memory), ``(3,)``: the white of
ICC's connection space and of measuring instruments for print (ISO 13655)."""

# Bradford cone response of XYZ (ICC.1:2022 annex E, from memory; checked in the tests).
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


def bradford(source: ArrayLike, target: ArrayLike) -> FloatArray:
    """Return the ``(3, 3)`` matrix that takes XYZ under one white to XYZ under another.

    Parameters
    ----------
    source, target
        XYZ of the two whites, ``(3,)``.
    """
    gain = (_BRADFORD @ np.asarray(target)) / (_BRADFORD @ np.asarray(source))
    matrix: FloatArray = np.linalg.solve(_BRADFORD, gain[:, None] * _BRADFORD)
    return matrix


def d50_to_d65() -> FloatArray:
    """``(3, 3)`` Bradford matrix from ICC's D50 to the D65 of sRGB."""
    return bradford(WHITE_D50, WHITE_D65)
