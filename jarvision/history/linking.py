"""One patch over many days: its name, its areas, its speed and its trend.

Today's patches are given to yesterday's tracks by the pairing that costs least in all (linear
assignment). A mould that changes colour stays the same mould.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from jarvision.base.statistics import weighted_slope
from jarvision.records import OFF_COLOUR_KINDS, BoolArray, Patch, Trend
from jarvision.records.wall import radius_mm
from jarvision.settings.history import TrackingSettings


@dataclass(frozen=True)
class Track:
    """One patch over time, in the frame of the jar.

    Attributes
    ----------
    name
        Kept for good, also when the kind changes.
    frame
        Number of the frame that its angles are in; a jar turned out of sight starts a new one.
    days, patches
        The days it was seen on, and what it was then.
    missed
        Days since on which its place was judged and it was not there.
    absent
        The same, with the days on which it is not known whether the jar was turned: where it stood
        as it did, its place was in view.
    parted
        Whether another area of its kind lay over its place when it was first missed: it fell apart,
        merged or was read too large, and lives on under another name.
    """

    name: str
    frame: int
    days: tuple[date, ...]
    patches: tuple[Patch, ...]
    missed: int = 0
    parted: bool = False
    absent: int = 0

    @property
    def kind(self) -> str:
        """What it was when last seen."""
        return self.patches[-1].kind


@dataclass(frozen=True)
class DayPatches:
    """The patches of one day, in a frame of the jar.

    Attributes
    ----------
    frame
        Number of that frame; see :class:`Track`.
    radius_mm
        The jar's inner radius.
    registered
        True when they were brought there by a turn that was found, so that they lie closer.
    """

    day: date
    patches: tuple[Patch, ...]
    radius_mm: float
    frame: int = 0
    registered: bool = False

    def reach_after(self, days: int, settings: TrackingSettings) -> Reach:
        """How far a patch may have moved since it was seen so many days before."""
        by_day = (
            settings.reach_registered_mm_per_day if self.registered else settings.reach_mm_per_day
        )
        return Reach(min(by_day * days, settings.reach_limit_mm), by_day, self.radius_mm)


@dataclass(frozen=True)
class Reach:
    """How far a patch may have moved, a bare one too, and the jar's radius, all in mm."""

    reach_mm: float
    bare_mm: float
    radius_mm: float


def turned(patch: Patch, by_deg: float, up_mm: float = 0.0) -> Patch:
    """Move a patch around the jar and up, into [-180, 180) degrees by its centroid."""
    angle = (patch.angle_deg + by_deg + 180.0) % 360.0 - 180.0
    shift = angle - patch.angle_deg
    outline = tuple((a + shift, h + up_mm) for a, h in patch.outline)
    return replace(patch, angle_deg=angle, height_mm=patch.height_mm + up_mm, outline=outline)


def round_share(patch: Patch, radius_mm: float) -> float | None:
    """The share that a patch fills of the smallest circle about it; None without an outline."""
    import cv2

    if not patch.outline:
        return None
    scale = np.array([math.radians(1.0) * radius_mm, 1.0])
    points = (np.array(patch.outline) * scale).astype(np.float32)
    _, around_mm = cv2.minEnclosingCircle(points)
    return min(100.0 * patch.area_cm2 / (math.pi * max(around_mm, 1.0) ** 2), 1.0)


