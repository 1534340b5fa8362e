"""From the photos of one day to one record of the jar: pool coverage and patches of all views.

Every reading counts. Views of the same side are averaged, views of different sides are weighted
by how much wall each could judge; patches of all of them are brought to the frame of the front.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from jarvision.history.linking import Reach, match, turned
from jarvision.records import HALF_VIEW_DEG, Coverage, Patch, Reading
from jarvision.settings.history import TrackingSettings

QUARTERS: Mapping[str, int] = {"front": 0, "a": 0, "b": 1, "c": 2, "d": 3}
"""Quarter turns of each view. A photo without a view letter shows the front, as ``a`` does."""


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
    """The share of the 360 degrees that views at the given quarter turns reach together."""
    middles = np.array(sorted(set(quarters))) * settings.quarter_turn_deg
    degrees = np.arange(0.5, 360.0)
    away = np.abs((degrees[:, None] - middles + 180.0) % 360.0 - 180.0)
    return float(np.mean(away.min(axis=1) <= HALF_VIEW_DEG))


def _mean_coverage(side: Sequence[Coverage]) -> Coverage:
    """Average the photos of one side; half their spread is added to the interval."""
    pooled = _weighted(side, np.ones(len(side)))
    percents = [c.percent for c in side]
    spread = (max(percents) - min(percents)) / 2
    low, high = max(pooled.low - spread, 0.0), min(pooled.high + spread, 100.0)
    return replace(pooled, low=low, high=high)


def _weighted(coverages: Sequence[Coverage], weights: NDArray[np.float64]) -> Coverage:
    """The weighted mean of every field."""
    rows = [(c.percent, c.low, c.high, c.soft_percent, c.seen_percent) for c in coverages]
    return Coverage(*(float(x) for x in np.average(np.array(rows), axis=0, weights=weights)))


def day_fill_height_mm(readings: Sequence[Reading]) -> float:
    """The median fill height of the day, NaN when no reading has one."""
    heights = [r.fill_height_mm for r in readings if r.fill_height_mm is not None]
    return float(np.median(heights)) if heights else math.nan


# --------------------------------------------------------------------------- patches of a day
def wall_radius_mm(readings: Sequence[Reading], settings: TrackingSettings) -> float:
    """The median inner radius of the day's photos, an ordinary jar's where none has one."""
    radii = [r.radius_mm for r in readings if r.radius_mm is not None]
    return float(np.median(radii)) if radii else settings.wall_radius_mm


def pool_patches(readings: Sequence[Reading], settings: TrackingSettings) -> list[Patch]:
    """The patches of a day's photos in the frame of the front view.

    A patch that two photos show becomes one: the mean of both for photos of the same side, the
    larger one for different sides, since the edge of a view cuts patches. Nothing is dropped
    because another photo lacks it.
    """
    pooled: list[tuple[int, Patch]] = []
    half_mm = settings.reach_mm_per_day / 2
    reach = Reach(half_mm, half_mm, wall_radius_mm(readings, settings))
    for reading in readings:
        side = QUARTERS[reading.view]
        fresh = [turned(p, side * settings.quarter_turn_deg) for p in reading.patches]
        pairs = dict(match([p for _, p in pooled], fresh, reach=reach, settings=settings))
        matched = set(pairs.values())
        merged = [
            (s, _merged(p, fresh[pairs[i]], same_side=s == side) if i in pairs else p)
            for i, (s, p) in enumerate(pooled)
        ]
        pooled = merged + [(side, p) for j, p in enumerate(fresh) if j not in matched]
    return [patch for _, patch in pooled]


def _merged(first: Patch, second: Patch, *, same_side: bool) -> Patch:
    """Merge two photos of one patch, with the higher confidence of the two."""
    larger = max(first, second, key=lambda p: p.area_cm2)
    area = (first.area_cm2 + second.area_cm2) / 2 if same_side else larger.area_cm2
    return replace(larger, area_cm2=area, confidence=max(first.confidence, second.confidence))
