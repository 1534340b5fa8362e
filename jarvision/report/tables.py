"""The CSV files. Columns are a contract: new ones are added at the end, none is renamed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Final

from jarvision.base.csv_text import Row, fixed, to_lines
from jarvision.base.files import write_pieces
from jarvision.records import (
    OFF_COLOUR_KINDS,
    Coverage,
    FinishedJar,
    JarStory,
    Reading,
    ShelfResult,
)
from jarvision.records.flags import FLAGS
from jarvision.report.top_table import TOPS, top_rows

READINGS: Final = [
    "photo",
    "jar",
    "view",
    "taken_at",
    "status",
    "reason",
    "coverage_percent",
    "coverage_low",
    "coverage_high",
    "soft_coverage_percent",
    "seen_percent",
    "bare_cm2",
    "offcolour_cm2",
    "stain_cm2",
    "wet_cm2",
    "fill_height_mm",
    "colour_de00_median",
    "detail",
    "time_source",
    "card_values",
    "overlay",
    "wall_picture",
    "card_values_de00",
    "settings",
    "fill_low_mm",
    "fill_high_mm",
    "reference_jar",
    "reference_day",
    "raw_coverage_percent",
    "raw_coverage_low",
    "raw_coverage_high",
]
DAYS: Final = [
    "jar",
    "date",
    "views",
    "coverage_percent",
    "coverage_low",
    "coverage_high",
    "seen_percent",
    "together_percent",
    "together_low",
    "together_high",
]
PATCHES: Final = ["jar", "date", "patch", "kind", "area_cm2", "angle_deg", "height_mm", "trend"]
VERDICTS: Final = [
    "jar",
    "species",
    "verdict",
    "reasons",
    "coverage_percent",
    "ready_date",
    "ready_low",
    "ready_high",
    "coverage_low",
    "coverage_high",
    "last_day",
    "rate_percent_per_day",
    "settings",
    "scored_on",
    "folder",
    "ended",
    "last_verdict",
    "stage",
    "stage_since",
    "cut_date",
    "cut_low",
    "cut_high",
]
FLAG_COLUMNS: Final = ["jar", "date", "severity", "flag", "message"]


def write_tables(result: ShelfResult, out: Path) -> tuple[Path, ...]:
    """Write the six CSV files into ``out`` and return their paths.

    UTF-8, comma, one header line. Percent, mm and degrees have one decimal, areas two, dates are
    ISO 8601; what was not measured is empty.

    Raises
    ------
    NotWritableError
        When a file cannot be written.
    """
    digest = result.settings_digest
    verdicts = (
        *(_verdict(s, result) for s in result.stories),
        *(_finished(done, result) for done in result.finished),
    )
    flags = (row for story in result.stories for row in _flags(story))
    tables: tuple[tuple[str, Sequence[str], Iterable[str]], ...] = (
        ("readings.csv", READINGS, _lines(_reading(r, digest) for r in result.readings)),
        ("days.csv", DAYS, _kept_lines(result, "days.csv", _days)),
        ("patches.csv", PATCHES, _kept_lines(result, "patches.csv", _patches)),
        ("verdicts.csv", VERDICTS, _lines(verdicts)),
        ("tops.csv", TOPS, _kept_lines(result, "tops.csv", top_rows)),
        ("flags.csv", FLAG_COLUMNS, _lines(flags)),
    )
    return tuple(
        write_pieces(
            out / name, (piece.encode("utf-8") for piece in chain([to_lines([columns])], lines))
        )
        for name, columns, lines in tables
    )


def _lines(rows: Iterable[Row]) -> Iterator[str]:
    return (to_lines([row]) for row in rows)


def _kept_lines(
    result: ShelfResult, table: str, rows: Callable[[JarStory], Iterable[Row]]
) -> Iterator[str]:
    """The lines of a table jar by jar, kept where a jar's story is as it was."""
    for story in result.all_stories:
        make = partial(_table_of, story, rows)
        yield result.parts.text(table, story.verdict.jar, (), make)


def _table_of(story: JarStory, rows: Callable[[JarStory], Iterable[Row]]) -> str:
    return to_lines(rows(story))


