"""What is known beforehand, the fit and its draws, part by part, each against its formula."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from series import history
from shelves import day, kjma

from jarvision.growth.least_squares import Problem, _look, _loss, solve
from jarvision.growth.models import (
    MODELS,
    Bounds,
    Prior,
    _median_of_three,
    _root,
    _start,
    draw_parameters,
    fit_curve,
)
from jarvision.growth.priors import PRIOR_OF, Sibling, fit_siblings, pooled_prior, species_prior
from jarvision.records import JarHistory
from jarvision.register.species import find_profile
from jarvision.settings.groups import Settings

OYSTER = find_profile("oyster")  # a spawn run of 12 to 21 days, ready at 95 %
LIMITS = Settings().growth
RUN = math.sqrt(12 * 21)
BY_NAME = {model.name: model for model in MODELS}


# --------------------------------------------------------------------------- what is known before
def test_a_species_tells_rate_and_lag_by_the_middle_of_its_run() -> None:
    prior = species_prior(OYSTER, LIMITS, start_known=True)
    assert prior.full == (100.0, 1.0)
    assert prior.log_rate == pytest.approx((math.log(127.0 / (0.8 * RUN)), 0.45))
    assert prior.lag == pytest.approx((0.2 * RUN, 0.15 * RUN))
    assert species_prior(OYSTER, LIMITS, start_known=False) == replace(prior, lag=None)


def test_batch_and_species_are_weighed_by_their_inverse_variances() -> None:
    species = species_prior(OYSTER, LIMITS, start_known=True)
    assert species.log_rate is not None and species.lag is not None
    batch = [Sibling("A", 20.0, 3.0), Sibling("B", 30.0, 5.0), Sibling("C", 25.0, 3.5)]
    found = pooled_prior(species, batch, LIMITS)
    wider = math.sqrt(1 + 1.25**2 / 3)
    for own, told, median, sd in (
        (species.log_rate, found.log_rate, math.log(25.0), 0.25 * wider),
        (species.lag, found.lag, 3.5, 1.2 * wider),
    ):
        weights = own[1] ** -2, sd**-2
        mean = (own[0] * weights[0] + median * weights[1]) / sum(weights)
        assert told == pytest.approx((mean, sum(weights) ** -0.5))
    assert found.full == species.full


@pytest.mark.parametrize("name", BY_NAME)
def test_what_is_known_of_one_curve_is_told_of_another_by_its_days(name: str) -> None:
    known_of, model = MODELS[PRIOR_OF], BY_NAME[name]
    assert known_of.name == "kjma-2"
    prior = Prior(full=(100.0, 1.0), log_rate=(math.log(12.0), 0.4), lag=(3.0, 0.7))
    told = prior.told_of(model, known_of=known_of)
    assert told.log_rate is not None and told.lag is not None
    for level in (5.0, 95.0):
        days = [
            float(curve.time(level, np.array(100.0), np.array(math.exp(rate)), np.array(lag)))
            for curve, rate, lag in (
                (known_of, math.log(12.0), 3.0),
                (model, told.log_rate[0], told.lag[0]),
            )
        ]
        assert days[1] == pytest.approx(days[0])
    assert (told.full, told.log_rate[1], told.lag[1]) == ((100.0, 1.0), 0.4, 0.7)
    assert Prior(lag=(3.0, 1.0)).told_of(model, known_of=known_of) == Prior(lag=(3.0, 1.0))


def test_a_jar_that_cannot_teach_leaves_the_next_one_its_say() -> None:
    good = replace_name(history(kjma(np.arange(12))), "good")
    few = replace_name(history(kjma(np.arange(3))), "few")
    low = replace_name(history(np.minimum(kjma(np.arange(12)), 39.0)), "low")
    odd = replace_name(history([0, 60, 5, 80, 10, 90, 20, 70, 30, 95, 90, 95], half=0.5), "odd")
    taught = fit_siblings([few, low, odd, good], today=day(20))
    assert set(taught) == {"good"}


def replace_name(jar: JarHistory, name: str) -> JarHistory:
    return replace(jar, entry=replace(jar.entry, jar=name))


def test_a_jar_teaches_from_forty_percent_on() -> None:
    for level, teaches in ((39.5, False), (40.5, True)):
        grown = kjma(np.arange(20), t95=24.0)
        jar = history([*grown[grown < level - 6], level, level, level])
        assert bool(fit_siblings([jar], today=day(30))) == teaches, level


# --------------------------------------------------------------------------- the fit
def test_residuals_of_what_is_known_are_standard_deviations() -> None:
    prior = Prior(full=(100.0, 2.0), log_rate=(math.log(10.0), 0.5), lag=(3.0, 1.5))
    a, m, lag = (np.array([v]) for v in (97.0, 20.0, 6.0))
    assert prior.residuals(a, m, lag)[0] == pytest.approx([-1.5, math.log(2.0) / 0.5, 2.0])
    assert Prior(lag=(3.0, 1.5)).residuals(a, m, lag)[0] == pytest.approx([2.0])
    assert Prior().residuals(a, m, lag).shape == (1, 0)


def test_a_curve_on_top_of_what_was_white_from_the_start() -> None:
    model = BY_NAME["logistic"]
    packed = model.from_offset(30.0)
    t, m, lag = np.arange(12.0), np.array(10.0), np.array(2.0)
    a = np.array(100.0)
    expected = 30.0 + model.curve(t, np.array(70.0), m, lag)
    assert packed.curve(t, a, m, lag) == pytest.approx(expected)
    assert packed.curve(packed.time(80.0, a, m, lag), a, m, lag) == pytest.approx(80.0)
    assert packed.name == "logistic+"


def test_a_curve_that_ends_below_what_was_white_is_a_curve_still() -> None:
    packed = BY_NAME["logistic"].from_offset(30.0)
    for a in (25.0, 30.0, 30.5):
        levels = packed.curve(np.arange(90.0), np.array(a), np.array(10.0), np.array(2.0))
        assert levels[-1] == pytest.approx(31.0)
    assert np.isinf(packed.time(95.0, np.array(25.0), np.array(10.0), np.array(2.0)))


def test_a_start_is_made_of_the_highest_level_and_the_steepest_step() -> None:
    t, y = np.array([0.0, 1, 2, 3, 4, 5]), np.array([0.0, 2, 10, 30, 40, 44])
    level, m, lag = _start(t[::-1], y[::-1], Bounds(), Prior())
    assert level == pytest.approx(44.0 * 1.001)
    assert m == pytest.approx(20.0)
    assert lag == pytest.approx(2.5 - 20.0 / 20.0)
    assert _start(t, y, Bounds(), Prior(full=(100.0, 1.0)))[0] == pytest.approx(100.1)
    smooth = _median_of_three(np.array([5.0, 1, 9, 2, 7]))
    assert smooth.tolist() == [5, 5, 2, 7, 7]


def test_a_fit_is_scored_by_its_loss_its_points_and_its_parameters() -> None:
    model, t = BY_NAME["logistic"], np.arange(9.0)
    y = model.curve(t, 90.0, 14.0, 2.0) + np.array([1, -1, 2, -2, 1, 0, -1, 2, -1])
    prior = Prior(full=(100.0, 1.0))
    fit = fit_curve(model, t, y, np.full(9, 0.5), prior=prior)
    z = (fit.at(t) - y) / 0.5
    chi2 = float(np.sum(2 * (np.sqrt(1 + z**2) - 1)) + (fit.parameters[0] - 100.0) ** 2)
    assert fit.chi2 == pytest.approx(chi2)
    assert fit.scale == pytest.approx(chi2 / (10 - 3))
    assert fit.aicc == pytest.approx(chi2 + 6 + 24 / 6)
    few = fit_curve(model, t[:4], y[:4], np.full(4, 0.2))
    assert few.scale == pytest.approx(few.chi2) and few.scale > 1.5  # one degree of freedom
    assert few.aicc == pytest.approx(few.chi2 + 6 + 24 / 0.5)
    still = fit_curve(model, t, model.curve(t, 90.0, 14.0, 2.0), np.ones(9))
    assert still.scale == 1.0


def test_slopes_and_curvature_of_the_loss_are_those_of_small_steps() -> None:
    points = np.array([0.0, 1.0, 2.0, 5.0])

    def residuals(p: np.ndarray) -> np.ndarray:
        return p[:, :1] * np.exp(-p[:, 1:] * points) - np.array([3.0, 0.5, 2.0, 1.0])

    problem = Problem(residuals, np.array([True, True, False, False]), np.zeros(2), np.full(2, 9.0))
    at = np.array([2.0, 0.3])
    loss, slope, curvature = _look(problem, at)

    def loss_at(p: np.ndarray) -> float:
        return float(_loss(problem, residuals(p[None]))[0])

    z = residuals(at[None])[0]
    assert loss == pytest.approx(np.sum(2 * (np.sqrt(1 + z[:2] ** 2) - 1)) + np.sum(z[2:] ** 2))
    steps = 1e-5 * np.eye(2)
    stepped = [(loss_at(at + s) - loss_at(at - s)) / 2e-5 / 2 for s in steps]
    assert slope == pytest.approx(stepped, rel=1e-5)
    jacobian = np.array([np.exp(-0.3 * points), -2.0 * points * np.exp(-0.3 * points)])
    bend = np.where(problem.robust, (1 + z**2) ** -1.5, 1.0)
    assert curvature == pytest.approx((jacobian * bend) @ jacobian.T, rel=1e-5)


@pytest.mark.parametrize(
    ("low", "high", "best"),
    [((-9.0, -9.0), (9.0, 9.0), (2.0, 1.0)), ((2.5, -9.0), (9.0, 9.0), (2.5, 0.75)),
     ((-9.0, -9.0), (9.0, 0.5), (2.25, 0.5))],
)  # fmt: skip
def test_the_least_squares_within_bounds(
    low: tuple[float, float], high: tuple[float, float], best: tuple[float, float]
) -> None:
    """Two coupled parameters: where one is held, the other makes the best of it."""

    def residuals(p: np.ndarray) -> np.ndarray:
        x, y = p[:, 0] - 2.0, p[:, 1] - 1.0
        return np.stack([x + y, math.sqrt(3.0) * 0.0 * x + (x - y) / math.sqrt(3.0)], axis=-1)

    problem = Problem(residuals, np.zeros(2, dtype=bool), np.array(low), np.array(high))
    for start in ((3.0, 0.2), (8.0, -5.0)):
        found = solve(problem, np.array(start), 1e-10)
        assert found.parameters == pytest.approx(best, abs=1e-4), start


# --------------------------------------------------------------------------- draws
def test_the_root_of_a_covariance_is_a_root_at_a_bound_too() -> None:
    rng = np.random.default_rng(3)
    half = rng.normal(size=(3, 3))
    for covariance in (half @ half.T, np.diag([1.0, 0.0, 4.0]), half[:, :1] @ half[:, :1].T):
        root = _root(covariance)
        np.testing.assert_allclose(root @ root.T, covariance, atol=1e-9)


def test_draws_follow_what_the_readings_and_the_prior_allow() -> None:
    """Against the same chances summed on a grid: a straight line, whose only doubt is its lag."""
    rng = np.random.default_rng(2)
    t, sd = np.array([1.0, 2.0, 3.0, 4.0]), np.full(4, 3.0)
    model = replace(BY_NAME["logistic"], curve=lambda t, a, m, lag: m * (t - lag) + 0 * a)
    y = 10.0 * (t - 0.5) + np.array([4.0, -3.0, 5.0, -6.0])
    prior = Prior(full=(50.0, 1.0), log_rate=(math.log(10.0), 0.05), lag=(0.8, 0.4))
    fit = fit_curve(model, t, y, sd, prior=prior)
    scaled = replace(fit, scale=1.7)
    drawn = draw_parameters(scaled, t, y, sd, count=20_000, rng=rng, prior=prior)
    m, lag = (
        axis.ravel() for axis in np.meshgrid(np.linspace(7, 13, 241), np.linspace(-2, 3, 251))
    )
    z = (m[:, None] * (t - lag[:, None]) - y) / sd
    chi2 = np.sum(2 * (np.sqrt(1 + z**2) - 1), axis=1)
    chi2 += ((np.log(m) - math.log(10.0)) / 0.05) ** 2 + ((lag - 0.8) / 0.4) ** 2
    chance = np.exp(-0.5 * (chi2 - chi2.min()) / 1.7)
    chance /= chance.sum()
    for values, found in ((m, drawn[:, 1]), (lag, drawn[:, 2])):
        mean = float(chance @ values)
        spread = math.sqrt(chance @ (values - mean) ** 2)
        assert found.mean() == pytest.approx(mean, abs=0.05 * spread)
        assert found.std() == pytest.approx(spread, rel=0.04)
    assert drawn[:, 0].std() == pytest.approx(math.sqrt(1.7), rel=0.04)
