"""How far a fruiting jar is, day by day, and when its fruit can be cut."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from jarvision.records.surface import Measured, Moisture

Stage = Literal[
    "recovering",
    "ready",
    "dry",
    "moist",
    "wet",
    "pinning",
    "hood-off",
    "growing",
    "harvest-soon",
    "harvest-today",
    "resting",
]

STAGES: Final[dict[Stage, str]] = {
    "recovering": "growth closes over the surface again, and then rests",
    "ready": "covered and rested: fruiting conditions can begin",
    "dry": "in fruiting conditions, but too dry: moisten the hood's inside",
    "moist": "in fruiting conditions, with fine droplets: not to be sprayed",
    "wet": "in fruiting conditions, but too wet: give it air",
    "pinning": "pins are seen for the first time",
    "hood-off": "pins on two days or more: the hood comes off, or is off",
    "growing": "the pins have caps, and these grow",
    "harvest-soon": "the caps are to be cut within a few days",
    "harvest-today": "the caps are to be cut today, before they flatten",
    "resting": "it was cut, and rests until the next flush",
}
"""Words of the stages in their order, with their meaning; a word never changes."""


@dataclass(frozen=True)
class CutForecast:
    """When the largest cap will begin to flatten: the last day on which it is cut in time.

    Attributes
    ----------
    day, low, high
        Its middle, and its 80 % interval.
    latest
        The day that it is not after with 95 % chance: "within so many days" is told up to it.
    mm_per_day
        How fast the largest cap grows now, mm a day.
    days_seen
        On how many days caps of this flush were measured.
    """

    day: date
    low: date
    high: date
    latest: date
    mm_per_day: float
    days_seen: int


@dataclass(frozen=True)
class FruitingDay:
    """How far a jar was on one day, by the photos up to that day.

    Attributes
    ----------
    flush
        The flush that it is in, or waits for; the first is 1.
    pins, largest_cap_mm
        As on that day's photos; None where they could not be judged or there were none.
    moisture
        None where droplets could not be judged.
    cut
        None where there is no cap, or no date can be told.
    """

    day: date
    stage: Stage
    flush: int
    pins: Measured | None = None
    largest_cap_mm: Measured | None = None
    moisture: Moisture | None = None
    cut: CutForecast | None = None


@dataclass(frozen=True)
class Fruiting:
    """A jar that is followed from above: its days, and what they come to today.

    Attributes
    ----------
    days
        Those with a photo from above, in their order; at least one.
    stage
        The stage of today: that of the last day, moved on by the days since.
    since
        The first day of an unbroken run of that stage.
    flush
        The flush that it is in, or waits for.
    pins_since
        First day on which pins of this flush were seen; None where there are none yet.
    cut
        When to cut; None where no date can be told.
    """

    days: tuple[FruitingDay, ...]
    stage: Stage
    since: date
    flush: int
    pins_since: date | None = None
    cut: CutForecast | None = None

    @property
    def has_begun(self) -> bool:
        """Whether the jar is in fruiting conditions: it is meant to pin, and is spawn no more."""
        return self.stage not in ("recovering", "ready")
