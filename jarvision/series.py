"""A jar's record as arrays, cut at its last shake."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from jarvision.records import JarDay
from jarvision.settings import GrowthSettings

FloatArray = NDArray[np.float64]

Z95 = 1.96
"""Half-width of a 95 % interval in standard deviations."""


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
        """Return the date of a point."""
        return self.origin + timedelta(days=int(self.t[index]))


def last_piece(days: Sequence[JarDay], settings: GrowthSettings) -> tuple[JarDay, ...]:
    """Return the days since the last shake.

    A shake is a drop of ``shake_drop_points`` that the day after confirms: a single low day is a
    bad reading, and on the very last day the two cannot be told apart.
    """
    start = 0
    for i in range(1, len(days) - 1):
        floor = days[i - 1].coverage.percent - settings.shake_drop_points
        if days[i].coverage.percent < floor and days[i + 1].coverage.percent < floor:
            start = i
    return tuple(days[start:])


def as_series(days: Sequence[JarDay], started: date | None, settings: GrowthSettings) -> Series:
    """Return the days as arrays; time runs from the start of the jar, if known and earlier."""
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


def rate_of(series: Series, first: int) -> tuple[float, float]:
    """Return the slope from point ``first`` on and its standard uncertainty, points a day."""
    t, y, weights = series.t[first:], series.y[first:], series.sd[first:] ** -2
    centred = t - np.average(t, weights=weights)
    spread = float(np.sum(weights * centred**2))
    return float(np.sum(weights * centred * y)) / spread, 1 / math.sqrt(spread)
