"""What hides the wall though it looks like contents: fog low on the glass, labels, tape.

In all pictures that the networks learned from fog hangs below the fill line. Low on the wall they
take it for growth: white and without detail. So they are shown the contents a second time, turned
upside down: then low fog hangs where they know it, and growth, which has no up and down of its own,
looks as before. Labels look the same either way; the generalist knows them best.
"""

from __future__ import annotations

from dataclasses import dataclass

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
from jarvision.vision.tissue.doubt import Chances, find_doubt
from jarvision.vision.tissue.network import Expert, hidden_and_covered
from jarvision.vision.tissue.reference import with_reference
from jarvision.vision.tissue.together import doubted_together

_OF_PLACE = slice(3, 6)
"""Channels that say where a place is: they stay when the contents are turned."""

_LIKE_A_VEIL = (TissueClass.UNJUDGED, TissueClass.MYCELIUM, TissueClass.STAIN)
"""What a veil over bare contents is read as, and counts as covered."""


@dataclass(frozen=True)
class Veil:
    """Places ``(rows, cols)`` of the contents that a veil hides, though they were judged.

    Attributes
    ----------
    hidden
        What stands there is not known.
    doubted
        What counts as covered there may be a veil over bare contents.
    """

    hidden: BoolArray
    doubted: BoolArray


def look_head_down(
    channels: Float32Array, upright: Float32Array, filled: BoolArray
) -> Chances | None:
    """What the networks say of the wall with its contents head down; None without contents.

    Parameters
    ----------
    channels
        Inputs of the specialist, padded.
    upright
        Its chance ``(rows, cols)`` that a place is hidden, on the upright wall.
    filled
        Where contents stand.
    """
    lines = np.flatnonzero(filled.mean(axis=1) >= 0.5)
    if lines.size == 0:
        return None
    contents = slice(int(lines[0]), int(lines[-1]) + 1)
    turned = _turned(channels, contents)
    fog, fog_cover = _told("specialist", turned, contents, filled)
    label, label_cover = _told("generalist", with_reference(turned, None), contents, filled)
    return Chances(upright, fog, label, fog_cover, label_cover)


def find_veil(
    raw: RawWall,
    said: Chances,
    classes: ByteArray,
    filled: BoolArray,
    *,
    settings: VeilSettings,
) -> Veil:
    """Find what is veiled, and what may be.

    Parameters
    ----------
    said
        What the networks say of the wall head down.
    classes
        What was seen on the upright wall.
    filled
        Where contents stand.
    """
    judged = classes > TissueClass.UNJUDGED
    stuck = said.label >= settings.label_chance_min
    # A mould behind fog is a mould all the same; print and paper are what is taken for one.
    misty = (said.fog >= settings.fog_chance_min) & (said.label >= settings.doubt_min)
    misty &= ~np.isin(classes, OFF_COLOUR)
    hidden = _areas((misty | stuck) & filled, raw, settings) & judged
    grown = (classes == TissueClass.MYCELIUM) & filled & ~hidden
    doubted = find_doubt(raw, grown, filled, said, odds_min=settings.doubted_odds_min)
    white = np.isin(classes, _LIKE_A_VEIL) & filled & ~hidden
    unseen = white & (classes == TissueClass.UNJUDGED)
    return Veil(hidden, doubted_together(raw, grown, white, unseen, doubted, settings=settings))


def with_hidden_beside(veiled: BoolArray, best: ByteArray, filled: BoolArray) -> BoolArray:
    """What is veiled ``(rows, cols)`` with the hidden places that touch it: one veil hides both.

    The upright networks call a part of most labels hidden, and guess what is behind it. Where what
    is hidden is the larger part it is something else: a mirrored window that a wisp of fog touches.

    Parameters
    ----------
    best
        The likeliest class of each place by the networks, upright.
    filled
        Where contents stand.
    """
    if not veiled.any():
        return veiled
    hidden = veiled | ((best == TissueClass.UNJUDGED) & filled)
    count, areas = cv2.connectedComponents(hidden.view(np.uint8), connectivity=8)
    in_all, in_veil = (np.bincount(areas[part], minlength=count) for part in (hidden, veiled))
    of_veil = in_veil > in_all / 2
    return np.asarray(veiled | (hidden & of_veil[areas]))


def less_head_down(
    covered: Float32Array, said: Chances, filled: BoolArray, told: BoolArray
) -> float:
    """Points of coverage by which the generalist says less of the wall head down; 0 where more.

    Growth has no up and down: what is growth upright and none head down is seen unsurely, whatever
    the reason is, a veil, a filter that took the fibres, or a look that is not known.

    Parameters
    ----------
    covered
        Chance ``(rows, cols)`` of cover as it was told.
    told
        Where it counts: what is hidden or doubted is in the interval already.
    """
    less = (covered - said.label_cover)[filled & told].sum(dtype=np.float64)
    return max(0.0, 100.0 * float(less) / max(1, int(np.count_nonzero(filled))))


def _turned(channels: Float32Array, contents: slice) -> Float32Array:
    """Inputs of the wall with its contents head down; the glass around them stays."""
    turned = channels.copy()
    turned[:, contents] = channels[:, contents][:, ::-1]
    turned[_OF_PLACE] = channels[_OF_PLACE]
    return turned


def _told(
    expert: Expert, turned: Float32Array, contents: slice, filled: BoolArray
) -> tuple[Float32Array, Float32Array]:
    """Chances that a place of the contents is hidden, and covered, turned back; 0 elsewhere."""
    rows, cols = filled.shape
    said = hidden_and_covered(expert, turned)
    back = np.zeros((2, rows, cols), dtype=np.float32)
    for part, chance in zip(back, said, strict=True):
        part[contents] = chance[contents, :cols][::-1]
    return back[0], back[1]


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
