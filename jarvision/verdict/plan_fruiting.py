"""What is due for a jar that is followed from above, by its stage."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from jarvision.records import Finding, JarStory
from jarvision.records.flag_kinds import Severity
from jarvision.records.flags import FLAGS

FruitingTask = Literal["fruit", "photo", "moisten", "drain", "unhood", "harvest", "flush"]

_AT_ONCE: Final[Mapping[str, FruitingTask]] = {
    "stage_ready": "fruit",
    "stage_dry": "moisten",
    "stage_standing": "drain",
    "stage_hood": "unhood",
    "stage_harvest": "harvest",
    "stage_pinning": "photo",
}
_PLANNED: Final = ("stage_hood", "stage_unhooded", "stage_growing", "stage_soon")
"""Stages of which the day to cut can be told, as a forecast."""


@dataclass(frozen=True)
class Due:
    """One thing to do, or to expect, of one jar; fields are those of a plan's item."""

    day: date
    task: FruitingTask
    text: str
    urgency: Severity = "note"
    low: date | None = None
    high: date | None = None


def due_for_fruiting(story: JarStory, first: date) -> Iterable[Due]:
    """What the stage asks for now, and what it lets expect; from the plan's first day on."""
    finding = story.verdict.findings[0]
    task = _AT_ONCE.get(finding.word)
    if task is not None:
        flag = FLAGS.get(finding.flag)
        remedy = f" {flag.remedy.replace('JAR', story.verdict.jar)}" if flag else ""
        yield Due(first, task, finding.sentence + remedy, flag.severity if flag else "look")
    cut = story.fruiting.cut if story.fruiting else None
    if cut is not None and finding.word in _PLANNED:
        yield Due(
            max(cut.day, first),
            "harvest",
            "Expected to be the last day before the caps flatten. Look at their edges every day "
            "until then: still rolled in, they wait.",
            low=max(cut.low, first),
            high=max(cut.high, first),
        )
    yield from _next_flush(finding, first)


def _next_flush(finding: Finding, first: date) -> Iterable[Due]:
    low, high = finding.dates.get("next_low"), finding.dates.get("next_high")
    if low is not None and high is not None and high >= first:
        text = f"Expect new pins up to {high}. Photograph it from above."
        yield Due(max(low, first), "flush", text)
