"""A jar's record as arrays, cut at its last shake."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from jarvision.base.days import days_after
from jarvision.base.statistics import Z95, Slope, weighted_slope
from jarvision.history.shakes import shaken_on
from jarvision.records import FloatArray, JarDay
from jarvision.settings.growth import GrowthSettings


@dataclass(frozen=True)
class Series:
    """A piece of a jar's record as arrays of shape ``(n,)``.

    ``t``: days since ``origin``; ``y``, ``low``, ``high``: coverage and its 95 % interval,
    percent; ``sd``: standard uncertainty, percent.
    """

    origin: date
    t: FloatArray
    y: FloatArray
    sd: FloatArray
    low: FloatArray
    high: FloatArray

    def day(self, index: int) -> date:
        """The date of a point."""
        return days_after(self.origin, self.t[index])

    def since(self, first: int) -> Series:
        """The points from ``first`` on."""
        fields = (self.t, self.y, self.sd, self.low, self.high)
        return Series(self.origin, *(values[first:] for values in fields))


def last_piece(days: Sequence[JarDay], settings: GrowthSettings) -> tuple[JarDay, ...]:
    """The days since the last shake.

    See :func:`shaken_on`; where the pattern is not known, a shake and a bad reading cannot
    be told apart on the very last day.
    """
    shaken = shaken_on(days, settings)
    return tuple(d for d in days if d.day >= shaken[-1]) if shaken else tuple(days)


def as_series(days: Sequence[JarDay], started: date | None, settings: GrowthSettings) -> Series:
    """The days as arrays; time runs from the start of the jar, if known and earlier."""
    origin = min(started, days[0].day) if started else days[0].day
    rows = np.array(
        [
            (
                (d.day - origin).days,
                d.coverage.percent,
                max((d.coverage.high - d.coverage.low) / (2 * Z95), settings.sd_floor_points),
                d.coverage.low,
                d.coverage.high,
            )
            for d in days
        ],
        dtype=np.float64,
    )
    return Series(origin, *rows.T)


def without_bad_readings(series: Series, settings: GrowthSettings) -> Series:
    """Leave out readings that no growing jar can show.

    Coverage rises: a reading far outside the two about it is bad. The last one is bad when it has
    fallen, or risen faster than any jar grows; the next day will tell.
    """
    y, margin = series.y, settings.outlier_z * series.sd
    good = np.ones(len(y), dtype=bool)
    for i in range(1, len(y) - 1):
        low, high = sorted((y[i - 1], y[i + 1]))
        good[i] = low - margin[i] <= y[i] <= high + margin[i]
    if len(y) > 1:
        before = np.flatnonzero(good[:-1])[-1]
        most = settings.fastest_rate_points * (series.t[-1] - series.t[before])
        good[-1] = -margin[-1] <= y[-1] - y[before] <= most + margin[-1]
    fields = (series.t, y, series.sd, series.low, series.high)
    return Series(series.origin, *(values[good] for values in fields))


def moved_doubtfully(series: Series, kept: Series) -> int:
    """Say whether the last reading is left out of ``kept``: 1 it had risen, -1 fallen, 0 it is not.

    ``kept``: see :func:`without_bad_readings`.
    """
    return int(np.sign(series.y[-1] - kept.y[-1])) if kept.t[-1] < series.t[-1] else 0


def rate_of(series: Series, first: int) -> Slope:
    """The slope from point ``first`` on, points a day."""
    return weighted_slope(series.t[first:], series.y[first:], series.sd[first:])
