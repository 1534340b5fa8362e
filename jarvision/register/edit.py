"""Start a jar register and add jars to it, without touching what the grower has written."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from jarvision.base.csv_text import CsvLineError, CsvTable, is_formula, parse_csv
from jarvision.base.days import latest_day, read_day
from jarvision.base.errors import NotWritableError, RegisterError
from jarvision.base.files import write_whole
from jarvision.base.text import alike, printable
from jarvision.base.text_files import TextFile
from jarvision.records import JarEntry
from jarvision.register.jars import (
    DATE_REMEDY,
    REGISTER_COLUMNS,
    Register,
    open_register,
    parse_register,
)

STARTER: Final = (
    "# One line for each jar. Only 'jar' must be filled in. Dates are written 2026-01-31.\n"
    "# kind: spawn, fruiting, bare. parent: whose spawn it got; one spawn jar for one jar.\n"
    f"{','.join(REGISTER_COLUMNS)}\n"
)


@dataclass(frozen=True)
class Added:
    """A jar that was added, the register as it now stands, and what to think about."""

    entry: JarEntry
    register: Register
    warnings: tuple[str, ...]


def new_register(path: Path) -> Path:
    """Write a register without jars: a comment and the line of column names.

    Raises
    ------
    RegisterError
        When there is such a file already; it is left as it is.
    NotWritableError
        When it cannot be written.
    """
    if path.exists() or path.is_symlink():
        raise RegisterError(
            f"{printable(path.name)} is there already and was left as it is",
            "Add jars to it with jarvision jars add, or name another file with --register.",
        )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8", newline="") as file:
            file.write(STARTER)
    except OSError as error:
        raise NotWritableError(
            f"{printable(path.name)} cannot be written ({error.strerror})",
            "Choose another place with --register, or free some space.",
        ) from error
    return path


def add_jar(
    path: Path,
    cells: Mapping[str, str],
    *,
    is_known_species: Callable[[str], bool] | None = None,
) -> Added:
    """Append one line to the register; every byte before it stays as it was.

    The whole register is checked as it would read afterwards; when anything is wrong, with the old
    lines or the new one, nothing is written.

    Parameters
    ----------
    cells
        Column to text, ``jar`` among them. Columns without text are left empty.

    Raises
    ------
    RegisterError
        When the register cannot be read, has a wrong line, lacks a column, or would have a wrong
        line; when a cell cannot stand in a table; when the jar has no name, or nearly that of
        another; or when its start lies ahead.
    NotWritableError
        When it cannot be written.
    """
    path = path.resolve()  # a link stays a link
    old, table = _read(path)
    given = {name: text.strip() for name, text in cells.items() if text.strip()}
    _check_cells(given, table, path)
    before = parse_register(old.text, file=path.name)  # its own slips are told first
    _check_name(given.get("jar", ""), before)
    if "started" in given:
        given["started"] = _day(given["started"])
    line = _line(given, table, old.text)
    text = old.text + line
    try:
        added = old.encode(line)
        register = parse_register(text, file=path.name, is_known_species=is_known_species)
    except UnicodeEncodeError as error:
        raise RegisterError(
            f"{printable(path.name)} is not saved as UTF-8 and cannot hold "
            f"'{printable(error.object[error.start : error.end])}'",
            "Nothing was written; save the register as CSV, UTF-8.",
        ) from None
    except RegisterError as error:
        remedy = "Nothing was written; change what you gave for this jar."
        raise RegisterError(error.message, remedy) from error
    entry = register.entry(given.get("jar", ""))
    if not _reads_back(given, text):
        raise RegisterError(
            f"Jar '{printable(entry.jar)}' cannot be written so that it reads back the same",
            "Nothing was written; leave out # at the beginning.",
        )
    write_whole(path, path.read_bytes() + added)
    return Added(entry, register, _warnings(entry, register))


# --------------------------------------------------------------------------- the file
def _read(path: Path) -> tuple[TextFile, CsvTable]:
    try:
        data = open_register(path)
        table = parse_csv(data.text)
    except CsvLineError as error:
        raise RegisterError(f"{printable(path.name)}, {error.message}", error.remedy) from error
    if table is None:
        raise RegisterError(
            f"The register {printable(path.name)} is empty",
            f"Give it a first line: {','.join(REGISTER_COLUMNS)}.",
        )
    return data, table


def _line(cells: Mapping[str, str], table: CsvTable, old: str) -> str:
    """Write the new line in the file's own manner: its separator, its ends of line."""
    end = "\r\n" if "\r\n" in old else "\n"
    text = io.StringIO()
    writer = csv.writer(text, delimiter=table.delimiter, lineterminator=end)
    writer.writerow(cells.get(name, "") for name in table.columns)
    return ("" if old.endswith(("\n", "\r")) else end) + text.getvalue()


