"""Tables that only ever grow: lines are added whole or not at all, older ones are never touched."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from jarvision.base.csv_text import CsvCell, CsvTable, open_table, table_in, to_csv, to_lines
from jarvision.base.errors import UsageError
from jarvision.base.files import write_whole
from jarvision.base.text import printable
from jarvision.base.text_files import TextFile

Said = TypeVar("Said")


@dataclass(frozen=True)
class Ledger:
    """Such a table as it was read, once; made by :func:`open_ledger`.

    ``table`` is None where there is no such file yet; ``columns`` are then those that it gets.
    """

    path: Path
    columns: tuple[str, ...]
    file: TextFile
    table: CsvTable | None

    @property
    def rows(self) -> tuple[tuple[int, dict[str, str]], ...]:
        """Number and cells of every line."""
        return self.table.rows if self.table else ()

    def read(self, line: Callable[[Mapping[str, str]], Said]) -> tuple[Said, ...]:
        """What each line says; ``line`` makes it of the cells, or raises ValueError.

        Raises
        ------
        UsageError
            With the line number, when a line is wrong.
        """
        found = []
        for number, cells in self.rows:
            try:
                found.append(line(cells))
            except ValueError as error:
                raise UsageError(
                    f"{printable(self.path.name)}, line {number}: {printable(str(error))}",
                    "Correct this line.",
                ) from error
        return tuple(found)

    def add(self, rows: Iterable[Mapping[str, CsvCell]]) -> Path:
        """Add lines, in the file's own manner: its columns, separator and encoding.

        Raises
        ------
        UsageError
            Its encoding lacks a letter.
        NotWritableError
            It cannot be written.
        """
        old = self.file.text if self.table else to_csv(self.columns, ())
        columns = self.table.columns if self.table else self.columns
        cells = [[row.get(name, "") for name in columns] for row in rows]
        gap = "" if old.endswith(("\n", "\r")) else "\n"
        lines = to_lines(cells, self.table.delimiter if self.table else ",")
        try:
            return write_whole(self.path, self.file.encode(f"{old}{gap}{lines}"))
        except UnicodeEncodeError as error:
            raise UsageError(
                f"{printable(self.path.name)} is not saved as UTF-8 and cannot hold "
                f"'{printable(error.object[error.start : error.end])}'",
                "Nothing was written; save it as CSV, UTF-8.",
            ) from None


def open_ledger(path: Path, columns: Sequence[str]) -> Ledger:
    """Open such a table; there need be none.

    Raises
    ------
    UsageError
        It cannot be read as it stands, or lacks one of the columns.
    """
    path = path.resolve()  # a link stays a link
    if not path.exists():
        return Ledger(path, tuple(columns), TextFile(""), None)
    file = open_table(path)
    return Ledger(path, tuple(columns), file, table_in(file, columns, name=path.name))
