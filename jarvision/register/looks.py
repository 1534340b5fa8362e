"""What a person looked at and found fine: seen.csv beside the register, kept for good.

Lines are only ever added. A look settles what was found, not what will be: see
:mod:`jarvision.verdict.settled`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

from jarvision.base.csv_text import Row, read_table, to_csv, to_lines
from jarvision.base.days import read_day
from jarvision.base.errors import UsageError
from jarvision.base.files import write_whole
from jarvision.base.text import printable
from jarvision.base.text_files import read_text_file

LOOKS_NAME: Final = "seen.csv"
LOOK_COLUMNS: Final = ("jar", "date", "finding", "about", "size", "note")


@dataclass(frozen=True)
class SeenFine:
    """One line of ``seen.csv``: a finding that somebody looked at and found fine.

    Attributes
    ----------
    day
        Of the look.
    finding
        Its word, a key of :data:`jarvision.records.flags.FINDINGS`.
    about
        Which one of its kind, as :func:`jarvision.records.settling.about` tells.
    size
        How large it was, in the unit of its finding; None where it has no size.
    """

    jar: str
    day: date
    finding: str
    about: str = ""
    size: float | None = None
    note: str = ""


def read_looks(path: Path) -> dict[str, tuple[SeenFine, ...]]:
    """Read ``seen.csv``, by jar, in the order of its lines; empty when there is no such file.

    Raises
    ------
    UsageError
        With the line number, when a line is wrong.
    """
    if not path.exists():
        return {}
    found: dict[str, tuple[SeenFine, ...]] = {}
    for line, cells in read_table(path, LOOK_COLUMNS).rows:
        try:
            look = _look(cells)
        except ValueError as error:
            raise UsageError(
                f"{path.name}, line {line}: {printable(str(error))}", "Correct this line."
            ) from error
        found[look.jar] = (*found.get(look.jar, ()), look)
    return found


def add_looks(path: Path, looks: Iterable[SeenFine]) -> Path:
    """Add lines to ``seen.csv``, whole or not at all; older lines are never touched.

    Raises
    ------
    UsageError
        The file cannot be read as it stands, or its encoding lacks a letter.
    NotWritableError
        It cannot be written.
    """
    path = path.resolve()  # a link stays a link
    rows = [_row(look) for look in looks]
    if not path.exists():
        return write_whole(path, to_csv(LOOK_COLUMNS, rows).encode())
    table, file = read_table(path, LOOK_COLUMNS), read_text_file(path)
    named = (dict(zip(LOOK_COLUMNS, row, strict=True)) for row in rows)
    lines = to_lines(([row.get(n, "") for n in table.columns] for row in named), table.delimiter)
    gap = "" if file.text.endswith(("\n", "\r")) else "\n"
    try:
        return write_whole(path, path.read_bytes() + file.encode(gap + lines))
    except UnicodeEncodeError:
        raise UsageError(
            f"{printable(path.name)} is not saved as UTF-8 and cannot hold this note",
            "Nothing was written; save it as CSV, UTF-8.",
        ) from None


def _look(cells: Mapping[str, str]) -> SeenFine:
    for name in ("jar", "finding"):
        if not cells[name]:
            raise ValueError(f"the {name} has no name")
    size = float(cells["size"].replace(",", ".")) if cells["size"] else None
    if size is not None and not math.isfinite(size):
        raise ValueError(f"size '{cells['size']}' is no number")
    day = read_day(cells["date"])
    return SeenFine(cells["jar"], day, cells["finding"], cells["about"], size, cells["note"])


def _row(look: SeenFine) -> Row:
    size = "" if look.size is None else f"{look.size:g}"
    return (look.jar, look.day.isoformat(), look.finding, look.about, size, look.note)
