"""The jar register: a plain CSV that the grower edits, read into :class:`JarEntry` records.

Columns: ``jar`` (the only one that must be there), ``kind`` (``spawn``, ``fruiting`` or ``bare``),
``species``, ``substrate``, ``started`` (a date), ``parent`` (the spawn jar it was made from),
``profile`` (the name of the jar's shape), ``notes``, and the jar's own measures, of
:data:`jarvision.register.jar_shapes.MEASURES`. Other columns are left alone. Commas, semicolons or
tabs, blank lines and ``#`` lines, dates and encodings of any country's spreadsheet are all fine.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Any, get_args

from jarvision.base.csv_text import CsvLineError, CsvTable, parse_csv
from jarvision.base.days import DayOrder, TwoDaysError, day_order, read_day
from jarvision.base.errors import RegisterError
from jarvision.base.text import alike, printable
from jarvision.base.text_files import NoTextError, TextFile, read_text_file
from jarvision.records import JarEntry, JarKind, JarShape, NothingGrown
from jarvision.register.jar_shapes import MEASURES, fault_of

REGISTER_NAME = "jars.csv"
TOLD_COLUMNS = ("kind", "species", "substrate", "started", "parent", "profile", "notes")
"""What is told of a jar in words; its measures are written by hand."""

_TEXTS = ("jar", *TOLD_COLUMNS)
REGISTER_COLUMNS = (*_TEXTS, *MEASURES)
DATE_REMEDY = "Write dates as year-month-day: 2026-01-31."
_SHOWN_ENDS = 4
KINDS: tuple[str, ...] = get_args(JarKind)


@dataclass(frozen=True, eq=False)
class Register(Mapping[str, JarEntry]):
    """Jar name to :class:`JarEntry`, in the order of the file, and what was odd about it."""

    entries: Mapping[str, JarEntry] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()

    def __getitem__(self, jar: str) -> JarEntry:
        return self.entries[jar]

    def __iter__(self) -> Iterator[str]:
        return iter(self.entries)

    def __len__(self) -> int:
        return len(self.entries)

    def entry(self, jar: str) -> JarEntry:
        """The jar's line, or an unregistered entry that says so."""
        return self.entries.get(jar) or JarEntry(jar, registered=False)

    @classmethod
    def of(cls, entries: Mapping[str, JarEntry]) -> Register:
        """A register as it is, or one made of entries by name."""
        return entries if isinstance(entries, cls) else cls(entries)

    def children(self, jar: str) -> tuple[str, ...]:
        """The jars that were made from ``jar``, in register order."""
        return self._fed.get(jar, ())

    def siblings(self, jar: str) -> tuple[str, ...]:
        """The other jars that were made from the same spawn jar as ``jar``."""
        parent = self.entry(jar).parent
        return tuple(other for other in self.children(parent) if other != jar) if parent else ()

    @cached_property
    def _fed(self) -> Mapping[str, tuple[str, ...]]:
        """Every spawn jar that feeds another, with all that it feeds."""
        found: dict[str, list[str]] = {}
        for entry in self.values():
            if entry.parent:
                found.setdefault(entry.parent, []).append(entry.jar)
        return {parent: tuple(jars) for parent, jars in found.items()}


def read_register(path: Path, *, is_known_species: Callable[[str], bool] | None = None) -> Register:
    """Read ``jars.csv``.

    Parameters
    ----------
    is_known_species
        Says whether a species has a profile; an unknown species becomes a warning.
        None: not asked.

    Raises
    ------
    RegisterError
        With the line number, for a missing ``jar`` column, an empty or repeated jar name, an
        unknown kind, what is not one certain date, an unknown parent, or jars that descend from
        themselves; without one when the file cannot be read as text.
    """
    file = open_register(path)
    found = parse_register(file.text, file=path.name, is_known_species=is_known_species)
    if not file.guessed:
        return found
    doubt = (
        f"{path.name} is not saved as UTF-8 and was read as Windows-1252: look whether letters "
        "with accents are right"
    )
    return Register(found.entries, (doubt, *found.warnings))


def open_register(path: Path) -> TextFile:
    """Open a register as text.

    Raises
    ------
    RegisterError
        There is none, it cannot be read, or it is no text.
    """
    name = printable(str(path))
    try:
        return read_text_file(path)
    except FileNotFoundError:
        raise RegisterError(
            f"There is no register {name}",
            "Name yours with --register, or start one with jarvision jars new.",
        ) from None
    except NoTextError as error:
        raise RegisterError(f"The register {name} {error}", error.remedy) from None
    except OSError as error:
        raise RegisterError(
            f"The register {name} cannot be read ({error.strerror})", "Look whether it may be read."
        ) from error


def parse_register(
    text: str, *, file: str, is_known_species: Callable[[str], bool] | None = None
) -> Register:
    """Read the text of a register; ``file`` is its name for messages.

    Raises
    ------
    RegisterError
        As :func:`read_register`.
    """
    try:
        table = parse_csv(text)
    except CsvLineError as error:
        raise _error(file, error.line, error.what) from error
    if table is None:
        raise RegisterError(
            f"The register {file} is empty", f"Give it a first line: {','.join(_TEXTS)}."
        )
    if "jar" not in table.columns:
        raise _error(
            file,
            table.header_line,
            "there is no column 'jar'",
            f"This line must name the columns: {','.join(_TEXTS)}.",
        )
    order = day_order(row.get("started", "") for _, row in table.rows)
    entries: dict[str, JarEntry] = {}
    lines: dict[str, int] = {}
    for line, row in table.rows:
        entry = _entry(row, line, file, order=order)
        if entry.jar in entries:
            raise _error(file, line, f"jar '{entry.jar}' is already on line {lines[entry.jar]}")
        entries[entry.jar], lines[entry.jar] = entry, line
    _check_parents(entries, lines, file)
    found = (
        *_table_warnings(table),
        *_name_warnings(lines),
        *_species_warnings(entries, lines, is_known_species),
    )
    return Register(entries, tuple(f"{file}, {warning}" for warning in found))


