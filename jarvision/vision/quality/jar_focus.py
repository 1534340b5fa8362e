"""How sharp the jar itself is: the card may be in focus when the jar before it is not."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.base.statistics import median
from jarvision.records import BoolArray, Float32Array, FloatArray, Wall

_FINE_MM, _COARSE_MM = 0.3, 0.75
"""The wall is smoothed this much twice (standard deviations): about a cell, and half a kernel."""

_ACROSS_DEG = 42.0
"""Beyond this wall angle edges are seen too squeezed to tell."""

_STRONGEST_SHARE = 0.03
"""The strongest edges tell: those of contents, fill line, label or a mirrored lamp, not noise."""

_SLOPE_MIN, _EDGES_MIN = 0.002, 20
"""Half a byte a cell is no edge, and fewer edges say nothing."""


def jar_blur_mm(wall: Wall) -> float:
    """Blur of the sharpest contrasts that stand on the filled wall, mm; NaN where nothing tells.

    Notes
    -----
    An edge blurred by a bell curve of deviation s has, smoothed by one of deviation a, a slope in
    proportion to 1 / sqrt(s^2 + a^2). Its slopes after a fine and a coarse smoothing, a and b,
    have the ratio r with r^2 = (s^2 + b^2) / (s^2 + a^2), whatever its contrast; so

        s^2 = (b^2 - r^2 a^2) / (r^2 - 1)

    (re-blur ratio: Zhuo and Sim 2011, from memory). Lines and grain thinner than the smoothing
    seem sharper than they are: the median over the strongest edges is compared with a limit that
    was measured so.
    """
    step_mm = wall.step_mm
    front = wall.columns_within(_ACROSS_DEG)
    light = cv2.transform(wall.linear[:, front], np.full((1, 3), 1.0 / 3.0))
    # nearly as bytes are encoded, so that noise is even; not cut at white: a cut is a sharp edge
    grey = np.sqrt(np.maximum(light, 0.0))
    fine, coarse = (cv2.GaussianBlur(grey, (0, 0), mm / step_mm) for mm in (_FINE_MM, _COARSE_MM))
    filled = wall.filled[:, front].astype(np.uint8)
    inside = np.asarray(cv2.erode(filled, np.ones((3, 3), np.uint8))) > 0
    found = [_edges(np.asarray(fine), np.asarray(coarse), inside, axis=axis) for axis in (0, 1)]
    slope, ratio = (np.concatenate(part) for part in zip(*found, strict=True))
    if slope.size < _EDGES_MIN:
        return float("nan")
    count = max(_EDGES_MIN, round(_STRONGEST_SHARE * slope.size))
    strongest = np.argpartition(slope, -count)[-count:]
    return median(_blur_of(ratio[strongest].astype(np.float64)))


def _edges(
    fine: Float32Array, coarse: Float32Array, inside: BoolArray, *, axis: int
) -> tuple[Float32Array, Float32Array]:
    """Slope ``(n,)`` of each edge along an axis, and its ratio to the slope of the coarser look."""
    along = (3, 1) if axis == 0 else (1, 3)
    rise = np.array([-0.5, 0.0, 0.5], dtype=np.float32).reshape(along)
    steep, flat = (np.abs(cv2.filter2D(look, cv2.CV_32F, rise)) for look in (fine, coarse))
    beside = np.ones(along, np.uint8)
    peak = (steep >= cv2.dilate(steep, beside)) & inside & (steep > _SLOPE_MIN)
    ratio = steep[peak] / np.maximum(flat[peak], np.float32(1e-6))
    return np.asarray(steep[peak], dtype=np.float32), np.asarray(ratio, dtype=np.float32)


def _blur_of(ratio: FloatArray) -> FloatArray:
    """Standard deviation of the edges' own blur, mm, of the ratio of their slopes."""
    square = np.clip(ratio**2, 1.02, (_COARSE_MM / _FINE_MM) ** 2)
    return np.asarray(np.sqrt((_COARSE_MM**2 - square * _FINE_MM**2) / (square - 1.0)))
