"""What of the wall is burnt out, and what that means."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import BoolArray, ByteArray, RawWall, TissueClass
from jarvision.settings.tissue import MaskSettings


def mask_groove(classes: ByteArray, wall: RawWall, *, settings: MaskSettings) -> ByteArray:
    """Take a groove out of what can be judged: glass bent like a lens, with a shadow of its own."""
    if wall.groove_mm is None:
        return classes
    near = np.abs(wall.heights_mm - wall.groove_mm) < settings.groove_mm
    masked = classes.copy()
    masked[near[:, None] & (classes != TissueClass.OUTSIDE)] = TissueClass.UNJUDGED
    return masked


def mask_glare(
    classes: ByteArray, burnt: BoolArray, *, step_mm: float, settings: MaskSettings
) -> ByteArray:
    """Take burnt-out areas that are no growth out of what can be judged.

    A mirrored lamp and white growth in strong light both burn out, and no colour is left to tell
    them apart; their surroundings do: amid growth a burnt-out area is growth or harmless, amid
    anything else it is a mirrored lamp.
    """
    masked = classes.copy()
    if not burnt.any():
        return masked
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        burnt.astype(np.uint8), connectivity=8
    )
    reach = max(1, round(settings.ring_mm / step_mm))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1,) * 2)
    least = settings.spot_min_mm2 / step_mm**2
    for label in range(1, count):
        x, y, width, height, cells = (int(v) for v in stats[label])
        if cells < least:
            continue
        near = np.s_[max(0, y - reach) : y + height + reach, max(0, x - reach) : x + width + reach]
        spot = (labels[near] == label).astype(np.uint8)
        grown = np.asarray(cv2.dilate(spot, kernel)) > 0
        around = classes[near][grown & ~burnt[near]]
        around = around[around > TissueClass.UNJUDGED]
        white = np.mean(around == TissueClass.MYCELIUM) if around.size else 0.0
        if white < settings.ring_white_share:
            lamp = burnt[near] | (classes[near] == TissueClass.MYCELIUM)
            masked[near][grown & lamp] = TissueClass.UNJUDGED
    masked[classes == TissueClass.OUTSIDE] = TissueClass.OUTSIDE
    return masked
