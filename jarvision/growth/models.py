"""Growth curves: their formulas, a weighted robust fit, and draws that carry its uncertainty.

Formulas, with y the coverage in percent and t in days: Zwietering, Jongenburger, Rombouts and
van 't Riet 1990, Appl. Environ. Microbiol. 56(6):1875-1881; nucleation and growth, fronts and
discs: see :mod:`jarvision.growth.shapes`. All curves are written in the same three parameters:
asymptote A (percent), largest slope m (percent/day) and lag L (days), where the tangent of the
largest slope meets zero. The fit is done in y, not in a transform of it: logits near 0 and 100 %
have small absolute but large transformed errors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from jarvision.growth.least_squares import Problem, solve
from jarvision.growth.shapes import DISCS, FRONT, CurveFormula, CurveInverse, kjma
from jarvision.records import FloatArray

MAX_EXPONENT = 300.0
"""Exponents are held here: exp(300) is finite, and its effect on any percentage is nil."""


def logistic(t: FloatArray, a: FloatArray, m: FloatArray, lag: FloatArray) -> FloatArray:
    """``A / (1 + exp(4 m (L - t) / A + 2))`` (Zwietering et al. 1990)."""
    y: FloatArray = a / (
        1 + np.exp(np.clip(4 * m * (lag - t) / a + 2, -MAX_EXPONENT, MAX_EXPONENT))
    )
    return y


def gompertz(t: FloatArray, a: FloatArray, m: FloatArray, lag: FloatArray) -> FloatArray:
    """``A exp(-exp(m e (L - t) / A + 1))`` (Zwietering et al. 1990)."""
    inner = np.clip(m * math.e * (lag - t) / a + 1, -MAX_EXPONENT, math.log(MAX_EXPONENT))
    return a * np.exp(-np.exp(inner))


def logistic_time(y: float, a: FloatArray, m: FloatArray, lag: FloatArray) -> FloatArray:
    """When the logistic reaches ``y``, infinite where it never does."""
    with np.errstate(divide="ignore", invalid="ignore"):
        time = lag + a / (4 * m) * (2 - np.log(a / y - 1))
    return np.where(a > y, time, np.inf)


def gompertz_time(y: float, a: FloatArray, m: FloatArray, lag: FloatArray) -> FloatArray:
    """When the modified Gompertz curve reaches ``y``, infinite where it never does."""
    with np.errstate(divide="ignore", invalid="ignore"):
        time = lag + a / (m * math.e) * (1 - np.log(np.log(a / y)))
    return np.where(a > y, time, np.inf)


@dataclass(frozen=True)
class Model:
    """A curve of (A, m, L) and its inverse."""

    name: str
    curve: CurveFormula
    time: CurveInverse

    @property
    def onset(self) -> float:
        """How long after the lag 5 % of A are reached, in units of A / m."""
        return self._unit_time(0.05)

    @property
    def span(self) -> float:
        """How long it takes from 5 to 95 % of A, in units of A / m."""
        return self._unit_time(0.95) - self._unit_time(0.05)

    def _unit_time(self, share: float) -> float:
        one = np.ones(1)
        return float(self.time(share, one, one, 0.0 * one)[0])

    def from_offset(self, percent: float) -> Model:
        """The same curve on top of what was covered from the start; A and m stay what they are."""

        def curve(t: FloatArray, a: FloatArray, m: FloatArray, lag: FloatArray) -> FloatArray:
            return percent + self.curve(t, np.maximum(a - percent, 1.0), m, lag)

        def time(y: float, a: FloatArray, m: FloatArray, lag: FloatArray) -> FloatArray:
            return self.time(y - percent, np.maximum(a - percent, 1.0), m, lag)

        return Model(f"{self.name}+", curve, time)


MODELS = (
    Model("logistic", logistic, logistic_time),
    Model("gompertz", gompertz, gompertz_time),
    Model("kjma-2", *kjma(2).in_time()),
    Model("kjma-3", *kjma(3).in_time()),
    Model("front", *FRONT.in_time()),
    Model("discs", *DISCS.in_time()),
)


@dataclass(frozen=True)
class Prior:
    """What is known of a curve before any reading: mean and standard deviation each.

    ``full`` is the asymptote (percent), ``log_rate`` the natural logarithm of the largest slope
    (percent a day), ``lag`` in days; None where nothing is known.
    """

    full: tuple[float, float] | None = None
    log_rate: tuple[float, float] | None = None
    lag: tuple[float, float] | None = None

    def told_of(self, model: Model, *, known_of: Model) -> Prior:
        """The prior of one curve for another: from 5 to 95 % they take the same days."""
        if self.log_rate is None:
            return self
        log_rate = self.log_rate[0] + math.log(model.span / known_of.span)
        later = known_of.onset / math.exp(self.log_rate[0]) - model.onset / math.exp(log_rate)
        lag = self.lag and (self.lag[0] + 100.0 * later, self.lag[1])
        return replace(self, log_rate=(log_rate, self.log_rate[1]), lag=lag)

    def residuals(self, a: FloatArray, m: FloatArray, lag: FloatArray) -> FloatArray:
        """How far parameters lie from what is known, in standard deviations, last axis."""
        known = zip((self.full, self.log_rate, self.lag), (a, np.log(m), lag), strict=True)
        rows = [(value - prior[0]) / prior[1] for prior, value in known if prior is not None]
        return np.stack(rows, axis=-1) if rows else np.zeros((*np.shape(a), 0))


@dataclass(frozen=True)
class Bounds:
    """Where the parameters may lie: lowest and highest (A, m, L).

    The asymptote may pass 100 % a little, so that a full jar's best fit does not sit on a bound.
    """

    low: tuple[float, float, float] = (1.0, 0.05, -60.0)
    high: tuple[float, float, float] = (104.0, 100.0, 365.0)


@dataclass(frozen=True)
class Fit:
    """A fitted curve.

    Attributes
    ----------
    parameters
        ``(3,)``: A, m, L.
    covariance
        ``(3, 3)`` for weights of one: multiply by ``scale`` for the parameters' covariance.
    chi2
        Robust weighted sum of squares at the solution (twice the cost).
    scale
        ``max(floor, chi2 / degrees of freedom)``.
    aicc
        Akaike's criterion, corrected for few points (Hurvich & Tsai 1989), for known weights.
    """

    model: Model
    parameters: FloatArray
    covariance: FloatArray
    chi2: float
    scale: float
    aicc: float

    def at(self, t: FloatArray) -> FloatArray:
        """The curve at the times ``t``."""
        return self.model.curve(t, *self.parameters)


def fit_curve(
    model: Model,
    t: FloatArray,
    y: FloatArray,
    sd: FloatArray,
    *,
    prior: Prior | None = None,
    bounds: Bounds | None = None,
    robust: bool = True,
    scale_floor: float = 1.0,
    tolerance: float = 1e-6,
) -> Fit:
    """Fit a curve by bounded weighted least squares.

    Parameters
    ----------
    t, y, sd
        ``(n,)`` days, percent, standard uncertainty in percent; n >= 4.
    prior
        What is known beforehand: one more residual each, always by its plain square.
    robust
        ``soft_l1`` loss, so that a bad reading pulls little; else plain least squares.
    scale_floor
        Smallest residual variance believed: 1 trusts ``sd`` at least as much as the residuals.
    tolerance
        Relative change of the loss at which the search ends.
    """
    limits, known = bounds or Bounds(), prior or Prior()

    def residuals(p: FloatArray) -> FloatArray:
        a, m, lag = (p[:, i, None] for i in range(3))
        return np.hstack([(model.curve(t, a, m, lag) - y) / sd, known.residuals(*p.T)])

    start = _start(t, y, limits, known)
    n, k = residuals(start[None]).shape[1], len(start)
    low, high = np.array(limits.low), np.array(limits.high)
    loss = robust & (np.arange(n) < len(t))
    found = solve(Problem(residuals, loss, low, high), start, tolerance)
    chi2 = found.loss
    aicc = chi2 + 2 * k + 2 * k * (k + 1) / max(n - k - 1, 0.5)
    return Fit(
        model=model,
        parameters=found.parameters,
        covariance=np.asarray(np.linalg.pinv(found.curvature), dtype=np.float64),
        chi2=chi2,
        scale=max(scale_floor, chi2 / max(n - k, 1)),
        aicc=aicc,
    )


def _start(t: FloatArray, y: FloatArray, limits: Bounds, prior: Prior) -> FloatArray:
    """A start for (A, m, L): the prior's or highest level, the steepest step, its lag."""
    order = np.argsort(t, kind="stable")
    ts, ys = t[order], _median_of_three(y[order])  # so that one wild point makes no slope
    level = max(float(ys.max()), prior.full[0] if prior.full else 0.0) * 1.001
    slopes = np.diff(ys) / np.maximum(np.diff(ts), 1e-9)
    steepest = int(np.argmax(slopes))
    m = max(float(slopes[steepest]), level / 60.0)
    middle_t = float(ts[steepest] + ts[steepest + 1]) / 2
    middle_y = float(ys[steepest] + ys[steepest + 1]) / 2
    lag = middle_t - middle_y / m
    low, high = np.array(limits.low), np.array(limits.high)
    margin = 1e-3 * (high - low)
    start: FloatArray = np.clip(np.array([level, m, lag]), low + margin, high - margin)
    return start


