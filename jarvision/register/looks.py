"""What a person looked at and found fine: seen.csv beside the register, kept for good.

Lines are only ever added. A look settles what was found, not what will be: see
:mod:`jarvision.verdict.settled`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Final

from jarvision.base.csv_text import CsvCell
from jarvision.base.days import read_day
from jarvision.base.ledger import open_ledger
from jarvision.records.settling import KIN_APART

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


def read_looks(
    path: Path, *, names: Mapping[str, str] | None = None
) -> dict[str, tuple[SeenFine, ...]]:
    """Read ``seen.csv``, by jar, in the order of its lines; empty when there is no such file.

    ``names`` are those of today by the former ones, under which older lines may stand.

    Raises
    ------
    UsageError
        With the line number, when a line is wrong.
    """
    found: dict[str, tuple[SeenFine, ...]] = {}
    for told in open_ledger(path, LOOK_COLUMNS).read(_look):
        look = _under_todays_names(told, names or {})
        found[look.jar] = (*found.get(look.jar, ()), look)
    return found


def add_looks(path: Path, looks: Iterable[SeenFine]) -> None:
    """Add lines to ``seen.csv``, whole or not at all; older lines are never touched.

    Raises
    ------
    UsageError
        The file cannot be read as it stands, or its encoding lacks a letter.
    NotWritableError
        It cannot be written.
    """
    open_ledger(path, LOOK_COLUMNS).add(_row(look) for look in looks)


def _under_todays_names(look: SeenFine, names: Mapping[str, str]) -> SeenFine:
    """The look with the names of today: its jar's, and those of the kin that it is about."""
    about = look.about
    if look.finding == "bad_kin":
        about = KIN_APART.join(names.get(jar, jar) for jar in about.split(KIN_APART))
    return replace(look, jar=names.get(look.jar, look.jar), about=about)


def _look(cells: Mapping[str, str]) -> SeenFine:
    for name in ("jar", "finding"):
        if not cells[name]:
            raise ValueError(f"the {name} has no name")
    size = float(cells["size"].replace(",", ".")) if cells["size"] else None
    if size is not None and not math.isfinite(size):
        raise ValueError(f"size '{cells['size']}' is no number")
    day = read_day(cells["date"])
    return SeenFine(cells["jar"], day, cells["finding"], cells["about"], size, cells["note"])


def _row(look: SeenFine) -> dict[str, CsvCell]:
    return {
        "jar": look.jar,
        "date": look.day.isoformat(),
        "finding": look.finding,
        "about": look.about,
        "size": "" if look.size is None else f"{look.size:g}",
        "note": look.note,
    }
