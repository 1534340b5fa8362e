"""When caps will begin to flatten: laws of growth fitted to the width of the largest one.

Four laws, each scaled so that the cap is ``width_mm`` wide on the day ``flat_day`` on which it
begins to flatten, and so that ``scale_days`` sets the pace: the logistic (Verhulst 1838), the curve
of Gompertz (1825), one that slows down from the first day on (von Bertalanffy 1938), and a steady
widening. What is expected of caps before any is seen comes in as
further residuals; the best fit of each law (Levenberg and Marquardt, by ``scipy``) is the middle of
a heavy-tailed cloud of draws, weighed by how well each explains widths and edges (importance
sampling), and laws are weighed against each other by the same weights.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np

from jarvision.base.days import days_after
from jarvision.records import CutForecast, FloatArray, Measured
from jarvision.settings.fruiting import FruitingSettings

_HALF_95: Final = 1.96
_Z80: Final = 1.2816
"""Half-widths of a normal distribution's 95 % and 80 % intervals, in standard deviations."""

_DRAWS: Final = 400
_HEAVY: Final = 5.0
"""Draws of each law, and the degrees of freedom of the cloud: its tails cover those of the law."""

_EDGE_DAYS: Final = 0.4
"""How gradually an edge flattens: the chance to see it goes from 12 to 88 % in 1.6 days (common
practice, no source)."""

_EDGE_SD: Final = 2.5
_SUREST: Final = 4.0
"""Standard error of the logit of that chance as a photo tells it, and how far it is believed: 2 to
98 %."""

_SCALE_DAYS: Final = 1.2
_SCALE_LOG_SD: Final = 0.7
"""The pace of the logistic that is expected of caps before any is seen: from a pin of 3 mm to a
flat cap of 45 mm within five days and a half (common practice, no source)."""

_GOMPERTZ, _SLOWER, _STEADY = 1.6, 2.4, 4.6
"""Paces of the logistic in one of the other laws, and in the whole of a steady widening: all take
as long from a pin of 3 mm to a flat cap of 45 mm, and that is the usual time from pins to
cutting."""

_HELD: Final = 0.7
"""Weight within the 80 % interval: of 120 forecasts one to three days ahead for simulated jars (two
of the laws above), days with 0.8 of it held 88 %, with 0.7 of it 81 %."""

_FARTHEST: Final = 60
"""Days, to both sides of the middle, beyond which nothing is looked for."""

_SEED: Final = 20210


@dataclass(frozen=True)
class CapSight:
    """The largest cap on one day; ``flat_chance`` None where its edge cannot be told.

    ``young``: still a pin, which need not be the one that becomes the largest cap.
    """

    day: date
    width_mm: Measured
    flat_chance: float | None = None
    young: bool = False


@dataclass(frozen=True)
class _Law:
    """``(t, flat_day, log width, log scale, logit of the flat share)`` to the width, mm."""

    name: str
    width: Callable[[FloatArray, FloatArray], FloatArray]


def _logistic(t: FloatArray, p: FloatArray) -> FloatArray:
    flat_day, log_width, log_scale, share = (p[..., i, None] for i in range(4))
    u = np.clip((t - flat_day) / np.exp(log_scale) + share, -50, 50)
    width: FloatArray = np.exp(log_width) * (1.0 + np.exp(-share)) / (1.0 + np.exp(-u))
    return width


def _gompertz(t: FloatArray, p: FloatArray) -> FloatArray:
    flat_day, log_width, log_scale, share = (p[..., i, None] for i in range(4))
    own = np.log1p(np.exp(-share))  # minus the logarithm of the share
    u = np.clip((t - flat_day) / (_GOMPERTZ * np.exp(log_scale)), -6, 50)
    width: FloatArray = np.exp(log_width + own - own * np.exp(-u))
    return width


