"""Why the card was not found: too dark, burnt out, blurred, too far, or truly not there."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import ByteArray, CardFit, Photo
from jarvision.vision.card.find import find_card
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.card.squares import Squares

_DARK_BYTE = 40
"""A picture whose brightest hundredth stays below this holds no white: 2 % of the full signal."""

_BURNT_BYTE, _BURNT_SHARE = 252, 0.4
"""A picture with so much of it at the end of all channels has lost its card in the light."""

_SHRINKS = (0.5, 0.25)
"""Blur that hides the marks shrinks with the picture: found there, the card is only blurred."""

_LOOK_SIDE_PX = 800
_SHARPEST_MAX_PX = 6.0
"""Contrast over steepest slope, at this size: 2.3 to 2.8 px in sharp photos of the card, 4 px in
any sharp photo, 6 px when the marks can no longer be read for blur (Gaussian of 4 px of 1500)."""

_CROPS = (0.5, 0.3)
"""Middle shares of the picture in which the marks of a distant card are large enough."""


def find_card_or_say_why(
    photo: Photo, *, layout: CardLayout, squares: Squares | None = None
) -> CardFit:
    """Locate the card, or find out what to tell the grower; looks again only when it must.

    ``squares`` are those of the photo, when they are known already.

    Raises
    ------
    PhotoRefusedError
        ``underexposed``, ``overexposed``, ``blurred``, ``too_small`` or ``no_card``.
    """
    try:
        return find_card(photo.rgb, photo.focal_px, layout=layout, squares=squares)
    except PhotoRefusedError as refusal:
        raise _better(refusal, photo, layout) from None


def _better(refusal: PhotoRefusedError, photo: Photo, layout: CardLayout) -> PhotoRefusedError:
    if np.percentile(photo.rgb[::4, ::4].max(axis=-1), 99.0) < _DARK_BYTE:
        return PhotoRefusedError("underexposed", f"nothing bright in it: {refusal.detail}")
    burnt = float((photo.rgb[::4, ::4].min(axis=-1) >= _BURNT_BYTE).mean())
    if burnt > _BURNT_SHARE:
        return PhotoRefusedError("overexposed", f"{burnt:.0%} of the photo is burnt out")
    sharpest = _sharpest_px(photo.rgb)
    if sharpest > _SHARPEST_MAX_PX:
        share = sharpest / _LOOK_SIDE_PX
        return PhotoRefusedError("blurred", f"no edge is narrower than {share:.1%} of the photo")
    for share in _SHRINKS:
        small = cv2.resize(photo.rgb, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
        if _shows_card(np.asarray(small, dtype=np.uint8), photo.focal_px * share, layout):
            return PhotoRefusedError("blurred", "the card's marks can only be read when shrunk")
    if _shows_card(np.ascontiguousarray(photo.rgb[:, ::-1]), photo.focal_px, layout):
        return PhotoRefusedError("no_card", "the card is mirrored: the photo, or the print, is")
    rows, cols = photo.rgb.shape[:2]
    for share in _CROPS:
        top, left = (round(side * (1.0 - share) / 2) for side in (rows, cols))
        middle = np.ascontiguousarray(photo.rgb[top : rows - top, left : cols - left])
        if _shows_card(middle, photo.focal_px, layout):
            return PhotoRefusedError("too_small", "the card fills too little of the photo")
    return refusal


def _sharpest_px(rgb: ByteArray) -> float:
    """Width of the sharpest edges: the picture's contrast over its steepest slopes, px."""
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    shrink = min(1.0, _LOOK_SIDE_PX / max(grey.shape))
    grey = cv2.resize(grey, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    down, across = (cv2.Sobel(grey, cv2.CV_32F, *way, ksize=3) / 8 for way in ((0, 1), (1, 0)))
    low, high = np.percentile(grey, (1.0, 99.0))
    steepest = np.percentile(np.hypot(down, across), 99.8)
    return float((high - low) / max(steepest, 1e-3))


def _shows_card(rgb: ByteArray, focal_px: float, layout: CardLayout) -> bool:
    try:
        find_card(rgb, focal_px, layout=layout)
    except PhotoRefusedError:
        return False
    return True
