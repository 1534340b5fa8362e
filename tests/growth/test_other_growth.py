"""Forecasts of jars that grow by no textbook curve: fronts, discs, jars packed with spawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from series import history
from shelves import Story, day, kjma, oyster

from jarvision.growth.draws import drawn_curves
from jarvision.growth.forecast import fit_growth
from jarvision.growth.priors import species_prior
from jarvision.growth.shapes import DISCS, FRONT, Shape
from jarvision.growth.shapes import kjma as nucleation
from jarvision.growth.timeseries import as_series
from jarvision.history.build import build_history
from jarvision.records import Growth
from jarvision.register.species import find_profile
from jarvision.settings.groups import Settings

OYSTER = find_profile("oyster")
LIMITS = Settings().growth
RNG = np.random.default_rng(3)


def grow(
    percents: np.ndarray, seed: int = 0, noise: float = 0.8, settings: Settings | None = None
) -> Growth:
    history = build_history(Story(percents, seed=seed, noise=noise).readings(), oyster())
    return fit_growth(history, OYSTER, today=history.days[-1].day, settings=settings)


def errors_at(truth: np.ndarray, level: float, seeds: int = 8) -> tuple[list[int], list[bool]]:
    """Days by which ready is said too late when a level is passed, and whether it is held."""
    ready, now = day(int(np.argmax(truth >= 95.0))), int(np.argmax(truth >= level)) + 1
    errors, held = [], []
    for seed in range(seeds):
        growth = grow(truth[:now], seed)
        assert growth.ready_date is not None and growth.ready_low is not None
        errors.append((growth.ready_date - ready).days)
        held.append(growth.ready_low <= ready <= (growth.ready_high or ready))
    return errors, held


def test_a_front_from_above_is_not_promised_too_late() -> None:
    errors, held = errors_at(np.clip(6.0 * (np.arange(30) - 2.0), 0.0, 100.0), 60.0)
    assert np.mean(np.abs(errors)) <= 1.5
    assert np.mean(held) >= 0.75


def test_a_few_discs_that_end_sharply_are_within_the_interval() -> None:
    truth = np.clip((np.arange(30) - 2.0) / 14.0, 0.0, 1.0) ** 2 * 100.0
    assert np.mean(errors_at(truth, 60.0)[1]) >= 0.75


@pytest.mark.parametrize("packed", [30.0, 45.0])
def test_a_jar_that_was_packed_half_white_is_not_given_its_species_whole_run(packed: float) -> None:
    truth = packed + (100.0 - packed) / 100.0 * kjma(np.arange(24), lag=0.5, t95=8.0)
    errors, held = errors_at(truth, packed + 0.45 * (100.0 - packed))
    assert np.mean(np.abs(errors)) <= 1.5
    assert np.mean(held) >= 0.75


def test_on_its_first_days_a_jar_packed_half_white_may_be_ready_sooner_than_its_species() -> None:
    packed, bare = (grow(np.array([first, first + 1.0])) for first in (40.0, 1.0))
    assert bare.ready_low == day(12)
    assert packed.ready_low == day(7)
    assert packed.ready_high == bare.ready_high


def test_an_interval_has_room_for_what_no_curve_knows() -> None:
    for level, least in ((30.0, 3), (50.0, 2), (75.0, 1)):
        now = int(np.argmax(kjma(np.arange(20)) >= level)) + 1
        growth = grow(kjma(np.arange(now)), noise=0.3)
        assert growth.ready_low is not None and growth.ready_high is not None
        assert (growth.ready_high - growth.ready_low).days >= least


@pytest.mark.parametrize("shape", [nucleation(2), nucleation(3), FRONT, DISCS])
def test_the_steepest_place_of_a_shape_is_where_it_says(shape: Shape) -> None:
    x = np.linspace(0.0, 1.5, 30_001)
    slopes = np.gradient(shape.curve(x), x)
    assert slopes.max() == pytest.approx(shape.slope, rel=1e-3)
    assert np.interp(shape.steep, x, shape.curve(x)) == pytest.approx(shape.level, abs=1e-4)
    assert shape.curve(np.array([0.0, 3.0])) == pytest.approx([0.0, 1.0], abs=0.06)


def test_a_jar_that_went_on_faster_than_it_began_is_promised_sooner_for_its_newest_days() -> None:
    """A fifth of the wall in ten days, then eight points a day."""
    faster = np.clip(20 + 8.0 * np.arange(1, 20), 0, 100)
    truth = np.concatenate([np.linspace(0.0, 20.0, 11), faster])
    now, ready = int(np.argmax(truth >= 60.0)) + 1, day(int(np.argmax(truth >= 95.0)))
    late = []
    for share in (0.0, 0.5, 0.9):
        limits = Settings(growth=replace(LIMITS, newest_share=share))
        promised = [grow(truth[:now], seed, settings=limits).ready_date for seed in range(4)]
        late.append(np.mean([(date - ready).days for date in promised if date is not None]))
    assert late[0] - 1.0 >= late[1] >= late[2] + 0.5 >= 0.5


def test_curves_of_the_newest_days_are_drawn_for_those_alone() -> None:
    percents = [2.0, 4, 6, 8, 10, 18, 26, 34]
    record = as_series(history(percents).days, None, LIMITS)
    drawn = drawn_curves(record, species_prior(OYSTER, LIMITS, start_known=True), LIMITS, RNG)
    for first, share in ((0.0, 0.5), (4.0, 0.5)):  # 17 of 34 % is passed on day 5; four are needed
        count = sum(len(curve.parameters) for curve in drawn if curve.since == first)
        assert count == pytest.approx(share * LIMITS.draws, abs=6)
    late = next(curve for curve in drawn if curve.since == 4.0)
    assert np.isnan(late.levels(np.array([3.9]))).all()
    assert np.isfinite(late.levels(np.array([4.0]))).all()
    assert drawn[0].fit.aicc == min(curve.fit.aicc for curve in drawn if curve.since == 0.0)
