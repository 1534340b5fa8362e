"""Wall -> Wall: what cannot be judged is masked, never counted as growth."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from jarvision.photo_settings import MaskSettings
from jarvision.records import Photo, Wall


def mask_wall(wall: Wall, *, photo: Photo, settings: MaskSettings) -> Wall:
    """Take mirrored lamps out of ``judged``.

    A mirrored lamp adds its own light to what lies behind the glass: it clips the camera and,
    corrected, is brighter than any diffuse surface under the card's light can be.
    """
    seen = cv2.remap(photo.rgb, wall.pixels[..., 0], wall.pixels[..., 1], cv2.INTER_NEAREST)
    burnt = seen.min(axis=2) >= settings.clipped_level
    brighter = wall.linear.min(axis=2) > settings.diffuse_max
    glare = (burnt | brighter).astype(np.uint8)
    side = 2 * settings.glare_margin_cells + 1
    glare = cv2.dilate(glare, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)))
    return replace(wall, judged=wall.judged & wall.filled & (glare == 0))
