"""From a jar's days to its growth curve, the date on which it is ready, and whether it stalls.

A jar's record is first cut at its last shake (a lasting drop of coverage is a new origin). A few
curves are fitted to what follows (:mod:`jarvision.growth.models`): the best one gives its name, all
enter the forecast with their Akaike weights. They are fitted once more to the newest days alone,
since jars do not keep to one curve. Too few or flat days are not fitted: then the species' spawn
run gives a wide forecast, or none is given.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from jarvision.base.days import days_after
from jarvision.growth.draws import DrawnCurve, drawn_curves, packed_percent
from jarvision.growth.priors import Sibling, pooled_prior, species_prior
from jarvision.growth.stall import Stall, find_stall
from jarvision.growth.timeseries import (
    Series,
    as_series,
    last_piece,
    rate_of,
    without_bad_readings,
)
from jarvision.history.shakes import shaken_since
from jarvision.records import BoolArray, FloatArray, Growth, JarHistory
from jarvision.register.species import SpeciesProfile
from jarvision.settings.groups import Settings
from jarvision.settings.growth import GrowthSettings

UNFITTED = "too-few-days"
"""Stands for a model's name where the record is too short or too flat for a curve."""

_HALF_A_DAY = 0.5  # less is the same date


@dataclass(frozen=True)
class Ready:
    """The date on which a jar is ready, with its interval; None where it cannot be told."""

    day: date | None = None
    low: date | None = None
    high: date | None = None


def fit_growth(
    history: JarHistory,
    profile: SpeciesProfile,
    *,
    today: date,
    siblings: Sequence[Sibling] = (),
    settings: Settings | None = None,
) -> Growth:
    """Fit a jar's growth.

    ``siblings`` are those of its batch, as fitted on the same day. Days after ``today`` and before
    the start of the jar (a wrong clock) are left out. The result is the same for the same input:
    the draws are seeded by the jar's name.
    """
    chosen = (settings or Settings()).growth
    record = _record(history, profile, today, siblings, chosen)
    if record is None:
        return Growth(model=UNFITTED, origin=history.entry.started)
    series, ready, stall = record.series, record.seen_ready, record.stall
    open_ended = ready is None and not stall.days and not record.mixed
    if len(series.t) < chosen.min_days or np.ptp(series.y) < chosen.min_rise_points:
        if open_ended:
            ready = _prior_ready(series, history, profile, chosen)
        return _told(series, ready or Ready(), stall)
    prior = species_prior(
        profile, chosen, start_known=history.entry.started is not None, shaken=record.shaken
    )
    rng = np.random.default_rng(zlib.crc32(history.entry.jar.encode()))
    drawn = drawn_curves(series, pooled_prior(prior, siblings, chosen), chosen, rng)
    if open_ended:
        level, z = profile.ready_percent, rng.standard_normal((2, 2 * chosen.draws))
        ready = _forecast(series, drawn, z, ready_percent=level, today=today, settings=chosen)
    growth = _told(series, ready or Ready(), stall, model=drawn[0].fit.model.name)
    return _with_curve(growth, series, drawn, settings=chosen)


def seen_growth(
    history: JarHistory,
    profile: SpeciesProfile,
    *,
    today: date,
    siblings: Sequence[Sibling] = (),
    settings: Settings | None = None,
) -> Growth:
    """What has been seen of a jar's growth: its stall, or since when it is ready; no forecast.

    Whether a jar is go or no-go stands on this alone.
    """
    chosen = (settings or Settings()).growth
    record = _record(history, profile, today, siblings, chosen)
    if record is None:
        return Growth(model=UNFITTED, origin=history.entry.started)
    return _told(record.series, record.seen_ready or Ready(), record.stall)


@dataclass(frozen=True)
class _Record:
    """A jar's record since its last shake, and what it shows without a curve.

    ``mixed``: it was shaken again since, so that its days tell nothing of the days to come.
    """

    series: Series
    shaken: bool
    mixed: bool
    seen_ready: Ready | None
    stall: Stall


