"""Values of options: days and numbers as people write them, and what is told of a slip."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import date

from jarvision.base.days import TwoDaysError, read_day
from jarvision.base.errors import UsageError
from jarvision.base.text import printable

DAY_EXAMPLE = "2026-03-09"


def a_day(what: str) -> Callable[[str], date]:
    """Return what reads a day in any writing that is certain; ``what`` names it in messages.

    What is returned raises UsageError for a text that is no day, or may be two.
    """

    def read(text: str) -> date:
        remedy = f"Write year, month and day: {what} {DAY_EXAMPLE}."
        try:
            return read_day(text)
        except TwoDaysError as error:
            raise UsageError(f"{what}: {printable(str(error))}", remedy) from None
        except ValueError:
            raise UsageError(f"{what}: '{printable(text)}' is not a date", remedy) from None

    return read


def a_number(what: str, *, example: str, least: float, most: float) -> Callable[[str], float]:
    """Return what reads a number with a decimal point or comma; ``what`` names it in messages.

    What is returned raises UsageError for a text that is no number, and for one out of range.
    """

    def read(text: str) -> float:
        try:
            number = float(str(text).strip().replace(",", "."))
        except ValueError:
            number = math.nan
        if math.isnan(number):
            raise UsageError(
                f"{what}: '{printable(text)}' is no number", f"Write it without a unit: {example}."
            )
        if not least <= number <= most:
            raise UsageError(
                f"{what}: {printable(str(text))} is not between {least:g} and {most:g}",
                f"For example {example}.",
            )
        return number

    return read


def a_count(what: str, *, example: str, least: int, most: int) -> Callable[[str], int]:
    """Return what reads a whole number; ``what`` names it in messages.

    What is returned raises UsageError for a text that is none, and for one out of range.
    """
    number = a_number(what, example=example, least=least, most=most)

    def read(text: str) -> int:
        found = number(text)
        if found != int(found):
            raise UsageError(
                f"{what}: {printable(str(text))} is no whole number", f"For example {example}."
            )
        return int(found)

    return read
