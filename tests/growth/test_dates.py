"""From drawn curves to dates, and what is told of growth, on numbers worked out by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from series import history, series
from shelves import START, day

from jarvision.growth.draws import DrawnCurve, _candidates, _shares, packed_percent
from jarvision.growth.forecast import (
    Ready,
    _forecast,
    _misfit_share,
    _prior_ready,
    _seen_ready,
    _told,
    _with_curve,
    date_interval,
)
from jarvision.growth.models import (
    MODELS,
    Fit,
    Prior,
)
from jarvision.growth.priors import species_prior
from jarvision.growth.stall import (
    Stall,
)
from jarvision.growth.timeseries import (
    as_series,
    rate_of,
)
from jarvision.records import FloatArray, Growth
from jarvision.register.species import find_profile
from jarvision.settings.groups import Settings

OYSTER = find_profile("oyster")  # a spawn run of 12 to 21 days, ready at 95 %
LIMITS = Settings().growth
BY_NAME = {model.name: model for model in MODELS}


# --------------------------------------------------------------------------- ready
READY = 95.0


def seen_ready(y: Sequence[float], t: Sequence[float] | None = None, half: float = 2.0) -> Ready:
    found = _seen_ready(series(y, t=t, half=half), READY)
    return found or Ready()


def test_ready_is_the_first_day_that_no_two_low_days_deny() -> None:
    assert seen_ready([80, 96, 97, 98]).day == day(1)
    assert seen_ready([80, 95, 95]).day == day(1)
    assert seen_ready([80, 96, 97, 98, 90, 98]).day == day(1)  # one low day alone
    assert seen_ready([80, 96, 97, 98, 90, 90, 98]).day == day(6)
    assert seen_ready([80, 96, 90, 96, 97]).day == day(3)  # the very next day denied it
    assert seen_ready([80, 96, 97, 90, 96]).day == day(1)
    assert seen_ready([80, 90, 96, 90, 96, 97]).day == day(4)
    assert _seen_ready(series([80, 96, 94.9]), READY) is None
    assert seen_ready([80, 96, 95]).day == day(1)


def test_the_interval_of_ready_goes_from_its_upper_to_its_lower_bound() -> None:
    found = seen_ready([80, 93.5, 95.5, 96, 97.5])
    assert (found.day, found.low, found.high) == (day(2), day(1), day(4))
    assert seen_ready([80, 94, 95.5]).high is None


@pytest.mark.parametrize(("near", "back"), [(0, 0), (1, 0), (2, 1), (3, 1), (4, 2)])
def test_ready_lies_between_the_first_day_that_may_have_been_and_that_on_which_it_was_read(
    near: int, back: int
) -> None:
    found = seen_ready([80, 80, *[94.0] * near, 96])
    assert (found.day, found.low) == (day(2 + near - back), day(2))
    assert seen_ready([80, 80, *[92.9] * near, 96]).day == day(2 + near)


@pytest.mark.parametrize(("gap", "back"), [(1, 0), (2, 0), (3, 1), (4, 1), (5, 2)])
def test_where_days_were_missed_ready_lies_in_their_middle(gap: int, back: int) -> None:
    assert seen_ready([80, 99], t=[4, 4 + gap]).day == day(4 + gap - back)
    assert seen_ready([99, 99], t=[4, 4 + gap]).day == day(4)


@pytest.mark.parametrize(
    ("counts", "held"),
    [
        # between the days that leave a tenth on either side, or the next inside of each
        ({5: 10, 6: 30, 7: 20, 8: 30, 9: 10}, (6.0, 8.0)),
        ({5: 40, 6: 35, 7: 16, 9: 9}, (5.0, 6.0)),
        ({4: 9, 5: 20, 6: 42, 7: 10, 8: 19}, (5.0, 7.0)),
        ({4: 30, 5: 50, 6: 20}, (4.0, 5.0)),
        ({4: 20, 5: 50, 6: 30}, (5.0, 6.0)),
        ({4: 10, 5: 80, 6: 10}, (5.0, 5.0)),
        ({5: 100}, (5.0, 5.0)),
    ],
)
def test_an_interval_of_dates_holds_nearest_to_its_share(
    counts: dict[int, int], held: tuple[float, float]
) -> None:
    days = np.repeat(list(counts), list(counts.values())).astype(float)
    assert date_interval(np.random.default_rng(1).permutation(days), 0.8) == held


def straight(low: float, *, share_never: float = 0.0) -> DrawnCurve:
    """A thousand draws that reach ready evenly over ten days: a tenth of them on each day."""
    times = np.linspace(low, low + 10.0, 1000)
    times[len(times) - round(share_never * 1000) :] = np.inf
    model = replace(BY_NAME["logistic"], time=lambda level, a, m, lag: lag)
    fit = Fit(model, np.zeros(3), np.eye(3), 0.0, 1.0, 0.0)
    return DrawnCurve(fit, np.stack([np.zeros(1000), np.zeros(1000), times], axis=1))


def forecast(
    *curves: DrawnCurve, today: int = 4, z: FloatArray | None = None, **settings: float
) -> Ready:
    limits = replace(LIMITS, forecast_spread=1.0, **settings)
    scatter = np.zeros((2, 1000 * len(curves))) if z is None else z
    return _forecast(series([10, 20, 30, 40], t=[1, 2, 3, 4]), curves, scatter,
                     ready_percent=READY, today=day(today), settings=limits)  # fmt: skip


def test_the_forecast_is_the_median_of_the_draws_with_its_interval() -> None:
    found = forecast(straight(8.0))
    assert (found.day, found.low, found.high) == (day(13), day(10), day(17))
    assert forecast(straight(-20.0)) == Ready(day(5), day(5), day(5))


def test_what_never_comes_or_lies_beyond_the_horizon_has_no_date() -> None:
    assert forecast(straight(8.0, share_never=0.2)) == Ready(day(13), day(10), None)
    assert forecast(straight(8.0, share_never=0.6)) == Ready(None, day(10), None)
    near, far = (forecast(straight(8.0), horizon_days=days) for days in (13, 12))
    assert (near.high, far.high, far.day) == (day(17), None, day(13))


def at_once(left: float, *, newest: bool = False) -> DrawnCurve:
    """A thousand draws that reach ready at once, some days after the last photo (of day 4)."""
    curve = straight(4.0 + left)
    parameters = np.column_stack([np.zeros((1000, 2)), np.full(1000, 4.0 + left)])
    return replace(curve, parameters=parameters, newest=newest)


def test_doubts_scatter_the_draws_as_far_as_the_settings_say() -> None:
    """By a factor, and by days; an 80 % interval has 1.28 standard deviations to each side."""
    normal = np.array([NormalDist().inv_cdf((n + 0.5) / 1000) for n in range(1000)])
    still = np.zeros(1000)
    found = forecast(at_once(20.0), z=np.stack([normal, still]), misfit_share=0.2)
    assert (found.low, found.high) == (day(4 + 16), day(4 + 25))  # 20 * exp(-+0.256)
    found = forecast(at_once(20.0), z=np.stack([still, normal]), misfit_days=2.0)
    assert (found.low, found.high) == (day(4 + 18), day(4 + 22))  # 20 -+ 2.56


def test_a_forecast_is_the_less_sure_the_more_the_newest_days_deny_the_others() -> None:
    def share(newest: float, **settings: float) -> float:
        limits = replace(LIMITS, misfit_share=0.3, denied_share=1.0, **settings)
        curves = [at_once(10.0), at_once(10.0, newest=True)]
        return _misfit_share(curves, [np.full(1000, 10.0), np.full(1000, newest)], limits)

    assert share(10.0) == pytest.approx(0.3)
    for way in (0.4, -0.4):
        assert share(10.0 * np.exp(way)) == pytest.approx(0.5)
    assert share(0.1) == share(0.5)  # the same date
    assert share(np.inf) == 0.3
    assert _misfit_share([at_once(10.0)], [np.full(1000, 10.0)], LIMITS) == LIMITS.misfit_share


@pytest.mark.parametrize(
    ("photos", "found"),
    [
        ([1.0, 2.0], Ready(day(16), day(12), day(21))),
        ([40.0, 41.0], Ready(day(14), day(7), day(21))),  # 40.5 % less: 7.1 days
        ([1.0] * 14, Ready(day(16), day(14), day(21))),
        ([1.0] * 18, Ready(day(18), day(18), day(21))),
        ([1.0] * 21, Ready(day(21), day(21), day(21))),
        ([1.0] * 22, Ready()),
    ],
)
def test_the_species_run_is_the_forecast_before_there_is_a_curve(
    photos: list[float], found: Ready
) -> None:
    jar = history(photos)
    record = as_series(jar.days, START, LIMITS)
    assert _prior_ready(record, jar, OYSTER, LIMITS) == found
    undated = history(photos, started=None)
    assert _prior_ready(record, undated, OYSTER, LIMITS) == Ready()


@pytest.mark.parametrize(
    ("first", "packed"),
    [(12.9, 0.0), (13.0, 13.0), (60.0, 60.0), (60.1, 0.0), (1.0, 0.0)],
)
def test_a_jar_may_have_been_packed_partly_white(first: float, packed: float) -> None:
    assert packed_percent(series([first, first, 90]), LIMITS) == packed
    names = [model.name for model, _ in _candidates(series([first, first]), Prior(), LIMITS)]
    twice = [f"{name}+" for name in BY_NAME] if packed else []
    assert names == [*BY_NAME, *twice]


def test_a_jar_packed_partly_white_has_half_a_lag() -> None:
    known = species_prior(OYSTER, LIMITS, start_known=True)
    found = _candidates(series([30.0, 30.0]), known, LIMITS)
    lags = {model.name: prior.lag for model, prior in found}
    whole, half = lags["kjma-2"], lags["kjma-2+"]
    assert whole is not None and half is not None and known.lag is not None
    assert whole == pytest.approx(known.lag)
    assert half == pytest.approx((0.5 * known.lag[0], known.lag[1]))


def test_draws_are_shared_out_by_fit_and_by_doubt() -> None:
    found = _shares([10.0, 12.0, 30.0], LIMITS)
    weights = np.exp([0.0, -1.0, -10.0])
    shares = 0.8 * weights / weights.sum() + 0.2 / 3
    assert found == pytest.approx(shares)


# --------------------------------------------------------------------------- the record out
def test_the_rate_told_is_that_of_the_last_three_points() -> None:
    told = _told(series([0, 50, 60, 62, 70]), Ready(), Stall())
    assert told.rate_percent_per_day == pytest.approx(5.0)
    assert _told(series([0, 50]), Ready(), Stall()).rate_percent_per_day == pytest.approx(50.0)
    assert _told(series([50]), Ready(), Stall()).rate_percent_per_day is None
    assert rate_of(series([0, 4, 9]), 1).value == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("high", "ready", "end"),
    [(12, 10, 14.0), (None, 10, 12.0), (None, None, 7.0), (3, 3, 7.0), (90, 50, 37.0)],
)
def test_the_curve_is_drawn_two_days_beyond_ready_and_a_month_at_most(
    high: int | None, ready: int | None, end: float
) -> None:
    growth = Growth(
        "logistic",
        ready_date=None if ready is None else day(ready),
        ready_high=None if high is None else day(high),
    )
    levels = np.linspace(-30.0, 130.0, 1001)
    model = replace(BY_NAME["logistic"], curve=lambda t, a, m, lag: lag + 0.0 * t)
    fit = Fit(model, np.zeros(3), np.eye(3), 0.0, 1.0, 0.0)
    drawn = DrawnCurve(fit, np.stack([0 * levels, 0 * levels, levels], axis=1))
    found = _with_curve(growth, series([10, 20, 30, 40], t=[2, 3, 4, 5]), [drawn], settings=LIMITS)
    assert (found.day_numbers[0], found.day_numbers[-1]) == (2.0, pytest.approx(end))
    assert len(found.day_numbers) == 60
    # of levels from -30 to 130 a tenth lies below -14 and above 114: none is drawn off the wall
    assert set(found.curve_low) == {0.0}
    assert found.curve_percent[0] == pytest.approx(50.0)
    assert set(found.curve_high) == {100.0}
    inner = _with_curve(
        growth, series([10, 20], t=[2, 5]), [replace(drawn, parameters=drawn.parameters / 2)],
        settings=LIMITS,
    )  # fmt: skip
    assert inner.curve_high[0] == pytest.approx(0.5 * (-30.0 + 0.9 * 160.0))
