"""The size of the print, told by the edges of its page: paper does not shrink with what is printed.

The card is printed on A4 or US Letter, in the middle of the page. Where the upper edge and both
sides of the page show, they lie as far from the card as on one of the two papers at one size.
"""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import ByteArray, CardFit, Float32Array
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.card.marks import A4, LETTER
from jarvision.vision.card.pose import card_to_photo

_PX_PER_MM = 2.0
_REACH_MM = 34.0
"""Edges are sought so far outside the card: the upper one of A4 at 92 % lies there."""

_FROM_MM = 1.0
"""... and from here on: an edge of the card's own marks, blurred, is none of the page."""

_ENDS_MM = 12.0
"""The corners of the page are left out: they curl."""

_BANDS, _LINES = 8, 7
"""Each side is looked at in so many parts, each along so many lines, of which the median counts:
a thing that leans on the page hides a few parts."""

_STEP_BYTES = 6.0
"""Change of a band over a millimetre that is an edge: paper and its shading show 3 at most."""

_TOGETHER_MM = 0.8
_TOGETHER_MIN = 5
"""At least so many of the bands agree on the edge to within this."""

_ASKEW_MM, _OFF_MM = 1.0, 1.25
"""The left and the right margin differ by less than the first, for what is printed stands in the
page's middle, and the upper one is off that of a paper by less than the second: on 115 rendered
photos by 0.15 and 0.95 mm at most."""


def print_scale_seen(rgb: ByteArray, card: CardFit, *, layout: CardLayout) -> float | None:
    """Size of the print over the size it is taken for; None where the page does not tell.

    Parameters
    ----------
    rgb
        ``(rows, cols, 3)`` sRGB bytes.
    layout
        The card in the size it is taken for.

    Notes
    -----
    The sides alone leave it open: Letter at 97 % is as wide as A4 at 94 %. The upper margin then
    differs by 12 mm. A trimmed page, or one glued to a board, agrees with neither paper.
    """
    wide, high = layout.width_mm, layout.height_mm
    sides = (_ENDS_MM, high - _ENDS_MM)
    left = _margin_mm(rgb, card, (0.0, sides[0]), (-1.0, 0.0), sides[1] - sides[0])
    right = _margin_mm(rgb, card, (wide, sides[0]), (1.0, 0.0), sides[1] - sides[0])
    if left is None or right is None or abs(left - right) > _ASKEW_MM:
        return None
    above = _margin_mm(rgb, card, (_ENDS_MM, 0.0), (0.0, -1.0), wide - 2.0 * _ENDS_MM)
    if above is None:
        return None
    for paper in (A4, LETTER):
        scale = paper.width_mm / (left + wide + right)
        if abs(above - (paper.height_mm / scale - high) / 2.0) < _OFF_MM:
            return float(scale)
    return None


def _margin_mm(
    rgb: ByteArray,
    card: CardFit,
    start_mm: tuple[float, float],
    outwards: tuple[float, float],
    length_mm: float,
) -> float | None:
    """Distance of the page's edge from a side of the card, which runs on from ``start_mm``."""
    out_mm = np.arange(round(_REACH_MM * _PX_PER_MM)) / _PX_PER_MM
    along_mm = (np.arange(_BANDS * _LINES) + 0.5) / (_BANDS * _LINES) * length_mm
    out, along = np.array(outwards), np.abs(outwards)[::-1]
    places = start_mm + out_mm[:, None] * out + along_mm[:, None, None] * along
    at = card_to_photo(places, card.homography).astype(np.float32)
    last = np.array(rgb.shape[1::-1], np.float32) - 1.0
    inside = ((at >= 0.0) & (at <= last)).all(axis=-1).reshape(_BANDS, _LINES, -1).all(axis=1)
    seen = cv2.remap(rgb, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    lines = seen.reshape(_BANDS, _LINES, -1, 3)
    bands = np.sort(lines, axis=1)[:, _LINES // 2].astype(np.float32)  # the median of an odd number
    smooth = np.asarray(cv2.GaussianBlur(bands, (0, 0), 1.0, sigmaY=0.01))
    change = np.zeros(inside.shape, np.float32)
    change[:, 1:-1] = np.abs(smooth[:, 2:] - smooth[:, :-2]).max(axis=2)
    change[~inside] = 0.0
    found = [edge for band in change if (edge := _first_peak(band)) is not None]
    if not found:
        return None
    middle = float(np.median(found)) / _PX_PER_MM
    together = np.count_nonzero(np.abs(np.array(found) / _PX_PER_MM - middle) < _TOGETHER_MM)
    return middle if together >= _TOGETHER_MIN else None


def _first_peak(change: Float32Array) -> float | None:
    """Column of the first edge in the change ``(columns,)`` from the card outwards."""
    here = change[1:-1]
    peak = (here >= change[:-2]) & (here > change[2:]) & (here >= _STEP_BYTES)
    peak[: round(_FROM_MM * _PX_PER_MM)] = False
    first = int(peak.argmax())
    if not peak[first]:
        return None
    before, top, after = (float(value) for value in change[first : first + 3])
    return first + 1.0 + (before - after) / (2.0 * (before - 2.0 * top + after))
