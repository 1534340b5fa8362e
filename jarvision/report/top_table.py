"""``tops.csv``: one row for each day of a jar with a photo from above."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from jarvision.base.csv_text import Row, fixed
from jarvision.records import OFF_COLOUR_KINDS, JarStory, Measured

TOPS: Final = [
    "jar",
    "date",
    "photos",
    "stage",
    "flush",
    "coverage_percent",
    "coverage_low",
    "coverage_high",
    "seen_percent",
    "offcolour_cm2",
    "bare_cm2",
    "moisture",
    "moisture_chance",
    "droplets_per_cm2",
    "droplet_mm",
    "pins",
    "pins_low",
    "pins_high",
    "largest_pin_mm",
    "caps",
    "caps_low",
    "caps_high",
    "largest_cap_mm",
    "largest_cap_low_mm",
    "largest_cap_high_mm",
    "flat_chance",
    "below_rim_mm",
    "below_rim_low_mm",
    "below_rim_high_mm",
    "hood_chance",
    "mouth_mm",
    "cut_date",
    "cut_low",
    "cut_high",
]
"""Its columns; new ones come at the end."""


def top_rows(story: JarStory) -> Iterable[Row]:
    """Rows of one jar; what could not be told is empty."""
    followed = {day.day: day for day in story.fruiting.days} if story.fruiting else {}
    for seen in story.history.tops:
        top, told = seen.top, followed.get(seen.day)
        drops, cut = top.droplets, told.cut if told else None
        yield (
            seen.jar,
            seen.day.isoformat(),
            len(seen.photos),
            told.stage if told else "",
            told.flush if told else "",
            fixed(top.coverage.percent),
            fixed(top.coverage.low),
            fixed(top.coverage.high),
            fixed(top.seen_percent),
            fixed(top.area_cm2(*OFF_COLOUR_KINDS), 2),
            fixed(top.area_cm2("bare"), 2),
            drops.moisture if drops else "",
            fixed(drops.chance if drops else None, 2),
            fixed(drops.per_cm2 if drops else None),
            fixed(drops.diameter_mm if drops else None, 2),
            *_measured(top.pins),
            _measured(top.largest_pin_mm)[0],
            *_measured(top.caps),
            *_measured(top.largest_cap_mm),
            fixed(top.flat_chance, 2),
            *_measured(top.below_rim_mm),
            fixed(top.hood_chance, 2),
            fixed(top.mouth_mm.value),
            *((d.isoformat() for d in (cut.day, cut.low, cut.high)) if cut else ("", "", "")),
        )


def _measured(value: Measured | None) -> tuple[str, str, str]:
    if value is None:
        return "", "", ""
    return fixed(value.value), fixed(value.low), fixed(value.high)
