"""What a clock may say."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from jarvision.base import days
from jarvision.base.days import can_be, days_after, latest_day


class Clock(date):
    """A calendar whose today is set."""

    said = date(2026, 5, 1)

    @classmethod
    def today(cls) -> date:
        return cls.said


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> type[Clock]:
    monkeypatch.setattr(days, "date", Clock)
    monkeypatch.setattr(Clock, "said", date(2026, 5, 1))
    return Clock


@pytest.mark.parametrize(
    ("day", "possible"),
    [
        (date(1989, 12, 31), False),
        (date(1990, 1, 1), True),
        (date(2026, 5, 2), True),  # begun where the phone is, if not here
        (date(2026, 5, 3), False),
        (date(9999, 12, 31), False),
    ],
)
def test_a_photo_is_of_1990_to_tomorrow(day: date, possible: bool) -> None:
    assert can_be(day) is possible


def test_a_machine_without_a_clock_doubts_no_photo(clock: type[Clock]) -> None:
    clock.said = date(1970, 1, 1)
    assert can_be(date(2026, 5, 3))
    assert latest_day() > date(2099, 1, 1)


def test_sums_end_where_the_calendar_ends() -> None:
    assert days_after(date(2026, 5, 1), 30) == date(2026, 5, 1) + timedelta(days=30)
    assert days_after(date(9999, 12, 30), 400) == date(9999, 12, 31)
    assert days_after(date(1, 1, 5), -400) == date(1, 1, 1)
