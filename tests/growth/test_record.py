"""Stalls and the record that they are read from, part by part, on numbers worked out by hand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from series import history, series
from shelves import START, day

from jarvision.growth.priors import Sibling
from jarvision.growth.stall import (
    Stall,
    _best_rate,
    _full_rate,
    _has_started,
    _is_empty,
    _Look,
    _look_back,
    _looks_back,
    _never_started,
    _plateau_days,
    _rose_lately,
    find_stall,
    leap_off_days,
)
from jarvision.growth.timeseries import (
    as_series,
    last_piece,
    moved_doubtfully,
    without_bad_readings,
)
from jarvision.register.species import find_profile
from jarvision.settings.groups import Settings

OYSTER = find_profile("oyster")  # a spawn run of 12 to 21 days, ready at 95 %
LIMITS = Settings().growth
AS_SEEN = replace(LIMITS, stall_best_sd=0.0)
"""The best rate is taken as it was seen, so that it can be worked out by hand."""
ALONE: Any = {"siblings": (), "settings": AS_SEEN}


# --------------------------------------------------------------------------- the record as arrays
def test_time_runs_from_the_start_of_the_jar_or_its_first_photo_whichever_is_earlier() -> None:
    days = history([10, 20, 30]).days
    for started, first in ((START - timedelta(days=3), 3), (START, 0), (None, 0)):
        found = as_series(days, started, LIMITS)
        assert found.t.tolist() == [first, first + 1, first + 2]
        assert found.day(-1) == day(2)
    assert as_series(days, START + timedelta(days=1), LIMITS).origin == START


def test_a_reading_is_as_unsure_as_its_interval_and_never_surer_than_the_floor() -> None:
    for half, sd in ((3.92, 2.0), (0.5, 0.7)):
        found = as_series(history([50, 60], half=half).days, START, LIMITS)
        assert found.sd == pytest.approx([sd, sd])
        assert found.low == pytest.approx([50 - half, 60 - half])
        assert found.high == pytest.approx([50 + half, 60 + half])


@pytest.mark.parametrize(
    ("y", "kept"),
    [
        ([10, 20, 30, 40], [0, 1, 2, 3]),
        ([10, 15.9, 20, 30], [0, 1, 2, 3]),
        ([10, 5.9, 20, 30], [0, 2, 3]),  # 4.1 sd below the lower neighbour
        ([10, 6.0, 20, 30], [0, 1, 2, 3]),
        ([10, 24.1, 20, 24], [0, 2, 3]),
        ([10, 24.0, 20, 24], [0, 1, 2, 3]),
        ([18, 20, 16.0], [0, 1, 2]),
        ([18, 20, 15.9], [0, 1]),  # the last one has fallen
        ([10, 20, 49.0], [0, 1, 2]),  # 25 points a day, and four sd
        ([10, 20, 49.1], [0, 1]),
        ([30], [0]),
    ],
)
def test_readings_that_no_growing_jar_can_show_are_left_out(
    y: list[float], kept: list[int]
) -> None:
    assert without_bad_readings(series(y), LIMITS).t.tolist() == kept


def test_each_reading_has_the_room_of_its_own_uncertainty() -> None:
    for unsure, last, kept in ((3, 10.0, 4), (1, 10.0, 3), (3, 59.0, 4), (1, 59.0, 3)):
        record = series([16, 18, 20, last])
        record.sd[unsure] = 4.0
        assert len(without_bad_readings(record, LIMITS).t) == kept, (unsure, last)


def test_over_missed_days_a_jar_may_gain_more() -> None:
    assert len(without_bad_readings(series([10, 20, 98], t=[0, 1, 4]), LIMITS).t) == 3
    assert len(without_bad_readings(series([10, 20, 98], t=[0, 1, 3]), LIMITS).t) == 2


@pytest.mark.parametrize(("last", "way"), [(10.0, -1), (50.0, 0), (95.0, 1)])
def test_a_last_reading_that_is_left_out_has_risen_or_fallen(last: float, way: int) -> None:
    whole = series([90.0 if last < 50 else 5.0, 30, 40, last])
    if last < 50:
        whole = series([5, 30, 40, last])
    assert moved_doubtfully(whole, without_bad_readings(whole, LIMITS)) == way


def test_after_a_shake_the_record_begins_anew() -> None:
    shaken = history([20, 30, 40, 8, 12, 20, 30])
    assert [d.day for d in last_piece(shaken.days, LIMITS)] == [day(n) for n in range(3, 7)]
    whole = history([20, 30, 40, 50])
    assert last_piece(whole.days, LIMITS) == whole.days


# --------------------------------------------------------------------------- stalls
def test_the_best_rate_is_that_of_three_neighbours_before_the_look_back() -> None:
    def best(y: Sequence[float], until: int, t: Sequence[float] | None = None) -> float:
        return _best_rate(series(y, t=t, sd=0.0), until, LIMITS)

    steep_later = [0, 1, 4, 10, 12, 40, 70]
    assert best(steep_later, 4) == pytest.approx(4.5)  # from 1 to 10 in two days
    assert best(steep_later, 5) == pytest.approx(15.0)
    assert best(steep_later, 6) == pytest.approx(29.0)
    assert best(steep_later, 0) == best(steep_later, 1) == best(steep_later[:2], 2) == 0.0
    assert best([0, 8, 16], 2, t=[0, 1, 4]) == pytest.approx(4.0)


def test_of_the_best_rate_that_counts_which_was_surely_seen() -> None:
    """A standard uncertainty of a difference of readings of 2 and 1.5 points is 2.5."""
    read = series([10, 12, 20])
    read.sd[:] = 2.0, 9.0, 1.5
    assert _best_rate(read, 2, LIMITS) == pytest.approx((10 - 1.5 * 2.5) / 2)
    assert _best_rate(series([10, 10, 11]), 2, LIMITS) == 0.0  # less than chance


def test_the_rate_to_be_expected_is_the_largest_of_own_species_and_batch() -> None:
    slow, quick = (series([0, n, 2 * n, 3 * n, 4 * n], sd=0.0) for n in (1, 10))
    of_species = 100.0 / 21
    kin = [Sibling("A", 5.0, 2.0), Sibling("B", 10.0, 2.0), Sibling("C", 90.0, 2.0)]
    for own, siblings, rate in (
        (slow, (), of_species),
        (quick, (), 10.0),
        (slow, kin, 8.0),
        (quick, kin, 10.0),
    ):
        found = _full_rate(own, OYSTER, siblings, before=4, settings=LIMITS)
        assert found == pytest.approx(rate)


def test_a_look_back_compares_the_slope_with_a_share_of_what_is_expected() -> None:
    record = series([10, 20, 30, 40, 50, 50, 50], sd=2.0)
    look = _look_back(record, 4, {}, OYSTER, **ALONE)
    assert look.days == 2
    assert look.rate.value == pytest.approx(0.0)
    assert look.rate.sd == pytest.approx(2.0 / math.sqrt(2.0))
    assert look.expected == pytest.approx(10.0)  # at half of the wall, the best rate
    assert look.above_slow == pytest.approx(-3.5 / math.sqrt(2.0))
    assert look.p_value == pytest.approx(0.5 * math.erfc(3.5 / 2.0))
    assert not look.rough
    assert look.tells(LIMITS)
    quarter = _look_back(series([5, 15, 25, 25, 25], sd=2.0), 2, {}, OYSTER, **ALONE)
    assert quarter.expected == pytest.approx(4 * 0.25 * 0.75 * 10.0)
    rough = [_look_back(series([10, 20, 30, 40, 50, 50, 50], sd=sd), 4, {}, OYSTER, **ALONE).rough
             for sd in (19.0, 21.0)]  # fmt: skip
    assert rough == [False, True]


def test_looks_go_back_from_three_points_to_three_weeks_and_not_beyond_growth() -> None:
    flat = series([50.0] * 30)
    assert [look.days for look in _looks_back(flat, {}, OYSTER, (), LIMITS)] == list(range(2, 22))
    missed = series([50.0] * 4, t=[0, 2, 3, 9])  # two points tell nothing, however far apart
    assert [look.days for look in _looks_back(missed, {}, OYSTER, (), LIMITS)] == [7, 9]
    grew = series([0, 10, 20, 30, 40, 50, 50, 50])
    assert [look.days for look in _looks_back(grew, {}, OYSTER, (), LIMITS)] == [2, 3]


FLAT = [10.0, 20, 30, 40, 50, 50, 50]
"""Half of the wall; the slowest oyster gains 4.8 points a day there, the best days brought 10."""


def look_with(
    y: Sequence[float], fronts: Sequence[float], *, first: int = 4, sd: float = 1.0
) -> _Look:
    """A look back at a record, with the fronts that were measured on its days but the first."""
    by_day = {day(n + 1): speed for n, speed in enumerate(fronts)}
    return _look_back(series(y, sd=sd), first, by_day, OYSTER, **ALONE)


@pytest.mark.parametrize(
    ("newest", "tells"),
    [((0.0, 0.0), True), ((0.0, 0.9), True), ((0.0, 1.0), False), ((3.0, 0.0), False)],
)
def test_a_jar_has_not_stopped_where_fronts_ran_on_half_of_the_days(
    newest: tuple[float, float], tells: bool
) -> None:
    look = look_with(FLAT, [2.0, 2.0, 2.0, 2.0, *newest])
    assert look.fronts == newest
    assert look.ran_before == 2.0
    assert look.tells(LIMITS) is tells
    longer = look_with([*FLAT, 50.0], [2.0] * 4 + [0.0, 0.0, 3.0])
    assert longer.tells(LIMITS)  # on one of three days it may be misread


@pytest.mark.parametrize(
    ("ran", "gain", "tells"),
    [(2.0, 3.6, True), (2.0, 3.75, False), (1.9, 2.65, False)],
)
def test_fronts_that_stand_where_they_ran_make_a_slow_rate_a_stall(
    ran: float, gain: float, tells: bool
) -> None:
    """The slow rate is 3.5 points a day, with a standard error of 0.7: a little more is chance."""
    y = [10.0, 20, 30, 40, 50, 50 + gain, 50 + 2 * gain]
    assert look_with(y, [ran] * 4 + [0.0, 0.0]).tells(LIMITS) is tells
    assert not look_with(y, []).tells(LIMITS)
    assert not look_with(y, [0.9, 0.9, 0.9, 0.9, 0.0, 0.0]).tells(LIMITS)  # none ever ran
    assert not look_with(y, [ran] * 4 + [0.0]).tells(LIMITS)  # one day is too few


@pytest.mark.parametrize(("gain", "tells"), [(1.9, True), (2.1, False)])
def test_a_rate_less_surely_slow_is_enough_where_creeping_fronts_stand(
    gain: float, tells: bool
) -> None:
    """The slow rate is 3.5 points a day, with a standard error of 2.8 or (more than half of what
    the slowest of its species gains never does) of 1.4."""
    y = [10.0, 20, 30, 40, 50, 50 + gain, 50 + 2 * gain]
    assert look_with(y, [1.9] * 4 + [0.0, 0.0], sd=4.0).tells(LIMITS) is tells
    assert not look_with(y, [0.9] * 4 + [0.0, 0.0], sd=4.0).tells(LIMITS)
    for more, slow in ((2.3, True), (2.45, False)):
        y = [10.0, 20, 30, 40, 50, 50 + more, 50 + 2 * more]
        assert look_with(y, [1.9] * 4 + [0.0, 0.0], sd=2.0).tells(LIMITS) is slow


@pytest.mark.parametrize(("gain", "tells"), [(2.3, True), (2.5, False)])
def test_a_jar_that_is_only_slower_than_its_batch_has_not_stopped(gain: float, tells: bool) -> None:
    kin = [Sibling("A", 40.0, 2.0)]
    record = series([50.0 - gain, 50.0, 50.0 + gain], sd=0.7)
    look = _look_back(record, 0, {}, OYSTER, siblings=kin, settings=LIMITS)
    assert look.slowest == pytest.approx(100.0 / 21)
    assert look.p_value < LIMITS.stall_p
    assert look.tells(LIMITS) is tells


def test_a_last_reading_has_risen_by_the_three_before_it() -> None:
    least = 1.5 * math.sqrt(2.0)
    for off, rose in ((-0.05, False), (0.05, True)):
        assert _rose_lately(series([90, 40, 60, 50, 50 + least + off]), LIMITS) is rose
        assert _rose_lately(series([50, 50 + least + off]), LIMITS) is rose
    assert not _rose_lately(series([99]), LIMITS)
    assert _rose_lately(series([0, 0, 90, 90, 60, 95]), LIMITS)  # above 90, not above 75


def test_a_plateau_lasts_since_the_last_reading_surely_below_its_end() -> None:
    assert _plateau_days(series([10, 46, 50, 50, 50])) == 2
    assert _plateau_days(series([10, 47, 50, 50, 50])) == 3
    assert _plateau_days(series([50, 50, 50, 50])) == 3
    assert _plateau_days(series([10, 60, 60, 20, 50, 50, 50])) == 2
    assert _plateau_days(series([10, 60, 80, 60])) == 2  # the end is the median of three
    assert _plateau_days(series([50, 40], t=[0, 3])) == 0
    assert _plateau_days(series([20, 44, 50, 56])) == 1  # of the last three, not of four


def test_a_stall_is_told_a_short_one_where_its_last_reading_rose() -> None:
    grown = [0.0, 5, 20, 50]
    flat = stall_of([*grown, *[60.0] * 9])
    assert flat.days == 8
    assert flat.finding is not None
    assert flat.finding.numbers["percent"] == 60.0
    woke = stall_of([*grown, *[60.0] * 8, 62.5], half=1.5)
    assert woke.days == LIMITS.stall_days


def has_started(y: Sequence[float], before: Sequence[float] = ()) -> bool:
    """Whether a jar has, whose last piece begins after the days of ``before``."""
    return _has_started(
        series(y, t=np.arange(len(y)) + len(before)), history([*before, *y]), LIMITS
    )


def test_a_jar_has_started_by_its_second_highest_reading() -> None:
    assert not has_started([1, 2, 60, 7.9])
    assert has_started([1, 2, 60, 8.0])
    assert has_started([8.0])


def test_what_a_jar_was_packed_with_is_no_start_but_what_a_shake_left_is() -> None:
    assert not has_started([40, 40, 47.9, 47.9])
    assert has_started([40, 40, 48.0, 48.0])
    assert has_started([40, 40, 40, 40], before=[60, 80])


def test_a_jar_is_empty_below_three_percent_on_all_days() -> None:
    assert _is_empty(history([0, 2.9, 1]), LIMITS)
    assert not _is_empty(history([0, 3.0, 1]), LIMITS)


@pytest.mark.parametrize(("longest", "days"), [(21, 10), (22, 10), (40, 18), (60, 27)])
def test_a_live_jar_shows_growth_within_its_species_time(longest: int, days: int) -> None:
    assert leap_off_days(replace(OYSTER, spawn_run_days=(10, longest)), LIMITS) == days


@pytest.mark.parametrize(("started", "first"), [(START, 10), (START - timedelta(days=4), 6)])
def test_a_jar_that_never_started_is_told_with_its_age(started: date, first: int) -> None:
    for age_in_photos in (first - 1, first, first + 5):
        percents = [0.5] * age_in_photos + [1.5]
        jar = history(percents, started=started)
        found = _never_started(as_series(jar.days, started, LIMITS), jar, OYSTER, LIMITS)
        if age_in_photos < first:
            assert found == Stall()
            continue
        assert found.days == age_in_photos - first + LIMITS.stall_days
        assert found.finding is not None
        told = found.finding.numbers
        age = age_in_photos + (START - started).days
        assert (told["percent"], told["age_days"], told["leap_off_days"]) == (1.5, age, 10)
    white = history([0.5] * 20 + [9.0], started=started)
    assert _never_started(series([1.0] * 21), white, OYSTER, LIMITS) == Stall()


def stall_of(percents: Sequence[float], half: float = 2.0) -> Stall:
    jar = history(percents, half=half)
    return find_stall(as_series(jar.days, START, LIMITS), jar, OYSTER, settings=LIMITS)


@pytest.mark.parametrize(("photos", "told"), [(10, False), (11, True)])
def test_a_jar_without_a_start_is_as_old_as_its_first_photo(photos: int, told: bool) -> None:
    jar = history([0.5] * photos, started=None)
    record = as_series(jar.days, None, LIMITS)
    assert (_never_started(record, jar, OYSTER, LIMITS) != Stall()) is told


def test_no_jar_that_is_ready_or_was_within_three_readings_stands_still() -> None:
    rising = [0, 5, 20, 50]
    assert stall_of([*rising, *[94.0] * 6]).days == 5
    assert stall_of([*rising, *[95.0] * 6]) == Stall()
    assert stall_of([*rising, 94, 94, 94, 95, 95, 92]) == Stall()
    assert stall_of([*rising, 94, 94, 94, 92, 92, 95]) == Stall()
    assert stall_of([*rising, 95, 95, 95, 92, 92, 92]).days > 0
