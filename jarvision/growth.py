"""From a jar's days to its growth curve, the date on which it is ready, and whether it stalls.

A jar's record is first cut at its last shake (a lasting drop of coverage is a new origin). A few
curves are fitted to what follows (:mod:`jarvision.curves`): the best one gives its name, all
enter the forecast with their Akaike weights. Too few or flat days are not fitted:
then the species' spawn run gives a wide forecast, or none is given.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from jarvision.curves import MODELS, Fit, FloatArray, draw_parameters, fit_curve
from jarvision.records import Growth, JarDay, JarHistory
from jarvision.settings import GrowthSettings, Settings
from jarvision.species import SpeciesProfile

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


@dataclass(frozen=True)
class Ready:
    """The date on which a jar is ready, with its interval; None where it cannot be told."""

    day: date | None = None
    low: date | None = None
    high: date | None = None


@dataclass(frozen=True)
class Stall:
    """How long a jar has stood still at least, and the sentence that says so."""

    days: int = 0
    reason: str = ""


def fit_growth(
    history: JarHistory, profile: SpeciesProfile, *, today: date, settings: Settings | None = None
) -> Growth:
    """Fit a jar's growth.

    Days after ``today`` are left out. The result is the same for the same input: the draws are
    seeded by the jar's name.
    """
    chosen = (settings or Settings()).growth
    days = tuple(d for d in history.days if d.day <= today)
    if not days:
        return Growth(model="too-few-days", origin=history.entry.started)
    series = _series(last_piece(days, chosen), history.entry.started, chosen)
    stall = find_stall(series, history, profile, chosen)
    if len(series.t) < chosen.min_days or np.ptp(series.y) < chosen.min_rise_points:
        return _unfitted(series, history, profile, stall)
    prior = (chosen.full_mean_percent, chosen.full_sd_points)
    fits = sorted(
        (fit_curve(m, series.t, series.y, series.sd, prior=prior) for m in MODELS),
        key=lambda fit: fit.aicc,
    )
    rng = np.random.default_rng(zlib.crc32(history.entry.jar.encode()))
    drawn = [
        (
            fit,
            draw_parameters(fit, series.t, series.y, series.sd, count=count, rng=rng, prior=prior),
        )
        for fit, count in zip(fits, _shares(fits, chosen.draws), strict=True)
        if count
    ]
    observed = _seen_ready(series, profile.ready_percent)
    ready = observed or _forecast(series, drawn, profile, today, chosen, stall)
    return _fitted(series, fits[0].model.name, drawn, ready, stall, chosen)


# --------------------------------------------------------------------------- the record
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


def _series(days: Sequence[JarDay], started: date | None, settings: GrowthSettings) -> Series:
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


# --------------------------------------------------------------------------- ready
def _seen_ready(series: Series, ready_percent: float) -> Ready | None:
    """Return since when the jar has been ready, or None if its last day is below ready.

    It is ready since the first day at or above ``ready_percent`` after which no day lay surely
    below it (a later ``high`` below the level undoes it). The interval: the first such day whose
    ``high`` reaches the level, and the first whose ``low`` does (None while none has).
    """
    if series.y[-1] < ready_percent:
        return None
    below = np.flatnonzero(series.high < ready_percent)
    since = int(below[-1]) + 1 if below.size else 0

    def first(values: FloatArray) -> date | None:
        hits = np.flatnonzero(values[since:] >= ready_percent)
        return series.day(since + int(hits[0])) if hits.size else None

    return Ready(first(series.y), first(series.high), first(series.low))


def _forecast(
    series: Series,
    drawn: Sequence[tuple[Fit, FloatArray]],
    profile: SpeciesProfile,
    today: date,
    settings: GrowthSettings,
    stall: Stall,
) -> Ready:
    """Return the median and the outer quantiles of when the drawn curves reach ready.

    Never before the day after the last photo, which showed that the jar is not ready. A stalled
    jar gets none: its curve would promise what its last days deny.
    """
    if stall.days:
        return Ready()
    y = profile.ready_percent
    times = np.concatenate([fit.model.time(y, *draws.T) for fit, draws in drawn])
    tail = (1 - settings.interval) / 2
    low, middle, high = np.quantile(times, [tail, 0.5, 1 - tail], method="inverted_cdf")
    latest = today + timedelta(days=settings.horizon_days)

    def as_date(time: float) -> date | None:
        time = max(time, series.t[-1] + 1)
        if not math.isfinite(time) or time > (latest - series.origin).days:
            return None
        return series.origin + timedelta(days=math.ceil(time - 1e-9))

    return Ready(as_date(float(middle)), as_date(float(low)), as_date(float(high)))


def _prior_ready(series: Series, history: JarHistory, profile: SpeciesProfile) -> Ready:
    """Return the species' own spawn run as a forecast, where the jar's start is known.

    None once the jar is older than the species allows: then nothing is known.
    """
    started = history.entry.started
    low_days, high_days = profile.spawn_run_days
    if started is None:
        return Ready()
    earliest = series.day(-1) + timedelta(days=1)
    high = started + timedelta(days=math.ceil(high_days))
    if high < earliest:
        return Ready()
    low = started + timedelta(days=math.floor(low_days))
    middle = started + timedelta(days=round((low_days + high_days) / 2))
    return Ready(max(middle, earliest), max(low, earliest), high)


# --------------------------------------------------------------------------- stall
def find_stall(
    series: Series, history: JarHistory, profile: SpeciesProfile, settings: GrowthSettings
) -> Stall:
    """Find the longest time up to the last day over which the jar has stood still.

    The rate over the window (weighted least squares) is compared with the rate expected at the
    coverage the jar has: the logistic's ``4 m (y/100) (1 - y/100)``, with m the jar's own best
    rate before the window, or the slowest one of its species if that is higher. Stalled when the
    upper bound of the rate lies below ``stall_share`` of what is expected.
    """
    if series.y[-1] >= profile.ready_percent:
        return Stall()
    dormant = _never_started(series, history, settings)
    longest = dormant
    for first in range(len(series.t) - 3, -1, -1):
        length = int(series.t[-1] - series.t[first])
        if length > settings.stall_longest_days:
            break
        if length < settings.stall_days:
            continue
        rate, rate_sd = _rate(series, first)
        level = float(np.mean(series.y[first:])) / 100.0
        best = max(_best_rate(series, first), 100.0 / profile.spawn_run_days[1])
        expected = 4 * best * level * (1 - level)
        if rate + settings.stall_z * rate_sd >= settings.stall_share * expected:
            continue
        reason = (
            f"Coverage rose {rate:+.1f} points a day over the last {length} days, at "
            f"{series.y[-1]:.0f} %, where {expected:.1f} points a day are expected."
        )
        longest = max(longest, Stall(length, reason), key=lambda s: s.days)
    return longest


def _never_started(series: Series, history: JarHistory, settings: GrowthSettings) -> Stall:
    """Tell a jar without any white long after its start (or first photo)."""
    since = history.entry.started or history.days[0].day
    age = (series.day(-1) - since).days
    if age < settings.leap_off_days or series.y.max() >= settings.leap_off_percent:
        return Stall()
    return Stall(
        age - settings.leap_off_days + settings.stall_days,
        f"Coverage is {series.y[-1]:.1f} % after {age} days: growth shows by day "
        f"{settings.leap_off_days} in a live jar.",
    )


def _rate(series: Series, first: int) -> tuple[float, float]:
    """Return the slope from point ``first`` on and its standard uncertainty, points a day."""
    t, y, weights = series.t[first:], series.y[first:], series.sd[first:] ** -2
    centred = t - np.average(t, weights=weights)
    spread = float(np.sum(weights * centred**2))
    return float(np.sum(weights * centred * y)) / spread, 1 / math.sqrt(spread)


def _best_rate(series: Series, until: int) -> float:
    """Return the best rate over any three neighbouring points up to ``until``, points/day."""
    rates = [
        (series.y[i + 2] - series.y[i]) / (series.t[i + 2] - series.t[i]) for i in range(until - 1)
    ]
    return float(max(rates, default=0.0))


# --------------------------------------------------------------------------- the record out
def _shares(fits: Sequence[Fit], draws: int) -> list[int]:
    """Split the draws by Akaike weights: a model's share is how far the readings favour it."""
    aicc = np.array([fit.aicc for fit in fits])
    weights = np.exp(-(aicc - aicc.min()) / 2)
    return [round(draws * float(w)) for w in weights / weights.sum()]


