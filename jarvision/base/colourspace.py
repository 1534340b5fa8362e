"""Colour mathematics of one observer and one white: sRGB, CIE XYZ, CIELAB and CIEDE2000 (D65, 2°).

Every function takes and returns arrays whose last axis holds the three channels, any shape before
it, in ``float64``. Linear light and XYZ are relative: 1.0 is the perfect white (Y = 1).
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from jarvision.records import ByteArray, FloatArray

# Chromaticities of the sRGB primaries and of its white D65, IEC 61966-2-1:1999 (from memory;
# the matrix that follows from them is checked against colour-science in the tests).
_PRIMARIES_XY = ((0.6400, 0.3300), (0.3000, 0.6000), (0.1500, 0.0600))
_WHITE_XY = (0.3127, 0.3290)

# CIELAB's cube root turns into a straight line below (6/29)^3 (CIE 15; ISO/CIE 11664-4).
_LAB_DELTA = 6.0 / 29.0

# Gain of the chroma term that CIEDE2000 saturates at high chroma (ISO/CIE 11664-6).
_CHROMA_KNEE_7 = 25.0**7


def _xyz_of_xy(x: float, y: float) -> FloatArray:
    """XYZ of a chromaticity at Y = 1, shape ``(3,)``."""
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


LUMINANCE: FloatArray = np.array([0.2126, 0.7152, 0.0722])
"""``(3,)`` share of the linear red, green and blue in the luminance, as IEC 61966-2-1 rounds it."""

WHITE_D65: FloatArray = _xyz_of_xy(*_WHITE_XY)
"""XYZ of the perfect white, ``(3,)``."""


@cache
def rgb_to_xyz_matrix() -> FloatArray:
    """``(3, 3)`` matrix from linear sRGB to XYZ, from the primaries and the white.

    The columns are the primaries scaled so that (1, 1, 1) gives the white exactly; the rounded
    matrix printed in IEC 61966-2-1 leaves the white 0.0005 off, which Lab would show as a tint.
    """
    columns = np.column_stack([_xyz_of_xy(x, y) for x, y in _PRIMARIES_XY])
    matrix: FloatArray = columns * np.linalg.solve(columns, WHITE_D65)
    matrix.flags.writeable = False
    return matrix


@cache
def _xyz_to_rgb_matrix() -> FloatArray:
    inverse: FloatArray = np.linalg.inv(rgb_to_xyz_matrix()).astype(np.float64)
    return inverse


@cache
def linear_table(dtype: np.dtype[Any]) -> FloatArray:
    """Linear light of every sRGB value of an unsigned type: ``table[rgb]`` decodes a photo."""
    top = np.iinfo(dtype).max
    table = srgb_decode(np.arange(top + 1) / top)
    table.flags.writeable = False
    return table


def byte_to_linear_table() -> FloatArray:
    """``(256,)`` linear light of every 8-bit sRGB value."""
    return linear_table(np.dtype(np.uint8))


def srgb_decode(encoded: ArrayLike) -> FloatArray:
    """Linear light of sRGB-encoded values (0 to 1); IEC 61966-2-1, mirrored for negatives."""
    value = np.asarray(encoded, dtype=np.float64)
    size = np.abs(value)
    curve = ((size + 0.055) / 1.055) ** 2.4
    return np.where(size <= 0.04045, value / 12.92, np.sign(value) * curve)


def srgb_encode(linear: ArrayLike) -> FloatArray:
    """Inverse of :func:`srgb_decode`; IEC 61966-2-1."""
    value = np.asarray(linear, dtype=np.float64)
    size = np.abs(value)
    curve = 1.055 * size ** (1.0 / 2.4) - 0.055
    return np.where(size <= 0.0031308, value * 12.92, np.sign(value) * curve)


def srgb_bytes(linear: ArrayLike) -> ByteArray:
    """Nearest 8-bit sRGB of linear light; what lies outside 0 to 1 is clipped, NaN is black."""
    within = np.clip(np.nan_to_num(np.asarray(linear, dtype=np.float64)), 0.0, 1.0)
    return np.rint(255.0 * srgb_encode(within)).astype(np.uint8)


def linear_to_xyz(linear: ArrayLike) -> FloatArray:
    """XYZ (Y of white = 1) of linear sRGB."""
    xyz: FloatArray = np.asarray(linear, dtype=np.float64) @ rgb_to_xyz_matrix().T
    return xyz


def xyz_to_linear(xyz: ArrayLike) -> FloatArray:
    """Linear sRGB of XYZ; outside 0 to 1 for colours that sRGB cannot show."""
    linear: FloatArray = np.asarray(xyz, dtype=np.float64) @ _xyz_to_rgb_matrix().T
    return linear


def xyz_to_lab(xyz: ArrayLike) -> FloatArray:
    """CIELAB under D65 of XYZ (Y of white = 1); CIE 15, ISO/CIE 11664-4."""
    ratio = np.asarray(xyz, dtype=np.float64) / WHITE_D65
    line = ratio / (3.0 * _LAB_DELTA**2) + 4.0 / 29.0
    f = np.where(ratio > _LAB_DELTA**3, np.cbrt(ratio), line)
    lightness = 116.0 * f[..., 1] - 16.0
    red_green = 500.0 * (f[..., 0] - f[..., 1])
    yellow_blue = 200.0 * (f[..., 1] - f[..., 2])
    return np.stack([lightness, red_green, yellow_blue], axis=-1)


def lab_to_xyz(lab: ArrayLike) -> FloatArray:
    """Inverse of :func:`xyz_to_lab`."""
    value = np.asarray(lab, dtype=np.float64)
    fy = (value[..., 0] + 16.0) / 116.0
    f = np.stack([fy + value[..., 1] / 500.0, fy, fy - value[..., 2] / 200.0], axis=-1)
    line = 3.0 * _LAB_DELTA**2 * (f - 4.0 / 29.0)
    xyz: FloatArray = np.where(f > _LAB_DELTA, f**3, line) * WHITE_D65
    return xyz


def linear_to_lab(linear: ArrayLike) -> FloatArray:
    """CIELAB (D65) of linear sRGB."""
    return xyz_to_lab(linear_to_xyz(linear))


def lab_to_linear(lab: ArrayLike) -> FloatArray:
    """Linear sRGB of CIELAB (D65)."""
    return xyz_to_linear(lab_to_xyz(lab))


def lab_slopes(linear: ArrayLike) -> FloatArray:
    """Change ``(..., 3, 3)`` of CIELAB (rows) with linear sRGB (columns)."""
    ratio = linear_to_xyz(linear) / WHITE_D65
    with np.errstate(divide="ignore"):  # zero lies on the straight part
        curve = 1.0 / (3.0 * np.cbrt(ratio) ** 2)
    f_slope = np.where(ratio > _LAB_DELTA**3, curve, 1.0 / (3.0 * _LAB_DELTA**2))
    of_f = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
    slopes: FloatArray = (of_f * f_slope[..., None, :]) @ (rgb_to_xyz_matrix() / WHITE_D65[:, None])
    return slopes


def delta_e_2000(lab_1: ArrayLike, lab_2: ArrayLike) -> FloatArray:
    """CIEDE2000 colour difference with kL = kC = kH = 1.

    Parameters
    ----------
    lab_1, lab_2
        CIELAB arrays ``(..., 3)`` that broadcast against each other.

    Returns
    -------
    ``(...)`` differences.

    Notes
    -----
    ISO/CIE 11664-6; symbols and the handling of hue angles follow Sharma, Wu and Dalal (2005),
    "The CIEDE2000 color-difference formula: implementation notes", Color Res. Appl. 30(1):21-30.
    """
    one, two = np.broadcast_arrays(
        np.asarray(lab_1, dtype=np.float64), np.asarray(lab_2, dtype=np.float64)
    )
    chroma_mean_7 = ((_chroma(one) + _chroma(two)) / 2.0) ** 7
    a_gain = 1.5 - 0.5 * np.sqrt(chroma_mean_7 / (chroma_mean_7 + _CHROMA_KNEE_7))

    c1, h1 = _chroma_hue(one, a_gain)
    c2, h2 = _chroma_hue(two, a_gain)
    grey = c1 * c2 == 0.0

    d_hue = np.where(grey, 0.0, (h2 - h1 + 180.0) % 360.0 - 180.0)
    d_lightness = two[..., 0] - one[..., 0]
    d_chroma = c2 - c1
    d_arc = 2.0 * np.sqrt(c1 * c2) * np.sin(np.deg2rad(d_hue) / 2.0)

    lightness = (one[..., 0] + two[..., 0]) / 2.0
    chroma = (c1 + c2) / 2.0
    hue = np.where(grey, h1 + h2, _mean_hue(h1, h2))

    t = (
        1.0
        - 0.17 * _cos_deg(hue - 30.0)
        + 0.24 * _cos_deg(2.0 * hue)
        + 0.32 * _cos_deg(3.0 * hue + 6.0)
        - 0.20 * _cos_deg(4.0 * hue - 63.0)
    )
    s_lightness = 1.0 + 0.015 * (lightness - 50.0) ** 2 / np.sqrt(20.0 + (lightness - 50.0) ** 2)
    s_chroma = 1.0 + 0.045 * chroma
    s_hue = 1.0 + 0.015 * chroma * t

    # The rotation term tilts the tolerance ellipses of the blues.
    tilt_deg = 30.0 * np.exp(-(((hue - 275.0) / 25.0) ** 2))
    chroma_gain = 2.0 * np.sqrt(chroma**7 / (chroma**7 + _CHROMA_KNEE_7))
    rotation = -np.sin(np.deg2rad(2.0 * tilt_deg)) * chroma_gain

    l_term, c_term, h_term = d_lightness / s_lightness, d_chroma / s_chroma, d_arc / s_hue
    square = l_term**2 + c_term**2 + h_term**2 + rotation * c_term * h_term
    difference: FloatArray = np.sqrt(np.maximum(square, 0.0))
    return difference


def _chroma(lab: FloatArray) -> FloatArray:
    return np.hypot(lab[..., 1], lab[..., 2])


def _chroma_hue(lab: FloatArray, a_gain: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Chroma and hue angle (0 to 360 degrees) with the a axis stretched by ``a_gain``."""
    a, b = lab[..., 1] * a_gain, lab[..., 2]
    return np.hypot(a, b), np.rad2deg(np.arctan2(b, a)) % 360.0


def _mean_hue(h1: FloatArray, h2: FloatArray) -> FloatArray:
    """Mean of two hue angles along the shorter arc, degrees."""
    total = h1 + h2
    far_apart = np.abs(h1 - h2) > 180.0
    shift = np.where(total < 360.0, 360.0, -360.0)
    return np.where(far_apart, total + shift, total) / 2.0


def _cos_deg(angle: FloatArray) -> FloatArray:
    cosine: FloatArray = np.cos(np.deg2rad(angle))
    return cosine


WHITE_D50: FloatArray = np.array([0.9642, 1.0, 0.8249])
"""XYZ of D50 as ICC profiles round it (ICC.1:2022, 7.2.16, from memory), ``(3,)``: the white of
ICC's connection space and of measuring instruments for print (ISO 13655)."""

# Bradford cone response of XYZ (ICC.1:2022 annex E, from memory; checked in the tests).
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


def bradford(source: ArrayLike, target: ArrayLike) -> FloatArray:
    """The ``(3, 3)`` matrix that takes XYZ under one white to XYZ under another.

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