def _cover(coverage: Coverage | None) -> tuple[str, str, str]:
    if coverage is None:
        return "", "", ""
    return fixed(coverage.percent), fixed(coverage.low), fixed(coverage.high)


def _reading(reading: Reading, settings: str) -> Row:
    cover = reading.coverage
    kinds = (("bare",), OFF_COLOUR_KINDS, ("stain",), ("wet",))
    areas = [fixed(reading.area_cm2(*k), 2) if cover is not None else "" for k in kinds]
    return (
        reading.photo,
        reading.jar,
        reading.view,
        reading.taken_at.isoformat(timespec="seconds"),
        reading.status,
        reading.reason,
        *_cover(cover),
        fixed(cover.soft_percent if cover else None),
        fixed(cover.seen_percent if cover else None),
        *areas,
        fixed(reading.fill_height_mm),
        fixed(reading.colour_de00_median, 2),
        reading.detail,
        reading.time_source,
        reading.card_values,
        reading.overlay,
        reading.wall_picture,
        fixed(reading.card_values_de00),
        settings,
        *(fixed(end) for end in _fill_ends(reading)),
        reading.reference_jar,
        reading.reference_day.isoformat() if reading.reference_day else "",
        *_cover(reading.raw_coverage),
    )


def _fill_ends(reading: Reading) -> tuple[float | None, float | None]:
    """Ends of the 95 % interval of the fill height, mm: two standard uncertainties either way."""
    height, sd = reading.fill_height_mm, reading.fill_sd_mm
    if height is None or sd is None:
        return None, None
    return max(0.0, height - 2.0 * sd), height + 2.0 * sd


def _days(story: JarStory) -> Iterable[Row]:
    for day in story.history.days:
        seen = fixed(day.coverage.seen_percent)
        own, together = _cover(day.coverage), _cover(day.together)
        yield day.jar, day.day.isoformat(), day.views, *own, seen, *together


def _patches(story: JarStory) -> Iterable[Row]:
    for day in story.history.days:
        for patch in day.patches:
            yield (
                day.jar,
                day.day.isoformat(),
                patch.patch,
                patch.kind,
                fixed(patch.area_cm2, 2),
                fixed(patch.angle_deg),
                fixed(patch.height_mm),
                patch.trend,
            )


def _verdict(story: JarStory, result: ShelfResult) -> Row:
    verdict, growth, days = story.verdict, story.growth, story.history.days
    percent, low, high = _cover(verdict.coverage)
    ready = (growth.ready_date, growth.ready_low, growth.ready_high)
    return (
        verdict.jar,
        verdict.species,
        verdict.verdict,
        "; ".join(reason.rstrip(".") for reason in verdict.reasons),
        percent,
        *(day.isoformat() if day else "" for day in ready),
        low,
        high,
        days[-1].day.isoformat() if days else "",
        fixed(growth.rate_percent_per_day, 2),
        result.settings_digest,
        result.scored_on.isoformat(),
        result.folder,
        "",
        "",
        *_stage(story),
    )


def _stage(story: JarStory) -> tuple[str, str, str, str, str]:
    """The stage of a jar that is followed from above, and when to cut; empty where not."""
    fruiting = story.fruiting
    if fruiting is None:
        return "", "", "", "", ""
    cut = fruiting.cut
    day, low, high = (d.isoformat() for d in (cut.day, cut.low, cut.high)) if cut else ("", "", "")
    return fruiting.stage, fruiting.since.isoformat(), day, low, high


def _finished(done: FinishedJar, result: ShelfResult) -> Row:
    """The row of a jar whose story is over: no verdict to act on, but how it ended."""
    cells = dict(zip(VERDICTS, _verdict(done.story, result), strict=True))
    cells |= {"verdict": "", "last_verdict": done.story.verdict.verdict}
    cells |= {"reasons": done.ending.tell().rstrip("."), "ended": done.ending.word}
    return tuple(cells.values())


def _flags(story: JarStory) -> Iterable[Row]:
    for flag in story.flags:
        day = flag.day.isoformat() if flag.day else ""
        yield flag.jar, day, FLAGS[flag.flag].severity, flag.flag, flag.message