def _median_of_three(y: FloatArray) -> FloatArray:
    """The running median of three, the ends as they are."""
    smooth = y.copy()
    smooth[1:-1] = np.median([y[:-2], y[1:-1], y[2:]], axis=0)
    return smooth


def draw_parameters(
    fit: Fit,
    t: FloatArray,
    y: FloatArray,
    sd: FloatArray,
    *,
    count: int,
    rng: np.random.Generator,
    prior: Prior | None = None,
    bounds: Bounds | None = None,
) -> FloatArray:
    """Draw ``(count, 3)`` parameters that the readings allow.

    Proposals from a widened Student t (4 degrees of freedom) about the fit are weighted by how
    well each explains the readings and drawn again by these weights (sampling importance
    resampling, Rubin 1988). Early curves are far from linear in their parameters, so the
    covariance alone would mislead. One pass over arrays, no loop.
    """
    limits = bounds or Bounds()
    spread = _root(fit.covariance * fit.scale)
    normal = rng.standard_normal((4 * count, 3))
    tail = np.sqrt(4.0 / rng.chisquare(4.0, (4 * count, 1)))
    steps = 1.2 * normal * tail
    steps[0] = 0.0  # the fit itself is always among them, so that never all are out of bounds
    drawn = fit.parameters + steps @ spread.T
    inside = np.all((drawn >= limits.low) & (drawn <= limits.high), axis=1)
    drawn, steps = drawn[inside], steps[inside]
    a, m, lag = (drawn[:, i, None] for i in range(3))
    misfit = (fit.model.curve(t, a, m, lag) - y) / sd
    chi2 = np.sum(2 * (np.sqrt(1 + misfit**2) - 1), axis=1)  # soft_l1, as in the fit
    if prior is not None:
        chi2 += np.sum(prior.residuals(*drawn.T) ** 2, axis=-1)
    proposal = -3.5 * np.log1p(np.sum((steps / 1.2) ** 2, axis=1) / 4.0)  # log t density, 3-D
    logs = -0.5 * chi2 / fit.scale - proposal
    weights = np.exp(logs - logs.max())
    chosen: FloatArray = drawn[rng.choice(len(drawn), count, p=weights / weights.sum())]
    return chosen


def _root(covariance: FloatArray) -> FloatArray:
    """A square root of a covariance that may be singular at a bound."""
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2)
    root: FloatArray = vectors * np.sqrt(np.clip(values, 0.0, 1e6))
    return root
