"""Many jars in few words: ``K01..K12`` for a dozen jars labelled one after the other."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from jarvision.base.errors import UsageError
from jarvision.base.text import printable

LONGEST_RANGE: Final = 500
"""No range is longer: a digit too many would fill the register."""

FEWEST: Final = 3
"""So many names in a row are told as a range."""

_RANGE: Final = re.compile(r"(?P<stem>.*?)(?P<first>\d+)(?:\.\.|-(?=\D))(?P<end>.*?)(?P<last>\d+)")
_LABEL: Final = re.compile(r"(.*?)(\d+)")


def jars_meant(names: Iterable[str]) -> tuple[str, ...]:
    """All the names that were meant: ``K01..K12``, ``K01..12`` and ``K01-K12`` are twelve each.

    A stroke makes a range only between two names that begin alike: ``B2-3`` is one jar.

    Raises
    ------
    UsageError
        A range that falls, or is longer than a shelf; or a name that is there twice.
    """
    found = [name for given in names for name in _spread(given.strip())]
    twice = next((name for name in found if found.count(name) > 1), None)
    if twice is not None:
        raise UsageError(
            f"Jar '{printable(twice)}' is named twice", "Nothing was written; name each once."
        )
    return tuple(found)


def gathered(names: Sequence[str]) -> Iterator[str]:
    """The names in few words, of which :func:`jars_meant` makes them again."""
    row: list[str] = []
    for name in names:
        if row and _after(row[-1]) != name:
            yield from _told(row)
            row = []
        row.append(name)
    yield from _told(row)


def _spread(given: str) -> list[str]:
    parts = _RANGE.fullmatch(given)
    if parts is None or parts["end"] not in ("", parts["stem"]):
        return [given]
    if not parts["end"] and ".." not in given:
        return [given]
    first, last = int(parts["first"]), int(parts["last"])
    if not first <= last < first + LONGEST_RANGE:
        raise UsageError(
            f"'{printable(given)}' is no range of jars",
            f"Write the lower number first, as in K01..K12; up to {LONGEST_RANGE} jars at once.",
        )
    width = len(parts["first"])
    return [f"{parts['stem']}{number:0{width}d}" for number in range(first, last + 1)]


def _after(name: str) -> str:
    """The name of the next jar; empty where the name ends in no number."""
    parts = _LABEL.fullmatch(name)
    if parts is None:
        return ""
    return f"{parts[1]}{int(parts[2]) + 1:0{len(parts[2])}d}"


def _told(row: Sequence[str]) -> Iterator[str]:
    if len(row) < FEWEST:
        yield from row
    else:
        yield f"{row[0]}..{row[-1]}"
