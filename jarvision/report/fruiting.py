"""A jar's fruiting in words and numbers: for the page, for ``explain``, and as JSON has it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any, Final

from jarvision.records import STAGES, FruitingDay, JarStory, Measured, Stage, Top
from jarvision.report.pictures import Picture, inline
from jarvision.report.words import tell_coverage, tell_day, tell_short_day, tell_span

TOP_PX: Final = (420, 420)
"""Largest size of the picture from above on the page."""

STAGE_NAMES: Final[dict[Stage, str]] = {
    "recovering": "Recovering",
    "ready": "Ready for fruiting conditions",
    "dry": "Dry",
    "moist": "Moist enough",
    "wet": "Too wet",
    "pinning": "Pinning",
    "hood-off": "Hood off",
    "growing": "Growing",
    "harvest-soon": "Harvest soon",
    "harvest-today": "Harvest today",
    "resting": "Resting for the next flush",
}


@dataclass(frozen=True)
class StageRun:
    """Days in a row with one stage."""

    days: str
    name: str


@dataclass(frozen=True)
class FruitingPart:
    """What the page shows of a jar seen from above; ``cut`` is empty where no date can be told."""

    stage: str
    meaning: str
    since: str
    cut: str
    day: str
    figures: tuple[tuple[str, str], ...]
    runs: tuple[StageRun, ...]
    picture: Picture | None


def build_fruiting(story: JarStory, out: Path) -> FruitingPart | None:
    """Gather what the page shows; None for a jar that is not followed from above.

    A jar that must leave the room has no stage to look forward to.
    """
    fruiting, tops = story.fruiting, story.history.tops
    if fruiting is None or not tops or story.verdict.verdict == "no-go":
        return None
    last = [top for top in tops if top.day <= fruiting.days[-1].day][-1]
    alt = f"{last.jar} from above on {tell_day(last.day)}"
    return FruitingPart(
        stage=STAGE_NAMES[fruiting.stage],
        meaning=STAGES[fruiting.stage],
        since=tell_day(fruiting.since),
        cut=_tell_cut(story),
        day=tell_day(last.day),
        figures=tuple(tell_top(last.top)),
        runs=tuple(_runs(fruiting.days)),
        picture=inline(out, last.overlay, TOP_PX, alt),
    )


def last_top(story: JarStory) -> str:
    """Path of the jar's last picture from above; empty for none."""
    return story.history.tops[-1].overlay if story.history.tops else ""


def _tell_cut(story: JarStory) -> str:
    """``Tue 3 Mar (2 Mar to 5 Mar)``; empty where no date can be told."""
    cut = story.fruiting.cut if story.fruiting else None
    if cut is None or story.verdict.verdict == "no-go":
        return ""
    return f"{tell_day(cut.day)} ({tell_span(cut.low, cut.high)})"


def _runs(days: Iterable[FruitingDay]) -> Iterable[StageRun]:
    for (stage, _), group in groupby(days, key=lambda day: (day.stage, day.flush)):
        own = [day.day for day in group]
        first, last = tell_short_day(own[0]), tell_short_day(own[-1])
        yield StageRun(first if first == last else f"{first} to {last}", STAGE_NAMES[stage])


def tell_top(top: Top) -> Iterable[tuple[str, str]]:
    """What a day from above says: names and values with intervals, or why there are none."""
    yield "Surface covered", tell_coverage(top.coverage)
    if top.droplets is not None:
        drops = top.droplets
        wide = f", {drops.diameter_mm:.1f} mm" if drops.diameter_mm is not None else ""
        sure = f"{drops.moisture} (chance {100 * drops.chance:.0f} %)"
        yield "Droplets", f"{sure}: {drops.per_cm2:.0f} a cm²{wide}"
    for name, key, unit in _MEASURED:
        value: Measured | None = getattr(top, key)
        if value is not None:
            yield name, f"{value.value:.0f}{unit} ({value.low:.0f} to {value.high:.0f})"
    if top.hood_chance is not None:
        yield "Hood on the jar", f"chance {100 * top.hood_chance:.0f} %"
    for field, why in top.untold.items():
        yield _NAMES.get(field, field), f"not told: {why}"


_MEASURED: Final = (
    ("Pins", "pins", ""),
    ("Largest pin", "largest_pin_mm", " mm"),
    ("Caps", "caps", ""),
    ("Largest cap", "largest_cap_mm", " mm"),
    ("Surface below the rim", "below_rim_mm", " mm"),
)
_NAMES: Final = {
    **{key: name for name, key, _ in _MEASURED},
    "droplets": "Droplets",
    "hood_chance": "Hood on the jar",
    "flat_chance": "Flattening edge",
}


def tell_fruiting(story: JarStory) -> Iterable[str]:
    """Tell it in sentences, from the first photo from above to when to cut."""
    fruiting = story.fruiting
    if fruiting is None:
        return
    tops = story.history.tops
    many = f"{len(tops)} days" if len(tops) > 1 else "1 day"
    yield f"It was photographed from above on {many}, last on {tell_day(tops[-1].day)}."
    for run in _runs(fruiting.days):
        yield f"{run.days}: {run.name.lower()}."
    if story.verdict.verdict == "no-go":
        return
    yield (
        f"Its stage is {STAGE_NAMES[fruiting.stage].lower()} since {tell_day(fruiting.since)}: "
        f"{STAGES[fruiting.stage]}."
    )
    if fruiting.pins_since is not None:
        yield f"Pins of flush {fruiting.flush} were first seen on {tell_day(fruiting.pins_since)}."
    cut = fruiting.cut
    if cut is not None:
        span = tell_span(cut.low, cut.high)
        yield f"It is to be cut about {tell_day(cut.day)} (80 % interval {span})."
    for name, value in tell_top(tops[-1].top):
        yield f"{name}: {value}.".replace("²", "2")


def fruiting_document(story: JarStory) -> dict[str, Any] | None:
    """The same as data; None for a jar that is not followed from above."""
    fruiting = story.fruiting
    if fruiting is None:
        return None
    cut = fruiting.cut
    return {
        "stage": fruiting.stage,
        "since": fruiting.since.isoformat(),
        "flush": fruiting.flush,
        "pins_since": fruiting.pins_since.isoformat() if fruiting.pins_since else None,
        "cut_date": cut.day.isoformat() if cut else None,
        "cut_low": cut.low.isoformat() if cut else None,
        "cut_high": cut.high.isoformat() if cut else None,
        "cap_mm_per_day": round(cut.mm_per_day, 2) if cut else None,
        "cap_days_seen": cut.days_seen if cut else None,
        "days": [_day(day) for day in fruiting.days],
    }


def _day(day: FruitingDay) -> dict[str, Any]:
    cap, pins = day.largest_cap_mm, day.pins
    return {
        "date": day.day.isoformat(),
        "stage": day.stage,
        "flush": day.flush,
        "moisture": day.moisture,
        "pins": round(pins.value) if pins else None,
        "largest_cap_mm": round(cap.value, 1) if cap else None,
        "largest_cap_low_mm": round(cap.low, 1) if cap else None,
        "largest_cap_high_mm": round(cap.high, 1) if cap else None,
        "cut_date": day.cut.day.isoformat() if day.cut else None,
    }
