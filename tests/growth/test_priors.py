"""Partial pooling: what the species and the batch say of a jar before its own readings do."""

from __future__ import annotations

import math
from datetime import timedelta

import numpy as np
import pytest
from shelves import START, Story, day, kjma, oyster

from jarvision.growth.forecast import fit_growth
from jarvision.growth.priors import (
    Sibling,
    batch_of,
    fit_siblings,
    pooled_prior,
    same_batch,
    species_prior,
)
from jarvision.history.build import build_history
from jarvision.records import JarHistory
from jarvision.register.species import find_profile
from jarvision.settings.groups import Settings

OYSTER = find_profile("oyster")
LIMITS = Settings().growth


def story(jar: str, days: int = 12, *, seed: int = 0, **curve: float) -> JarHistory:
    readings = [
        *Story(kjma(np.arange(days), **curve), seed=seed, noise=2.0).readings(),
    ]
    return build_history(readings, oyster(jar=jar, parent="P1"))


# --------------------------------------------------------------------------- who belongs together
def test_jars_of_one_spawn_jar_or_of_one_species_substrate_and_start_are_a_batch() -> None:
    one = oyster(jar="A", parent="P1", substrate="rye")
    assert same_batch(one, oyster(jar="B", parent="P1", substrate="oat", started=None))
    assert same_batch(one, oyster(jar="C", parent="P2", substrate="Rye"))
    assert not same_batch(one, oyster(jar="D", substrate="oat"))
    assert not same_batch(one, oyster(jar="E", substrate="rye", started=START + timedelta(days=1)))
    assert not same_batch(one, oyster(jar="F", parent="P1", species="reishi"))
    assert not same_batch(one, oyster(jar="G", parent="P1", kind="fruiting"))
    assert batch_of(one, [one, oyster(jar="B", parent="P1")]) == ("B",)


def test_jars_of_which_nothing_is_known_are_no_batch() -> None:
    blank = oyster(jar="A", species="", started=None)
    assert not same_batch(blank, oyster(jar="B", species="", started=None))


# --------------------------------------------------------------------------- who can teach
def test_a_healthy_jar_teaches_its_rate_and_lag() -> None:
    taught = fit_siblings([story("A", lag=2.0, t95=9.0)], today=day(20))
    # n = 2: 95 % at t95 after t0, so tau = t95 / sqrt(ln 20); m = 100 * 0.8578 / tau
    tau = 9.0 / math.sqrt(math.log(20.0))
    assert taught["A"].rate_percent_per_day == pytest.approx(85.78 / tau, rel=0.1)
    assert taught["A"].lag_days == pytest.approx(2.0 + 0.248 * tau, abs=0.5)


@pytest.mark.parametrize(
    "silent",
    [
        story("young", 5),
        build_history(Story(kjma(np.arange(12))).readings(), oyster(jar="undated", started=None)),
        build_history(
            Story(
                np.concatenate([kjma(np.arange(8), t95=14.0), kjma(np.arange(8)) * 0.9])
            ).readings(),
            oyster(jar="shaken"),
        ),
    ],
    ids=["young", "undated", "shaken"],
)
def test_a_jar_that_says_nothing_of_healthy_growth_does_not_teach(silent: JarHistory) -> None:
    assert fit_siblings([silent], today=day(20)) == {}


def test_photos_after_today_teach_nothing() -> None:
    assert fit_siblings([story("A")], today=day(4)) == {}


# --------------------------------------------------------------------------- what they teach
def test_more_siblings_draw_the_prior_closer_to_their_median_and_make_it_surer() -> None:
    species = species_prior(OYSTER, LIMITS, start_known=True)
    batch = [Sibling(f"S{i}", 20.0, 3.0) for i in range(6)]
    priors = [pooled_prior(species, batch[:n], LIMITS) for n in (0, 1, 6)]
    assert priors[0] == species
    for what in ("log_rate", "lag"):
        means, sds = zip(*(getattr(p, what) for p in priors), strict=True)
        target = {"log_rate": math.log(20.0), "lag": 3.0}[what]
        away = [abs(m - target) for m in means]
        assert away[0] > away[1] > away[2]
        assert sds[0] > sds[1] > sds[2] > 0


def test_one_odd_sibling_does_not_move_the_batch() -> None:
    species = species_prior(OYSTER, LIMITS, start_known=True)
    alike = [Sibling(f"S{i}", 15.0, 3.0) for i in range(5)]
    odd = [*alike[:4], Sibling("odd", 90.0, 30.0)]
    usual, moved = (pooled_prior(species, b, LIMITS).log_rate for b in (alike, odd))
    assert usual is not None
    assert moved is not None
    assert moved[0] == pytest.approx(usual[0])


def test_after_a_shake_nothing_is_known_of_rate_and_lag() -> None:
    prior = species_prior(OYSTER, LIMITS, start_known=True, shaken=True)
    assert (prior.log_rate, prior.lag) == (None, None)
    assert pooled_prior(prior, [Sibling("S", 15.0, 3.0)], LIMITS) == prior


def test_siblings_make_early_forecasts_of_their_kin_better() -> None:
    errors: dict[bool, list[int]] = {True: [], False: []}
    widths: dict[bool, list[int]] = {True: [], False: []}
    for seed in range(12):
        jar = story("J", 5, seed=seed, lag=2.0, t95=7.0)
        kin = [story(f"K{i}", 10, seed=100 * seed + i, lag=2.0, t95=7.0) for i in range(4)]
        taught = tuple(fit_siblings(kin, today=day(10)).values())
        for pooled in (False, True):
            growth = fit_growth(
                jar, OYSTER, today=jar.days[-1].day, siblings=taught if pooled else ()
            )
            assert growth.ready_date is not None
            assert growth.ready_low is not None
            errors[pooled].append(abs((growth.ready_date - day(9)).days))
            widths[pooled].append(((growth.ready_high or day(40)) - growth.ready_low).days)
    assert np.mean(errors[True]) < np.mean(errors[False])
    assert np.mean(widths[True]) < np.mean(widths[False])
    assert np.median(errors[True]) <= 1.0
