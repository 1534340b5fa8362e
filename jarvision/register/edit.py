"""Start a jar register and add jars to it, without touching what the grower has written."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from jarvision.base.csv_text import parse_csv
from jarvision.base.days import latest_day, read_day
from jarvision.base.errors import NotWritableError, RegisterError
from jarvision.base.text import alike, printable
from jarvision.records import JarEntry
from jarvision.register.changes import CHANGES_NAME, Past, line_before, past_of, read_changes
from jarvision.register.jars import DATE_REMEDY, REGISTER_COLUMNS, Register
from jarvision.register.lines import open_text

STARTER: Final = (
    "# One line for each jar. Only 'jar' must be filled in. Dates are written 2026-01-31.\n"
    "# kind: spawn, fruiting, bare. parent: whose spawn it got; one spawn jar for one jar.\n"
    f"{','.join(REGISTER_COLUMNS)}\n"
)


@dataclass(frozen=True)
class Added:
    """Jars that were added, the register as it now stands, and what to think about."""

    entries: tuple[JarEntry, ...]
    register: Register
    warnings: tuple[str, ...]

    @property
    def entry(self) -> JarEntry:
        """The first of them."""
        return self.entries[0]


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


def add_jars(
    path: Path,
    jars: Sequence[str],
    cells: Mapping[str, str],
    *,
    is_known_species: Callable[[str], bool] | None = None,
) -> Added:
    """Append a line for each jar to the register; every byte before them stays as it was.

    The whole register is checked as it would read afterwards; when anything is wrong, with the old
    lines or a new one, nothing is written. A jar that was taken out comes back so: its line as
    it was, but for what is given now, and its photos.

    Parameters
    ----------
    cells
        Column to text, the same for all jars. Columns without text are left empty.

    Raises
    ------
    RegisterError
        When the register cannot be read, has a wrong line, lacks a column, or would have a wrong
        line; when a cell cannot stand in a table; when a jar has no name, nearly that of
        another, or one that another had; or when its start lies ahead.
    NotWritableError
        When it cannot be written.
    """
    old = open_text(path)
    given = {name: text.strip() for name, text in cells.items() if text.strip()}
    lines = _new_lines(path, jars, given, old.parsed())
    for line in lines:
        old.check(line)
        if "started" in line:
            line["started"] = start_day(line["started"])
    text = old.with_lines(lines)
    content = old.encoded(text)
    register = old.checked(text, is_known_species=is_known_species)
    if not _read_back(lines, text):
        raise RegisterError(
            f"Jar '{printable(lines[-1]['jar'])}' cannot be written so that it reads back the same",
            "Nothing was written; leave out # at the beginning.",
        )
    old.save(content)
    entries = tuple(register.entry(line["jar"]) for line in lines)
    names = (thought for entry in entries for thought in thoughts_on_name(entry.jar))
    thoughts = dict.fromkeys((*thoughts_on(entries[-1], register), *names))
    return Added(entries, register, tuple(thoughts))


def _new_lines(
    path: Path, jars: Sequence[str], given: Mapping[str, str], register: Register
) -> list[dict[str, str]]:
    """The cells of each new jar, whose names nobody mixes up."""
    past, lines = past_beside(path, register), []
    known, given = dict(register), with_todays_parent(given, past)
    for jar in (name.strip() for name in jars):
        check_name(jar, Register(known), past)
        cells = {**given, "jar": jar}
        if jar in past.removed:
            cells = {**line_before(read_changes(path.parent / CHANGES_NAME), jar), **cells}
        known[jar] = JarEntry(jar)
        lines.append(cells)
    return lines


def with_todays_parent(cells: Mapping[str, str], past: Past) -> dict[str, str]:
    """The cells, the parent by the name that it has now."""
    parent = cells.get("parent")
    return {**cells, "parent": past.now(parent)} if parent else dict(cells)


def past_beside(path: Path, register: Register) -> Past:
    """What became of names that a register no longer has, by the history beside it.

    Raises
    ------
    UsageError
        The history cannot be read as it stands.
    """
    return past_of(read_changes(path.parent / CHANGES_NAME), register)


# --------------------------------------------------------------------------- what cannot be
def check_name(jar: str, register: Register, past: Past, *, own: str = "") -> None:
    """Raise for a name that is none, that nobody could tell from another, or that another had.

    ``own`` is the name that the jar has so far.
    """
    if not jar:
        raise RegisterError("The jar has no name", "Nothing was written; give it one, such as K08.")
    others = [other for other in register if other not in (own, jar)]
    near = next((other for other in others if alike(other) == alike(jar)), "")
    if near:
        raise RegisterError(
            f"Jar '{printable(jar)}' would be named almost as '{printable(near)}'",
            "Nothing was written; use the same name, or one that nobody mixes up with it.",
        )
    if past.now(jar) not in (jar, own):
        raise RegisterError(
            f"'{printable(jar)}' was the name of jar '{printable(past.now(jar))}', whose photos "
            "may still bear it",
            "Nothing was written; use a name that no jar has had.",
        )


def start_day(text: str) -> str:
    """The day of a jar's start as the register writes it.

    Raises
    ------
    RegisterError
        It is no certain day, or lies ahead.
    """
    try:
        day = read_day(text)
    except ValueError as error:
        raise RegisterError(printable(str(error)), f"Nothing was written. {DATE_REMEDY}") from None
    if day > latest_day():
        raise RegisterError(
            f"The start, {day}, lies ahead", "Nothing was written; give the day of inoculation."
        )
    return day.isoformat()


def _read_back(lines: Sequence[Mapping[str, str]], text: str) -> bool:
    """Say whether the last lines hold what was meant, whatever signs are in them."""
    table = parse_csv(text)
    rows = table.rows[-len(lines) :] if table else ()
    return len(rows) == len(lines) and all(
        cells.items() <= row.items() for cells, (_, row) in zip(lines, rows, strict=True)
    )


# --------------------------------------------------------------------------- what to think about
def thoughts_on(entry: JarEntry, register: Register) -> tuple[str, ...]:
    """What to think about, of a jar that was written down, one sentence each."""
    found = [w for w in register.warnings if f"of jar '{entry.jar}' " in w]
    if entry.parent:
        found += _about_parent(entry, register)
    return (*found, *thoughts_on_name(entry.jar))


def thoughts_on_name(jar: str) -> tuple[str, ...]:
    """What to think about a jar's name, one sentence each."""
    if "_" not in jar and "/" not in jar:
        return ()
    return (
        f"a photo's name gives its jar up to the first underscore: photos of '{jar}' need a folder "
        "of that name, or a jar tag",
    )


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