def _check_name(jar: str, register: Register) -> None:
    """Raise for a jar without a name, or one that nobody could tell from another."""
    if not jar:
        raise RegisterError(
            "The new jar has no name", "Nothing was written; give it one, such as K08."
        )
    near = next((other for other in register if alike(other) == alike(jar) and other != jar), "")
    if near:
        raise RegisterError(
            f"Jar '{printable(jar)}' would be named almost as '{printable(near)}'",
            "Nothing was written; use the same name, or one that nobody mixes up with it.",
        )


def _day(text: str) -> str:
    """The day of a jar's start as the register writes it."""
    try:
        day = read_day(text)
    except ValueError as error:
        raise RegisterError(printable(str(error)), f"Nothing was written. {DATE_REMEDY}") from None
    if day > latest_day():
        raise RegisterError(
            f"The start, {day}, lies ahead", "Nothing was written; give the day of inoculation."
        )
    return day.isoformat()


def _check_cells(cells: Mapping[str, str], table: CsvTable, path: Path) -> None:
    for name, text in cells.items():
        if name not in table.columns:
            raise RegisterError(
                f"{printable(path.name)} has no column '{name}'",
                f"Add '{name}' to the end of its line {table.header_line}.",
            )
        if not text.isprintable():
            raise RegisterError(
                f"The {name} holds a line break or another sign that does not show",
                "Write it on one line.",
            )
        if is_formula(text):
            raise RegisterError(
                f"The {name} '{text}' holds what a spreadsheet would run as a formula",
                "Begin it, and what follows a semicolon, with a letter or a number.",
            )


def _reads_back(cells: Mapping[str, str], text: str) -> bool:
    """Say whether the last line holds what was meant, whatever signs are in it."""
    table = parse_csv(text)
    return table is not None and cells.items() <= table.rows[-1][1].items()


# --------------------------------------------------------------------------- what to think about
def _warnings(entry: JarEntry, register: Register) -> tuple[str, ...]:
    found = [w for w in register.warnings if f"of jar '{entry.jar}' " in w]
    if entry.parent:
        found += _about_parent(entry, register)
    if "_" in entry.jar or "/" in entry.jar:
        found.append(
            f"a photo's name gives its jar up to the first underscore: photos of '{entry.jar}' "
            "need a folder of that name, or a jar tag"
        )
    return tuple(found)


def _about_parent(entry: JarEntry, register: Register) -> list[str]:
    parent = register[entry.parent]
    others = register.siblings(entry.jar)
    found = []
    if others and parent.kind == "spawn":
        found.append(
            f"'{parent.jar}' now feeds {', '.join([*others, entry.jar])}: one spawn jar for one "
            "jar keeps a bad jar from spreading"
        )
    if parent.kind == "fruiting":
        found.append(f"'{parent.jar}' is a fruiting jar: spawn comes from spawn jars")
    if parent.started and entry.started and entry.started < parent.started:
        found.append(
            f"'{entry.jar}' started on {entry.started}, before its parent ({parent.started})"
        )
    return found
