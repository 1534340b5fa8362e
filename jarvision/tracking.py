"""From single readings to the days of a jar: pool its photos, follow its patches.

Every reading of a jar and day counts. Views of the same side are averaged, views of different
sides are weighted by how much wall each could judge; patches of all of them are brought to one
frame, linked to those of the days before, and given a trend.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from jarvision.records import (
    Coverage,
    JarDay,
    JarEntry,
    JarHistory,
    Patch,
    Reading,
    TrackedPatch,
    Trend,
)
from jarvision.settings import Settings, TrackingSettings

QUARTERS: Mapping[str, int] = {"front": 0, "a": 0, "b": 1, "c": 2, "d": 3}
"""Quarter turns of each view. A photo without a view letter shows the front, as ``a`` does."""


@dataclass(frozen=True)
class Track:
    """One patch over time: its name and kind, the days it was seen on, and what it was then."""

    name: str
    kind: str
    days: tuple[date, ...]
    patches: tuple[Patch, ...]


def build_histories(
    readings: Iterable[Reading],
    entries: Mapping[str, JarEntry],
    *,
    settings: Settings | None = None,
) -> tuple[JarHistory, ...]:
    """Return one history for every jar that has a reading, by name.

    ``entries`` is the register; jars that it lacks get an unregistered entry. Readings that could
    not be given to a jar (``jar`` empty) belong to no history.
    """
    by_jar: dict[str, list[Reading]] = {}
    for reading in readings:
        if reading.jar:
            by_jar.setdefault(reading.jar, []).append(reading)
    return tuple(
        build_history(
            by_jar[jar], entries.get(jar) or JarEntry(jar, registered=False), settings=settings
        )
        for jar in sorted(by_jar)
    )


def build_history(
    readings: Iterable[Reading], entry: JarEntry, *, settings: Settings | None = None
) -> JarHistory:
    """Pool one jar's readings by day and follow its patches; unusable readings are kept apart."""
    chosen = (settings or Settings()).tracking
    ordered = sorted(readings, key=lambda r: (r.taken_at, r.photo))
    usable = [r for r in ordered if r.status == "ok" and r.coverage is not None]
    refused = tuple(r for r in ordered if r.status != "ok" or r.coverage is None)
    days: list[JarDay] = []
    tracks: list[Track] = []
    for day, group in groupby(usable, key=lambda r: r.taken_at.date()):
        shown = tuple(group)
        tracks = link(tracks, pool_patches(shown, chosen), day, chosen)
        days.append(
            JarDay(
                jar=entry.jar,
                day=day,
                views=len(shown),
                coverage=pool_coverage(shown, chosen),
                patches=tuple(_tracked(t, chosen) for t in tracks if t.days[-1] == day),
                fill_height_mm=_fill_height_mm(shown),
                readings=shown,
            )
        )
    return JarHistory(entry, tuple(days), refused)


# --------------------------------------------------------------------------- coverage
def pool_coverage(readings: Sequence[Reading], settings: TrackingSettings) -> Coverage:
    """Pool the coverages of one day.

    Photos of the same side are averaged, sides are weighted by ``seen_percent``. The errors of
    one day share lamp, card and jar, so the interval's half-widths are averaged, not shrunk by
    the number of photos; the scatter between photos of the same side widens it. With several
    sides ``seen_percent`` is a share of the whole 360 degrees.
    """
    sides: dict[int, list[Coverage]] = {}
    for reading in readings:
        if reading.coverage is not None:
            sides.setdefault(QUARTERS[reading.view], []).append(reading.coverage)
    means = [_mean_coverage(side) for side in sides.values()]
    pooled = _weighted(means, np.array([max(m.seen_percent, 1e-6) for m in means]))
    if len(means) == 1:
        return pooled
    seen = float(np.mean([m.seen_percent for m in means]))
    return replace(pooled, seen_percent=seen * seen_share(sides.keys(), settings))


def seen_share(quarters: Iterable[int], settings: TrackingSettings) -> float:
    """Return the share of the 360 degrees that views at the given quarter turns reach together."""
    middles = np.array(sorted(set(quarters))) * settings.quarter_turn_deg
    degrees = np.arange(0.5, 360.0)
    away = np.abs((degrees[:, None] - middles + 180.0) % 360.0 - 180.0)
    return float(np.mean(away.min(axis=1) <= settings.half_view_deg))