# --------------------------------------------------------------------------- links over days
def link(tracks: Sequence[Track], today: DayPatches, *, settings: TrackingSettings) -> list[Track]:
    """Continue the tracks with the patches of a day; unmatched patches start new tracks.

    A track that was missed for some days can still be found again: the reach grows with the days
    skipped, up to a limit. Tracks are tried in the order of how lately they were seen, so that an
    old one never takes the patch of one that was there yesterday; after ``forget_days`` it is
    forgotten.
    """
    day, patches = today.day, today.patches
    continued = list(tracks)
    free = list(range(len(patches)))
    for gap in sorted({(day - t.days[-1]).days for t in tracks}):
        here = [
            i
            for i, t in enumerate(continued)
            if t.frame == today.frame and (day - t.days[-1]).days == gap <= settings.forget_days
        ]
        last = [continued[i].patches[-1] for i in here]
        reach = today.reach_after(gap, settings)
        pairs = match(last, [patches[j] for j in free], reach=reach, settings=settings)
        for a, b in pairs:
            old, new = continued[here[a]], patches[free[b]]
            continued[here[a]] = replace(
                old,
                days=(*old.days, day),
                patches=(*old.patches, new),
                missed=0,
                parted=False,
                absent=0,
            )
        taken = {free[b] for _, b in pairs}
        free = [j for j in free if j not in taken]
    continued = _with_parted(continued, today, settings)
    counts = Counter(t.name.rsplit("-", 1)[0] for t in continued)
    for j in free:
        kind = patches[j].kind
        counts[kind] += 1
        continued.append(Track(f"{kind}-{counts[kind]}", today.frame, (day,), (patches[j],)))
    return continued


def _with_parted(
    tracks: Sequence[Track], today: DayPatches, settings: TrackingSettings
) -> list[Track]:
    """The tracks, those parted that are missed today for the first time while others lie there."""
    last = max((t.days[-1] for t in tracks if t.days[-1] != today.day), default=None)
    return [
        replace(t, parted=True)
        if t.days[-1] == last
        and t.frame == today.frame
        and _area_over(t.patches[-1], today) >= settings.parted_share * t.patches[-1].area_cm2
        else t
        for t in tracks
    ]


def _area_over(patch: Patch, today: DayPatches) -> float:
    """The area of today's patches of its kind that lie over the place of a patch, cm2."""
    same = [p for p in today.patches if p.kind == patch.kind and p.outline]
    if not patch.outline:
        return 0.0
    return sum(p.area_cm2 for p in same if _overlap(patch, p, today.radius_mm) > 0)


def match(
    before: Sequence[Patch],
    after: Sequence[Patch],
    *,
    reach: Reach,
    settings: TrackingSettings,
) -> list[tuple[int, int]]:
    """Pair patches so that the summed cost is least.

    The cost of a pair is the distance of its centroids on the wall, in mm, less the share by which
    the outlines overlap (intersection over union), plus a part of the difference of the equal-area
    radii, plus a fixed cost for a mould that has changed colour. A pair is allowed within the reach
    plus the larger radius (the centroid of a large patch may jump when a part of it closes), or
    when the outlines overlap.

    Bare areas only close: today's lies within yesterday's, give or take a careless turn, so there
    the reach does not grow with the days, and one whose radius gained more than
    ``bare_gain_mm`` is another one, such as the larger part of an island that fell apart.
    """
    if not before or not after:
        return []
    from scipy.optimize import linear_sum_assignment

    radii = [np.array([radius_mm(p.area_cm2) for p in side]) for side in (before, after)]
    size_mm = settings.size_weight * np.abs(radii[0][:, None] - radii[1])
    distance_mm = _distances_mm(before, after, reach.radius_mm)
    kin = np.array([[_kin(a.kind, b.kind) for b in after] for a in before])
    other = np.array([[a.kind != b.kind for b in after] for a in before])
    bare = np.array([[a.kind == "bare" for _ in after] for a in before])
    larger = np.where(bare, radii[0][:, None], np.maximum(radii[0][:, None], radii[1]))
    near = distance_mm <= np.where(bare, reach.bare_mm, reach.reach_mm) + larger
    leapt = bare & (radii[1] - radii[0][:, None] > settings.bare_gain_mm)
    shared = _overlaps(before, after, kin, reach.radius_mm)
    allowed = kin & ~leapt & (near | (shared > 0))
    cost = distance_mm * (1 - shared) + size_mm + settings.colour_change_mm * other
    rows, columns = linear_sum_assignment(np.where(allowed, cost, 1e6))
    return [(int(i), int(j)) for i, j in zip(rows, columns, strict=True) if allowed[i, j]]


def _kin(one: str, two: str) -> bool:
    """Say whether one patch may become the other: moulds ripen from one colour to the next."""
    return one == two or (one in OFF_COLOUR_KINDS and two in OFF_COLOUR_KINDS)


