"""The photo seen square-on in the plane of the card: a working view for finding the jar.

In this view every upright edge of the jar is a vertical line, however the phone was held: a line
parallel to the card's plane projects onto that plane as a parallel line.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np

from jarvision.colour.apply import correct
from jarvision.records import (
    BoolArray,
    ByteArray,
    CardFit,
    ColourFit,
    Float32Array,
    FloatArray,
    Photo,
)

PX_PER_MM = 3.0
"""Enough for edges to a tenth of a millimetre, a third of the photo's own scale or less."""

LEFT_MM, RIGHT_MM = -10.0, 200.0
TOP_MM, BOTTOM_MM = -4.0, 300.0
"""Card-plane window: the card, and below it the table on which the jar's foot shows."""

Number = TypeVar("Number", float, FloatArray)


@dataclass(frozen=True)
class PlaneView:
    """The photo in the card's plane.

    Attributes
    ----------
    rgb
        ``(rows, cols, 3)`` sRGB-encoded photo values; black outside the photo.
    inside
        ``(rows, cols)`` True where the photo has a pixel.
    """

    rgb: ByteArray
    inside: BoolArray

    def column(self, x_mm: float) -> int:
        """Column of card-plane x."""
        return round((x_mm - LEFT_MM) * PX_PER_MM)

    def row(self, y_mm: float) -> int:
        """Row of card-plane y."""
        return round((y_mm - TOP_MM) * PX_PER_MM)

    def x_mm(self, column: Number) -> Number:
        """Card-plane x of a column's centre."""
        return column / PX_PER_MM + LEFT_MM

    def y_mm(self, row: Number) -> Number:
        """Card-plane y of a row's centre."""
        return row / PX_PER_MM + TOP_MM


def view_in_plane(photo: Photo, card: CardFit) -> PlaneView:
    """Warp the photo into the card's plane at 3 px/mm."""
    size = (round((RIGHT_MM - LEFT_MM) * PX_PER_MM), round((BOTTOM_MM - TOP_MM) * PX_PER_MM))
    to_mm = np.array([[1 / PX_PER_MM, 0, LEFT_MM], [0, 1 / PX_PER_MM, TOP_MM], [0, 0, 1.0]])
    to_photo = card.homography @ to_mm
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    rgb = cv2.warpPerspective(photo.rgb, to_photo, size, flags=flags)
    inside = _inside(to_photo, size, photo.rgb.shape)
    return PlaneView(rgb=np.asarray(rgb, dtype=np.uint8), inside=inside)


def _inside(to_photo: FloatArray, size: tuple[int, int], photo_shape: tuple[int, ...]) -> BoolArray:
    """Which pixels ``(rows, cols)`` of the view see the photo.

    The photo's four sides are straight lines in the view, so in each row the pixels between two
    columns see it.
    """
    last_x, last_y = photo_shape[1] - 1, photo_shape[0] - 1
    across, down, depth = to_photo
    sides = np.array([across, last_x * depth - across, down, last_y * depth - down])
    rest = sides[:, 1:2] * np.arange(size[1]) + sides[:, 2:3]  # + sides[:, 0] * column >= 0
    with np.errstate(divide="ignore", invalid="ignore"):
        meets = -rest / sides[:, :1]
    first = np.where(sides[:, :1] > 0.0, meets, np.where(rest >= 0.0, -np.inf, np.inf))
    last = np.where(sides[:, :1] < 0.0, meets, np.inf)
    first[sides[:, 0] < 0.0] = -np.inf
    columns = np.arange(size[0])
    seen: BoolArray = columns >= first.max(axis=0)[:, None]
    seen &= columns <= last.min(axis=0)[:, None]
    return seen


def blueness(rgb: ByteArray, colour: ColourFit) -> Float32Array:
    """Log ratio of blue to the mean of red and green, corrected colour: the field's own hue.

    A ratio, so that shadow and shading cancel. The blue-violet centre field has about 1.0;
    white, grain and straw lie below 0, bluish moulds below 0.45.
    """
    floor = np.float32(0.004)  # keeps the noise of near-black pixels from deciding
    parts = cv2.transform(correct(rgb, colour), np.array([[0, 0, 1], [0.5, 0.5, 0]]))
    blue, rest = (np.maximum(np.asarray(part), 0) + floor for part in cv2.split(parts))
    return np.asarray(cv2.log(np.asarray(blue / rest, dtype=np.float32)), dtype=np.float32)
