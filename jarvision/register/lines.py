"""The register as text: lines are added, written anew or taken out; all others stay as they are."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from jarvision.base.csv_text import CsvLineError, CsvTable, is_formula, parse_csv
from jarvision.base.errors import RegisterError
from jarvision.base.files import write_whole
from jarvision.base.text import printable
from jarvision.base.text_files import TextFile
from jarvision.register.jars import REGISTER_COLUMNS, Register, open_register, parse_register

_LINE_END: Final = re.compile(r"(\r\n|\r|\n)")


@dataclass(frozen=True)
class RegisterText:
    """A register as it was read, once; made by :func:`open_text`."""

    path: Path
    file: TextFile
    table: CsvTable

    def parsed(self) -> Register:
        """The register as it stands; its own slips are told before anything is changed.

        Raises
        ------
        RegisterError
        """
        return parse_register(self.file.text, file=self.path.name)

    def check(self, cells: Mapping[str, str]) -> None:
        """Raise RegisterError for a cell without a column, or that cannot stand in a table."""
        for name, text in cells.items():
            if name not in self.table.columns:
                raise RegisterError(
                    f"{printable(self.path.name)} has no column '{name}'",
                    f"Add '{name}' to the end of its line {self.table.header_line}.",
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

    def with_lines(self, lines: Iterable[Mapping[str, str]]) -> str:
        """The text with more lines, in the file's own manner."""
        old = self.file.text
        end = "\r\n" if "\r\n" in old else "\n"
        gap = "" if old.endswith(("\n", "\r")) else end
        rows = ([cells.get(name, "") for name in self.table.columns] for cells in lines)
        return f"{old}{gap}{''.join(f'{self._row(row)}{end}' for row in rows)}"

    def with_cells(self, changed: Mapping[int, Mapping[str, str]]) -> str:
        """The text with other cells on some lines, by their number and the column."""
        pieces = _LINE_END.split(self.file.text)
        for line, cells in changed.items():
            row = next(csv.reader([pieces[2 * (line - 1)]], delimiter=self.table.delimiter))
            row += [""] * (len(self.table.columns) - len(row))
            for name, text in cells.items():
                row[self.table.columns.index(name)] = text
            pieces[2 * (line - 1)] = self._row(row)
        return "".join(pieces)

    def without(self, line: int) -> str:
        """The text without a line."""
        pieces = _LINE_END.split(self.file.text)
        return "".join(pieces[: 2 * (line - 1)] + pieces[2 * line :])

    def lines(self, column: str, value: str) -> list[tuple[int, dict[str, str]]]:
        """Number and cells of all lines that hold a value."""
        return [(n, row) for n, row in self.table.rows if row.get(column, "") == value]

    def checked(
        self, text: str, *, is_known_species: Callable[[str], bool] | None = None
    ) -> Register:
        """The register as it would read with another text.

        Raises
        ------
        RegisterError
            It would have a wrong line.
        """
        try:
            return parse_register(text, file=self.path.name, is_known_species=is_known_species)
        except RegisterError as error:
            remedy = "Nothing was written; change what you gave for this jar."
            raise RegisterError(error.message, remedy) from error

    def encoded(self, text: str) -> bytes:
        """The bytes of the file with another text.

        Raises
        ------
        RegisterError
            Its encoding lacks a letter.
        """
        try:
            return self.file.encode(text)
        except UnicodeEncodeError as error:
            raise RegisterError(
                f"{printable(self.path.name)} is not saved as UTF-8 and cannot hold "
                f"'{printable(error.object[error.start : error.end])}'",
                "Nothing was written; save the register as CSV, UTF-8.",
            ) from None

    def save(self, content: bytes) -> None:
        """Write the file whole or not at all; a link stays a link.

        Raises
        ------
        NotWritableError
        """
        write_whole(self.path.resolve(), content)

    def _row(self, cells: list[str]) -> str:
        text = io.StringIO()
        csv.writer(text, delimiter=self.table.delimiter, lineterminator="").writerow(cells)
        return text.getvalue()


def open_text(path: Path) -> RegisterText:
    """Open a register to change it.

    Raises
    ------
    RegisterError
        There is none, it cannot be read, or it is empty.
    """
    try:
        file = open_register(path)
        table = parse_csv(file.text)
    except CsvLineError as error:
        raise RegisterError(f"{printable(path.name)}, {error.message}", error.remedy) from error
    if table is None:
        raise RegisterError(
            f"The register {printable(path.name)} is empty",
            f"Give it a first line: {','.join(REGISTER_COLUMNS)}.",
        )
    return RegisterText(path, file, table)
