"""A scoring read back from its tables, for folders whose store does not keep it.

Such are folders of older versions, and tables that came without their store. What the tables do not
hold is left empty: outlines and confidence of patches, the fitted curve, how long a stall lasts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from statistics import median
from typing import Any, Final, TypeVar, cast

from jarvision.base.csv_text import read_table
from jarvision.base.errors import UsageError
from jarvision.base.text import printable
from jarvision.records import (
    Coverage,
    Finding,
    Flag,
    Growth,
    JarDay,
    JarEntry,
    JarHistory,
    JarStory,
    Reading,
    ShelfResult,
    SpeciesProfile,
    TrackedPatch,
    Verdict,
)
from jarvision.records.flags import FLAGS
from jarvision.register.jars import Register
from jarvision.register.species import SpeciesBook, find_profile
from jarvision.report.tables import DAYS, FLAG_COLUMNS, PATCHES, READINGS, VERDICTS
from jarvision.report.words import VERDICT_WORDS

Cells = Mapping[str, str]
T = TypeVar("T")
K = TypeVar("K")
ENDS: Final = ("percent", "low", "high")
"""Columns of a coverage and its interval."""

KIN_FLAGS: Final = ("bad_kin", "kin_fine", "kin_clean")
"""What :mod:`jarvision.verdict.lives` says of a jar's kin."""


def read_result(
    out: Path, register: Register | None = None, *, species: SpeciesBook | None = None
) -> ShelfResult:
    """Read the tables that ``jarvision score`` wrote into ``out``, as the photos alone have it.

    What was said of bad kin and of jars whose story is over is left out: it is added anew by
    :func:`jarvision.verdict.lives.with_lives`.

    Parameters
    ----------
    register
        Tells what is in the jars; jars that are not in it have the species of ``verdicts.csv``.
    species
        Profiles of the species; None: those of the package.

    Raises
    ------
    UsageError
        When ``out`` holds no scoring, or one of its tables has a wrong line.
    """
    if not holds_tables(out):
        raise no_scoring(out)
    told = READINGS[: READINGS.index("raw_coverage_percent")]  # what older versions wrote
    readings = _records(out, "readings.csv", told, _reading)
    patches = _grouped(_records(out, "patches.csv", PATCHES, lambda c: (_key(c), _patch(c))))
    usable = _grouped(((r.jar, r.taken_at.date()), r) for r in readings if r.status == "ok")
    flags = _records(out, "flags.csv", FLAG_COLUMNS, _flag)
    own = DAYS[: DAYS.index("together_percent")]  # what older versions wrote
    days = _records(out, "days.csv", own, lambda c: _day(c, patches, usable))
    rows = _records(out, "verdicts.csv", VERDICTS[: VERDICTS.index("settings")], _row)
    find = species.find if species else find_profile
    tables = _Tables(
        days=_grouped((day.jar, day) for day in days),
        flags=_grouped((flag.jar, flag) for flag in flags),
        refused=_grouped((r.jar, r) for r in readings if r.status != "ok"),
    )
    return ShelfResult(
        folder=next((row.folder for row in rows if row.folder), out.resolve().name),
        scored_on=_scored_on(rows, readings),
        readings=readings,
        stories=tuple(_story(row, register or Register(), tables, find) for row in rows),
        settings_digest=next((row.settings for row in rows), ""),
    )


def holds_tables(out: Path) -> bool:
    """Tell whether a scoring's tables lie in a folder."""
    return (out / "verdicts.csv").is_file()


def no_scoring(out: Path) -> UsageError:
    """What to tell of a folder without a scoring."""
    return UsageError(
        f"{printable(str(out))} holds no verdicts.csv",
        f"Score first: jarvision score photos --out {printable(str(out))}; or name the folder "
        "with --out.",
    )


@dataclass(frozen=True)
class _Tables:
    """What the other tables hold, by jar."""

    days: Mapping[str, tuple[JarDay, ...]]
    flags: Mapping[str, tuple[Flag, ...]]
    refused: Mapping[str, tuple[Reading, ...]]