def _record(
    history: JarHistory,
    profile: SpeciesProfile,
    today: date,
    siblings: Sequence[Sibling],
    settings: GrowthSettings,
) -> _Record | None:
    """The record up to a day; None where there is none."""
    started = history.entry.started
    days = tuple(d for d in history.days if (started or d.day) <= d.day <= today)
    if not days:
        return None
    piece = last_piece(days, settings)
    series = as_series(piece, started, settings)
    shaken = len(piece) < len(days)
    if shaken_since(history, days, today=today) is not None:
        return _Record(series, shaken, mixed=True, seen_ready=None, stall=Stall())
    return _Record(
        series=series,
        shaken=shaken,
        mixed=False,
        seen_ready=_seen_ready(without_bad_readings(series, settings), profile.ready_percent),
        stall=find_stall(series, history, profile, settings=settings, siblings=siblings),
    )


# --------------------------------------------------------------------------- ready
def _seen_ready(series: Series, ready_percent: float) -> Ready | None:
    """Since when the jar has been ready, or None if its last day is below ready.

    ``series`` is without bad readings. It is ready since the first day at or above
    ``ready_percent`` after which no two days in a row lay surely below it, nor the very next (a
    ``high`` below the level): one low day alone may be misread. The interval: the first such day
    whose ``high`` reaches the level, and the first whose ``low`` does (None while none has). The
    day itself lies in the middle between the first of these and the day on which it was read. Where
    days without a photo lie before one, it was ready in the middle of them.
    """
    if series.y[-1] < ready_percent:
        return None
    below = series.high < ready_percent
    reached = series.y >= ready_percent
    undone = below[1:] & (below[:-1] | (reached[:-1] & _firsts(reached)[:-1]))
    since = int(np.flatnonzero(undone)[-1]) + 2 if undone.any() else 0

    def first(values: FloatArray) -> date | None:
        hits = np.flatnonzero(values[since:] >= ready_percent)
        if not hits.size:
            return None
        at = since + int(hits[0])
        unseen = int(series.t[at] - series.t[at - 1]) - 1 if at else 0
        return days_after(series.day(at), -(unseen // 2))

    read, may, surely = first(series.y), first(series.high), first(series.low)
    if read is not None and may is not None:
        read = days_after(read, -((read - may).days // 2))
    return Ready(read, may, surely)


def _firsts(reached: BoolArray) -> BoolArray:
    """Which days reach ready when the one before did not."""
    firsts = reached.copy()
    firsts[1:] &= ~reached[:-1]
    return firsts


def _forecast(
    series: Series,
    drawn: Sequence[DrawnCurve],
    z: FloatArray,
    *,
    ready_percent: float,
    today: date,
    settings: GrowthSettings,
) -> Ready:
    """The median and an interval of when the drawn curves reach ready.

    ``forecast_spread`` stretches the draws about their median; ``z``, ``(2, n)`` standard normal
    values, scatter them: real jars are not quite the curves that are fitted to them. Never before
    the day after the last photo, which showed that the jar is not ready. Not for a stalled jar: its
    curve would promise what its last days deny.
    """
    last = float(series.t[-1])
    lefts = [np.maximum(curve.times(ready_percent) - last, 1e-3) for curve in drawn]
    left = np.concatenate(lefts)
    middle = float(np.quantile(left, 0.5, method="inverted_cdf"))
    if math.isfinite(middle):
        left = middle * (left / middle) ** settings.forecast_spread
    factor, days_off = z[:, : len(left)]
    share = _misfit_share(drawn, lefts, settings)
    left = left * np.exp(share * factor) + settings.misfit_days * days_off
    days = np.maximum(np.ceil(left - 1e-9), 1.0)
    low, high = date_interval(days, settings.interval)
    latest = (days_after(today, settings.horizon_days) - series.origin).days

    def as_date(left_days: float) -> date | None:
        if not math.isfinite(left_days) or last + left_days > latest:
            return None
        return days_after(series.day(-1), left_days)

    return Ready(as_date(max(float(np.ceil(middle - 1e-9)), 1.0)), as_date(low), as_date(high))


def _misfit_share(
    drawn: Sequence[DrawnCurve], lefts: Sequence[FloatArray], settings: GrowthSettings
) -> float:
    """How far real jars leave the curves, as a share (of the logarithm) of the time left.

    The more the newest days deny what all days promise, the less either is believed.
    """
    medians = []
    for newest in (False, True):
        part = [t for t, curve in zip(lefts, drawn, strict=True) if curve.newest is newest]
        medians.append(float(np.median(np.concatenate(part))) if part else math.inf)
    if not all(map(math.isfinite, medians)):
        return settings.misfit_share
    whole, now = (max(days, _HALF_A_DAY) for days in medians)
    return math.hypot(settings.misfit_share, settings.denied_share * math.log(now / whole))


def date_interval(days: FloatArray, interval: float) -> tuple[float, float]:
    """The first and last whole day of an interval with about equal tails.

    Dates come in steps: an interval that holds *at least* its probability holds far more when few
    dates are likely. Of the tail quantiles and the day inside of each, the pair is taken whose
    probability is nearest to ``interval``.
    """
    tail = (1 - interval) / 2
    low, middle, high = np.quantile(days, [tail, 0.5, 1 - tail], method="inverted_cdf")
    pairs = [(a, b) for a in (low, min(low + 1, middle)) for b in (high, max(high - 1, middle))]

    def miss(pair: tuple[float, float]) -> float:
        return abs(float(np.mean((days >= pair[0]) & (days <= pair[1]))) - interval)

    best = min(pairs, key=miss)
    return float(best[0]), float(best[1])


def _prior_ready(
    series: Series, history: JarHistory, profile: SpeciesProfile, settings: GrowthSettings
) -> Ready:
    """The species' own spawn run as a forecast, where the jar's start is known.

    A jar that was packed partly white has less to go: the run is the shorter by that share, or not,
    for all that is known yet. None once the jar is older than the species allows.
    """
    started, packed = history.entry.started, packed_percent(series, settings)
    low_days, high_days = profile.spawn_run_days
    low_days *= 1.0 - packed / 100.0
    if started is None:
        return Ready()
    earliest = days_after(series.day(-1), 1)
    high = days_after(started, math.ceil(high_days))
    if high < earliest:
        return Ready()
    low = days_after(started, math.floor(low_days))
    middle = days_after(started, round((low_days + high_days) / 2))
    return Ready(max(middle, earliest), max(low, earliest), high)


# --------------------------------------------------------------------------- the record out
def _told(series: Series, ready: Ready, stall: Stall, *, model: str = UNFITTED) -> Growth:
    """All of a jar's growth but its curve."""
    rate = rate_of(series, max(len(series.t) - 3, 0)).value if len(series.t) > 1 else None
    return Growth(
        model=model,
        origin=series.origin,
        rate_percent_per_day=rate,
        ready_date=ready.day,
        ready_low=ready.low,
        ready_high=ready.high,
        stall=stall.finding,
    )


def _with_curve(
    growth: Growth, series: Series, drawn: Sequence[DrawnCurve], *, settings: GrowthSettings
) -> Growth:
    """The growth with its curve, sampled up to ready and a little beyond."""
    target = (growth.ready_high or growth.ready_date or series.day(-1)) - series.origin
    end = float(np.clip(target.days, series.t[-1], series.t[-1] + 30)) + 2.0
    t = np.linspace(float(series.t[0]), end, settings.curve_points)
    curves = np.vstack([curve.levels(t) for curve in drawn])
    tail = (1 - settings.interval) / 2
    low, middle, high = np.nanquantile(curves, [tail, 0.5, 1 - tail], axis=0).clip(0.0, 100.0)
    return replace(
        growth,
        day_numbers=tuple(t.tolist()),
        curve_percent=tuple(middle.tolist()),
        curve_low=tuple(low.tolist()),
        curve_high=tuple(high.tolist()),
    )
