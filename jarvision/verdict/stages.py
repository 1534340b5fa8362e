"""The stage of a fruiting jar, day by day, from its photos from above and what the grower told.

Each day is told by what was known on it, so that yesterday's stage stays what it was. What one
photo may have misread does not move a jar on alone: coverages of some days are read together, a
day's droplets are weighed with those before, faint pins need a second day, and caps that went
missing for a day are no harvest once they are back.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from statistics import fmean
from typing import Final

import numpy as np

from jarvision.base.days import days_after
from jarvision.growth.caps import CapSight, forecast_cut
from jarvision.records import (
    MOISTURES,
    CutForecast,
    Fruiting,
    FruitingDay,
    JarHistory,
    Moisture,
    SpeciesProfile,
    Stage,
    Top,
    TopDay,
)
from jarvision.records.surface import HOOD_SEEN_FROM
from jarvision.settings.fruiting import FruitingSettings

_LIKELY: Final = 0.5
_BACK_DAYS: Final = 2
"""Caps that are seen again so soon after they went missing were overlooked in between."""

_OF_MOISTURE: Final[dict[Moisture, Stage]] = {
    "dry": "dry",
    "moist": "moist",
    "wet": "wet",
    "standing water": "wet",
}


@dataclass(frozen=True)
class _SoFar:
    """What is known of a jar up to a day.

    ``levels`` are coverages of the last days, percent; ``last`` is the day before; ``maybe_pins``
    is the last day with likely, but not sure pins; ``before`` is what was known before a harvest
    that nobody told, but caps that were there no more.
    """

    levels: tuple[tuple[date, float], ...] = ()
    last: date | None = None
    covered: date | None = None
    hoods: int = 0
    begun: bool = False
    moisture: tuple[float, ...] = (0.25,) * len(MOISTURES)
    flush: int = 1
    pins: tuple[date, ...] = ()
    maybe_pins: date | None = None
    young: tuple[CapSight, ...] = ()
    caps: tuple[CapSight, ...] = ()
    cut_on: date | None = None
    before: _SoFar | None = field(default=None, repr=False)


@dataclass(frozen=True)
class _Jar:
    """What does not change from day to day."""

    history: JarHistory
    profile: SpeciesProfile
    settings: FruitingSettings
    harvests: tuple[date, ...]
    wall_ready: date | None

    @property
    def has_wall(self) -> bool:
        return bool(self.history.days)


def follow_fruiting(
    history: JarHistory,
    profile: SpeciesProfile,
    *,
    today: date,
    settings: FruitingSettings | None = None,
    harvests: Collection[date] = (),
    wall_ready: date | None = None,
) -> Fruiting | None:
    """Tell the stage of a jar on each of its days from above, and today.

    Parameters
    ----------
    harvests
        Days on which it was cut, as far as the grower has told.
    wall_ready
        Since when its wall has been covered; None where it is not, or was not photographed.

    Returns
    -------
    None for a jar without a usable photo from above by ``today``, and for one that is registered as
    spawn.
    """
    tops = [top for top in history.tops if top.day <= today]
    if not tops or (history.entry.registered and history.entry.kind != "fruiting"):
        return None
    chosen = settings or FruitingSettings()
    cuts = tuple(sorted(day for day in harvests if day <= today))
    jar = _Jar(history, profile, chosen, cuts, wall_ready)
    known, days = _SoFar(), []
    for seen in tops:
        known = _after(known, seen, jar)
        days.append(_told(known, seen, jar))
    known = _with_cut(known, today, jar)
    cut = _forecast(known, jar)
    stage = _stage(known, today, jar, cut)
    return Fruiting(
        days=tuple(days),
        stage=stage,
        since=_since(days, stage, today, known),
        flush=known.flush,
        pins_since=known.pins[0] if known.pins else None,
        cut=cut,
    )


def _since(days: Sequence[FruitingDay], stage: Stage, today: date, known: _SoFar) -> date:
    """The first day of the run of a stage that lasts up to today."""
    if stage == "resting" and known.cut_on is not None:
        return known.cut_on
    since = today
    for day in reversed(days):
        if day.stage != stage or day.flush != known.flush:
            break
        since = day.day
    return since


# --------------------------------------------------------------------------- one day more
def _after(known: _SoFar, seen: TopDay, jar: _Jar) -> _SoFar:
    """What is known after one day more."""
    known = _with_cut(known, seen.day, jar)
    top = seen.top
    known = _with_coverage(known, seen, jar)
    known = _with_conditions(known, seen, jar)
    known = replace(known, moisture=_moisture(known, top, jar.settings))
    return replace(_with_fruit(known, seen, jar), last=seen.day)


def _with_cut(known: _SoFar, day: date, jar: _Jar) -> _SoFar:
    """The harvests that were told since the last one that is known."""
    last = max((cut for cut in jar.harvests if cut <= day), default=None)
    if last is None:
        return known
    told = sum(cut <= day for cut in jar.harvests)
    if known.cut_on is not None and last <= known.cut_on:
        return known
    near = known.cut_on is not None and (last - known.cut_on).days <= jar.settings.same_flush_days
    flush = known.flush if near else max(known.flush + 1, 2 if told else 1)
    return replace(_cleared(known, last), flush=flush, begun=True)


def _cleared(known: _SoFar, cut_on: date) -> _SoFar:
    return replace(known, pins=(), maybe_pins=None, young=(), caps=(), cut_on=cut_on, before=None)


def _with_coverage(known: _SoFar, seen: TopDay, jar: _Jar) -> _SoFar:
    """Since when the surface has been covered, by its last days together."""
    if known.covered is not None or known.begun:
        return known
    levels = (*known.levels, (seen.day, seen.top.coverage.percent))[-jar.settings.level_days :]
    needed = jar.profile.ready_percent - jar.settings.covered_margin_points
    if len(levels) < jar.settings.level_days or fmean(level for _, level in levels) < needed:
        return replace(known, levels=levels)
    return replace(known, covered=next(day for day, level in levels if level >= needed))


def _with_conditions(known: _SoFar, seen: TopDay, jar: _Jar) -> _SoFar:
    """Whether it is in fruiting conditions: told, or seen by its hood."""
    chance = seen.top.hood_chance or 0.0
    hoods = known.hoods + (chance >= HOOD_SEEN_FROM)
    told = any(
        line.day <= seen.day and line.what in ("fruiting", "sprayed", "unhooded")
        for line in jar.history.diary
    )
    sure = chance >= jar.settings.hood_seen_chance or hoods > 1
    return replace(known, hoods=hoods, begun=known.begun or told or sure)


def _moisture(known: _SoFar, top: Top, settings: FruitingSettings) -> tuple[float, ...]:
    """Chances of :data:`MOISTURES`: the day's own, weighed a little by those before."""
    if top.droplets is None:
        return known.moisture
    own, past = np.array(top.droplets.chances), np.array(known.moisture)
    even = 1.0 / len(MOISTURES)
    weighed = (own + 1e-3) * ((1 - settings.moist_memory) * even + settings.moist_memory * past)
    return tuple(float(chance) for chance in weighed / weighed.sum())