def nothing_grown(entries: Iterable[JarEntry]) -> dict[str, NothingGrown]:
    """When nothing has grown yet, by jar, as far as the register says so.

    In a jar of kind ``bare`` nothing ever has. In another one nothing has on the day it was
    started, unless white spawn was put in: into a fruiting jar, or from a parent.
    """
    said = {}
    for entry in entries:
        if entry.kind == "bare":
            said[entry.jar] = NothingGrown()
        elif entry.kind == "spawn" and entry.started is not None and not entry.parent:
            said[entry.jar] = NothingGrown(entry.started)
    return said


# --------------------------------------------------------------------------- one line
def _entry(row: Mapping[str, str], line: int, file: str, *, order: DayOrder | None) -> JarEntry:
    """Turn the cells of one line into an entry; raise :class:`RegisterError` for a bad cell."""
    jar = row["jar"]
    if not jar:
        raise _error(file, line, "the jar has no name")
    return JarEntry(
        jar=jar,
        kind=_kind(row.get("kind", ""), line, file),
        species=row.get("species", ""),
        substrate=row.get("substrate", ""),
        started=_date(row.get("started", ""), line, file, order=order),
        parent=row.get("parent", ""),
        profile=row.get("profile", ""),
        notes=row.get("notes", ""),
        shape=_shape(row, line, file),
        kind_told=bool(row.get("kind", "")),
    )


def _kind(text: str, line: int, file: str) -> JarKind:
    match text.lower():
        case "" | "spawn":
            return "spawn"
        case "fruiting":
            return "fruiting"
        case "bare":
            return "bare"
    raise _error(file, line, f"kind '{text}' is none of {', '.join(KINDS)}")


def _date(text: str, line: int, file: str, *, order: DayOrder | None) -> date | None:
    if not text:
        return None
    try:
        return read_day(text, order=order)
    except TwoDaysError as error:
        raise _error(file, line, str(error), DATE_REMEDY) from None
    except ValueError:
        raise _error(file, line, f"'{text}' is not a date", DATE_REMEDY) from None


def _shape(row: Mapping[str, str], line: int, file: str) -> JarShape:
    """Read the jar's own measures; a decimal comma is fine."""
    cells = {column: row.get(column, "").replace(",", ".") for column in MEASURES}
    try:
        numbers: dict[str, Any] = {c: float(text) for c, text in cells.items() if text}
    except ValueError:
        wrong = " or ".join(f"'{text}'" for text in cells.values() if text)
        raise _error(file, line, f"{wrong} is no number", "Write sizes without units.") from None
    shape = JarShape(**numbers)
    if fault := fault_of(shape):
        raise _error(file, line, fault, "Measure again; lengths are in millimetres.")
    return shape


# --------------------------------------------------------------------------- whole file
def _check_parents(entries: Mapping[str, JarEntry], lines: Mapping[str, int], file: str) -> None:
    """Raise unless every parent is a jar of the register and nobody descends from itself."""
    sound: set[str] = set()  # jars whose line was followed to its end
    for jar, entry in entries.items():
        if entry.parent and entry.parent not in entries:
            raise _error(
                file,
                lines[jar],
                f"parent '{entry.parent}' of jar '{jar}' is not in the register",
                "Add a line for it, or leave the parent empty.",
            )
        chain = dict.fromkeys([jar])
        last = jar
        while (parent := entries[last].parent) and parent not in sound:
            if parent in chain:
                loop = _shortened([*chain, parent])
                raise _error(file, lines[jar], f"a jar descends from itself ({loop})")
            if parent not in entries:
                break  # told when its own line is looked at
            chain[parent] = None
            last = parent
        sound.update(chain)


def _shortened(line: Sequence[str]) -> str:
    """A line of descent in words; of a long one its two ends."""
    shown = (
        line if len(line) <= 2 * _SHOWN_ENDS else [*line[:_SHOWN_ENDS], "...", *line[-_SHOWN_ENDS:]]
    )
    return " <- ".join(shown)


def _table_warnings(table: CsvTable) -> Iterator[str]:
    """One sentence for every line with more cells than the table has columns."""
    for line in table.too_long:
        yield (
            f"line {line}: more cells than the first line has names, and what is too much was not "
            "read: put quotation marks round a cell with a comma in it"
        )


def _name_warnings(lines: Mapping[str, int]) -> Iterator[str]:
    """One sentence for every two jars whose names differ only in capitals and spaces."""
    seen: dict[str, str] = {}
    for jar, line in lines.items():
        other = seen.setdefault(alike(jar), jar)
        if other != jar:
            yield f"line {line}: jar '{jar}' is named almost as '{other}' on line {lines[other]}"


def _species_warnings(
    entries: Mapping[str, JarEntry],
    lines: Mapping[str, int],
    is_known: Callable[[str], bool] | None,
) -> tuple[str, ...]:
    """One sentence for every jar whose species has no profile."""
    if is_known is None:
        return ()
    return tuple(
        f"line {lines[jar]}: species '{entry.species}' of jar '{jar}' has no profile: "
        "cautious defaults are used"
        for jar, entry in entries.items()
        if entry.species and not is_known(entry.species)
    )


def _error(file: str, line: int, what: str, remedy: str = "Correct this line.") -> RegisterError:
    return RegisterError(f"{file}, line {line}: {what}", remedy)
