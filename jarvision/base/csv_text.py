"""CSV as text: written so that no spreadsheet runs a cell, read as spreadsheets leave it."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from jarvision.base.errors import UsageError
from jarvision.base.text import printable
from jarvision.base.text_files import NoTextError, TextFile, read_text_file

CsvCell = str | int | float | None
Row = Sequence[CsvCell]

# Spreadsheets run a cell that starts like this as a formula, some of them fullwidth signs, too.
_RUNS: Final = r"[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]"
# A reader that parts at semicolons drops quotation marks at the start of a cell.
_FORMULA: Final = re.compile(rf'[ "]*{_RUNS}')
_NUMBER: Final = re.compile(r"[+-]?\d+(\.\d+)?")
# Where commas are decimal, a semicolon begins a cell, whatever stands in quotation marks.
_PIECE: Final = re.compile(r"[^;]+")
_GUARDED: Final = re.compile(rf"[ '\"]*{_RUNS}")
_QUOTED: Final = re.compile(r'[",;\r\n]|^ | $')
_LINE_END: Final = re.compile(r"\r\n|\r|\n")
_DELIMITERS: Final = (",", ";", "\t")
_NAMES_SEPARATOR: Final = re.compile(r'"?sep=[,;\t]"?', re.IGNORECASE)


@dataclass(frozen=True)
class CsvTable:
    """A table as read: lower-case column names; the cells of a row by column, stripped."""

    delimiter: str
    columns: tuple[str, ...]
    header_line: int
    rows: tuple[tuple[int, dict[str, str]], ...]
    """Line number in the file (from 1) and cells of each row."""
    too_long: tuple[int, ...] = ()
    """Numbers of the lines with more cells than there are columns; what is too much is not read."""


class CsvLineError(UsageError):
    """A line that cannot be parted into cells; ``line`` counts from 1."""

    def __init__(self, line: int, what: str) -> None:
        super().__init__(f"line {line}: {what}", "Correct this line.")
        self.line = line
        self.what = what


def is_formula(text: str) -> bool:
    """Say whether a spreadsheet would run this cell, or what follows a semicolon in it."""
    return not _NUMBER.fullmatch(text) and any(map(_FORMULA.match, _PIECE.findall(text)))


def to_csv(columns: Sequence[str], rows: Iterable[Row]) -> str:
    """CSV text with a header; cells that a spreadsheet would run are made harmless."""
    return to_lines([columns, *rows])


def to_lines(rows: Iterable[Row], delimiter: str = ",") -> str:
    """Lines of CSV text, without a header of their own."""
    lines = (delimiter.join(_quoted(_cell(value)) for value in row) for row in rows)
    return "".join(f"{line}\n" for line in lines)


def _quoted(cell: str) -> str:
    """Put quotation marks round a cell that either kind of spreadsheet would part (RFC 4180)."""
    if not _QUOTED.search(cell):
        return cell
    doubled = cell.replace('"', '""')
    return f'"{doubled}"'


def _cell(value: CsvCell) -> str:
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    if not isinstance(value, str):
        return str(value)
    text = printable(value)
    return text if _NUMBER.fullmatch(text) else _PIECE.sub(_guarded, text)


def _guarded(piece: re.Match[str]) -> str:
    """Put an apostrophe before a formula, and before one that has apostrophes already."""
    return f"'{piece[0]}" if _GUARDED.match(piece[0]) else piece[0]


def plain_cell(text: str) -> str:
    """Take away the apostrophe that :func:`to_csv` puts before a formula."""
    return text if _NUMBER.fullmatch(text[1:]) else _PIECE.sub(_unguarded, text)


def _unguarded(piece: re.Match[str]) -> str:
    guarded = piece[0].startswith("'") and _GUARDED.match(piece[0], 1)
    return piece[0][1:] if guarded else piece[0]


def parse_csv(text: str, *, remarks: bool = True) -> CsvTable | None:
    """Read CSV text with commas, semicolons or tabs; None when it holds no line at all.

    Blank lines are passed over, and a first line that only names the separator (``sep=;``); missing
    cells are empty. With ``remarks`` lines that begin with ``#`` are passed over, too; a jar that
    is called so can then not stand first on its line.

    Raises
    ------
    CsvLineError
        For a quotation mark that is never closed, or a cell of over 131,072 letters.
    """
    # splitlines would also break a cell at rare characters, such as a line separator pasted in
    every = enumerate(_LINE_END.split(text), 1)
    lines = [(n, t) for n, t in every if t.strip(" \t,;") and not _NAMES_SEPARATOR.fullmatch(t)]
    kept = [(n, t) for n, t in lines if not (remarks and t.lstrip().startswith("#"))]
    if not kept:
        return None
    delimiter = max(_DELIMITERS, key=kept[0][1].count)  # of equals the first
    # One csv.reader per line: a stray quote then spoils its own line, not the rest of the file.
    cells = [(n, _cells(line, n, delimiter)) for n, line in kept]
    columns = tuple(name.strip().lower() for name in cells[0][1])
    rows, too_long = [], []
    for number, row in cells[1:]:
        if any(cell.strip() for cell in row[len(columns) :]):
            too_long.append(number)
        padded = [cell.strip() for cell in row] + [""] * (len(columns) - len(row))
        rows.append((number, dict(zip(columns, padded, strict=False))))
    return CsvTable(delimiter, columns, cells[0][0], tuple(rows), tuple(too_long))


def _cells(line: str, number: int, delimiter: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=delimiter, strict=True))
    except csv.Error as error:
        long = "limit" in str(error)
        what = "a cell is too long" if long else "a quotation mark is not closed, or stands alone"
        raise CsvLineError(number, what) from error


def read_table(path: Path, needed: Iterable[str]) -> CsvTable:
    """Read a table that jarvision wrote, formulas as they were before they were made harmless.

    Raises
    ------
    UsageError
        When it cannot be read, or lacks one of the columns that are needed.
    """
    return table_in(open_table(path), needed, name=path.name)


def open_table(path: Path) -> TextFile:
    """Open a table that jarvision wrote as text.

    Raises
    ------
    UsageError
        When it cannot be read.
    """
    try:
        return read_text_file(path)
    except NoTextError as error:
        raise UsageError(f"{printable(path.name)} {error}", error.remedy) from error
    except OSError as error:
        raise UsageError(
            f"{printable(path.name)} cannot be read ({error.strerror})",
            "Look whether it is there and may be read.",
        ) from error


def table_in(file: TextFile, needed: Iterable[str], *, name: str) -> CsvTable:
    """Read the text of a table that jarvision wrote; ``name`` is told in messages.

    Raises
    ------
    UsageError
        When a line cannot be parted, or one of the columns that are needed is missing.
    """
    try:
        table = parse_csv(file.text, remarks=False)
    except CsvLineError as error:
        raise UsageError(f"{printable(name)}, {error.message}", error.remedy) from error
    lost = [column for column in needed if table is None or column not in table.columns]
    if table is None or lost:
        raise UsageError(
            f"{printable(name)} has no column '{lost[0] if lost else 'jar'}'",
            "Its first line must name the columns, as it was written.",
        )
    rows = ((n, {name: plain_cell(cell) for name, cell in row.items()}) for n, row in table.rows)
    return CsvTable(table.delimiter, table.columns, table.header_line, tuple(rows))


def fixed(value: float | None, decimals: int = 1) -> str:
    """Fixed decimals, so that the same shelf gives the same bytes; empty when not measured."""
    if value is None or not math.isfinite(value):
        return ""
    return f"{value + 0.0:.{decimals}f}"
