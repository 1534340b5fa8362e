"""What was changed in the register, kept for good: jars_history.csv beside it.

A jar that was given another name is led to by all its former ones; one that was taken out is left
out with its photos until it is added again. A name that stands in the register is that jar's.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any, Final, Literal, cast, get_args

from jarvision.base.days import read_day
from jarvision.base.ledger import open_ledger

CHANGES_NAME: Final = "jars_history.csv"
CHANGE_COLUMNS: Final = ("date", "jar", "change", "column", "before", "after")

ChangeWord = Literal["set", "renamed", "removed"]
CHANGES: Final[tuple[str, ...]] = get_args(ChangeWord)


@dataclass(frozen=True)
class JarChange:
    """One line of ``jars_history.csv``: a cell of the register before and after."""

    day: date
    jar: str
    change: ChangeWord
    column: str
    before: str
    after: str


@dataclass(frozen=True)
class Past:
    """What became of names that the register no longer has.

    Attributes
    ----------
    names
        Former name of a jar to the one that it has now.
    removed
        Jars that were taken out of the register.
    """

    names: Mapping[str, str] = field(default_factory=dict)
    removed: frozenset[str] = frozenset()

    def now(self, jar: str) -> str:
        """The name that a jar has now."""
        return self.names.get(jar, jar)

    def once(self, jar: str) -> tuple[str, ...]:
        """The names that a jar had before, the first one first."""
        return tuple(old for old, new in self.names.items() if new == jar)


def read_changes(path: Path) -> tuple[JarChange, ...]:
    """Read ``jars_history.csv``, in the order of its lines; empty when there is no such file.

    Raises
    ------
    UsageError
        With the line number, when a line is wrong.
    """
    return open_ledger(path, CHANGE_COLUMNS).read(_change)


def add_changes(path: Path, changes: Iterable[JarChange]) -> None:
    """Add lines to ``jars_history.csv``, whole or not at all; older lines are never touched.

    Raises
    ------
    UsageError
        The file cannot be read as it stands.
    NotWritableError
        It cannot be written.
    """
    open_ledger(path, CHANGE_COLUMNS).add(
        {
            "date": change.day.isoformat(),
            "jar": change.jar,
            "change": change.change,
            "column": change.column,
            "before": change.before,
            "after": change.after,
        }
        for change in changes
    )


def past_of(changes: Iterable[JarChange], registered: Collection[str]) -> Past:
    """Follow all changes up to the names of today; ``registered`` are those of the register."""
    names: dict[str, str] = {}
    gone: set[str] = set()
    for change in changes:
        if change.change == "removed":
            gone.add(change.jar)
        elif change.change == "renamed":
            names = {
                old: change.after if new == change.jar else new
                for old, new in names.items()
                if old != change.after
            }
            names[change.jar] = change.after
    known = {old: new for old, new in names.items() if old not in registered}
    return Past(known, frozenset(gone - set(registered)))


def line_before(changes: Iterable[JarChange], jar: str) -> dict[str, str]:
    """The cells that a jar's line had when it was last taken out; empty when it never was."""
    found: dict[str, str] = {}
    for change in changes:
        if change.jar == jar and change.change == "removed":
            found = {} if change.column == "jar" else found
            found[change.column] = change.before
    return found


def _change(cells: Mapping[str, str]) -> JarChange:
    word = cells["change"]
    if word not in CHANGES:
        raise ValueError(f"change '{word}' is none of {', '.join(CHANGES)}")
    if not cells["jar"] or (word == "renamed" and not cells["after"]):
        raise ValueError("the jar has no name")
    return JarChange(
        day=read_day(cells["date"]),
        jar=cells["jar"],
        change=cast(Any, word),
        column=cells["column"],
        before=cells["before"],
        after=cells["after"],
    )
