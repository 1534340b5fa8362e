"""Whether the card's field shows through the jar, where contents would hide it."""

from __future__ import annotations

import numpy as np

from jarvision.base.colourspace import byte_to_linear_table
from jarvision.records import BoolArray, CardFit, Float32Array, FloatArray, RawWall, Wall
from jarvision.settings.sight import SightSettings
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.card.pose import card_to_photo

_FOOT_MM = 1.0, 7.0
"""It is looked so far above the field's lower edge, mm in the card's plane: past the blur of that
edge, and no higher than must be, so that low contents are read. Under it the page is white, which
seen through glass is taken for growth: contents that do not reach the field cannot be judged."""

_BORDER_MM = 3.0
"""... and so far inside its sides."""

_EVERY = 2
"""Every second row and column of the wall."""

_BAND_MM, _UNDER_LINE_MM = 6.0, 8.0
"""Glass under the contents of a jar on its head is at least so high; so far under the fill line,
which is not straight, it is not looked for."""

_BEFORE_FIELD_DEG = 45.0
"""Contents within this wall angle stand before the field, not before the swatches beside it."""


def field_shows(
    wall: RawWall, card: CardFit, *, layout: CardLayout, settings: SightSettings
) -> float:
    """Share of the wall before the foot of the card's field through which its hue shows, 0 to 1.

    Contents stand on the floor, so they hide the foot of the field first;
    labels, drops and mirrored lamps leave most of it. Zero where no wall stands before it.
    """
    pixels = wall.pixels[::_EVERY, ::_EVERY].astype(np.float64)
    to_card = np.asarray(np.linalg.inv(card.homography), dtype=np.float64)
    foot = _before_foot(card_to_photo(pixels, to_card), layout)
    if not foot.any():
        return 0.0
    return float(_blue(wall.linear[::_EVERY, ::_EVERY][foot], layout, settings).mean())


def below_field(wall: RawWall, card: CardFit, *, layout: CardLayout) -> BoolArray:
    """Wall ``(rows, cols)`` before the white page under the field: nothing blue stands there."""
    to_card = np.asarray(np.linalg.inv(card.homography), dtype=np.float64)
    plane_mm = card_to_photo(wall.pixels.astype(np.float64), to_card)
    under: BoolArray = plane_mm[..., 1] > layout.field.y_mm + layout.field.height_mm + _BORDER_MM
    return under & (wall.heights_mm > 0.0)[:, None]


def reach_field(wall: Wall, card: CardFit, *, layout: CardLayout) -> float:
    """Share of the columns in which judged contents reach above the foot of the field, 0 to 1.

    Of an empty jar the white page under the field is taken for contents, up to its edge or to tape
    that hides it. One where no column stands before the field.
    """
    field = layout.field
    to_card = np.asarray(np.linalg.inv(card.homography), dtype=np.float64)
    coarse = np.s_[::_EVERY, ::_EVERY]
    plane_mm = card_to_photo(wall.pixels[coarse].astype(np.float64), to_card)
    aside: FloatArray = np.abs(plane_mm[..., 0] - field.x_mm - field.width_mm / 2)
    before: BoolArray = aside < field.width_mm / 2
    above: BoolArray = plane_mm[..., 1] < field.y_mm + field.height_mm - _FOOT_MM[0]
    contents = wall.judged[coarse] & before
    stands = np.asarray(contents.any(axis=0))
    reaches = np.asarray((contents & above).any(axis=0))
    return float(reaches[stands].mean()) if stands.any() else 1.0


def field_within(wall: Wall, *, layout: CardLayout, settings: SightSettings) -> float:
    """Largest share of a level band of the contents through which the field's hue shows, 0 to 1.

    Contents let nothing through, so there is none: a jar on its head has empty glass there.
    """
    front = wall.columns_within(_BEFORE_FIELD_DEG)
    full = np.flatnonzero(wall.filled[:, front].mean(axis=1) > 0.9)
    under, band = (round(mm / wall.step_mm) for mm in (_UNDER_LINE_MM, _BAND_MM))
    if full.size < under + band:
        return 0.0
    inside = wall.linear[full[0] + under : full[-1] + 1, front]
    shows = _blue(inside, layout, settings).mean(axis=1)
    return float(np.convolve(shows, np.full(band, 1.0 / band), "valid").max())


def _blue(seen: Float32Array, layout: CardLayout, settings: SightSettings) -> BoolArray:
    """Where the field shows in linear colours ``(..., 3)``."""
    field = byte_to_linear_table()[np.array(layout.field.rgb8)]
    blue = _excess(seen) > settings.field_excess_min * _excess(field)
    # pale contents under bluish light exceed it, too, but their colour is far paler
    pale = (seen[..., 0] + seen[..., 1]) / 2
    return np.asarray(blue & (seen[..., 2] > settings.field_ratio_min * pale))


def _excess(linear: FloatArray | Float32Array) -> FloatArray:
    """Blue over the mean of red and green; grey light from elsewhere does not change it."""
    return np.asarray(linear[..., 2] - (linear[..., 0] + linear[..., 1]) / 2)


def _before_foot(plane_mm: FloatArray, layout: CardLayout) -> BoolArray:
    """Which sight lines end in the foot of the field, straight on."""
    field = layout.field
    above = field.y_mm + field.height_mm - plane_mm[..., 1]
    inside = np.abs(plane_mm[..., 0] - field.x_mm - field.width_mm / 2)
    within: BoolArray = inside < field.width_mm / 2 - _BORDER_MM
    return within & (above > _FOOT_MM[0]) & (above < _FOOT_MM[1])