def _mean_coverage(side: Sequence[Coverage]) -> Coverage:
    """Average the photos of one side; half their spread is added to the interval."""
    pooled = _weighted(side, np.ones(len(side)))
    percents = [c.percent for c in side]
    spread = (max(percents) - min(percents)) / 2
    low, high = max(pooled.low - spread, 0.0), min(pooled.high + spread, 100.0)
    return replace(pooled, low=low, high=high)


def _weighted(coverages: Sequence[Coverage], weights: NDArray[np.float64]) -> Coverage:
    """Return the weighted mean of every field."""
    rows = [(c.percent, c.low, c.high, c.soft_percent, c.seen_percent) for c in coverages]
    return Coverage(*(float(x) for x in np.average(np.array(rows), axis=0, weights=weights)))


def _fill_height_mm(readings: Sequence[Reading]) -> float:
    """Return the median fill height of the day, NaN when no reading has one."""
    heights = [r.fill_height_mm for r in readings if r.fill_height_mm is not None]
    return float(np.median(heights)) if heights else math.nan


# --------------------------------------------------------------------------- patches of a day
def pool_patches(readings: Sequence[Reading], settings: TrackingSettings) -> list[Patch]:
    """Return the patches of a day's photos in the frame of the front view.

    A patch that two photos show becomes one: the mean of both for photos of the same side, the
    larger one for different sides, since the edge of a view cuts patches. Nothing is dropped
    because another photo lacks it.
    """
    pooled: list[tuple[int, Patch]] = []
    for reading in readings:
        side = QUARTERS[reading.view]
        fresh = [_turned(p, side * settings.quarter_turn_deg) for p in reading.patches]
        pairs = dict(match([p for _, p in pooled], fresh, 0.5, settings))
        matched = set(pairs.values())
        merged = [
            (s, _merged(p, fresh[pairs[i]], same_side=s == side) if i in pairs else p)
            for i, (s, p) in enumerate(pooled)
        ]
        pooled = merged + [(side, p) for j, p in enumerate(fresh) if j not in matched]
    return [patch for _, patch in pooled]


def _turned(patch: Patch, by_deg: float) -> Patch:
    """Shift a patch around the jar, into [-180, 180) degrees by its centroid."""
    angle = (patch.angle_deg + by_deg + 180.0) % 360.0 - 180.0
    shift = angle - patch.angle_deg
    return replace(patch, angle_deg=angle, outline=tuple((a + shift, h) for a, h in patch.outline))


def _merged(first: Patch, second: Patch, *, same_side: bool) -> Patch:
    """Merge two photos of one patch, with the higher confidence of the two."""
    larger = max(first, second, key=lambda p: p.area_cm2)
    area = (first.area_cm2 + second.area_cm2) / 2 if same_side else larger.area_cm2
    return replace(larger, area_cm2=area, confidence=max(first.confidence, second.confidence))


# --------------------------------------------------------------------------- links over days
def link(
    tracks: Sequence[Track], patches: Sequence[Patch], day: date, settings: TrackingSettings
) -> list[Track]:
    """Continue the tracks with the patches of ``day``; unmatched patches start new tracks.

    A track that was missed for some days can still be found again: the reach grows with the days
    skipped, up to a limit. Tracks are tried in the order of how lately they were seen, so that an
    old one never takes the patch of one that was there yesterday.
    """
    continued = list(tracks)
    free = list(range(len(patches)))
    for gap in sorted({(day - t.days[-1]).days for t in tracks}):
        here = [i for i, t in enumerate(continued) if (day - t.days[-1]).days == gap]
        last = [continued[i].patches[-1] for i in here]
        pairs = match(last, [patches[j] for j in free], float(gap), settings)
        for a, b in pairs:
            old, new = continued[here[a]], patches[free[b]]
            continued[here[a]] = replace(old, days=(*old.days, day), patches=(*old.patches, new))
        taken = {free[b] for _, b in pairs}
        free = [j for j in free if j not in taken]
    counts = Counter(t.kind for t in continued)
    for j in free:
        kind = patches[j].kind
        counts[kind] += 1
        continued.append(Track(f"{kind}-{counts[kind]}", kind, (day,), (patches[j],)))
    return continued


