"""Jars of the register put right: another cell, another name, or taken out. Nothing is lost.

What stood there goes into the history beside the register first: should the second file then not be
written, the history says something of a jar that did not come to pass, and nothing follows from it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from jarvision.base.csv_text import parse_csv
from jarvision.base.errors import RegisterError
from jarvision.base.text import did_you_mean, printable
from jarvision.records import JarEntry
from jarvision.register.changes import CHANGES_NAME, JarChange, add_changes
from jarvision.register.edit import (
    check_name,
    past_beside,
    start_day,
    thoughts_on,
    thoughts_on_name,
    with_todays_parent,
)
from jarvision.register.jars import Register
from jarvision.register.lines import RegisterText, open_text


@dataclass(frozen=True)
class Amended:
    """A jar of the register as it now stands (as it last stood), and what was changed.

    Attributes
    ----------
    changes
        Empty where all was so already, and nothing was written.
    warnings
        What to think about, one sentence each.
    """

    entry: JarEntry
    changes: tuple[JarChange, ...]
    warnings: tuple[str, ...] = ()


def set_cells(
    path: Path,
    jars: Sequence[str],
    cells: Mapping[str, str],
    *,
    today: date,
    is_known_species: Callable[[str], bool] | None = None,
) -> tuple[Amended, ...]:
    """Write other texts into the lines of jars, or into none; an empty one empties the cell.

    Raises
    ------
    RegisterError
        There is no such jar; the register cannot be read, has a wrong line, lacks a column, or
        would have a wrong line; or a cell cannot stand in a table.
    NotWritableError
        When it cannot be written.
    """
    old = open_text(path)
    given = {name: text.strip() for name, text in cells.items()}
    given = with_todays_parent(given, past_beside(path, old.parsed()))
    old.check(given)
    rows = {jar: _line_of(old, jar) for jar in jars}
    if given.get("started"):
        given["started"] = start_day(given["started"])
    differ = {
        line: {name: text for name, text in given.items() if row.get(name, "") != text}
        for line, row in rows.values()
    }
    changes = {
        jar: tuple(
            JarChange(today, jar, "set", name, row.get(name, ""), text)
            for name, text in differ[line].items()
        )
        for jar, (line, row) in rows.items()
    }
    text = old.with_cells({line: texts for line, texts in differ.items() if texts})
    register = old.checked(text, is_known_species=is_known_species)
    every = tuple(change for own in changes.values() for change in own)
    if every:
        for line, texts in differ.items():
            _check_reads_back(text, line, texts)
        _write(old, text, every)
    return tuple(
        Amended(register.entry(jar), own, thoughts_on(register.entry(jar), register))
        for jar, own in changes.items()
    )


def rename(path: Path, jar: str, name: str, *, today: date) -> Amended:
    """Give a jar another name, also where it is the parent of others.

    Files and lines of other tables are left as they are: the former name leads to the new one.

    Raises
    ------
    RegisterError
        There is no such jar, another jar has or had that name, or as :func:`set_cells`.
    NotWritableError
        When it cannot be written.
    """
    old, name = open_text(path), name.strip()
    register = old.parsed()
    line, _ = _line_of(old, jar)
    if name in register:
        raise RegisterError(
            f"Jar '{printable(name)}' is in the register already",
            "Nothing was written; one name is for one jar.",
        )
    old.check({"jar": name})
    check_name(name, register, past_beside(path, register), own=jar)
    children = [number for number, _ in old.lines("parent", jar)]
    text = old.with_cells({line: {"jar": name}, **{n: {"parent": name} for n in children}})
    after = old.checked(text)
    _check_reads_back(text, line, {"jar": name})
    changes = (JarChange(today, jar, "renamed", "jar", jar, name),)
    _write(old, text, changes)
    return Amended(after[name], changes, thoughts_on_name(name))


def remove(path: Path, jar: str, *, today: date) -> Amended:
    """Take a jar out of the register; its whole line goes into the history.

    Raises
    ------
    RegisterError
        There is no such jar, others were made from it, or as :func:`set_cells`.
    NotWritableError
        When it cannot be written.
    """
    old = open_text(path)
    register = old.parsed()
    line, row = _line_of(old, jar)
    fed = register.children(jar)
    if fed:
        raise RegisterError(
            f"Jar '{printable(jar)}' is the parent of {printable(', '.join(fed))}",
            "Nothing was written. Its story is part of theirs: record what became of it, such as "
            f"jarvision outcome {printable(jar)} clean; or correct their parent first, with "
            f"jarvision jars set {printable(fed[0])} --parent NAME.",
        )
    text = old.without(line)
    old.checked(text)
    cells = {"jar": jar, **{name: cell for name, cell in row.items() if cell}}  # its name first
    changes = tuple(JarChange(today, jar, "removed", n, cell, "") for n, cell in cells.items())
    _write(old, text, changes)
    return Amended(register[jar], changes)


def _line_of(old: RegisterText, jar: str) -> tuple[int, dict[str, str]]:
    """Number and cells of a jar's line; the register is sound."""
    register: Register = old.parsed()
    if jar not in register:
        hint = did_you_mean(jar, register) or "jarvision jars list names those that are."
        raise RegisterError(f"Jar '{printable(jar)}' is not in the register", hint)
    return old.lines("jar", jar)[0]


def _check_reads_back(text: str, line: int, cells: Mapping[str, str]) -> None:
    table = parse_csv(text)
    row = dict(table.rows).get(line, {}) if table else {}
    if not cells.items() <= row.items():
        raise RegisterError(
            "This cannot be written so that it reads back the same",
            "Nothing was written; leave out # at the beginning.",
        )


def _write(old: RegisterText, text: str, changes: tuple[JarChange, ...]) -> None:
    """Write the history, then the register."""
    content = old.encoded(text)
    add_changes(old.path.parent / CHANGES_NAME, changes)
    old.save(content)
