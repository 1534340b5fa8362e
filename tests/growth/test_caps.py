"""When caps flatten is told from their widths, by laws that made them and by others."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from tops import FIRST, about, day

from jarvision.growth.caps import CapSight, _shortest_run, forecast_cut
from jarvision.records import CutForecast
from jarvision.settings.fruiting import FruitingSettings

SETTINGS = FruitingSettings()


def logistic_caps(
    flat_day: float, days: range, *, full_mm: float = 50.0, pace: float = 1.2
) -> list[CapSight]:
    """A logistic cap that has 85 % of its full width when it begins to flatten."""
    rng = np.random.default_rng(3)
    at_flat = np.log(0.85 / 0.15)
    found = []
    for number in days:
        wide = full_mm / (1 + np.exp(-((number - flat_day) / pace + at_flat)))
        edge = 1 / (1 + np.exp(-(number - flat_day) / 0.4))
        wide += float(rng.normal(0, 0.7))
        found.append(
            CapSight(day(number), about(max(wide, 0.5), 1.6), float(edge), young=wide < 10)
        )
    return found


def told(sights: list[CapSight]) -> CutForecast:
    found = forecast_cut(sights, pins_since=sights[0].day, settings=SETTINGS)
    assert found is not None
    return found


@pytest.mark.parametrize("flat_day", [4.5, 6.2, 8.4])
def test_two_days_ahead_the_day_is_told_within_one(flat_day: float) -> None:
    cut = told(logistic_caps(flat_day, range(int(flat_day) - 1)))
    assert abs((cut.day - day(int(flat_day))).days) <= 1
    assert cut.low <= day(int(flat_day)) <= cut.high


def test_the_interval_narrows_as_caps_are_seen_to_grow() -> None:
    early, late = told(logistic_caps(7.3, range(3))), told(logistic_caps(7.3, range(7)))
    assert (late.high - late.low) < (early.high - early.low)
    assert late.days_seen == 7


def test_an_edge_that_has_flattened_brings_the_day_to_now() -> None:
    rolled = [CapSight(day(n), about(10.0 + 8 * n), 0.02) for n in range(4)]
    flat = [*rolled[:-1], CapSight(day(3), rolled[3].width_mm, 0.97)]
    assert told(flat).day <= day(3) < told(rolled).day


def test_the_pace_is_that_of_the_widths() -> None:
    steady = [CapSight(day(n), about(12.0 + 4.0 * n), 0.02) for n in range(5)]
    assert told(steady).mm_per_day == pytest.approx(4.0, abs=1.2)


def test_without_a_cap_nothing_is_told_and_the_same_sights_tell_the_same() -> None:
    assert forecast_cut([], pins_since=None, settings=SETTINGS) is None
    sights = logistic_caps(6.0, range(4))
    assert told(sights) == told(sights)


def test_caps_on_the_first_photo_leave_more_open_than_caps_that_were_seen_as_pins() -> None:
    one = [CapSight(FIRST, about(20.0), None)]
    open_end = forecast_cut(one, pins_since=None, settings=SETTINGS)
    known = forecast_cut(one, pins_since=FIRST - timedelta(days=4), settings=SETTINGS)
    assert open_end is not None
    assert known is not None
    assert (open_end.latest - open_end.low) > (known.latest - known.low)


def test_the_interval_is_the_fewest_days_that_hold_so_much() -> None:
    days = np.array([2.3, 3.1, 3.9, 4.2, 4.8, 5.5, 9.0])
    weights = np.array([0.05, 0.2, 0.2, 0.25, 0.2, 0.05, 0.05])
    assert _shortest_run(days, weights, 4) == (3, 4)
    assert _shortest_run(days, np.array([0.1, 0.2, 0.1, 0.1, 0.1, 0.2, 0.2]), 4) == (3, 5)
