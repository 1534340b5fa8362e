"""Counts of a few walls and readings of all: how far this shelf's readings are off, and how surely.

The difference estimator of survey sampling, which prediction-powered inference is named for where a
network stands in for the auxiliary (Angelopoulos et al. 2023, Science 382:669-674): the mean of all
readings, put right by the weighted mean of what counts and readings of the same walls differ by. It
has no bias, however wrong the readings are; good readings make it sharp.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from jarvision.base.statistics import Z95
from jarvision.records import Coverage, FloatArray
from jarvision.settings.count import CountSettings
from jarvision.truth.counted import WallCount

FEWEST_WALLS: Final = 2
"""Of one wall it cannot be said how much walls differ."""

LEAST_SIDE: Final = 0.5
"""No interval is taken to be narrower than this to either side, points."""


@dataclass(frozen=True)
class Compared:
    """One wall, as it was counted and as it was read."""

    count: WallCount
    read: Coverage

    @property
    def difference(self) -> float:
        """Count less reading, points."""
        return self.count.percent - self.read.percent


@dataclass(frozen=True)
class Rectifier:
    """What must be added to readings so that their mean is right.

    Attributes
    ----------
    points
        Of coverage, with its standard error ``sd``.
    walls
        How many walls were drawn, counted and compared.
    """

    points: float
    sd: float
    walls: int

    @property
    def reach(self) -> float:
        """Half-width of its 95 % interval by Student's t."""
        from scipy.stats import t

        return float(t.ppf(0.975, self.walls - 1)) * self.sd

    @property
    def low(self) -> float:
        """Low end of its 95 % interval, points."""
        return self.points - self.reach

    @property
    def high(self) -> float:
        """High end, points."""
        return self.points + self.reach


def rectify(differences: FloatArray, weights: FloatArray) -> Rectifier:
    """Return the weighted mean of differences ``(n,)``, with its error by linearisation.

    Hájek's ratio form: weights need be right up to a factor (Särndal, Swensson, Wretman 1992, Model
    Assisted Survey Sampling, ch. 5; from memory).
    """
    share = weights / weights.sum()
    points = float(share @ differences)
    count = differences.size
    spread = float(np.sum((share * (differences - points)) ** 2)) * count / (count - 1)
    return Rectifier(points, math.sqrt(spread), count)


@dataclass(frozen=True)
class MeanCoverage:
    """Mean coverage of all walls of a shelf, percent, with its 95 % interval, without bias."""

    percent: float
    low: float
    high: float


def shelf_mean(readings: Sequence[float], rectifier: Rectifier) -> MeanCoverage:
    """Prediction-powered mean of the walls whose readings are given, percent each."""
    percent = float(np.mean(readings)) + rectifier.points
    return MeanCoverage(percent, percent - rectifier.reach, percent + rectifier.reach)


@dataclass(frozen=True)
class Adjustment:
    """How the readings of a shelf are put right.

    A reading is moved by a share of the way to one end of its own interval: where the tool is sure
    there is little room for it to be wrong, and no reading leaves 0 to 100 %. The share is chosen
    so that the mean of the shelf moves as the counts ask (ratio form of the difference estimator).

    Attributes
    ----------
    rectifier
        What counts and readings of the drawn walls differ by.
    share
        Of the way to the high end; negative: to the low end.
    stretch
        By which intervals are multiplied: below 1 where they are wider than the counts show
        readings to be wrong. It holds the uncertainty of the counts themselves.
    points_counted
        Points behind it.
    """

    rectifier: Rectifier
    share: float
    stretch: float
    points_counted: int

    def of(self, read: Coverage) -> Coverage:
        """Return the reading put right."""
        middle = read.percent + self.share * _way(read, up=self.share > 0)
        middle = min(max(middle, 0.0), 100.0)
        below, above = _sides(read)
        return replace(
            read,
            percent=middle,
            low=max(middle - self.stretch * below, 0.0),
            high=min(middle + self.stretch * above, 100.0),
        )


def adjustment_from(compared: Iterable[Compared], settings: CountSettings) -> Adjustment | None:
    """Learn how readings are to be put right; None before enough walls were drawn and counted.

    Only walls that were drawn count: what a person picks because it looks wrong says nothing of the
    others.
    """
    drawn = [pair for pair in compared if pair.count.weight]
    if len(drawn) < max(settings.least_walls, FEWEST_WALLS):
        return None
    weights = np.array([pair.count.weight or 0.0 for pair in drawn])
    rectifier = rectify(np.array([pair.difference for pair in drawn]), weights)
    ways = np.array([_way(pair.read, up=rectifier.points > 0) for pair in drawn])
    mean_way = max(float(np.average(ways, weights=weights)), LEAST_SIDE)
    share = rectifier.points / mean_way
    left = np.array([pair.difference for pair in drawn]) - share * ways
    return Adjustment(
        rectifier=rectifier,
        share=share,
        stretch=_stretch(drawn, weights, left, settings),
        points_counted=sum(pair.count.of for pair in drawn),
    )


def _stretch(
    drawn: Sequence[Compared], weights: FloatArray, left: FloatArray, settings: CountSettings
) -> float:
    """How wide intervals must be, as a share of those that were read.

    What is ``left`` of each wall's difference, squared, less what counting itself scatters, is a
    vote on the square of that share. It counts the less, the more the scatter is of it: no count
    tells whether an interval of one point is right. The intervals' own word, 1, counts as
    ``prior_walls`` walls. The error of the shift is added in quadrature, by Student's t.
    """
    from scipy.stats import t

    sides = np.array([sum(_sides(pair.read)) / 2 for pair in drawn])
    scatter = np.array([pair.count.sd_percent for pair in drawn]) ** 2
    count = len(drawn)
    promised = (sides / Z95) ** 2
    votes = (left**2 * count / (count - 1) - scatter) / promised
    worth = weights / weights.mean() * (promised / (promised + scatter)) ** 2
    square = (settings.prior_walls + float(worth @ votes)) / (
        settings.prior_walls + float(worth.sum())
    )
    own = math.sqrt(max(square, settings.least_stretch**2))
    unsure = rectify(left, weights).sd / float(np.average(sides, weights=weights))
    return math.hypot(own, float(t.ppf(0.975, count - 1)) * unsure)


def _way(read: Coverage, *, up: bool) -> float:
    """How far an end of a reading's interval is from it, points."""
    return read.high - read.percent if up else read.percent - read.low


def _sides(read: Coverage) -> tuple[float, float]:
    """Both half-widths of a reading's interval; one that was cut at 0 or 100 % is as the other."""
    below, above = _way(read, up=False), _way(read, up=True)
    wider = max(below, above)
    return (
        max(wider if read.low <= 0.0 else below, LEAST_SIDE),
        max(wider if read.high >= 100.0 else above, LEAST_SIDE),
    )