def _steady(t: FloatArray, p: FloatArray) -> FloatArray:
    flat_day, log_width, log_scale, _ = (p[..., i, None] for i in range(4))
    rise = (t - flat_day) / (_STEADY * np.exp(log_scale))
    width: FloatArray = np.exp(log_width) * np.clip(1.0 + rise, 0.02, 1.3)
    return width


def _slowing(t: FloatArray, p: FloatArray) -> FloatArray:
    flat_day, log_width, log_scale, share = (p[..., i, None] for i in range(4))
    left = np.log1p(np.exp(share))  # paces from nothing to flat
    u = np.clip((t - flat_day) / (_SLOWER * np.exp(log_scale)) + left, 0.02, 50)
    width: FloatArray = np.exp(log_width) * (1.0 + np.exp(-share)) * -np.expm1(-u)
    return width


_LAWS: Final = (
    _Law("logistic", _logistic),
    _Law("gompertz", _gompertz),
    _Law("slowing", _slowing),
    _Law("steady", _steady),
)


@dataclass(frozen=True)
class _Task:
    """What is to be explained: days from the first pins on, widths, edges, what is expected.

    ``flat`` are logits.
    """

    t: FloatArray
    width_mm: FloatArray
    sd_mm: FloatArray
    flat_t: FloatArray
    flat: FloatArray
    middle: FloatArray
    spread: FloatArray

    def residuals(self, law: _Law, p: FloatArray) -> FloatArray:
        """Of one or many parameters ``(..., 4)``: all that stands against them, ``(..., n)``."""
        of_width = (law.width(self.t, p) - self.width_mm) / self.sd_mm
        of_prior = (p - self.middle) / self.spread
        expected = np.clip((self.flat_t - p[..., 0, None]) / _EDGE_DAYS, -_SUREST, _SUREST)
        of_edge = (self.flat - expected) / _EDGE_SD
        against: FloatArray = np.concatenate([of_width, of_prior, of_edge], axis=-1)
        return against


def forecast_cut(
    sights: Sequence[CapSight], *, pins_since: date | None, settings: FruitingSettings
) -> CutForecast | None:
    """Say when the largest cap will begin to flatten, with an 80 % interval; None without a cap.

    Parameters
    ----------
    sights
        The caps of one flush, in the order of their days.
    pins_since
        First day with pins of that flush; None where it is not known.
    """
    if not sights:
        return None
    origin = pins_since or sights[0].day
    task = _task(sights, origin, pins_since is not None, settings)
    rng = np.random.default_rng(_SEED)
    clouds = [_cloud(law, task, rng) for law in _LAWS]
    drawn = np.concatenate([parameters for parameters, _ in clouds])
    logs = np.concatenate([weights for _, weights in clouds])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    middle, late = _quantiles(drawn[:, 0], weights, (0.5, 0.95))
    low, high = _shortest_run(drawn[:, 0], weights, math.floor(middle))
    return CutForecast(
        day=days_after(origin, math.floor(middle)),
        low=days_after(origin, low),
        high=days_after(origin, high),
        latest=days_after(origin, math.floor(late)),
        mm_per_day=_pace(clouds, weights, float(task.t[-1])),
        days_seen=len(sights),
    )


def _logit(chance: float) -> float:
    """The logit of a chance, as far as it is believed."""
    inside = min(max(chance, 1e-6), 1 - 1e-6)
    return min(max(math.log(inside / (1 - inside)), -_SUREST), _SUREST)


