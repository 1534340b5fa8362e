"""Days that can be: what a clock may say, and sums that never leave the calendar."""

from __future__ import annotations

from datetime import date
from typing import Final

EARLIEST: Final = date(1990, 1, 1)
"""No digital photo of a jar is older; clocks without a battery begin at 1970 or 1980."""

_BELIEVED_FROM: Final = date(2026, 1, 1)
"""A machine that says an earlier day has no clock of its own: this program is younger."""

_LATEST: Final = date(2099, 12, 31)


def machine_day() -> date:
    """The machine's day; the end of the century where its clock cannot be right."""
    day = date.today()
    return day if day >= _BELIEVED_FROM else _LATEST


def latest_day() -> date:
    """The last day that a photo can have: tomorrow, which begins elsewhere while it is today."""
    return days_after(machine_day(), 1)


def can_be(day: date) -> bool:
    """Tell whether a photo can have been taken on a day."""
    return EARLIEST <= day <= latest_day()


def days_after(day: date, days: float) -> date:
    """Return the day so many whole days later (or earlier), the calendar's end at most."""
    number = day.toordinal() + int(days)
    return date.fromordinal(min(max(number, date.min.toordinal()), date.max.toordinal()))
