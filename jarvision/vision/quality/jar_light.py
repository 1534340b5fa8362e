"""Whether the jar stands in the card's light: a lamp of its own colours all of its wall.

The card says which light falls on the card. A grow light or a coloured lamp that falls on the jar
alone makes growth look like mould or like bare contents, and cannot be taken out: nothing in the
jar is of a known colour. It shows where nothing on the wall has a colour that contents or growth
can have. Mould and mirrored things colour a part of the wall, a lamp all of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from jarvision.records import BoolArray, RawWall

_SMOOTH_CELLS = 9
"""Colours are averaged over 2.5 mm: noise and the shadows between kernels say nothing."""

_ACROSS_DEG = 50.0
"""Beyond this wall angle the glass mirrors the room."""

_EVERY = 2
"""Every second row and column of the wall."""

_LIGHT_FLOOR = np.float32(0.004)

_BLUE_SHARE, _GREY = 0.54, 0.05
"""Log red over green falls by this share of log blue over green, from this value for grey: white,
straw, grain and brown lie near that line (regression over the walls of 299 rendered photos)."""

_END_SHARE = 0.05
"""So much of the wall may have any colour, at either end."""


@dataclass(frozen=True)
class WallTint:
    """Colours of the contents, but for the outermost twentieths, natural logarithms of ratios.

    Attributes
    ----------
    pink
        Least and greatest distance from the line of white, straw, grain and brown: pink above zero,
        green below.
    blue
        Least and greatest blue over green: white and grey near zero, straw and brown below.
    """

    pink: tuple[float, float]
    blue: tuple[float, float]


def wall_tint(wall: RawWall, contents: BoolArray) -> WallTint | None:
    """Measure the colours of the contents ``(rows, cols)`` of a wall; None where there are none."""
    light = np.asarray(cv2.blur(wall.linear, (_SMOOTH_CELLS, _SMOOTH_CELLS)))
    part = np.s_[::_EVERY, ::_EVERY]
    front = np.abs(wall.angles_deg[::_EVERY]) < _ACROSS_DEG
    there = contents[part] & front
    if not there.any():
        return None
    red, green, blue = np.log(np.maximum(light[part][there], 0.0) + _LIGHT_FLOOR).T
    blue = blue - green
    pink = red - green + np.float32(_BLUE_SHARE) * blue - np.float32(_GREY)
    return WallTint(pink=_ends(pink), blue=_ends(blue))


def _ends(values: np.ndarray[tuple[int, ...], np.dtype[np.float32]]) -> tuple[float, float]:
    low, high = np.percentile(values, (100.0 * _END_SHARE, 100.0 * (1.0 - _END_SHARE)))
    return float(low), float(high)
