"""Days read together: misread days are corrected, what all days share is not averaged away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from shelves import START, day, kjma, oyster, reading

from jarvision.history.build import build_history
from jarvision.history.shakes import shaken_on
from jarvision.history.smoothing import read_together
from jarvision.records import Coverage, JarDay, TrackedPatch
from jarvision.settings.groups import Settings

SETTINGS = Settings()
GROWTH = (41.0, 55.0, 68.0, 80.0, 85.0, 90.0, 93.0)
MISREAD = (41.0, 55.0, 68.0, 80.0, 54.0, 90.0, 93.0)


def days_of(
    percents: Sequence[float], half_width: float | Sequence[float] = 5.0, gap: int = 1
) -> list[JarDay]:
    widths = np.broadcast_to(np.asarray(half_width, dtype=float), (len(percents),))
    return [
        JarDay(
            jar="J1",
            day=START + timedelta(days=gap * i),
            views=1,
            coverage=Coverage(p, max(p - w, 0.0), min(p + w, 100.0), p, 90.0),
            patches=(),
            fill_height_mm=100.0,
            readings=(),
        )
        for i, (p, w) in enumerate(zip(map(float, percents), map(float, widths), strict=True))
    ]


def together(days: Sequence[JarDay], settings: Settings = SETTINGS) -> list[Coverage]:
    told = [d.together for d in read_together(days, settings)]
    assert all(t is not None for t in told)
    return [t for t in told if t is not None]


def percents(levels: Sequence[Coverage]) -> list[float]:
    return [level.percent for level in levels]


# --------------------------------------------------------------------------- one misread day
@pytest.mark.parametrize("wrong", [54.0, 20.0])
def test_a_low_day_between_two_high_ones_is_corrected(wrong: float) -> None:
    levels = together(days_of([wrong if p == 54.0 else p for p in MISREAD]))
    assert 79.0 < levels[4].percent < 91.0
    assert levels[4].low > wrong + 10
    assert percents(levels)[:4] == pytest.approx(GROWTH[:4], abs=2.5)


def test_a_high_day_between_two_low_ones_is_corrected() -> None:
    levels = together(days_of([20.0, 24.0, 28.0, 85.0, 36.0, 40.0]))
    assert 27.0 < levels[3].percent < 38.0


def test_days_that_grow_as_jars_do_stay_as_they_were_read() -> None:
    for run in (6.0, 9.0, 14.0):
        curve = kjma(np.arange(16), t95=run)
        assert percents(together(days_of(curve))) == pytest.approx(list(curve), abs=1.0)


def test_scatter_of_a_jar_that_stands_still_is_taken_out_of_the_curve() -> None:
    rng = np.random.default_rng(3)
    raw, smooth = [], []
    for _ in range(20):
        read = 60.0 + rng.normal(0.0, 2.2, 12)
        raw += list(read - 60.0)
        smooth += [p - 60.0 for p in percents(together(days_of(read, 9.8)))]
    assert np.abs(smooth).mean() < 0.7 * np.abs(raw).mean()


def test_a_day_alone_is_as_it_was_read() -> None:
    only = days_of([37.0])
    assert together(only) == [only[0].coverage]


# --------------------------------------------------------------------------- the interval
def test_what_all_days_share_is_not_averaged_away() -> None:
    many = together(days_of(np.full(30, 60.0), 10.0))
    least = np.sqrt(SETTINGS.together.common_share) * 10.0
    for level in many:
        assert level.percent - level.low >= least - 0.1
        assert level.high - level.percent >= least - 0.1


def test_a_misread_day_that_was_sure_of_itself_is_no_surer_than_its_neighbours() -> None:
    widths = [10.0, 10.0, 10.0, 10.0, 1.0, 10.0, 10.0]
    level = together(days_of(MISREAD, widths))[4]
    assert level.high - level.low >= 2 * np.sqrt(SETTINGS.together.common_share) * 10.0 - 0.2


def test_the_interval_holds_the_truth_where_days_share_a_part_of_their_error() -> None:
    rng = np.random.default_rng(5)
    held, last_held, sd = [], [], 5.0
    for _ in range(60):
        true = kjma(np.arange(10), lag=rng.uniform(0, 2), t95=rng.uniform(7, 12))
        bare = 1.0 - true / 100.0
        scale = np.maximum(bare, 0.15)
        share = SETTINGS.together.common_share
        common = rng.normal(0.0, sd * np.sqrt(share)) * scale
        own = rng.normal(0.0, sd * np.sqrt(1 - share), 10) * scale
        days = days_of(np.clip(true + common + own, 0, 100), 1.96 * sd * scale)
        inside = [c.low <= t <= c.high for c, t in zip(together(days), true, strict=True)]
        held += inside
        last_held.append(inside[-1])
    assert np.mean(held) >= 0.93
    assert np.mean(last_held) >= 0.90


# --------------------------------------------------------------------------- the last day
def test_the_last_day_knows_the_past_only_and_earlier_days_what_came_after() -> None:
    whole = days_of(MISREAD)
    for end in range(1, len(whole)):
        alone = together(whole[:end])[-1]
        if end < 5:
            assert alone.percent == pytest.approx(whole[end - 1].coverage.percent, abs=2.0)
    low_last, low_between = together(whole[:5])[-1], together(whole)[4]
    assert low_last.low < 60.0 < 79.0 < low_last.high  # nobody can tell yet: both are held
    assert low_between.low > 64.0


def test_a_fall_that_a_second_day_confirms_is_believed_and_the_days_before_stay_high() -> None:
    levels = together(days_of([70.0, 78.0, 84.0, 60.0, 61.0]))
    assert percents(levels) == pytest.approx([70.0, 78.0, 84.0, 60.0, 61.0], abs=2.5)
    small = together(days_of([80.0, 84.0, 88.0, 80.0, 80.0, 80.5], 3.0))  # no shake by its size
    assert percents(small)[3:] == pytest.approx([80.0, 80.0, 80.5], abs=1.5)
    assert small[2].percent > 86.0


# --------------------------------------------------------------------------- pieces
def test_nothing_is_read_over_a_turn() -> None:
    days = days_of([80.0, 82.0, 84.0, 60.0])
    turned = [*days[:3], replace(days[3], turned_away=True)]
    levels = together(turned)
    assert levels[3] == turned[3].coverage
    assert levels[:3] == together(days[:3])
    assert together(days)[3] != days[3].coverage


def test_nothing_is_read_over_a_shake() -> None:
    days = days_of([25.0, 30.0, 36.0, 12.0, 14.0, 22.0])
    assert shaken_on(days, SETTINGS.growth) == (days[3].day,)
    assert together(days) == [*together(days[:3]), *together(days[3:])]


def test_missed_days_leave_room_for_what_grew_in_them() -> None:
    levels = together(days_of([10.0, 60.0, 95.0], gap=4))
    assert percents(levels) == pytest.approx([10.0, 60.0, 95.0], abs=1.5)


def test_mould_takes_the_place_of_the_white_and_is_not_smoothed_away() -> None:
    days = days_of([70.0, 78.0, 84.0, 76.0, 68.0])
    green = TrackedPatch("green-1", "green", 4.0, 0.0, 40.0, "growing")
    mouldy = [*days[:3], *(replace(d, patches=(green,)) for d in days[3:])]
    levels = together(mouldy)
    assert levels[3:] == [d.coverage for d in mouldy[3:]]
    assert levels[:3] == together(days[:3])


def test_a_jar_that_gains_more_than_any_is_believed_once_the_next_day_agrees() -> None:
    levels = together(days_of([20.0, 24.0, 64.0, 90.0, 94.0]))
    assert percents(levels) == pytest.approx([20.0, 24.0, 64.0, 90.0, 94.0], abs=2.0)
    first = together(days_of([20.0, 24.0, 64.0]))[-1]
    assert first.low < 30.0 < 60.0 < first.high


# --------------------------------------------------------------------------- in the history
def test_the_history_keeps_what_was_read_beside_what_the_days_say_together() -> None:
    read = [reading(i, p, half_width=5.0) for i, p in enumerate(MISREAD)]
    days = build_history(read, oyster()).days
    assert [d.coverage.percent for d in days] == list(MISREAD)
    assert days[4].together is not None and days[4].together.percent > 79.0
    assert days[4].level == days[4].together
    assert days[4].together.seen_percent == days[4].coverage.seen_percent
    assert [d.day for d in days] == [day(i) for i in range(7)]
