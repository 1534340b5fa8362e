"""RawWall -> what the tissue network sees: colour as log ratios, and where a place is."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.base.colourspace import LUMINANCE
from jarvision.records import BoolArray, Float32Array, RawWall

CHANNELS = 7
_LIGHT_FLOOR = np.float32(0.004)
"""Linear light added before a logarithm: keeps the noise of near-black pixels small."""

MIDDLE = np.array([-1.2, 0.15, -0.45], dtype=np.float32)
SPREAD = np.array([0.9, 0.25, 0.45], dtype=np.float32)
"""Rough middle and spread of the three logs over jars: brings the inputs near -1 to 1."""

_HEIGHT_MM = 100.0


def network_inputs(wall: RawWall, burnt: BoolArray, *, multiple: int = 1) -> Float32Array:
    """Channels ``(7, rows, cols)`` of a wall; zeros below and to the right fill up a multiple.

    Three logs (luminance over the card's white; red over green; blue over green: the ratios do
    not change with the strength of the light), the sine of the wall angle and its square (how
    the light falls off at the sides), height over the expected floor in 100 mm, and where the
    camera is burnt out.
    """
    linear = np.maximum(wall.linear, np.float32(0.0))
    linear += _LIGHT_FLOOR
    red, green, blue = (np.asarray(band) for band in cv2.split(np.asarray(cv2.log(linear))))
    luminance = np.asarray(cv2.log(cv2.transform(linear, LUMINANCE[None])))
    rows, cols = green.shape
    padded = np.zeros((CHANNELS, rows + -rows % multiple, cols + -cols % multiple), np.float32)
    channels = padded[:, :rows, :cols]
    channels[0] = luminance
    np.subtract(red, green, out=channels[1])
    np.subtract(blue, green, out=channels[2])
    channels[:3] -= MIDDLE[:, None, None]
    channels[:3] /= SPREAD[:, None, None]
    sine = np.sin(np.deg2rad(wall.angles_deg)).astype(np.float32)
    channels[3], channels[4] = sine, sine * sine
    channels[5] = (wall.heights_mm / _HEIGHT_MM).astype(np.float32)[:, None]
    channels[6] = burnt
    return padded