@dataclass(frozen=True)
class _Row:
    """One line of ``verdicts.csv``; its growth lacks what ``flags.csv`` says."""

    verdict: Verdict
    scored_on: date | None
    folder: str
    settings: str


def _records(
    out: Path, name: str, columns: Iterable[str], make: Callable[[Cells], T]
) -> tuple[T, ...]:
    """Make a record of each line; a wrong one is told with its number."""
    table = read_table(out / name, columns)
    found = []
    for line, cells in table.rows:
        try:
            found.append(make(cells))
        except (ValueError, KeyError) as error:
            raise UsageError(
                f"{name}, line {line}: {printable(str(error))}",
                "The table was changed; score the photos again.",
            ) from error
    return tuple(found)


def _grouped(pairs: Iterable[tuple[K, T]]) -> dict[K, tuple[T, ...]]:
    """Gather what shares a key, in order."""
    found: dict[K, list[T]] = {}
    for key, value in pairs:
        found.setdefault(key, []).append(value)
    return {key: tuple(values) for key, values in found.items()}


def _scored_on(rows: Iterable[_Row], readings: Iterable[Reading]) -> date:
    """Day of the verdicts; in tables of older versions that of the newest photo."""
    told = [row.scored_on for row in rows if row.scored_on]
    newest = ((r.status == "ok", r.taken_at.date()) for r in readings)
    return max(told) if told else max(newest, default=(False, date.min))[1]


# --------------------------------------------------------------------------- cells
def _number(text: str) -> float:
    return float(text) if text else math.nan


def _optional(text: str) -> float | None:
    return float(text) if text else None


def _date(text: str) -> date | None:
    return date.fromisoformat(text) if text else None


def _cover(cells: Cells) -> Coverage | None:
    if not cells["coverage_percent"]:
        return None
    ends = (_number(cells[f"coverage_{name}"]) for name in ENDS)
    more = (_number(cells.get(f"{name}_percent", "")) for name in ("soft_coverage", "seen"))
    return Coverage(*ends, *more)


def _raw_cover(cells: Cells) -> Coverage | None:
    """What the photo gave, where counts put it right; older versions wrote none."""
    raw = {f"coverage_{end}": cells.get(f"raw_coverage_{end}", "") for end in ENDS}
    return _cover(raw)


def _key(cells: Cells) -> tuple[str, date]:
    return cells["jar"], date.fromisoformat(cells["date"])


# --------------------------------------------------------------------------- one line each
def _reading(cells: Cells) -> Reading:
    return Reading(
        photo=cells["photo"],
        jar=cells["jar"],
        view=cast(Any, cells["view"]),
        taken_at=datetime.fromisoformat(cells["taken_at"]),
        time_source=cast(Any, cells["time_source"]),
        status="ok" if cells["status"] == "ok" else "unusable",
        reason=cells["reason"],
        detail=cells["detail"],
        coverage=_cover(cells),
        raw_coverage=_raw_cover(cells),
        fill_height_mm=_optional(cells["fill_height_mm"]),
        colour_de00_median=_optional(cells["colour_de00_median"]),
        card_values=cells["card_values"],
        overlay=cells["overlay"],
        wall_picture=cells["wall_picture"],
    )


def _patch(cells: Cells) -> TrackedPatch:
    return TrackedPatch(
        patch=cells["patch"],
        kind=cells["kind"],
        area_cm2=_number(cells["area_cm2"]),
        angle_deg=_number(cells["angle_deg"]),
        height_mm=_number(cells["height_mm"]),
        trend=cast(Any, cells["trend"]),
    )


def _flag(cells: Cells) -> Flag:
    if cells["flag"] not in FLAGS:
        raise ValueError(f"flag '{cells['flag']}' is not known")
    told = Finding.of("told", text=cells["message"])
    return Flag(cells["jar"], _date(cells["date"]), cells["flag"], told)