def match(
    before: Sequence[Patch], after: Sequence[Patch], gap_days: float, settings: TrackingSettings
) -> list[tuple[int, int]]:
    """Pair patches of the same kind so that the summed cost is least.

    The cost of a pair is the distance of its centroids on the wall, in mm, plus a part of the
    difference of the equal-area radii. A pair is allowed within the reach plus the larger radius:
    the centroid of a large patch may jump when a part of it closes.
    """
    if not before or not after:
        return []
    from scipy.optimize import linear_sum_assignment

    radii = [np.array([radius_mm(p.area_cm2) for p in side]) for side in (before, after)]
    size_mm = settings.size_weight * np.abs(radii[0][:, None] - radii[1])
    reach_mm = min(settings.reach_mm_per_day * gap_days, settings.reach_limit_mm)
    distance_mm = _distances_mm(before, after, settings)
    same_kind = np.array([[a.kind == b.kind for b in after] for a in before])
    allowed = same_kind & (distance_mm <= reach_mm + np.maximum(radii[0][:, None], radii[1]))
    cost = np.where(allowed, distance_mm + size_mm, 1e6)
    rows, columns = linear_sum_assignment(cost)
    return [(int(i), int(j)) for i, j in zip(rows, columns, strict=True) if allowed[i, j]]


def _distances_mm(
    before: Sequence[Patch], after: Sequence[Patch], settings: TrackingSettings
) -> NDArray[np.float64]:
    """Return the ``(before, after)`` distances of the centroids along the wall, mm."""
    one, two = (np.array([(p.angle_deg, p.height_mm) for p in side]) for side in (before, after))
    turn_deg = (one[:, None, 0] - two[:, 0] + 180.0) % 360.0 - 180.0
    around_mm = np.deg2rad(turn_deg) * settings.wall_radius_mm
    distances: NDArray[np.float64] = np.hypot(around_mm, one[:, None, 1] - two[:, 1])
    return distances


# --------------------------------------------------------------------------- trend
def radius_mm(area_cm2: float) -> float:
    """Return the radius of the disc of equal area, mm."""
    return 10.0 * math.sqrt(max(area_cm2, 0.0) / math.pi)


def area_sd_cm2(area_cm2: float, settings: TrackingSettings) -> float:
    """Return an area's day-to-day standard uncertainty: its scale and the width of its edge."""
    edge_cm2 = 2 * math.pi * radius_mm(area_cm2) * settings.edge_sd_mm / 100.0
    return math.hypot(settings.area_sd_relative * area_cm2, edge_cm2)


def trend(track: Track, settings: TrackingSettings) -> Trend:
    """Say what a patch has done over the last ``trend_days``.

    The weighted least-squares slope of its area is compared with its standard uncertainty; with
    two days this is the difference of two areas over that of their uncertainties.
    """
    recent = [
        (float((day - track.days[-1]).days), patch.area_cm2)
        for day, patch in zip(track.days, track.patches, strict=True)
        if (track.days[-1] - day).days <= settings.trend_days
    ]
    if len(track.days) == 1:
        return "new"
    if len(recent) == 1:  # seen before, but not lately: compare with the last time
        recent.insert(
            0, (float((track.days[-2] - track.days[-1]).days), track.patches[-2].area_cm2)
        )
    days, areas = np.array(recent).T
    weights = np.array([area_sd_cm2(a, settings) for a in areas]).clip(1e-3) ** -2
    centred = days - np.average(days, weights=weights)
    spread = float(np.sum(weights * centred**2))
    z = float(np.sum(weights * centred * areas)) / math.sqrt(spread)
    if abs(z) < settings.trend_z:
        return "still"
    return "growing" if z > 0 else "closing"


def _tracked(track: Track, settings: TrackingSettings) -> TrackedPatch:
    """Return the track's last patch with its name and trend."""
    patch = track.patches[-1]
    return TrackedPatch(
        patch=track.name,
        kind=track.kind,
        area_cm2=patch.area_cm2,
        angle_deg=patch.angle_deg,
        height_mm=patch.height_mm,
        trend=trend(track, settings),
    )
