"""What of the growth hangs together with what may be a veil, and is in doubt with it.

Two kinds of evidence. The one is :mod:`jarvision.vision.tissue.doubt`, place by place. The other is
the colour of what shows through. A veil adds the same grey light everywhere, ``seen = (1 - a)
contents + a light``: where the contents are darker more of the sum is the veil's, so that what is
darker is bluer, the contents being brown. Growth does the contrary: what is darker is a hole or a
thin place, through which brown contents show, or a hollow that growth lights with its own warm
light; mere shading leaves the colour alone. But mirrored light is such a veil, too, and two lamps
of two colours give shade a colour: so the colour alone doubts nothing, unless it speaks over half
of an area.

Neither speaks everywhere, and a veil does not end where they fall silent. So what is white is taken
area by area, and an area for which enough of either speaks is doubted whole, with the stain and the
hidden places in it, which the networks call covered as readily.
"""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.base.colourspace import LUMINANCE
from jarvision.records import BoolArray, Float32Array, RawWall
from jarvision.settings.tissue import VeilSettings

_FINE_MM, _COARSE_MM = 0.5, 2.5
"""Detail between these sizes is compared: finer, a photo keeps no colours."""

_ACROSS_MM = 8.0
"""... over a square so wide."""

_LIGHT_FLOOR = np.float32(0.01)
_DETAIL_FLOOR = np.float32(0.03)
"""Detail of this share of the light and less has no colour of its own: noise is as much."""

_BRIDGE_MM = 2.0
"""Areas so near to each other are one: clear drops and tracks part a veil."""


def doubted_together(
    raw: RawWall,
    grown: BoolArray,
    white: BoolArray,
    hidden: BoolArray,
    doubted: BoolArray,
    *,
    settings: VeilSettings,
) -> BoolArray:
    """Places ``(rows, cols)`` that are doubted, on their own or with the area that they lie in.

    Parameters
    ----------
    grown
        What was read as growth.
    white
        This, and what else may be part of a veil.
    hidden
        What of it was read as hidden: that is as good as doubt.
    doubted
        Growth that may be a veil, place by place.
    """
    if not grown.any():
        return doubted
    near = cv2.getStructuringElement(
        cv2.MORPH_ELLIPSE, (2 * round(_BRIDGE_MM / 2.0 / raw.step_mm) + 1,) * 2
    )
    count, areas = cv2.connectedComponents(cv2.dilate(white.view(np.uint8), near))
    bluer = grown & (blue_over_light(raw, white) < settings.bluer_when_darker)
    unseen = doubted | hidden
    in_all, in_doubt, in_either = (
        np.bincount(areas[part], minlength=count)
        for part in (grown | hidden, unseen, unseen | bluer)
    )
    whole = in_doubt >= settings.doubted_share_min * in_all
    whole |= in_either >= settings.suspect_share_min * in_all
    whole &= in_all > 0
    return np.asarray(doubted | (white & whole[areas]))


def blue_over_light(raw: RawWall, where: BoolArray) -> Float32Array:
    """How much more blue over red there is where it is lighter, ``(rows, cols)``.

    The slope of the detail of blue over red on the detail of light, both relative to what surrounds
    it within a few millimetres: below 0 what is darker is bluer, above 0 browner. Where there is
    hardly any detail it is near 0.

    Parameters
    ----------
    where
        Places that count; elsewhere it says nothing.
    """
    linear = np.maximum(raw.linear, np.float32(0.0))
    fine, coarse = (
        cv2.GaussianBlur(linear, (0, 0), mm / raw.step_mm) for mm in (_FINE_MM, _COARSE_MM)
    )
    detail = (fine - coarse) / (coarse + _LIGHT_FLOOR)
    light = np.asarray(cv2.transform(detail, LUMINANCE[None]), dtype=np.float32)
    blue = detail[..., 2] - detail[..., 0]
    size = (max(1, round(_ACROSS_MM / raw.step_mm)),) * 2
    share = where.astype(np.float32)
    weight = cv2.blur(share, size) + np.float32(1e-6)
    both = cv2.blur(blue * light * share, size) / weight
    square = cv2.blur(light * light * share, size) / weight
    return np.asarray(both / (square + _DETAIL_FLOOR**2), dtype=np.float32)
