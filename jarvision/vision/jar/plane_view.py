"""The photo seen square-on in the plane of the card: a working view for finding the jar.

In this view every upright edge of the jar is a vertical line, however the phone was held: a line
parallel to the card's plane projects onto that plane as a parallel line.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np

from jarvision.records import (
    BoolArray,
    ByteArray,
    CardFit,
    ColourFit,
    Float32Array,
    FloatArray,
    Photo,
)
from jarvision.vision.colour.apply import correct

PX_PER_MM = 3.0
"""Enough for edges to a tenth of a millimetre, a third of the photo's own scale or less."""

LEFT_MM, RIGHT_MM = -10.0, 200.0
TOP_MM, BOTTOM_MM = -4.0, 300.0
"""Card-plane window: the card, and below it the table on which the jar's foot shows."""

Number = TypeVar("Number", float, FloatArray)


Window = tuple[slice, slice]
"""Rows and columns of the view, start and stop within it."""


@dataclass(frozen=True)
class PlaneView:
    """The photo in the card's plane, worked out where it is looked at: most of it never is.

    Attributes
    ----------
    photo_rgb
        ``(rows, cols, 3)`` sRGB bytes of the photo.
    to_photo
        Homography ``(3, 3)`` from pixels of the view to pixels of the photo.
    shape
        Rows and columns of the view.
    """

    photo_rgb: ByteArray
    to_photo: FloatArray
    shape: tuple[int, int]

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

    def window(self, y_mm: tuple[float, float], x_mm: tuple[float, float]) -> Window:
        """The part of the view between two heights and two sides."""
        rows, cols = self.shape
        top, bottom = (min(max(self.row(y), 0), rows) for y in y_mm)
        left, right = (min(max(self.column(x), 0), cols) for x in x_mm)
        return slice(top, bottom), slice(left, right)

    @property
    def whole(self) -> Window:
        """All of the view."""
        return slice(0, self.shape[0]), slice(0, self.shape[1])

    def rgb(self, window: Window) -> ByteArray:
        """Photo values ``(rows, cols, 3)``, sRGB-encoded, of a window; black outside the photo."""
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        size = _size(window)
        seen = cv2.warpPerspective(self.photo_rgb, self._from(window), size, flags=flags)
        return np.asarray(seen, dtype=np.uint8)

    def inside(self, window: Window) -> BoolArray:
        """Where ``(rows, cols)`` the photo has a pixel."""
        if self._sees_all(window):
            return np.ones(_size(window)[::-1], dtype=np.bool_)
        return _inside(self._from(window), _size(window), self.photo_rgb.shape)

    def _sees_all(self, window: Window) -> bool:
        """Tell whether the photo holds all corners of a window, and so what lies between them."""
        corners = [[x, y, 1.0] for y in (window[0].start, window[0].stop - 1)
                   for x in (window[1].start, window[1].stop - 1)]  # fmt: skip
        x, y, depth = self.to_photo @ np.array(corners).T
        rows, cols = self.photo_rgb.shape[:2]
        held = (x >= 0.0) & (x <= (cols - 1) * depth) & (y >= 0.0) & (y <= (rows - 1) * depth)
        return bool(held.all())

    def _from(self, window: Window) -> FloatArray:
        """Homography from pixels of a window to pixels of the photo."""
        corner = np.array([[1.0, 0, window[1].start], [0, 1.0, window[0].start], [0, 0, 1.0]])
        return np.asarray(self.to_photo @ corner)


def view_in_plane(photo: Photo, card: CardFit) -> PlaneView:
    """Look at the photo in the card's plane at 3 px/mm."""
    to_mm = np.array([[1 / PX_PER_MM, 0, LEFT_MM], [0, 1 / PX_PER_MM, TOP_MM], [0, 0, 1.0]])
    shape = (round((BOTTOM_MM - TOP_MM) * PX_PER_MM), round((RIGHT_MM - LEFT_MM) * PX_PER_MM))
    return PlaneView(photo.rgb, np.asarray(card.homography @ to_mm), shape)


def _size(window: Window) -> tuple[int, int]:
    """Width and height of a window."""
    return window[1].stop - window[1].start, window[0].stop - window[0].start


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
    # three rows, the last unused: OpenCV is fast for three channels only
    mix = np.array([[0.0, 0.0, 1.0], [0.5, 0.5, 0.0], [0.0, 0.0, 0.0]])
    blue, rest = (np.asarray(part) for part in cv2.split(correct(rgb, colour, mix=mix))[:2])
    for part in (blue, rest):
        np.maximum(part, 0.0, out=part)
        np.add(part, floor, out=part)
    return np.asarray(cv2.log(np.divide(blue, rest, out=blue)), dtype=np.float32)
