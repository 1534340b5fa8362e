"""Curves of growth drawn as the readings allow them: of all days, and of the newest alone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from jarvision.growth.models import MODELS, Fit, Model, Prior, draw_parameters, fit_curve
from jarvision.growth.priors import PRIOR_OF
from jarvision.growth.timeseries import Series
from jarvision.records import FloatArray
from jarvision.settings.growth import GrowthSettings


@dataclass(frozen=True)
class DrawnCurve:
    """A fitted curve, ``(n, 3)`` parameters that the readings allow it, and its first reading.

    ``newest``: it was fitted to the newest days alone.
    """

    fit: Fit
    parameters: FloatArray
    since: float = -math.inf
    newest: bool = False

    def times(self, level: float) -> FloatArray:
        """When each draw reaches a level, ``(n,)``; infinite where it never does."""
        return self.fit.model.time(level, *self.parameters.T)

    def levels(self, t: FloatArray) -> FloatArray:
        """Every draw at the times ``t``, ``(n, len(t))``; NaN before its first reading."""
        levels = self.fit.model.curve(t, *self.parameters.T[:, :, None])
        return np.where(t >= self.since, levels, np.nan)


def drawn_curves(
    series: Series, prior: Prior, settings: GrowthSettings, rng: np.random.Generator
) -> list[DrawnCurve]:
    """Fit all curves to all days and to the newest, and draw of each its share.

    How well a curve fits all days says how much of it is believed, the newest days say how fast the
    jar is now. The one that fits all days best stands first.
    """
    whole = _fits(series, _candidates(series, prior, settings), settings)
    shares = _shares([fit.aicc for fit, _ in whole], settings)
    of_shape = shares.reshape(-1, len(MODELS)).sum(axis=0)  # upon what it was packed with, or not
    newest, known_of = _newest(series, settings), MODELS[PRIOR_OF]
    unlagged = replace(prior, lag=None)  # the newest days begin where they begin
    late = _fits(newest, [(m, unlagged.told_of(m, known_of=known_of)) for m in MODELS], settings)
    new = settings.newest_share
    drawn = _drawn(series, whole, (1.0 - new) * shares, settings, rng)
    drawn.sort(key=lambda curve: curve.fit.aicc)
    lately = _drawn(newest, late, new * of_shape, settings, rng)
    return drawn + [replace(curve, newest=True) for curve in lately]


def _fits(
    series: Series, candidates: Sequence[tuple[Model, Prior]], settings: GrowthSettings
) -> list[tuple[Fit, Prior]]:
    """Fit curves, each with what is known beforehand."""
    sd = settings.alike_factor * series.sd
    return [(fit_curve(m, series.t, series.y, sd, prior=known), known) for m, known in candidates]


def _drawn(
    series: Series,
    fits: Sequence[tuple[Fit, Prior]],
    shares: FloatArray,
    settings: GrowthSettings,
    rng: np.random.Generator,
) -> list[DrawnCurve]:
    """Draw of each fit to a piece of the record its share of all draws."""
    t, y, sd = series.t, series.y, settings.alike_factor * series.sd
    counts = [round(settings.draws * float(share)) for share in shares]
    return [
        DrawnCurve(
            fit,
            draw_parameters(fit, t, y, sd, count=count, rng=rng, prior=known),
            since=float(t[0]),
        )
        for (fit, known), count in zip(fits, counts, strict=True)
        if count
    ]


def _newest(series: Series, settings: GrowthSettings) -> Series:
    """The days since the coverage passed a share of what it is now, and as many as a fit needs."""
    below = np.flatnonzero(series.y < settings.newest_level_share * series.y[-1])
    first = int(below[-1]) + 1 if below.size else 0
    return series.since(max(min(first, len(series.t) - settings.min_days), 0))


def _candidates(
    series: Series, prior: Prior, settings: GrowthSettings
) -> list[tuple[Model, Prior]]:
    """The curves to be fitted, each with what is known beforehand in its own terms.

    A jar that was partly white on its first photo may have been packed so, with spawn between the
    contents: then every curve is tried on top of that, too. It has less to go and hardly a lag.
    """
    known_of = MODELS[PRIOR_OF]
    told = [(model, prior.told_of(model, known_of=known_of)) for model in MODELS]
    first = packed_percent(series, settings)
    if first == 0.0:
        return told
    lag = prior.lag and (settings.offset_lag_share * prior.lag[0], prior.lag[1])
    packed = replace(prior, lag=lag)
    return told + [
        (model.from_offset(first), packed.told_of(model, known_of=known_of)) for model in MODELS
    ]


def packed_percent(series: Series, settings: GrowthSettings) -> float:
    """How far the jar was covered on its first days, if it may have been packed so; else 0."""
    first, sd = float(np.median(series.y[:2])), float(np.median(series.sd[:2]))
    surely = first - sd >= settings.offset_percent and first <= settings.offset_most_percent
    return first if surely else 0.0


def _shares(aicc: Sequence[float], settings: GrowthSettings) -> FloatArray:
    """Share out: part by Akaike weights, how far the readings favour a curve, part evenly.

    That a curve has fitted so far does not tell that the jar will follow it.
    """
    off = np.array(aicc)
    weights = np.exp(-(off - off.min()) / 2)
    shares = (1 - settings.model_doubt) * weights / weights.sum() + settings.model_doubt / len(off)
    return np.asarray(shares, dtype=np.float64)
