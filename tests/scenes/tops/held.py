"""The phone above the mouth: pose and focal length."""

from __future__ import annotations

import numpy as np

from jarvision.records import FloatArray
from tests.scenes.pinhole import FULL_FRAME_DIAGONAL_MM, Pinhole, turn

from .spec import TO_WORLD, Held

WIDEST_35MM = 24  # what phones have at least
MARGIN = 0.03  # of the frame, left around the sheet at the longest focal length


def hold_above(held: Held, corners: FloatArray, *, width: int, height: int) -> Pinhole:
    """Camera over the rim that looks at its middle.

    ``corners`` are the sheet's, mouth frame, ``(4, 3)`` mm. With ``zoom`` 1 the focal length is the
    longest whole one at which they are all in the frame.
    """
    lean, to = np.deg2rad(held.lean_deg), np.deg2rad(held.lean_to_deg)
    out = np.array([np.sin(lean) * np.cos(to), np.sin(lean) * np.sin(to), -np.cos(lean)])
    target = np.array([*held.aside_mm, 0.0])
    centre = target + held.distance_mm * out
    forward = -out
    side = np.cross(np.array([0.0, 1.0, 0.0]), forward)
    side /= np.linalg.norm(side)
    level = np.stack([side, np.cross(forward, side), forward])
    rotation = turn(2, held.turn_deg) @ level
    local = (corners - centre) @ rotation.T
    slope = np.abs(local[:, :2] / local[:, 2:]).max(axis=0)
    frame = np.array([width, height]) * (0.5 - MARGIN)
    longest = float((frame / slope).min()) / np.hypot(width, height) * FULL_FRAME_DIAGONAL_MM
    focal = max(WIDEST_35MM, int(np.floor(longest * held.zoom)))
    return Pinhole(rotation @ TO_WORLD.T, TO_WORLD @ centre, focal, width, height)
