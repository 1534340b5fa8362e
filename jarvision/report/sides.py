"""Which side of a jar the page shows: the one that gave the verdict its reason."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from jarvision.history.pooling import QUARTERS
from jarvision.records import Finding, JarDay, JarStory, Reading

KIND_SHOWN: Final[Mapping[str, str]] = {
    "odd_stain": "stain",
    "wet": "wet",
    "wet_in_growth": "wet",
    "pins": "pins",
    "bare_left": "bare",
}
"""Kind of the areas that findings without a place are about."""

_QUARTER_DEG: Final = 90.0


def side_shown(story: JarStory) -> int:
    """The side to show, in quarter turns from the front: 0 where no reason names another."""
    days = story.history.days
    if not days:
        return 0
    for finding in story.verdict.findings:
        side = _side_of(finding, days[-1])
        if side is not None:
            return side
    return 0


def shown_reading(day: JarDay, side: int = 0) -> Reading:
    """Pick the day's photo for the page: that of the side, else of the front, else the last."""
    for quarter in (side, 0):
        found = [r for r in day.readings if QUARTERS[r.view] == quarter]
        if found:
            return found[-1]
    return day.readings[-1]


def in_turn(day: JarDay, side: int) -> list[Reading]:
    """All photos of a day as the jar was turned, from that side on."""
    return sorted(day.readings, key=lambda r: (QUARTERS[r.view] - side) % 4)


def are_many(day: JarDay) -> bool:
    """Whether the day shows more than one side."""
    return len({QUARTERS[r.view] for r in day.readings}) > 1


def tell_view(reading: Reading) -> str:
    """``side b``; the front is side a."""
    return f"side {'abcd'[QUARTERS[reading.view]]}"


def tell_seen(day: JarDay) -> str:
    """How much could be judged, and of what: ``94 % of the side shown``."""
    what = "of the wall all round" if are_many(day) else "of the side shown"
    return f"{day.coverage.seen_percent:.0f} % {what}"


def _side_of(finding: Finding, day: JarDay) -> int | None:
    """The side that shows best what was found; None where the finding is about none."""
    angle = finding.numbers.get("angle_deg")
    if angle is not None:
        nearest = min(day.readings, key=lambda r: _away(angle - _QUARTER_DEG * QUARTERS[r.view]))
        return QUARTERS[nearest.view]
    kind = KIND_SHOWN.get(finding.word, "")
    best = max(day.readings, key=lambda r: r.area_cm2(kind))
    return QUARTERS[best.view] if best.area_cm2(kind) > 0 else None


def _away(angle_deg: float) -> float:
    return abs((angle_deg + 180.0) % 360.0 - 180.0)