def _task(
    sights: Sequence[CapSight], origin: date, pinned: bool, settings: FruitingSettings
) -> _Task:
    t = np.array([(s.day - origin).days for s in sights], dtype=float)
    young = np.array([s.width_mm.value if s.young else 0.0 for s in sights])
    sd = np.array([(s.width_mm.high - s.width_mm.low) / (2 * _HALF_95) for s in sights])
    edges = [(day, s.flat_chance) for day, s in zip(t, sights, strict=True)]
    known = [(day, chance) for day, chance in edges if chance is not None]
    first, last = settings.pins_to_cut_low_days, settings.pins_to_cut_high_days
    if pinned:
        flat_day, flat_sd = (first + last) / 2, (last - first) / (2 * _Z80)
    else:  # caps on the first photo: anything up to the longest time may have passed
        flat_day, flat_sd = last / 2, last / 2
    small, large = math.log(settings.full_cap_low_mm), math.log(settings.full_cap_high_mm)
    share = settings.flat_share
    return _Task(
        t=t,
        width_mm=np.array([s.width_mm.value for s in sights]),
        sd_mm=np.sqrt(sd**2 + settings.cap_error_mm**2 + (settings.young_error_share * young) ** 2),
        flat_t=np.array([day for day, _ in known]),
        flat=np.array([_logit(chance) for _, chance in known]),
        middle=np.array(
            [flat_day, (small + large) / 2, math.log(_SCALE_DAYS), math.log(share / (1 - share))]
        ),
        spread=np.array(
            [
                flat_sd,
                (large - small) / (2 * _Z80),
                _SCALE_LOG_SD,
                settings.flat_share_sd / (share * (1 - share)),
            ]
        ),
    )


def _cloud(law: _Law, task: _Task, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Draws ``(n, 4)`` round a law's best fit, and the logarithm of each one's weight, ``(n,)``."""
    from scipy.optimize import least_squares

    start = task.middle.copy()
    start[0] = max(start[0], float(task.t[-1]))
    start[1] = max(start[1], math.log(float(task.width_mm.max()) + 1.0))
    best = least_squares(lambda p: task.residuals(law, p), start, x_scale=task.spread, max_nfev=80)
    root = np.linalg.cholesky(np.linalg.inv(best.jac.T @ best.jac + 1e-6 * np.eye(4)))
    normal, chi = rng.standard_normal((_DRAWS, 4)), rng.chisquare(_HEAVY, _DRAWS) / _HEAVY
    drawn = best.x + (normal @ root.T) / np.sqrt(chi)[:, None]
    against = -0.5 * np.sum(task.residuals(law, drawn) ** 2, axis=-1)
    away = np.sum(normal**2, axis=-1) / chi
    density = -0.5 * (_HEAVY + 4) * np.log1p(away / _HEAVY) - np.sum(np.log(np.diag(root)))
    return drawn, against - density


def _quantiles(
    values: FloatArray, weights: FloatArray, levels: Sequence[float]
) -> tuple[float, ...]:
    order = np.argsort(values)
    reached = np.cumsum(weights[order]) - weights[order] / 2
    return tuple(float(np.interp(level, reached, values[order])) for level in levels)


def _shortest_run(values: FloatArray, weights: FloatArray, middle: int) -> tuple[int, int]:
    """First and last of the fewest whole days about ``middle`` that hold :data:`_HELD` of it all.

    Ends rounded to whole days hold more than the quantiles they are rounded from.
    """
    days = np.clip(np.floor(values) - middle, -_FARTHEST, _FARTHEST).astype(int) + _FARTHEST
    reached = np.concatenate([[0.0], np.cumsum(np.bincount(days, weights, 2 * _FARTHEST + 1))])
    for span in range(1, _FARTHEST + 1):
        starts = np.arange(_FARTHEST - span + 1, _FARTHEST + 1)
        held = reached[starts + span] - reached[starts]
        if held.max() >= _HELD:
            low = int(starts[held.argmax()]) - _FARTHEST + middle
            return low, low + span - 1
    return middle - _FARTHEST, middle + _FARTHEST


def _pace(
    clouds: Sequence[tuple[FloatArray, FloatArray]], weights: FloatArray, now: float
) -> float:
    """How fast the largest cap widens about the last photo, mm a day."""
    around = np.array([now - 0.25, now + 0.25])
    wide = [law.width(around, drawn) for law, (drawn, _) in zip(_LAWS, clouds, strict=True)]
    slopes = np.concatenate([w[:, 1] - w[:, 0] for w in wide]) / 0.5
    return float(np.sum(weights * slopes))
