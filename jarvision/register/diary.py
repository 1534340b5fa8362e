"""What only the grower knows of a jar, day by day: diary.csv beside the register, kept for good.

Lines are only ever added. The last line of a jar, day and word counts; several notes may stand on
one day. A line marked ``undone`` takes back those of its jar, day and word before it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, Final, cast

from jarvision.base.csv_text import CsvCell
from jarvision.base.days import read_day
from jarvision.base.errors import UsageError
from jarvision.base.ledger import open_ledger
from jarvision.base.text import printable
from jarvision.records import DiaryLine, DiaryWord, JarEntry

DIARY_NAME: Final = "diary.csv"
DIARY_COLUMNS: Final = ("jar", "date", "what", "celsius", "text", "undone")
_UNDONE: Final = "undone"

WORDS: Final[Mapping[DiaryWord, str]] = {
    "shaken": "its contents were broken up or shaken",
    "opened": "its lid was off",
    "moved": "it was put in another place",
    "temperature": "how warm it stood, in degrees Celsius",
    "note": "anything else",
    "fruiting": "it was put into fruiting conditions, under its hood",
    "sprayed": "its hood or its surface was moistened",
    "unhooded": "its hood was taken off for good",
}
COLDEST_C: Final = -30.0
WARMEST_C: Final = 130.0
"""From a freezer to a steriliser: nothing beyond is meant."""


@dataclass(frozen=True)
class _Line:
    """A line of the file; ``undone`` on one that takes back others."""

    told: DiaryLine
    undone: bool


def read_diary(path: Path, *, names: Mapping[str, str] | None = None) -> tuple[DiaryLine, ...]:
    """Read what counts in ``diary.csv``, by day, else in the order of its lines.

    ``names`` are those of today by the former ones, under which older lines may stand.

    Raises
    ------
    UsageError
        With the line number, when a line is wrong.
    """
    return _counting(open_ledger(path, DIARY_COLUMNS).read(_told), names or {})


def by_jar(lines: Iterable[DiaryLine]) -> dict[str, tuple[DiaryLine, ...]]:
    """The lines of each jar."""
    found: dict[str, tuple[DiaryLine, ...]] = {}
    for line in lines:
        found[line.jar] = (*found.get(line.jar, ()), line)
    return found


def add_line(path: Path, line: DiaryLine, *, entry: JarEntry, today: date) -> None:
    """Append a line to ``diary.csv``, whole or not at all; older lines are never touched.

    Parameters
    ----------
    entry
        The jar's line in the register.
    today
        Nothing that is told lies ahead of it.

    Raises
    ------
    UsageError
        When the line contradicts itself or the register, or the file has a wrong line.
    NotWritableError
        When the file cannot be written.
    """
    _check(line, entry, today)
    ledger = open_ledger(path, DIARY_COLUMNS)
    ledger.read(_told)  # a wrong line is told now, not at the next scoring
    ledger.add([_row(line)])


def undo_line(
    path: Path,
    jar: str,
    what: DiaryWord,
    day: date | None = None,
    *,
    names: Mapping[str, str] | None = None,
) -> DiaryLine:
    """Take back what was told of a jar; the lines stay, and one that says so is added.

    Parameters
    ----------
    day
        None: the last one of which this was told.

    Returns
    -------
    What was taken back; of several notes of one day the last.

    Raises
    ------
    UsageError
        No such thing was told of the jar, or not of that day; or the file has a wrong line.
    NotWritableError
        When the file cannot be written.
    """
    ledger = open_ledger(path, DIARY_COLUMNS)
    lines = _counting(ledger.read(_told), names or {})
    told = [line for line in lines if line.jar == jar and line.what == what]
    meant = [line for line in told if day in (None, line.day)]
    if not meant:
        days = ", ".join(dict.fromkeys(str(line.day) for line in told))
        raise UsageError(
            f"No '{what}' is told of jar '{printable(jar)}'" + (f" on {day}" if day else ""),
            f"It is told of {days}." if days else f"jarvision diary {printable(jar)} lists all.",
        )
    ledger.add([{**_row(meant[-1]), "undone": _UNDONE}])
    return meant[-1]


# --------------------------------------------------------------------------- what counts
def _counting(lines: Iterable[_Line], names: Mapping[str, str]) -> tuple[DiaryLine, ...]:
    """The last line of each jar, day and word; of notes every one with words of its own."""
    kept: dict[tuple[str, date, str, str], DiaryLine] = {}
    for line in lines:
        told = replace(line.told, jar=names.get(line.told.jar, line.told.jar))
        key = (told.jar, told.day, told.what, told.text if told.what == "note" else "")
        kept.pop(key, None)
        if not line.undone:
            kept[key] = told
    return tuple(sorted(kept.values(), key=lambda told: told.day))  # stable: order of the lines


# --------------------------------------------------------------------------- one line
def _check(line: DiaryLine, entry: JarEntry, today: date) -> None:
    """Raise for what cannot be."""
    if line.day > today:
        raise UsageError(f"{line.day} lies ahead", "Tell what has happened once it has.")
    if entry.started and line.day < entry.started:
        raise UsageError(
            f"{line.day} lies before jar '{printable(line.jar)}' was started ({entry.started})",
            "Correct the date, or the register.",
        )
    if not line.text.isprintable():
        raise UsageError("The text holds a line break or the like", "Write it on one line.")
    if line.what == "note" and not line.text:
        raise UsageError(
            "The note has no words", 'For example: jarvision diary K07 note "lid loose".'
        )


def _row(line: DiaryLine) -> dict[str, CsvCell]:
    return {
        "jar": line.jar,
        "date": line.day.isoformat(),
        "what": line.what,
        "celsius": "" if line.celsius is None else f"{line.celsius:g}",
        "text": line.text,
        "undone": "",
    }


def _told(cells: Mapping[str, str]) -> _Line:
    what, undone = cells["what"], cells["undone"]
    if not cells["jar"]:
        raise ValueError("the jar has no name")
    if what not in WORDS:
        raise ValueError(f"what '{what}' is none of {', '.join(WORDS)}")
    if undone not in ("", _UNDONE):
        raise ValueError(f"undone '{undone}' is neither empty nor '{_UNDONE}'")
    told = DiaryLine(
        jar=cells["jar"],
        what=cast(Any, what),
        day=read_day(cells["date"]),
        celsius=_celsius(cells["celsius"]) if what == "temperature" else None,
        text=cells["text"],
    )
    return _Line(told, undone=undone == _UNDONE)


def _celsius(text: str) -> float:
    try:
        celsius = float(text.replace(",", "."))  # as some spreadsheets write it
    except ValueError:
        celsius = math.nan
    if not COLDEST_C <= celsius <= WARMEST_C:
        raise ValueError(f"celsius '{text}' is no temperature")
    return celsius