def _day(
    cells: Cells,
    patches: Mapping[tuple[str, date], tuple[TrackedPatch, ...]],
    usable: Mapping[tuple[str, date], tuple[Reading, ...]],
) -> JarDay:
    key, cover = _key(cells), _cover(cells)
    if cover is None:
        raise ValueError("a day without coverage")
    seen = usable.get(key, ())
    fills = [r.fill_height_mm for r in seen if r.fill_height_mm is not None]
    return JarDay(
        jar=key[0],
        day=key[1],
        views=int(cells["views"]),
        coverage=cover,
        patches=patches.get(key, ()),
        fill_height_mm=median(fills) if fills else math.nan,
        readings=seen,
        together=_together(cells, cover),
    )


def _together(cells: Cells, own: Coverage) -> Coverage | None:
    """What the days say together; None in the tables of older versions."""
    ends = [cells.get(f"together_{name}", "") for name in ENDS]
    if not all(ends):
        return None
    percent, low, high = map(_number, ends)
    return replace(own, percent=percent, low=low, high=high)


def _row(cells: Cells) -> _Row:
    word = cells["verdict"] or cells.get("last_verdict", "")
    if word not in VERDICT_WORDS:
        raise ValueError(f"verdict '{word}' is none of {', '.join(VERDICT_WORDS)}")
    growth = Growth(
        model="",
        rate_percent_per_day=_optional(cells["rate_percent_per_day"]),
        ready_date=_date(cells["ready_date"]),
        ready_low=_date(cells["ready_low"]),
        ready_high=_date(cells["ready_high"]),
    )
    verdict = Verdict(
        jar=cells["jar"],
        species=cells["species"],
        verdict=cast(Any, word),
        findings=_told(cells) if cells["verdict"] else (),
        coverage=_cover(cells),
        growth=growth,
    )
    return _Row(
        verdict=verdict,
        scored_on=_date(cells.get("scored_on", "")),
        folder=cells.get("folder", ""),
        settings=cells.get("settings", ""),
    )


def _told(cells: Cells) -> tuple[Finding, ...]:
    """Tell each reason as the table has it: its numbers are not read back."""
    verdict = cast(Any, cells["verdict"])
    return tuple(Finding.of("told", verdict, text=f"{text}.") for text in _parts(cells["reasons"]))


def _parts(text: str) -> tuple[str, ...]:
    """Part the reasons: each begins with a capital or a number, a part within one does not."""
    whole: list[str] = []
    for part in text.split("; ") if text else ():
        if whole and part[:1].islower():
            whole[-1] += f"; {part}"
        else:
            whole.append(part)
    return tuple(whole)


# --------------------------------------------------------------------------- a jar
def _story(
    row: _Row, register: Register, tables: _Tables, find: Callable[[str], SpeciesProfile]
) -> JarStory:
    jar, species = row.verdict.jar, row.verdict.species
    entry = register.get(jar) or JarEntry(jar, species=species, registered=False)
    verdict, flags = _without_kin(row.verdict, tables.flags.get(jar, ()))
    stall = next((flag.finding for flag in flags if flag.flag == "stall"), None)
    growth = replace(row.verdict.growth, stall=stall)
    return JarStory(
        history=JarHistory(entry, tables.days.get(jar, ()), tables.refused.get(jar, ())),
        growth=growth,
        verdict=replace(verdict, growth=growth),
        flags=flags,
        profile=find(entry.species),
    )


def _without_kin(verdict: Verdict, flags: tuple[Flag, ...]) -> tuple[Verdict, tuple[Flag, ...]]:
    """Take back what was said of a jar's kin; a check that stood on it alone had been a go."""
    kin = {flag.message for flag in flags if flag.flag in KIN_FLAGS}
    own = tuple(f for f in verdict.findings if f.sentence not in kin)
    if verdict.findings and not own:
        verdict = replace(verdict, verdict="go")
    left = tuple(flag for flag in flags if flag.flag not in KIN_FLAGS)
    return replace(verdict, findings=own), left
