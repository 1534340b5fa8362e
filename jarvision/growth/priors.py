"""What is known of a jar's growth before its own readings speak: its species and its siblings.

Siblings are jars from one spawn jar, or of one species and substrate that were started on one
day. Their curves are alike: rate and lag of a jar are drawn towards the batch's median, the more
the fewer readings the jar has itself (partial pooling, in the sense of Gelman and Hill 2007, from
memory; here with variances that are set, not fitted).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from jarvision.growth.models import MODELS, Prior, fit_curve
from jarvision.growth.timeseries import as_series, last_piece
from jarvision.history.shakes import shaken_on
from jarvision.records import JarEntry, JarHistory
from jarvision.register.species import SpeciesProfile, find_profile
from jarvision.settings.groups import Settings
from jarvision.settings.growth import GrowthSettings


@dataclass(frozen=True)
class Sibling:
    """A jar's own growth, fitted for the sake of the others: largest slope and lag."""

    jar: str
    rate_percent_per_day: float
    lag_days: float


def species_prior(
    profile: SpeciesProfile, settings: GrowthSettings, *, start_known: bool, shaken: bool = False
) -> Prior:
    """What the species' spawn run says of rate and lag.

    The run's middle is where a curve of nucleation and growth reaches ready. Its lag is a share
    of that; nothing is known of the lag where the jar's start is not. A shaken jar grows anew from
    many more places, by which nothing is known of it.
    """
    full = (settings.full_mean_percent, settings.full_sd_points)
    if shaken:
        return Prior(full=full)
    run = math.sqrt(profile.spawn_run_days[0] * profile.spawn_run_days[1])
    lag = settings.lag_share * run
    rate = 100.0 * settings.slope_of_run / (run - lag)
    return Prior(
        full=full,
        log_rate=(math.log(rate), settings.species_log_rate_sd),
        lag=(lag, settings.species_lag_sd_share * run) if start_known else None,
    )


def pooled_prior(prior: Prior, siblings: Iterable[Sibling], settings: GrowthSettings) -> Prior:
    """The prior drawn to the batch's median.

    The batch's median is known to 1.25 sd / sqrt(n) (the error of a median of normal values), a
    jar differs from it by sd: both add up. Inverse variances weigh batch and species.
    """
    batch = tuple(siblings)
    if not batch or prior.log_rate is None:
        return prior
    rates = [math.log(s.rate_percent_per_day) for s in batch]
    wider = math.sqrt(1 + 1.25**2 / len(batch))
    rate = (float(np.median(rates)), settings.sibling_log_rate_sd * wider)
    lag = prior.lag
    if lag is not None:
        lags = (float(np.median([s.lag_days for s in batch])), settings.sibling_lag_sd_days * wider)
        lag = _together(lag, lags)
    return Prior(full=prior.full, log_rate=_together(prior.log_rate, rate), lag=lag)


def _together(one: tuple[float, float], two: tuple[float, float]) -> tuple[float, float]:
    """Combine two normal beliefs by their inverse variances."""
    weights = np.array([one[1] ** -2, two[1] ** -2])
    return float(np.average([one[0], two[0]], weights=weights)), float(weights.sum() ** -0.5)


def fit_siblings(
    histories: Iterable[JarHistory],
    *,
    today: date,
    profile_of: Callable[[str], SpeciesProfile] = find_profile,
    settings: Settings | None = None,
) -> Mapping[str, Sibling]:
    """Fit every jar that can teach its siblings something, by name.

    ``profile_of`` finds the profile for the species' name of the register.

    Left out are jars whose start is not known, that were shaken, that have not yet grown over
    ``teach_percent``, or that do not fit a curve of growth at all: a jar that stands still or goes
    bad says nothing of a healthy one.
    """
    chosen = (settings or Settings()).growth
    taught: dict[str, Sibling] = {}
    for history in histories:
        days = tuple(d for d in history.days if d.day <= today)
        entry = history.entry
        if entry.started is None or len(days) < chosen.min_days or shaken_on(days, chosen):
            continue
        series = as_series(last_piece(days, chosen), entry.started, chosen)
        if (
            len(series.t) < chosen.min_days
            or float(np.median(series.y[-3:])) < chosen.teach_percent
        ):
            continue
        prior = species_prior(profile_of(entry.species), chosen, start_known=True)
        fit = fit_curve(MODELS[PRIOR_OF], series.t, series.y, series.sd, prior=prior)
        if fit.scale <= chosen.teach_max_scale:
            _, rate, lag = (float(p) for p in fit.parameters)
            taught[entry.jar] = Sibling(entry.jar, rate, lag)
    return taught


PRIOR_OF = next(i for i, model in enumerate(MODELS) if model.name == "kjma-2")
"""The curve in whose terms species and batch are told: rates and lags of all jars mean the same."""


def batch_of(entry: JarEntry, entries: Iterable[JarEntry]) -> tuple[str, ...]:
    """The other jars of the same batch, by name."""
    return tuple(sorted(e.jar for e in entries if e.jar != entry.jar and same_batch(entry, e)))


def same_batch(one: JarEntry, two: JarEntry) -> bool:
    """Say whether two jars may be pooled: one spawn jar, or one species, substrate and start."""
    if one.species.casefold() != two.species.casefold() or one.kind != two.kind:
        return False
    if one.parent and one.parent == two.parent:
        return True
    same = (one.contents, one.started) == (two.contents, two.started)
    return same and bool(one.species) and bool(one.substrate) and one.started is not None
