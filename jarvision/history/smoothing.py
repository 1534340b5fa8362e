"""Days read together: growth does not come and go, so the days of a jar correct each other.

A photo's error has a part that all days of a jar share (contents that look like growth do so every
day) and a part of its own (light, pose, a misreading). Only the second can be taken out. So each
day's variance is split: one share enters as independent noise, the rest is added to the interval
again, whole, however many days agree.

The level of a jar is a hidden Markov chain on a grid of percents (forward-backward recursion, Baum
et al. 1970, from memory). From day to day it stays or rises, seldom faster than jars grow; now and
then it falls (shaken unseen, collapsed). A day's reading is the level with normal noise; now and
then it is misread and says nothing. So one low day between two high ones is taken for misread, two
low days for a fall, and on the last day, before a second one tells, the interval holds both.
The last day knows the past only; earlier days know what came after, too.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from typing import Final

import numpy as np

from jarvision.base.statistics import Z95
from jarvision.history.shakes import shaken_on
from jarvision.records import OFF_COLOUR_KINDS, Coverage, FloatArray, JarDay
from jarvision.settings.groups import Settings

GRID: Final = np.linspace(0.0, 100.0, 201)
"""Levels of the chain, percent: half a point apart, finer than any photo is."""


BEYOND_FASTEST: Final = 4
"""Rises beyond the fastest rate fall off by this power of it: a jar that was shaken, or a mould
that is white yet, may gain 40 points in a day."""


@dataclass(frozen=True)
class Level:
    """What some days say together of one of them: median and 95 % interval, percent."""

    percent: float
    low: float
    high: float


def read_together(days: Sequence[JarDay], settings: Settings) -> tuple[JarDay, ...]:
    """Give each day the level that it has together with the others of its piece.

    A piece ends where the jar was shaken or turned away, since what is then seen is another wall,
    and with each day on which mould shows: it takes the place of the white. A day alone in its
    piece is taken as it was read.
    """
    told: list[JarDay] = []
    for piece in _pieces(days, shaken_on(days, settings.growth)):
        levels = levels_of(
            np.array([float((d.day - piece[0].day).days) for d in piece]),
            [d.coverage for d in piece],
            settings,
        )
        told += [
            replace(day, together=_with_level(day.coverage, level))
            for day, level in zip(piece, levels, strict=True)
        ]
    return tuple(told)


def _pieces(days: Sequence[JarDay], shaken: Sequence[date]) -> Iterator[tuple[JarDay, ...]]:
    piece: list[JarDay] = []
    for day in days:
        mould = any(p.kind in OFF_COLOUR_KINDS for p in day.patches)
        if piece and (mould or day.turned_away or day.day in shaken):
            yield tuple(piece)
            piece = []
        piece.append(day)
    if piece:
        yield tuple(piece)


def _with_level(coverage: Coverage, level: Level) -> Coverage:
    return replace(coverage, percent=level.percent, low=level.low, high=level.high)


# --------------------------------------------------------------------------- the chain
def levels_of(t: FloatArray, coverages: Sequence[Coverage], settings: Settings) -> list[Level]:
    """The level of each day of one piece.

    Parameters
    ----------
    t
        ``(n,)`` days, rising.
    coverages
        What each day's photos say alone.
    """
    if len(coverages) == 1:
        only = coverages[0]
        return [Level(only.percent, only.low, only.high)]
    limits = settings.together
    sd = np.array([_sd(c, limits.sd_floor_points) for c in coverages])
    read = np.array([c.percent for c in coverages])
    own = np.sqrt(1.0 - limits.common_share) * sd
    seen = _likelihoods(read, own, limits.misread_share)
    rates = {
        "fastest": settings.growth.fastest_rate_points,
        "slow": limits.slow_rate_points,
        "fall_share": limits.fall_share,
    }
    steps = [_step(float(gap), **rates) for gap in np.diff(t)]
    before = _forward(seen, steps)
    after = _backward(seen, steps)
    common = np.sqrt(limits.common_share) * _typical(sd)
    return [
        _level(belief, Z95 * float(shared))
        for belief, shared in zip(before * after, common, strict=True)
    ]


def _sd(coverage: Coverage, floor: float) -> float:
    """Standard uncertainty, of the longer side: the other may be cut off at 0 or 100."""
    half = max(coverage.high - coverage.percent, coverage.percent - coverage.low)
    return max(half / Z95, floor)


def _typical(sd: FloatArray) -> FloatArray:
    """A day's uncertainty or, where it claims to be surer than its neighbours, their median."""
    about = [np.median(sd[max(i - 1, 0) : i + 2]) for i in range(len(sd))]
    typical: FloatArray = np.maximum(sd, about)
    return typical


def _likelihoods(read: FloatArray, own: FloatArray, misread: float) -> FloatArray:
    """How likely each day's reading is at every level, ``(n, levels)``."""
    z = (GRID[None, :] - read[:, None]) / own[:, None]
    normal = np.exp(-0.5 * z * z) / (own[:, None] * np.sqrt(2.0 * np.pi))
    likely: FloatArray = (1.0 - misread) * normal + misread / 100.0
    return likely


@lru_cache(maxsize=16)
def _step(gap_days: float, *, fastest: float, slow: float, fall_share: float) -> FloatArray:
    """Chance of each level (columns) ``gap_days`` after each level (rows).

    A rise by r is as likely as ``1 / (slow + r)``, r per day, and far less beyond ``fastest``; a
    fall, once in a while, ends anywhere below.
    """
    rise = (GRID[None, :] - GRID[:, None]) / gap_days
    seldom = np.minimum(fastest / np.maximum(rise, fastest), 1.0) ** BEYOND_FASTEST
    up = np.where(rise >= 0.0, seldom / (slow + np.abs(rise)), 0.0)
    down = np.where(rise <= 0.0, 1.0, 0.0)
    fall = 1.0 - (1.0 - fall_share) ** gap_days
    step: FloatArray = (1.0 - fall) * up / up.sum(axis=1, keepdims=True)
    step += fall * down / down.sum(axis=1, keepdims=True)
    return step


def _forward(seen: FloatArray, steps: Sequence[FloatArray]) -> FloatArray:
    """Belief in every level after each day, from that day and those before."""
    beliefs = [seen[0] / seen[0].sum()]
    for now, step in zip(seen[1:], steps, strict=True):
        belief = (beliefs[-1] @ step) * now
        beliefs.append(belief / belief.sum())
    return np.array(beliefs)


def _backward(seen: FloatArray, steps: Sequence[FloatArray]) -> FloatArray:
    """How well every level of each day explains the days after it."""
    told = [np.ones(len(GRID))]
    for later, step in zip(seen[:0:-1], steps[::-1], strict=True):
        back = step @ (later * told[-1])
        told.append(back / back.max())
    return np.array(told[::-1])


def _level(belief: FloatArray, common: float) -> Level:
    """Median and interval of a belief, wider by ``common``, half of a 95 % interval, points."""
    upto = np.cumsum(belief) / belief.sum()
    half = (GRID[1] - GRID[0]) / 2.0
    ends = np.clip(GRID + half, 0.0, 100.0)
    low, middle, high = np.interp([0.025, 0.5, 0.975], upto, ends, left=0.0)
    return Level(
        percent=float(middle),
        low=float(max(middle - np.hypot(middle - low, common), 0.0)),
        high=float(min(middle + np.hypot(high - middle, common), 100.0)),
    )