def _with_fruit(known: _SoFar, seen: TopDay, jar: _Jar) -> _SoFar:
    """Pins, caps, and a harvest that nobody told."""
    settings, cap = jar.settings, _cap(seen, jar.settings)
    if known.before is not None and cap is not None and known.cut_on is not None:
        if (seen.day - known.cut_on).days <= _BACK_DAYS:
            known = known.before
        known = replace(known, before=None)
    fresh = known.cut_on is not None and (seen.day - known.cut_on).days <= settings.same_flush_days
    if cap is not None and not fresh:
        pins = known.pins or (seen.day,)
        return replace(known, caps=(*known.caps, cap), pins=pins, begun=True)
    if known.caps:
        gone = cap is None and seen.top.caps is not None and seen.top.caps.high < 1.0
        return _cut_unseen(known, seen.day) if gone else known
    chance = 0.0 if fresh else pin_chance(seen.top, settings)
    if chance >= settings.pin_chance or (known.maybe_pins and chance >= _LIKELY):
        faint = known.maybe_pins is not None and chance < settings.pin_chance
        first = known.pins or ((known.maybe_pins,) if known.maybe_pins and faint else ())
        first = first or _overlooked(known, seen, settings)
        young, pins = (*known.young, *_young(seen)), (*first, seen.day)
        begun = known.begun or len(pins) > 1
        return replace(known, pins=pins, maybe_pins=None, young=young, begun=begun)
    maybe = seen.day if chance >= _LIKELY else None
    if len(known.pins) == 1 and chance < _LIKELY:  # one photo was fooled
        return replace(known, pins=(), young=(), maybe_pins=maybe)
    return replace(known, maybe_pins=maybe)


