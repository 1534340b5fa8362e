"""What hides the wall though it looks like contents: fog low on the glass, labels, tape.

In all pictures that the networks learned from fog hangs below the fill line. Low on the wall they
take it for growth: white and without detail. So they are shown the contents a second time, turned
upside down: then low fog hangs where they know it, and growth, which has no up and down of its own,
looks as before. Labels look the same either way; the generalist knows them best.
"""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import (
    OFF_COLOUR,
    BoolArray,
    ByteArray,
    Float32Array,
    RawWall,
    TissueClass,
)
from jarvision.settings.tissue import VeilSettings
from jarvision.vision.tissue.network import Expert, chance_of, run_network
from jarvision.vision.tissue.reference import with_reference

_OF_PLACE = slice(3, 6)
"""Channels that say where a place is: they stay when the contents are turned."""


def find_veil(
    raw: RawWall,
    channels: Float32Array,
    classes: ByteArray,
    filled: BoolArray,
    *,
    settings: VeilSettings,
) -> BoolArray:
    """Places ``(rows, cols)`` of the contents that are hidden, though they were judged.

    Parameters
    ----------
    channels
        Inputs of the specialist, padded.
    classes
        What was seen on the upright wall.
    filled
        Where contents stand.
    """
    judged = classes > TissueClass.UNJUDGED
    lines = np.flatnonzero(filled.mean(axis=1) >= 0.5)
    if lines.size == 0:
        return np.zeros_like(judged)
    contents = slice(int(lines[0]), int(lines[-1]) + 1)
    turned = _turned(channels, contents)
    fog = _hidden("specialist", turned, contents, filled)
    label = _hidden("generalist", with_reference(turned, None), contents, filled)
    stuck = label >= settings.label_chance_min
    # A mould behind fog is a mould all the same; print and paper are what is taken for one.
    misty = (fog >= settings.fog_chance_min) & (label >= settings.doubt_min)
    misty &= ~np.isin(classes, OFF_COLOUR)
    return _areas((misty | stuck) & filled, raw, settings) & judged


def _turned(channels: Float32Array, contents: slice) -> Float32Array:
    """Inputs of the wall with its contents head down; the glass around them stays."""
    turned = channels.copy()
    turned[:, contents] = channels[:, contents][:, ::-1]
    turned[_OF_PLACE] = channels[_OF_PLACE]
    return turned


def _hidden(
    expert: Expert, turned: Float32Array, contents: slice, filled: BoolArray
) -> Float32Array:
    """Chance that a place of the contents is hidden, ``(rows, cols)``, turned back; 0 elsewhere."""
    rows, cols = filled.shape
    chance = chance_of(TissueClass.UNJUDGED, run_network(expert, turned)[:, :rows, :cols])
    back = np.zeros_like(chance)
    back[contents] = chance[contents][::-1]
    return back


def _areas(veil: BoolArray, raw: RawWall, settings: VeilSettings) -> BoolArray:
    """Without specks and bridges, and with the border, where veil and contents mix."""
    if not veil.any():
        return veil
    opened = cv2.morphologyEx(veil.astype(np.uint8), cv2.MORPH_OPEN, _disc(settings.thin_mm, raw))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(opened, connectivity=8)
    large = stats[:, cv2.CC_STAT_AREA] * raw.cell_cm2 >= settings.area_min_cm2
    large[0] = False
    kept = large[labels].astype(np.uint8)
    return np.asarray(cv2.dilate(kept, _disc(settings.border_mm, raw))) > 0


def _disc(radius_mm: float, raw: RawWall) -> np.ndarray:
    return cv2.getStructuringElement(
        cv2.MORPH_ELLIPSE, (2 * max(1, round(radius_mm / raw.step_mm)) + 1,) * 2
    )
