"""A wall and the days before: what was white may be stained, and lasts; what was bare is not yet.

A photo alone proves a stain by the growth around it (:mod:`jarvision.vision.tissue.evidence`). The
days know more: a skin over all of the wall has no growth around it, but the wall was white before;
and an island that was bare yesterday has not grown over and aged since. Growth does not come and
go: a place that was white on two days and looks bare on the next was misread, as old growth of the
contents' own colour often is. Only when it looks bare day after day is that believed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from jarvision.history.pooling import QUARTERS
from jarvision.history.registration import moved
from jarvision.records import (
    COVERED,
    HALF_VIEW_DEG,
    BoolArray,
    Coverage,
    Patch,
    Reading,
    TissueClass,
    Turn,
)
from jarvision.settings.history import TrackingSettings
from jarvision.vision.tissue.patches import MIN_AREA_CM2
from jarvision.vision.tissue.thumbnail import (
    SMALL_CELL_DEG,
    SMALL_CELL_MM,
    SmallWall,
    unpack_thumbnail,
)

COVERED_FROM = 0.5
"""A place is covered from this opacity on: the definition of coverage."""

_EDGE = 0.15  # a smaller part of a patch is its edge, not another patch

_THICK = np.ones((3, 3), np.uint8)  # cells: what is thinner is the edge of a patch, read to and fro


@dataclass(frozen=True)
class Before:
    """A front of an earlier day, already settled: how the jar was turned since, and when it was.

    ``registered`` is False when the turn is only assumed.
    """

    small: SmallWall
    turn: Turn
    days: int
    registered: bool


@dataclass(frozen=True)
class Settled:
    """What the days before say of a wall, each ``(rows, cols)`` of its thumbnail.

    Attributes
    ----------
    proven, refuted
        Stain that is growth, and that is none.
    lasting
        Places that look bare, and were white before.
    """

    proven: BoolArray
    refuted: BoolArray
    lasting: BoolArray


def settle_day(
    shown: Sequence[Reading],
    front: SmallWall,
    before: Sequence[Before],
    *,
    settings: TrackingSettings,
) -> tuple[tuple[Reading, ...], SmallWall]:
    """The readings of a day, and its front, as the days before leave them; other sides as read.

    Parameters
    ----------
    before
        Earlier fronts of the same side, the last one first.
    """
    told = []
    for reading in shown:
        if QUARTERS[reading.view] == 0 and reading.thumbnail is not None:
            small = unpack_thumbnail(reading.thumbnail)
            settled = settle_wall(small, before, settings=settings)
            told.append(_settled_reading(reading, small, settled))
        else:
            told.append(reading)
    return tuple(told), _settled_wall(front, settle_wall(front, before, settings=settings))


def settle_wall(
    small: SmallWall, before: Sequence[Before], *, settings: TrackingSettings
) -> Settled:
    """Say which stains of a wall the days before prove or refute, and which growth lasts.

    Proven: not by its photo, and white on an earlier day. Refuted: never seen white, and bare when
    last seen, fewer days ago than growth needs to cover a place and to age there.

    Parameters
    ----------
    before
        Earlier fronts of the same side, the last one first.
    """
    proven, refuted = _settled_stains(small, before, settings=settings)
    return Settled(proven, refuted, _lasting(small, before, settings=settings))


def _lasting(
    small: SmallWall, before: Sequence[Before], *, settings: TrackingSettings
) -> BoolArray:
    """Bare-looking places that were white on enough earlier days, and not bare for too many since.

    Only days count whose turn was found: of a jar that was shaken, or hidden all over, nothing is
    known to lie where it lay.
    """
    bare = (small.classes == TissueClass.BARE) & (small.opacity < COVERED_FROM)
    found = [one for one in before if one.registered]
    if not bare.any() or len(found) < settings.lasting_days:
        return np.zeros_like(bare)
    white = sum(_moved(_is_grown(one.small), small, one.turn).astype(int) for one in found)
    recent = found[: settings.gone_after_days - 1]
    gone = np.full_like(bare, len(recent) == settings.gone_after_days - 1)
    for one in recent:
        gone &= _moved(_is_open(one.small), small, one.turn)
    lasting = bare & (white >= settings.lasting_days) & ~gone
    opened = cv2.morphologyEx(lasting.astype(np.uint8), cv2.MORPH_OPEN, _THICK)
    return np.asarray(opened > 0)


def _settled_stains(
    small: SmallWall, before: Sequence[Before], *, settings: TrackingSettings
) -> tuple[BoolArray, BoolArray]:
    """Stains that the days before prove, and those that they refute."""
    stained = small.classes == TissueClass.STAIN
    if not stained.any():
        return stained, stained
    white, bare, known, seen = (np.zeros_like(stained) for _ in range(4))
    for one in before:
        judged, grown = np.isfinite(one.small.opacity), _is_grown(one.small)
        if not one.registered and grown.sum() < settings.white_all_over * judged.sum():
            continue
        here = _moved(judged, small, one.turn)
        white |= _moved(grown, small, one.turn)
        known |= here
        if one.registered:
            if one.days < settings.stain_after_days:
                bare |= here & ~seen & _moved(_is_open(one.small), small, one.turn)
            seen |= here
    held = small.opacity >= COVERED_FROM
    unproven = stained & ~held & ~bare
    proven = unproven & (white | (~known & _mostly(unproven, white, known)))
    doubted = bare & ~white
    refuted = stained & doubted & (~held | _mostly(stained & held, doubted, stained))
    return proven, refuted


def _mostly(areas: BoolArray, votes: BoolArray, voters: BoolArray) -> BoolArray:
    """The connected areas in which at least half of the voters vote."""
    count, labels = cv2.connectedComponents(areas.astype(np.uint8), connectivity=8)
    labels = np.asarray(labels)
    asked = np.bincount(labels[voters], minlength=count)
    agreed = np.bincount(labels[voters & votes], minlength=count)
    chosen = (agreed > 0) & (2 * agreed >= asked)
    chosen[0] = False
    return np.asarray(chosen[labels])


def _is_grown(small: SmallWall) -> BoolArray:
    """Where growth covers the wall, white or stained."""
    grown = np.isin(small.classes, COVERED) & (small.opacity >= COVERED_FROM)
    return np.asarray(grown)


def _is_open(small: SmallWall) -> BoolArray:
    """Where the wall is bare, wet or dry."""
    kinds = (TissueClass.BARE, TissueClass.WET)
    return np.asarray(np.isin(small.classes, kinds) & (small.opacity < COVERED_FROM))


def _moved(places: BoolArray, small: SmallWall, turn: Turn) -> BoolArray:
    """A mask of an earlier wall in the frame of this one."""
    return np.asarray(moved(places.astype(np.float32), len(small.classes), turn) == 1.0)


def _settled_wall(small: SmallWall, settled: Settled) -> SmallWall:
    """The wall as the days before leave it: this is what later days are held against.

    What its photo proves and the days refute was bare today, too; what neither proves is not known.
    """
    bare = settled.refuted & (small.opacity >= COVERED_FROM)
    opacity = np.where(settled.proven, np.float32(1.0), small.opacity)
    return replace(
        small,
        opacity=np.where(bare, np.float32(0.0), opacity),
        classes=np.where(bare, np.uint8(TissueClass.BARE), small.classes),
    )


def _settled_reading(reading: Reading, small: SmallWall, settled: Settled) -> Reading:
    """A reading of this wall as the days before leave it: patches and coverage."""
    changed = settled.proven | settled.refuted | settled.lasting
    if reading.coverage is None or not changed.any():
        return reading
    patches: list[Patch] = []
    for patch in reading.patches:
        if patch.kind == "stain":
            patches += _parted(patch, settled.refuted, "bare", small)
        elif patch.kind == "bare":
            parts = _parted(patch, settled.proven, "stain", small)
            whole = parts == [patch]
            patches += _parted(patch, settled.lasting, None, small) if whole else parts
        else:
            patches.append(patch)
    doubted = (small.classes == TissueClass.STAIN) & (small.opacity < COVERED_FROM)
    left = doubted & ~settled.proven & ~settled.refuted
    share = np.count_nonzero(left) / max(1, int(np.count_nonzero(doubted)))
    return replace(
        reading,
        patches=tuple(patches),
        coverage=_coverage(reading.coverage, small, settled),
        unproven_cm2=share * reading.unproven_cm2,
    )


def _parted(patch: Patch, changed: BoolArray, kind: str | None, small: SmallWall) -> list[Patch]:
    """A patch whose changed places are of another kind: as it is, renamed, or in two parts.

    Places of no kind belong to no patch.
    """
    inside = _inside(patch, small)
    share = np.count_nonzero(inside & changed) / max(1, int(np.count_nonzero(inside)))
    if share < _EDGE:
        return [patch]
    if share > 1.0 - _EDGE:
        return [replace(patch, kind=kind)] if kind else []
    parts = (
        (patch.kind, 1.0 - share, inside & ~changed),
        (kind, share, inside & changed),
    )
    return [
        _part(patch, name, part * patch.area_cm2, places)
        for name, part, places in parts
        if name and part * patch.area_cm2 >= MIN_AREA_CM2
    ]


def _part(patch: Patch, kind: str, area_cm2: float, places: BoolArray) -> Patch:
    """A part of a patch at the middle of its places; its outline is not known."""
    rows, cols = np.nonzero(places)
    return replace(
        patch,
        kind=kind,
        area_cm2=area_cm2,
        angle_deg=float((cols.mean() + 0.5) * SMALL_CELL_DEG - HALF_VIEW_DEG),
        height_mm=float((len(places) - rows.mean() - 0.5) * SMALL_CELL_MM),
        outline=(),
    )


def _inside(patch: Patch, small: SmallWall) -> BoolArray:
    """The cells of a patch: those of its kind, or of a doubted stain, within its outline."""
    rows, cols = small.classes.shape
    points = np.array(patch.outline or [(patch.angle_deg, patch.height_mm)])
    x = (points[:, 0] + HALF_VIEW_DEG) / SMALL_CELL_DEG - 0.5
    y = rows - points[:, 1] / SMALL_CELL_MM - 0.5
    mask = np.zeros((rows, cols), dtype=np.uint8)
    cv2.fillPoly(mask, [np.rint(np.stack([x, y], axis=1)).astype(np.int32)], 1)
    held = small.opacity >= COVERED_FROM
    stained = small.classes == TissueClass.STAIN
    own = stained & held if patch.kind == "stain" else _is_open(small) | (stained & ~held)
    return np.asarray((mask > 0) & own)


def _coverage(cover: Coverage, small: SmallWall, settled: Settled) -> Coverage:
    """The coverage with what is proven added, and what is refuted taken off.

    The lower end stays for what is only held to last: it may be gone, this once.
    """
    filled = max(1, int(np.count_nonzero(small.classes != TissueClass.OUTSIDE)))
    hidden = np.nan_to_num(small.opacity)
    more = 100.0 * float((1.0 - hidden)[settled.proven].sum()) / filled
    less = 100.0 * float(hidden[settled.refuted].sum()) / filled
    doubted = settled.refuted & (hidden < COVERED_FROM)  # was in the upper end alone
    gone = 100.0 * np.count_nonzero(doubted) / filled
    lasting = 100.0 * float((1.0 - hidden)[settled.lasting & ~settled.proven].sum()) / filled
    percent = min(100.0, max(0.0, cover.percent + more + lasting - less))
    return replace(
        cover,
        percent=percent,
        low=min(percent, max(0.0, cover.low + more - less)),
        high=max(percent, min(100.0, cover.high + lasting - less - gone)),
        soft_percent=min(100.0, max(0.0, cover.soft_percent + more + lasting - less)),
    )
