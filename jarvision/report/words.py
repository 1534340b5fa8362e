"""Words and order of the verdicts, days and places: the same in table, curves and page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from jarvision.base.text import counted, printable
from jarvision.records import (
    Coverage,
    DiaryLine,
    Growth,
    JarDay,
    JarStory,
    Reading,
    ShelfResult,
    VerdictWord,
)
from jarvision.records.flags import FLAGS
from jarvision.records.wording import Voice


@dataclass(frozen=True)
class VerdictWords:
    """How a verdict is told. ``short`` is the label, ``heading`` tells what to do with the jars.

    ``symbol`` is told apart by its shape alone, ``urgency`` sorts: the lowest comes first.
    """

    short: str
    heading: str
    advice: str
    symbol: str
    urgency: int


VERDICT_WORDS: Final[dict[VerdictWord, VerdictWords]] = {
    "no-go": VerdictWords(
        "No-go",
        "Take out of the room",
        "Keep closed. Carry it out; do not open or sniff it indoors.",
        "✕",
        0,
    ),
    "check": VerdictWords(
        "Check",
        "Look at it yourself",
        "The photo alone cannot settle it. Look before you do anything else.",
        "!",
        1,
    ),
    "go": VerdictWords(
        "Go",
        "Use",
        "Nothing wrong was seen. Look it over once more before you open it.",
        "✓",
        2,
    ),
    "wait": VerdictWords("Wait", "Leave alone", "Growing or resting as it should.", "…", 3),
}


def by_urgency(stories: tuple[JarStory, ...]) -> list[JarStory]:
    """Sort by what to do first; within a verdict mould first, then by ready date and name."""
    return sorted(
        stories,
        key=lambda story: (
            VERDICT_WORDS[story.verdict.verdict].urgency,
            _harm(story),
            story.growth.ready_date or date.max,
            story.verdict.jar,
        ),
    )


def _harm(story: JarStory) -> int:
    """Place of what decides in the table of flags, where mould comes first; last without a flag."""
    flags = [finding.flag for finding in story.verdict.findings[:1] if finding.flag]
    return list(FLAGS).index(flags[0]) if flags else len(FLAGS)


def tell_day(day: date, *, year: bool = False) -> str:
    """``Tue 3 Mar``, with the year where wanted; never padded."""
    return f"{day:%a} {day.day} {day:%b}" + (f" {day.year}" if year else "")


def tell_age(result: ShelfResult) -> str:
    """How old the newest photos were when the verdicts were made; empty for those of that day."""
    days = result.age_days
    if not days or result.made_on is None:
        return ""
    return (
        f"The newest photos were {counted(days, 'day')} old when this was made, on "
        f"{tell_day(result.made_on, year=True)}."
    )


def tell_short_day(day: date) -> str:
    """``3 Mar``."""
    return f"{day.day} {day:%b}"


def tell_diary(diary: Sequence[DiaryLine]) -> tuple[str, ...]:
    """What the grower told, the day first."""
    return tuple(
        printable(f"{tell_short_day(line.day)}: {line.word}" + (f", {line.text}" * bool(line.text)))
        for line in diary
    )


def tell_ready(growth: Growth) -> str:
    """When the jar will be (or was) ready, with the 80 % interval; empty when it is not known."""
    if growth.ready_date is None:
        return ""
    low, high = growth.ready_low, growth.ready_high
    middle = tell_day(growth.ready_date)
    if low is None or high is None or low == high:
        return middle
    return f"{middle} ({tell_short_day(low)} to {tell_short_day(high)})"


def tell_span(low: date | None, high: date | None) -> str:
    """``12 Mar to 15 Mar``, ``12 Mar`` where both are one day; empty without both.

    ``from 12 Mar on`` where the end cannot be told.
    """
    if low is None:
        return f"up to {tell_short_day(high)}" if high else ""
    if low == high:
        return tell_short_day(low)
    return (
        f"{tell_short_day(low)} to {tell_short_day(high)}"
        if high
        else f"from {tell_short_day(low)} on"
    )


def tell_reference(reading: Reading, first: date) -> str:
    """How a photo's bare contents were told: against which look; a way to one where there is none.

    ``first`` is the day of the jar's first usable photo.
    """
    if reading.reference_day is not None:
        whose = "its own" if reading.reference_jar == reading.jar else reading.reference_jar + "'s"
        return printable(f"held against {whose} look of {tell_short_day(reading.reference_day)}")
    if reading.bare_look is not None and reading.taken_at.date() == first:
        return "learned from this photo"
    return "not known; photograph a jar of bare contents, or the next jars as they are filled"


def tell_coverage(coverage: Coverage | None) -> str:
    """``81.5 % (79.0 to 84.1)``, ``27.1 to 85.3 %`` where no number is told, or ``not scored``."""
    if coverage is None:
        return "not scored"
    if not coverage.is_told:
        return f"{coverage.in_words(1)} %"
    return f"{coverage.percent:.1f} % ({coverage.low:.1f} to {coverage.high:.1f})"


def tell_as_read(day: JarDay | None) -> str:
    """``, as read 83.0 % (80.2 to 86.0)`` where counts put readings right; else nothing."""
    raw = [r.raw_coverage for r in day.readings if r.raw_coverage is not None] if day else []
    return f", as read {' and '.join(map(tell_coverage, raw))}" if raw else ""


PAGE: Final = Voice(area_unit="cm²", day=tell_short_day, weekday=tell_day)
"""As people write: ``cm²``, ``3 Mar``."""