def _cut_unseen(known: _SoFar, day: date) -> _SoFar:
    """Caps that are there no more were cut, unless they are seen again."""
    return replace(_cleared(known, day), flush=known.flush + 1, before=known)


def _cap(seen: TopDay, settings: FruitingSettings) -> CapSight | None:
    """The largest cap of the day, where it is wide enough to be one."""
    width = seen.top.largest_cap_mm
    if width is None or width.value < settings.cap_mm:
        return None
    return CapSight(seen.day, width, seen.top.flat_chance)


def _overlooked(known: _SoFar, seen: TopDay, settings: FruitingSettings) -> tuple[date, ...]:
    """The day before, where nobody took a photo and pins as large as these stood there already."""
    width = seen.top.largest_pin_mm
    gap = known.last is not None and (seen.day - known.last).days > 1
    if not gap or width is None or width.value < settings.sure_pin_mm:
        return ()
    return (days_after(seen.day, -1),)


def _young(seen: TopDay) -> tuple[CapSight, ...]:
    """The largest pin of the day, from which a cap may grow."""
    width = seen.top.largest_pin_mm
    return () if width is None else (CapSight(seen.day, width, young=True),)


def pin_chance(top: Top, settings: FruitingSettings) -> float:
    """Chance that at least one pin or cap stands on the surface, 0 to 1.

    Where a photo tells no single ones, their number and the largest one speak.
    """
    large = [body for body in top.fruit if body.diameter_mm.value >= settings.pin_mm]
    if top.fruit:
        return 1.0 - float(np.prod([1.0 - body.chance for body in large])) if large else 0.0
    if top.pins is None or top.pins.value < 1.0:
        return 0.0
    if top.largest_pin_mm is not None and top.largest_pin_mm.value < settings.pin_mm:
        return 0.0
    return 0.9 if top.pins.low >= 1.0 else 0.6


# --------------------------------------------------------------------------- the stage
def _told(known: _SoFar, seen: TopDay, jar: _Jar) -> FruitingDay:
    cut, top = _forecast(known, jar), seen.top
    return FruitingDay(
        day=seen.day,
        stage=_stage(known, seen.day, jar, cut),
        flush=known.flush,
        pins=top.pins,
        largest_cap_mm=top.largest_cap_mm,
        moisture=_wettest(known) if top.droplets is not None else None,
        cut=cut,
    )


def _forecast(known: _SoFar, jar: _Jar) -> CutForecast | None:
    since = known.pins[0] if known.young else None
    return forecast_cut((*known.young, *known.caps), pins_since=since, settings=jar.settings)


def _stage(known: _SoFar, day: date, jar: _Jar, cut: CutForecast | None) -> Stage:
    if known.caps and cut is not None:
        return _cutting(known, day, cut, jar.settings)
    if known.pins:
        return "pinning" if _only_just(known, jar.settings) else "hood-off"
    if known.cut_on is not None:
        return "resting"
    if known.begun:
        return _OF_MOISTURE[_wettest(known)]
    since = _covered_since(known, jar)
    rested = since is not None and (day - since).days >= jar.profile.consolidation_days
    return "ready" if rested else "recovering"


def _only_just(known: _SoFar, settings: FruitingSettings) -> bool:
    """Whether pins stand there for the first day: those of the day before were hardly knots."""
    if len(known.pins) == 1:
        return True
    widths = [sight.width_mm.value for sight in known.young]
    return len(widths) == len(known.pins) == 2 and widths[0] < settings.firm_pin_mm


def _covered_since(known: _SoFar, jar: _Jar) -> date | None:
    """Since when both the surface and, where it was photographed, the wall are covered."""
    if known.covered is None or not jar.has_wall:
        return known.covered
    return max(known.covered, jar.wall_ready) if jar.wall_ready is not None else None


def _wettest(known: _SoFar) -> Moisture:
    return MOISTURES[int(np.argmax(known.moisture))]


def _cutting(known: _SoFar, day: date, cut: CutForecast, settings: FruitingSettings) -> Stage:
    flat = known.caps[-1].flat_chance
    if cut.day <= day or (flat is not None and flat >= settings.flat_chance):
        return "harvest-today"
    near = (cut.high - day).days <= settings.soon_days or (cut.day - day).days <= 1
    return "harvest-soon" if near else "growing"
