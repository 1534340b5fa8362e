"""Growth that a brighter veil outshines: beside it the networks take growth for bare contents.

They know growth as the white of a wall. Fog between clear drops may be whiter than the growth
behind it; then it passes for the growth, and what is truly grown, greyer but of the same hue, for
contents. Which of the two is growth one photo does not tell: so the upper end of the interval takes
in that the greyer is.
"""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.base.colourspace import LUMINANCE
from jarvision.records import BoolArray, ByteArray, Float32Array, RawWall, TissueClass
from jarvision.settings.tissue import VeilSettings

_SMOOTH_MM = 1.0
"""Colours are those of so wide a place: fibres and their shade are of one growth."""

_FLOOR = np.float32(0.01)


def outshone_points(
    raw: RawWall,
    classes: ByteArray,
    covered: Float32Array,
    filled: BoolArray,
    doubted: BoolArray,
    *,
    settings: VeilSettings,
) -> float:
    """Points of coverage, 0 to 100, by which more may be grown than was read.

    Places read as bare that have the hue of what may be a veil, where much of the wall is doubted.

    Parameters
    ----------
    covered
        Chance ``(rows, cols)`` of cover as it was told.
    doubted
        What counts as covered and may be a veil.
    """
    cells = np.count_nonzero(filled)
    if np.count_nonzero(doubted & filled) < max(1.0, settings.outshines_share_min * cells):
        return 0.0
    smooth = cv2.GaussianBlur(np.maximum(raw.linear, 0.0), (0, 0), _SMOOTH_MM / raw.step_mm)
    light = cv2.transform(smooth, LUMINANCE[None])
    hue = np.log((smooth[..., 2] + _FLOOR) / (smooth[..., 0] + _FLOOR))
    alike = hue > np.median(hue[doubted]) - settings.outshone_hue
    alike &= light > settings.outshone_light * np.median(light[doubted])
    bare = (classes == TissueClass.BARE) & filled & ~doubted & alike
    return 100.0 * float((1.0 - covered)[bare].sum(dtype=np.float64)) / cells
