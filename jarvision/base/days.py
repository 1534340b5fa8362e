"""Days that can be: what a clock may say, and sums that never leave the calendar."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from typing import Final, Literal

EARLIEST: Final = date(1990, 1, 1)
"""No digital photo of a jar is older; clocks without a battery begin at 1970 or 1980."""

_BELIEVED_FROM: Final = date(2026, 1, 1)
"""A machine that says an earlier day has no clock of its own: this program is younger."""

_LATEST: Final = date(2099, 12, 31)


def machine_day() -> date:
    """The machine's day; the end of the century where its clock cannot be right."""
    day = date.today()
    return day if day >= _BELIEVED_FROM else _LATEST


def clock_day() -> date | None:
    """The machine's day; None where its clock cannot be right."""
    day = date.today()
    return day if day >= _BELIEVED_FROM else None


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


# --------------------------------------------------------------------------- days as people write
DayOrder = Literal["day", "month"]
"""What stands first in a date such as 03/02/2026."""

_CLOCK: Final = re.compile(r"[T ]\d{1,2}:\d\d(:\d\d(\.\d+)?)?$")
_YEAR_FIRST: Final = re.compile(r"(\d{4})(?:[-./]|(?=\d{4}$))(\d\d?)(?:[-./]|(?<=\d{6}))(\d\d?)")
_DAY_FIRST: Final = re.compile(r"(\d\d?)\. ?(\d\d?)\. ?(\d{4}|\d\d)")
_EITHER_FIRST: Final = re.compile(r"(\d\d?)([/-])(\d\d?)\2(\d{4}|\d\d)")


class TwoDaysError(ValueError):
    """A date that is one day in one country and another day in the next."""


def read_day(text: str, *, order: DayOrder | None = None) -> date:
    """Read a day as people and spreadsheets of any country write it.

    ``2026-01-31`` (also with points, slashes or nothing between), ``31.01.2026``, ``31.1.26``;
    ``31/01/2026`` and ``01/31/2026`` where ``order``, or the number of the day, tells which is
    meant. A time of day behind it is passed over.

    Raises
    ------
    ValueError
        It is no date; :class:`TwoDaysError` where it may be either of two.
    """
    try:
        year, month, day = _parts(_CLOCK.sub("", text.strip()), order)
        return date(year, month, day)
    except TwoDaysError:
        raise TwoDaysError(f"'{text}' may be either of two days") from None
    except ValueError:
        raise ValueError(f"'{text}' is not a date") from None


def _parts(plain: str, order: DayOrder | None) -> tuple[int, int, int]:
    """Year, month and day as written; nothing says yet that there is such a day."""
    if found := _YEAR_FIRST.fullmatch(plain):
        return int(found[1]), int(found[2]), int(found[3])
    if found := _DAY_FIRST.fullmatch(plain):
        return _year(found[3]), int(found[2]), int(found[1])
    if found := _EITHER_FIRST.fullmatch(plain):
        one, two = int(found[1]), int(found[3])
        known = "day" if one == two else order or day_order([plain])
        if known is None:
            raise TwoDaysError
        return (_year(found[4]), two, one) if known == "day" else (_year(found[4]), one, two)
    raise ValueError


def day_order(texts: Iterable[str]) -> DayOrder | None:
    """What stands first in the dates of one table, as those of its days after the twelfth tell."""
    found = [m for text in texts if (m := _EITHER_FIRST.fullmatch(_CLOCK.sub("", text.strip())))]
    day, month = (any(int(m[place]) > 12 for m in found) for place in (1, 3))
    if day == month:
        return None
    return "day" if day else "month"


def _year(digits: str) -> int:
    return int(digits) if len(digits) > 2 else 2000 + int(digits)
