"""Wall and tissue -> how unlike the bare contents look to all that the network has learned from.

A trained network is as sure of itself on contents that it never saw as on others. So the bare
contents are described by fourteen numbers and held against those of the jars that it learned from:
the Mahalanobis distance (Mahalanobis 1936, from memory) to the nearest of 128 of their looks.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import as_file, files

import cv2
import numpy as np

from jarvision.base.colourspace import LUMINANCE
from jarvision.records import BoolArray, Float32Array, FloatArray, Tissue, TissueClass, Wall

MIN_CM2 = 4.0
"""Less bare contents than this, some twenty kernels, say nothing about their look."""

_SCALES_MM = (0.6, 1.2, 2.4, 4.8)
_LIGHT_FLOOR = np.float32(0.004)
_SMALLEST = np.float32(1e-3)


def novelty_of(wall: Wall, tissue: Tissue) -> float | None:
    """The distance of the bare contents' look from the nearest that is known.

    Of the jars learned from, half lie within 2.1 of one of the looks, nine of ten within 3.1. None
    when less than :data:`MIN_CM2` of bare contents can be seen.
    """
    bare = (tissue.classes == TissueClass.BARE) & wall.judged & wall.filled
    look = describe(wall.linear, bare, step_mm=wall.step_mm, cell_cm2=wall.cell_cm2)
    if look is None:
        return None
    middle, whiten, looks = _known()
    return float(np.linalg.norm(looks - (look - middle) @ whiten, axis=1).min())


def describe(
    linear: Float32Array, bare: BoolArray, *, step_mm: float, cell_cm2: float
) -> FloatArray | None:
    """Describe the look of bare contents by fourteen numbers.

    Mean and spread of the logarithms of luminance, red over green and blue over green; then, of the
    luminance's detail at sizes of 0.6, 1.2, 2.4 and 4.8 mm, the logarithm of its spread and its
    skewness: how large the pieces are, and whether they are lighter than what lies between them.

    Parameters
    ----------
    linear
        ``(rows, cols, 3)`` linear sRGB.
    bare
        ``(rows, cols)`` where contents are bare and seen.
    """
    if np.count_nonzero(bare) * cell_cm2 < MIN_CM2:
        return None
    size = (bare.shape[1] // 2, bare.shape[0] // 2)  # half the places do as well
    light = np.maximum(cv2.resize(linear, size, interpolation=cv2.INTER_AREA), 0.0) + _LIGHT_FLOOR
    share = cv2.resize(bare.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    weight = (share > 0.5).astype(np.float32)
    there = weight > 0.0
    if np.count_nonzero(there) * 4.0 * cell_cm2 < MIN_CM2 / 2.0:  # threads, no areas
        return None
    logs = np.asarray(cv2.log(light))
    level = np.asarray(cv2.log(cv2.transform(light, LUMINANCE[None])))
    tints = [(logs[..., band] - logs[..., 1])[there] for band in (0, 2)]
    numbers = [number for part in (level[there], *tints) for number in (part.mean(), part.std())]
    finer = level
    for scale in _SCALES_MM:
        sigma = scale / (2.0 * step_mm)
        around = cv2.GaussianBlur(weight, (0, 0), sigma)
        coarser = cv2.GaussianBlur(level * weight, (0, 0), sigma) / np.maximum(around, _SMALLEST)
        detail = (finer - coarser)[there]
        spread = detail.std() + _SMALLEST
        numbers += [np.log(spread), (((detail - detail.mean()) / spread) ** 3).mean()]
        finer = coarser
    return np.array(numbers, dtype=np.float64)


@cache
def _known() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Middle ``(14,)``, whitening ``(14, 14)`` and the looks in whitened numbers ``(128, 14)``."""
    looks = files("jarvision.vision.tissue") / "known_contents.npz"
    with as_file(looks) as path, np.load(path) as data:
        return data["middle"], data["whiten"], data["looks"]
