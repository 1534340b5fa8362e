"""Tell a jar that has stopped growing from one that is slow or nearly full."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jarvision.records import JarHistory
from jarvision.series import Series, rate_of
from jarvision.settings import GrowthSettings
from jarvision.species import SpeciesProfile


@dataclass(frozen=True)
class Stall:
    """How long a jar has stood still at least, and the sentence that says so."""

    days: int = 0
    reason: str = ""


def find_stall(
    series: Series, history: JarHistory, profile: SpeciesProfile, settings: GrowthSettings
) -> Stall:
    """Find out whether the jar has stood still up to the last day, and for how long.

    The rate over the last ``stall_days`` or more (weighted least squares) is compared with the
    rate expected at the coverage the jar has: the logistic's ``4 m (y/100) (1 - y/100)``, with m
    the jar's own best rate before, or the slowest one of its species if that is higher. Stalled
    when the upper bound of the rate lies below ``stall_share`` of what is expected. Longer and
    longer looks back are tried: noise hides a short stall.
    """
    if series.y[-1] >= profile.ready_percent:
        return Stall()
    for first in range(len(series.t) - 3, -1, -1):
        length = int(series.t[-1] - series.t[first])
        if length > settings.stall_longest_days:
            break
        if length < settings.stall_days:
            continue
        rate, rate_sd = rate_of(series, first)
        level = float(np.mean(series.y[first:])) / 100.0
        best = max(_best_rate(series, first), 100.0 / profile.spawn_run_days[1])
        expected = 4 * best * level * (1 - level)
        if rate + settings.stall_z * rate_sd < settings.stall_share * expected:
            lasted = max(length, _plateau_days(series))
            reason = (
                f"Coverage has stood still for {lasted} days at {series.y[-1]:.0f} %: "
                f"{rate:+.1f} points a day, where {expected:.1f} are expected."
            )
            return Stall(lasted, reason)
    return _never_started(series, history, settings)


def _plateau_days(series: Series) -> int:
    """Return for how long no reading lay surely (3 sd) below the last three."""
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
    return Stall(
        age - settings.leap_off_days + settings.stall_days,
        f"Coverage is {series.y[-1]:.1f} % after {age} days: growth shows by day "
        f"{settings.leap_off_days} in a live jar.",
    )


def _best_rate(series: Series, until: int) -> float:
    """Return the best rate over any three neighbouring points up to ``until``, points/day."""
    rates = [
        (series.y[i + 2] - series.y[i]) / (series.t[i + 2] - series.t[i]) for i in range(until - 1)
    ]
    return float(max(rates, default=0.0))