def _unfitted(series: Series, history: JarHistory, profile: SpeciesProfile, stall: Stall) -> Growth:
    """Return the growth of a record that is too short or too flat for a curve."""
    ready = _seen_ready(series, profile.ready_percent)
    if ready is None:
        ready = Ready() if stall.days else _prior_ready(series, history, profile)
    rate = _rate(series, max(len(series.t) - 3, 0))[0] if len(series.t) > 1 else None
    return Growth(
        model="too-few-days",
        origin=series.origin,
        rate_percent_per_day=rate,
        ready_date=ready.day,
        ready_low=ready.low,
        ready_high=ready.high,
        stalled=stall.days > 0,
        stall_reason=stall.reason,
        stalled_days=stall.days,
    )


def _fitted(
    series: Series,
    model: str,
    drawn: Sequence[tuple[Fit, FloatArray]],
    ready: Ready,
    stall: Stall,
    settings: GrowthSettings,
) -> Growth:
    """Return the growth of a fitted record, its curve sampled up to ready and a little beyond."""
    target = (ready.high or ready.day or series.day(-1)) - series.origin
    end = float(np.clip(target.days, series.t[-1], series.t[-1] + 30)) + 2.0
    t = np.linspace(float(series.t[0]), end, settings.curve_points)
    curves = np.vstack([fit.model.curve(t, *draws.T[:, :, None]) for fit, draws in drawn])
    tail = (1 - settings.interval) / 2
    low, middle, high = np.quantile(curves, [tail, 0.5, 1 - tail], axis=0).clip(0.0, 100.0)
    return Growth(
        model=model,
        origin=series.origin,
        day_numbers=tuple(t.tolist()),
        curve_percent=tuple(middle.tolist()),
        curve_low=tuple(low.tolist()),
        curve_high=tuple(high.tolist()),
        rate_percent_per_day=_rate(series, max(len(series.t) - 3, 0))[0],
        ready_date=ready.day,
        ready_low=ready.low,
        ready_high=ready.high,
        stalled=stall.days > 0,
        stall_reason=stall.reason,
        stalled_days=stall.days,
    )
