"""Tell a jar that has stopped growing from one that is slow or nearly full."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from jarvision.growth.priors import Sibling
from jarvision.growth.timeseries import Series, rate_of, without_bad_readings
from jarvision.records import Finding, JarHistory
from jarvision.register.species import SpeciesProfile
from jarvision.settings.growth import GrowthSettings


@dataclass(frozen=True)
class Stall:
    """How long a jar has stood still at least, what was found, and the chance of it.

    ``p_value``: the chance that a jar which still grows at ``stall_share`` of what is expected
    would show so little.
    """

    days: int = 0
    finding: Finding | None = None
    p_value: float = 1.0


def find_stall(
    series: Series,
    history: JarHistory,
    profile: SpeciesProfile,
    *,
    settings: GrowthSettings,
    siblings: Sequence[Sibling] = (),
) -> Stall:
    """Find out whether the jar has stood still up to the last day, and for how long.

    The rate over the last ``stall_days`` or more (weighted least squares) is tested against
    ``stall_share`` of the rate expected at the coverage the jar has (one-sided, normal errors).
    Longer and longer looks back are tried: noise hides a short stall. The first that is unlikely
    enough counts, and that it is still unlikely over the whole time of no growth gives its length.
    """
    series = without_bad_readings(series, settings)
    if max(series.y[-1], np.median(series.y[-3:])) >= profile.ready_percent:
        return Stall()
    for first in range(len(series.t) - 3, -1, -1):
        length = int(series.t[-1] - series.t[first])
        if length > settings.stall_longest_days:
            break
        if length < settings.stall_days:
            continue
        rate = rate_of(series, first)
        level = float(np.mean(series.y[first:])) / 100.0
        full = _full_rate(series, profile, siblings, before=first, settings=settings)
        expected = 4 * level * (1 - level) * full
        slow = settings.stall_share * expected
        p_value = _normal_tail((slow - rate.value) / rate.sd)
        if p_value < settings.stall_p and rate.value < slow:
            lasted = max(length, _plateau_days(series))
            found = Finding.of(
                "stall_in_batch" if siblings else "stall",
                days=lasted,
                percent=float(series.y[-1]),
                percent_per_day=rate.value,
                expected_percent_per_day=expected,
                slow_share=settings.stall_share,
                chance=p_value,
            )
            return Stall(lasted, found, p_value)
    return _never_started(series, history, settings)


def _full_rate(
    series: Series,
    profile: SpeciesProfile,
    siblings: Sequence[Sibling],
    *,
    before: int,
    settings: GrowthSettings,
) -> float:
    """The largest slope to be expected of the jar, points a day.

    Its own best rate before the look back, which begins at point ``before``, or the slowest of its
    species if that is higher; with siblings at least ``stall_sibling_share`` of their median, since
    a jar that stops early never shows its best.
    """
    rates = [_best_rate(series, before), 100.0 / profile.spawn_run_days[1]]
    if siblings:
        median = float(np.median([s.rate_percent_per_day for s in siblings]))
        rates.append(settings.stall_sibling_share * median)
    return max(rates)


def _normal_tail(z: float) -> float:
    """The chance of a standard normal value above ``z``."""
    return 0.5 * math.erfc(z / math.sqrt(2.0))


def _plateau_days(series: Series) -> int:
    """For how long no reading lay surely (3 sd) below the last three."""
    level = float(np.median(series.y[-3:]))
    below = np.flatnonzero(series.y < level - 3 * series.sd)
    since = int(below[-1]) + 1 if below.size else 0
    return int(series.t[-1] - series.t[min(since, len(series.t) - 1)])


def _never_started(series: Series, history: JarHistory, settings: GrowthSettings) -> Stall:
    """Tell a jar without any white long after its start (or first photo)."""
    since = history.entry.started or history.days[0].day
    age = (series.day(-1) - since).days
    highest = max(d.coverage.percent for d in history.days)
    if age < settings.leap_off_days or highest >= settings.leap_off_percent:
        return Stall()
    days = age - settings.leap_off_days + settings.stall_days
    found = Finding.of(
        "never_started",
        days=days,
        percent=float(series.y[-1]),
        age_days=age,
        leap_off_days=settings.leap_off_days,
    )
    return Stall(days, found)


def _best_rate(series: Series, until: int) -> float:
    """The best rate over any three neighbouring points up to ``until``, points/day."""
    rates = [
        (series.y[i + 2] - series.y[i]) / (series.t[i + 2] - series.t[i]) for i in range(until - 1)
    ]
    return float(max(rates, default=0.0))