def _distances_mm(
    before: Sequence[Patch], after: Sequence[Patch], radius_mm: float
) -> NDArray[np.float64]:
    """The ``(before, after)`` distances of the centroids along the wall, mm."""
    one, two = (np.array([(p.angle_deg, p.height_mm) for p in side]) for side in (before, after))
    turn_deg = (one[:, None, 0] - two[:, 0] + 180.0) % 360.0 - 180.0
    around_mm = np.deg2rad(turn_deg) * radius_mm
    distances: NDArray[np.float64] = np.hypot(around_mm, one[:, None, 1] - two[:, 1])
    return distances


def _overlaps(
    before: Sequence[Patch], after: Sequence[Patch], wanted: BoolArray, radius_mm: float
) -> NDArray[np.float64]:
    """The ``(before, after)`` intersections over unions of the outlines.

    Outlines are drawn on a grid of 1 mm. 0 where ``wanted`` is False or an outline is missing.
    """
    shares = np.zeros((len(before), len(after)))
    for i, j in np.argwhere(wanted):
        if before[i].outline and after[j].outline:
            shares[i, j] = _overlap(before[i], after[j], radius_mm)
    return shares


def _overlap(one: Patch, two: Patch, radius_mm: float) -> float:
    import cv2

    turn = (two.angle_deg - one.angle_deg + 180.0) % 360.0 - 180.0 - (two.angle_deg - one.angle_deg)
    scale = np.array([math.radians(1.0) * radius_mm, 1.0])
    first = np.array(one.outline) * scale
    second = (np.array(two.outline) + np.array([turn, 0.0])) * scale
    low, high = np.maximum(first.min(0), second.min(0)), np.minimum(first.max(0), second.max(0))
    if np.any(low >= high):
        return 0.0
    corner = np.minimum(first.min(0), second.min(0))
    width, height = (np.ceil(np.maximum(first.max(0), second.max(0)) - corner) + 1).astype(int)
    masks = []
    for points in (first, second):
        mask = np.zeros((height, width), dtype=np.uint8)
        cv2.fillPoly(mask, [np.rint(points - corner).astype(np.int32)], 1)
        masks.append(mask)
    return float((masks[0] & masks[1]).sum()) / float((masks[0] | masks[1]).sum())


# --------------------------------------------------------------------------- trend
def area_sd_cm2(area_cm2: float, settings: TrackingSettings) -> float:
    """An area's day-to-day standard uncertainty: its scale and the width of its edge."""
    edge_cm2 = 2 * math.pi * radius_mm(area_cm2) * settings.edge_sd_mm / 100.0
    return math.hypot(settings.area_sd_relative * area_cm2, edge_cm2)


@dataclass(frozen=True)
class Motion:
    """How a patch's edge moves: outwards is positive, with its standard uncertainty; NaN if new."""

    trend: Trend
    mm_per_day: float = math.nan
    sd_mm_per_day: float = math.nan


def motion(track: Track, settings: TrackingSettings) -> Motion:
    """Say what a patch has done over the last ``trend_days``.

    The weighted least-squares slope of the radius of the disc of equal area is compared with its
    standard uncertainty; with two days this is the difference of two radii over that of theirs.
    """
    recent = [
        (float((day - track.days[-1]).days), patch.area_cm2)
        for day, patch in zip(track.days, track.patches, strict=True)
        if (track.days[-1] - day).days <= settings.trend_days
    ]
    if len(track.days) == 1:
        return Motion("new")
    if len(recent) == 1:  # seen before, but not lately: compare with the last time
        recent.insert(
            0, (float((track.days[-2] - track.days[-1]).days), track.patches[-2].area_cm2)
        )
    days, areas = np.array(recent).T
    radii = np.array([radius_mm(a) for a in areas])
    area_sds = np.array([area_sd_cm2(a, settings) for a in areas]).clip(1e-3)
    radius_sds = area_sds * 100.0 / (2 * math.pi * radii.clip(0.5))
    slope = weighted_slope(days, radii, radius_sds)
    if abs(slope.value) < settings.trend_z * slope.sd:
        return Motion("still", slope.value, slope.sd)
    return Motion("growing" if slope.value > 0 else "closing", slope.value, slope.sd)
