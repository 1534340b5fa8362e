"""Whether a photo was taken through the hood.

Its folds mirror the lamp where matt print cannot, and its mist lies in patches over the ring's one
even colour around the mouth.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter1d, median_filter

from jarvision.base.colourspace import LUMINANCE, byte_to_linear_table
from jarvision.base.errors import PhotoRefusedError
from jarvision.records import BoolArray, CardFit, Photo
from jarvision.settings.surface import SurfaceSettings
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.card.pose import card_to_photo

_PX_PER_MM = 4.0
_EDGE_MM = 1.0
"""Edges of the print are left to blur."""

_BAND_MM = (46.6, 48.4)
"""The field's colour beyond the widest hole."""

_AROUND, _ACROSS = 720, 9
_FINE, _SLOW = 2.0, 61
"""Steps of half a degree, 0.4 mm: noise is smoothed over 0.8 mm, slopes lie over 25 mm."""

_OTHER_TINT, _DARKEST = 0.5, 2e-3
_VARIES_PERCENT = 80.0

_DARK_MAX = 0.35
"""Luminance of print that cannot look white."""

_GLINT_MAX_MM2 = 12.0
"""What is white over a larger place is a thing on the ring, such as a pale cap."""

_WHITE_BYTE = 215
_ABOVE_USUAL = 60
"""A glint is white, and lighter by so many levels than such print usually is in the photo."""


def accept_no_hood(
    photo: Photo, card: CardFit, *, layout: CardLayout, settings: SurfaceSettings
) -> None:
    """Check that no hood lies over ring and mouth.

    Raises
    ------
    PhotoRefusedError
        ``through_hood``.
    """
    share = glint_share(photo, card, layout=layout)
    if share > settings.glints_max:
        raise PhotoRefusedError(
            "through_hood", f"lamps are mirrored on {share:.1%} of the ring's dark print"
        )
    patchy = patchiness(photo, card, layout=layout)
    if patchy > settings.patchy_max:
        raise PhotoRefusedError(
            "through_hood", f"the ring's colour around the mouth varies by {patchy:.0%}"
        )


def glint_share(photo: Photo, card: CardFit, *, layout: CardLayout) -> float:
    """Share, 0 to 1, of the ring's dark print that looks as white as a mirrored lamp."""
    rows, cols = (round(side * _PX_PER_MM) for side in (layout.height_mm, layout.width_mm))
    x, y = np.meshgrid((np.arange(cols) + 0.5) / _PX_PER_MM, (np.arange(rows) + 0.5) / _PX_PER_MM)
    at = card_to_photo(np.stack([x, y], axis=-1), card.homography).astype(np.float32)
    seen = cv2.remap(photo.rgb, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
    least = np.asarray(seen).min(axis=-1).astype(np.int16)
    places, white = 0, np.zeros(least.shape, np.uint8)
    for mask in _dark_print(layout):
        usual = float(np.median(least[mask]))
        white |= mask & (least > max(_WHITE_BYTE, usual + _ABOVE_USUAL))
        places += int(np.count_nonzero(mask))
    _, _, stats, _ = cv2.connectedComponentsWithStats(white)
    areas = stats[1:, cv2.CC_STAT_AREA]
    return float(areas[areas <= _GLINT_MAX_MM2 * _PX_PER_MM**2].sum()) / places


def patchiness(photo: Photo, card: CardFit, *, layout: CardLayout) -> float:
    """How far the light of the ring's colour varies around the mouth, over some mm, as a share.

    Only places of that colour are asked: fruit that hangs over the ring is none. A slope of the
    light is none either.
    """
    angle = np.arange(_AROUND) * (2.0 * np.pi / _AROUND)
    way = np.column_stack([np.cos(angle), np.sin(angle)])
    radii = np.linspace(*_BAND_MM, _ACROSS)
    points = np.array(layout.field.centre_mm) + radii[:, None, None] * way
    at = card_to_photo(points, card.homography).astype(np.float32)
    seen = cv2.remap(photo.rgb, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
    band = np.median(byte_to_linear_table()[np.asarray(seen)], axis=0)
    logs = np.log(np.maximum(band, _DARKEST))
    tint = logs[:, [0, 2]] - logs[:, [1]]
    own = np.linalg.norm(tint - np.median(tint, axis=0), axis=1) < _OTHER_TINT
    light = gaussian_filter1d(logs.mean(axis=1), _FINE, mode="wrap")
    varies = light - median_filter(light, _SLOW, mode="wrap")
    return float(np.percentile(np.abs(varies[own]), _VARIES_PERCENT))


@lru_cache(maxsize=4)
def _dark_print(layout: CardLayout) -> tuple[BoolArray, ...]:
    """Masks ``(rows, cols)`` of the dark swatches and of the band around the hole."""
    rows, cols = (round(side * _PX_PER_MM) for side in (layout.height_mm, layout.width_mm))
    x, y = np.meshgrid((np.arange(cols) + 0.5) / _PX_PER_MM, (np.arange(rows) + 0.5) / _PX_PER_MM)
    away = np.hypot(x - layout.field.centre_mm[0], y - layout.field.centre_mm[1])
    masks = [np.asarray((away > _BAND_MM[0]) & (away < _BAND_MM[1]))]
    for swatch, light in zip(layout.swatches, layout.nominal_linear @ LUMINANCE, strict=True):
        if light > _DARK_MAX:
            continue
        across, down = np.abs(x - swatch.centre_mm[0]), np.abs(y - swatch.centre_mm[1])
        inside = across < swatch.width_mm / 2 - _EDGE_MM
        masks.append(np.asarray(inside & (down < swatch.height_mm / 2 - _EDGE_MM)))
    return tuple(masks)
