"""Stalls: told of jars that stand still, not of those that lag, jump or grow fast by now."""

from __future__ import annotations

import numpy as np
import pytest
from judging import judge
from shelves import Story, kjma, oyster, reading

from jarvision.growth.forecast import fit_growth
from jarvision.history.build import build_history
from jarvision.records import Growth, JarEntry, Reading
from jarvision.register.species import find_profile


def grown(readings: list[Reading], entry: JarEntry | None = None) -> Growth:
    history = build_history(readings, entry or oyster())
    profile = find_profile(history.entry.species)
    return fit_growth(history, profile, today=history.days[-1].day)


# --------------------------------------------------------------------------- jars that grow by now
LAG = (8, 8, 7, 6, 5, 4, 3, 2, 1)


@pytest.mark.parametrize("now", [(5, 14), (5, 14, 28), (8, 16)])
def test_a_long_lag_is_no_standstill_once_the_newest_days_grow(now: tuple[int, ...]) -> None:
    # readings near 0 % are the surest, so that the days of the lag would rule a long look back
    readings = [
        reading(
            number + 1, percent, half_width=1.0 + 14.0 * np.sqrt(percent * (100 - percent)) / 100
        )
        for number, percent in enumerate((*LAG, *now))
    ]
    assert not grown(readings, oyster(species="pioppino")).stalled


def test_a_last_reading_that_rose_too_fast_is_no_standstill() -> None:
    still = Story(np.full(9, 64.0), noise=1.0).readings()
    leapt = [*still, reading(9, 95.0)]
    assert grown(still).stalled
    assert not grown(leapt).stalled


def test_a_long_standstill_ends_a_jar_only_while_its_last_days_are_flat() -> None:
    percents = np.concatenate([kjma(np.arange(7)), np.full(10, 62.0)])
    still = Story(percents, noise=0.5).readings()
    assert judge(still)[0].verdict == "no-go"
    for last in (71.5, 45.0):  # it may have woken; it may have fallen, or be misread
        assert judge([*still, reading(17, last, half_width=2.0)])[0].verdict == "check"


def test_a_jar_that_has_slowed_down_but_gains_every_day_is_looked_at_not_thrown_out() -> None:
    slowed = np.concatenate([kjma(np.arange(6)), 45.0 + 2.0 * np.arange(14)])
    at_rest = np.concatenate([kjma(np.arange(6)), np.full(14, 45.0)])
    told = [
        judge([reading(n, float(p), half_width=8.0) for n, p in enumerate(percents)])[0]
        for percents in (slowed, at_rest)
    ]
    assert [verdict.verdict for verdict in told] == ["check", "no-go"]
    assert all(verdict.findings[0].word == "stall" for verdict in told)


# --------------------------------------------------------------------------- lag
def empty(days: int, percent: float = 0.5) -> list[Reading]:
    return [reading(n, percent + 0.2 * (n % 3)) for n in range(days)]


@pytest.mark.parametrize(("species", "since"), [("oyster", 10), ("wine-cap", 20), ("shiitake", 32)])
def test_each_species_has_its_own_time_to_start(species: str, since: int) -> None:
    assert not grown(empty(since), oyster(species=species)).stalled
    growth = grown(empty(since + 1), oyster(species=species))
    assert growth.stall is not None
    assert growth.stall.word == "never_started"


@pytest.mark.parametrize(("species", "longest"), [("oyster", 21), ("pioppino", 28)])
def test_a_jar_that_never_started_is_out_when_its_species_run_is_over(
    species: str, longest: int
) -> None:
    entry = oyster(species=species)
    assert judge(empty(longest + 1), entry)[0].verdict == "check"
    assert judge(empty(longest + 2), entry)[0].verdict == "no-go"


@pytest.mark.parametrize("level", [2.0, 4.0, 6.0])
def test_a_jar_in_its_lag_does_not_stand_still(level: float) -> None:
    for days in range(4, 11):
        readings = [reading(n, level - 0.1 * n, half_width=1.5) for n in range(days)]
        assert not grown(readings, oyster(species="pioppino")).stalled


def test_readings_too_rough_for_the_expected_gain_tell_no_standstill() -> None:
    # on day 14 at 96 % of a jar that wants 97: 0.3 points a day are left to be gained
    percents = [*kjma(np.arange(12), t95=10.0), 96.0, 95.5, 95.0]
    rough = [reading(n, float(p), half_width=8.0) for n, p in enumerate(percents)]
    assert not grown(rough, oyster(species="")).stalled


# --------------------------------------------------------------------------- slow jars
def unsteady(*newest: float) -> Growth:
    """Two points a day, read up to four points wrong, give or take four; then the newest days."""
    percents = 20.0 + 2.0 * np.arange(18) + 4.0 * np.array([0, -1, 1] * 6)
    readings = [reading(n, float(p), half_width=4.0) for n, p in enumerate([*percents, *newest])]
    return grown(readings, oyster(species="wine-cap"))


def test_the_luckiest_days_of_a_slow_jar_are_not_what_is_expected_of_it() -> None:
    """By chance it was read to gain eight points in two days, which it never does."""
    assert not unsteady(56.5, 56.0, 57.0).stalled
    assert unsteady(*[55.0] * 5).stalled
