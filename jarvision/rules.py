"""The rules of the verdict, one small function each, in the order in which reasons are told.

A rule takes a :class:`Case` and returns what it found, nothing when it has nothing to say. Why
they lean to caution: see :mod:`jarvision.verdict`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from jarvision.records import (
    OFF_COLOUR_KINDS,
    Growth,
    JarDay,
    JarHistory,
    TrackedPatch,
    VerdictWord,
)
from jarvision.settings import VerdictSettings
from jarvision.species import SpeciesProfile


@dataclass(frozen=True)
class Case:
    """All that a rule may look at. ``days`` are those up to ``today``."""

    history: JarHistory
    days: tuple[JarDay, ...]
    growth: Growth
    profile: SpeciesProfile
    today: date
    limits: VerdictSettings
    half_view_deg: float
    wall_radius_mm: float

    @property
    def last(self) -> JarDay:
        """The last day with a usable photo; only asked where there is one."""
        return self.days[-1]


@dataclass(frozen=True)
class Finding:
    """What a rule found: its verdict, one sentence with numbers, and the flag to raise, if any."""

    verdict: VerdictWord
    reason: str
    flag: str = ""
    day: date | None = None


# --------------------------------------------------------------------------- 1. the photo
def _photo(case: Case) -> list[Finding]:
    """Doubt the photo itself: missing, ahead of its time, old, or showing too little."""
    limits = case.limits
    ahead = [d.day for d in case.history.days if d.day > case.today]
    found = []
    if ahead:
        text = f"A photo is dated {ahead[-1]}, after today ({case.today}): its date is wrong."
        found.append(Finding("check", text))
    if not case.days:
        return [*found, Finding("check", "No photo of this jar could be used.")]
    age = (case.today - case.last.day).days
    if age > limits.old_photo_days:
        text = (
            f"The last usable photo is {age} days old ({case.last.day}); more than "
            f"{limits.old_photo_days} days say too little about today."
        )
        found.append(Finding("check", text, "old_photo"))
    seen = max(r.coverage.seen_percent for r in case.last.readings if r.coverage)
    if seen < limits.min_seen_for_go_percent:
        text = (
            f"Only {seen:.0f} % of the wall in view could be judged, "
            f"{limits.min_seen_for_go_percent:.0f} % are needed."
        )
        found.append(Finding("check", text))
    return found + _colours(case)


def _colours(case: Case) -> list[Finding]:
    """Doubt the colours when the card's swatches are not matched in any of the last photos."""
    errors = [r.colour_de00_median for r in case.last.readings if r.colour_de00_median is not None]
    if not errors or max(errors) <= case.limits.max_colour_de00:
        return []
    text = (
        f"The card's colours are off by {max(errors):.1f} CIEDE2000 (up to "
        f"{case.limits.max_colour_de00:.0f} is allowed): mould and stain cannot be told."
    )
    return [Finding("check", text)]


# --------------------------------------------------------------------------- 2. colours
def _off_colour(case: Case) -> list[Finding]:
    """Find growth of each off-colour family that is not normal for the species."""
    kinds = [k for k in OFF_COLOUR_KINDS if k not in case.profile.normal_kinds]
    found = [_mould(case, kind) for kind in kinds]
    found.append(_odd_stain(case))
    return [finding for finding in found if finding]


def _mould(case: Case, kind: str) -> Finding | None:
    """Judge one off-colour family over all days.

    Mould does not heal, so an earlier sighting still asks for a look; one photo alone may have
    been fooled, so it ends the jar only if it is the last one or was seen on two days.
    """
    limits = case.limits
    seen = [(d.day, *area_and_confidence(d, kind)) for d in case.days]
    seen = [s for s in seen if s[1] >= limits.off_colour_check_cm2]
    if not seen:
        return None
    sure = [
        s for s in seen if s[1] >= limits.off_colour_no_go_cm2 and s[2] >= limits.sure_confidence
    ]
    if sure and (sure[-1][0] == case.last.day or len(sure) > 1):
        day, area, confidence = sure[-1]
        text = (
            f"{kind.capitalize()} growth of {area:.1f} cm2 on {day} (confidence "
            f"{confidence:.0%}), from {limits.off_colour_no_go_cm2:.1f} cm2 on a jar is out."
        )
        return Finding("no-go", text, "off_colour", day)
    day, area, confidence = max(seen, key=lambda s: s[1])
    text = (
        f"Perhaps {kind} growth: {area:.2f} cm2 on {day} (confidence {confidence:.0%}), "
        f"on {len(seen)} of {len(case.days)} days."
    )
    return Finding("check", text, "off_colour", day)


def _odd_stain(case: Case) -> Finding | None:
    """Ask for a look at staining that the species does not show."""
    area = area_and_confidence(case.last, "stain")[0]
    if "stain" in case.profile.normal_kinds or area < case.limits.stain_check_cm2:
        return None
    whose = case.profile.latin or "an unknown species"
    text = f"Staining of {area:.1f} cm2 is not known as normal for {whose}."
    return Finding("check", text, "off_colour", case.last.day)


def area_and_confidence(day: JarDay, kind: str) -> tuple[float, float]:
    """Return a kind's summed area that day (of the pooled patches) and its best confidence."""
    area = sum(p.area_cm2 for p in day.patches if p.kind == kind)
    confidence = max(
        (p.confidence for r in day.readings for p in r.patches if p.kind == kind), default=0.0
    )
    return area, confidence


# --------------------------------------------------------------------------- 3. wet
def _wet(case: Case) -> list[Finding]:
    """Find wet areas on the last day."""
    area = area_and_confidence(case.last, "wet")[0]
    if area < case.limits.wet_check_cm2:
        return []
    word: VerdictWord = "no-go" if area >= case.limits.wet_no_go_cm2 else "check"
    text = (
        f"{area:.1f} cm2 look wet (a look from {case.limits.wet_check_cm2:.1f} cm2, "
        f"out from {case.limits.wet_no_go_cm2:.1f} cm2)."
    )
    return [Finding(word, text, "wet", case.last.day)]


def _pins(case: Case) -> list[Finding]:
    """Ask for a look at what looks like pins on the last two days; one photo is easily fooled."""
    areas = [area_and_confidence(day, "pins")[0] for day in case.days[-2:]]
    if len(areas) < 2 or min(areas) == 0.0:
        return []
    text = f"Dark spots like the caps of pins were seen on two days, {areas[-1]:.1f} cm2 in all."
    return [Finding("check", text, "pins", case.last.day)]


# --------------------------------------------------------------------------- 4. dead patch
def _dead_patch(case: Case) -> list[Finding]:
    """Find bare areas that stand still although the jar is late for them.

    A species that stays thin shows such areas when all is well: then a person must look.
    """
    found = []
    for patch in case.last.patches:
        still = _still_days(case, patch)
        if patch.kind != "bare" or patch.area_cm2 < case.limits.dead_patch_cm2:
            continue
        if still < case.limits.dead_patch_days:
            continue
        rest = _rest_percent(case, patch)
        age = _age_days(case)
        if rest < case.limits.dead_patch_rest_percent and not _beyond_run(case, age):
            continue
        text = (
            f"Bare area {patch.patch} of {patch.area_cm2:.1f} cm2 (at {patch.angle_deg:.0f} deg, "
            f"{patch.height_mm:.0f} mm) has not closed for {still} days while the rest is "
            f"{rest:.0f} % covered."
        )
        word: VerdictWord = "check" if _thin(case) else "no-go"
        found.append(Finding(word, text, "dead_patch", case.last.day))
    return found


def _still_days(case: Case, patch: TrackedPatch) -> int:
    """Return for how many days a patch has not been closing, up to the last day.

    A day's trend compares it with the days before, so the time starts at the sighting before the
    first of the unbroken run of ``still`` or ``growing`` days.
    """
    sightings = [(d.day, p.trend) for d in case.days for p in d.patches if p.patch == patch.patch]
    since = sightings[-1][0]
    for day, word in reversed(sightings):
        since = day
        if word not in ("still", "growing"):
            break
    return (case.last.day - since).days


def _rest_percent(case: Case, patch: TrackedPatch) -> float:
    """Return the coverage of the wall in view without the patch, percent."""
    arc_mm = math.radians(2 * case.half_view_deg) * case.wall_radius_mm
    fill_mm = case.last.fill_height_mm
    wall_cm2 = arc_mm * (fill_mm if math.isfinite(fill_mm) else 100.0) / 100.0
    share = min(patch.area_cm2 / wall_cm2, 0.95)
    return min(case.last.coverage.percent / (1 - share), 100.0)


def _age_days(case: Case) -> int | None:
    """Return the jar's age on the last day, None where its start is not known."""
    started = case.history.entry.started
    return None if started is None else (case.last.day - started).days


def _beyond_run(case: Case, age: int | None, factor: float = 1.0) -> bool:
    return age is not None and age > factor * case.profile.spawn_run_days[1]


# --------------------------------------------------------------------------- 5., 6. slow jars
def _stall(case: Case) -> list[Finding]:
    """Take over the stall that the growth stage has found."""
    if not case.growth.stalled:
        return []
    near = case.profile.ready_percent - case.limits.near_ready_points
    long = case.growth.stalled_days >= case.limits.long_stall_days
    word: VerdictWord = "no-go" if long and case.last.coverage.percent < near else "check"
    return [Finding(word, case.growth.stall_reason, "stall", case.last.day)]


def _late(case: Case) -> list[Finding]:
    """Ask for a look at a jar that should have been ready long ago."""
    age = _age_days(case)
    ready = case.last.coverage.percent >= case.profile.ready_percent
    if ready or not _beyond_run(case, age, case.limits.late_factor):
        return []
    text = (
        f"{age} days old and {case.last.coverage.percent:.0f} % covered: its species takes up to "
        f"{case.profile.spawn_run_days[1]:.0f} days."
    )
    return [Finding("check", text)]


def _when_seen(rule: Callable[[Case], list[Finding]]) -> Callable[[Case], list[Finding]]:
    """Run a rule only where there is a day to judge."""
    return lambda case: rule(case) if case.days else []


RULES: tuple[Callable[[Case], list[Finding]], ...] = (
    _photo,
    *(_when_seen(rule) for rule in (_off_colour, _wet, _pins, _dead_patch, _stall, _late)),
)


# --------------------------------------------------------------------------- 7., 8. ripeness
def ripeness(case: Case) -> list[Finding]:
    """Say go, overdue or wait, of a jar against which nothing was found."""
    cover, ready = case.last.coverage, case.profile.ready_percent
    told = f"Coverage {cover.percent:.0f} % (95 % interval {cover.low:.0f} to {cover.high:.0f} %)"
    since = case.growth.ready_date
    if cover.percent < ready or since is None or since > case.last.day:
        return [Finding("wait", f"{told}, ready from {ready:.0f} %. {_outlook(case)}".rstrip())]
    rested = (case.last.day - since).days
    keeps = case.profile.consolidation_days + case.profile.keeps_days
    if (case.today - since).days > keeps:
        text = (
            f"Ready since {since}, {(case.today - since).days} days ago, and keeps {keeps} days: "
            "look for pins, then use it."
        )
        return [Finding("check", text, "overdue", case.last.day)]
    if rested < case.profile.consolidation_days:
        rest = case.profile.consolidation_days
        text = f"{told}, ready since {since}: {rested} of {rest} days of rest."
        return [Finding("wait", text)]
    sure = [d for d in case.days if d.day >= since and d.coverage.low >= ready]
    if cover.low < ready or len(sure) < case.limits.sure_days:
        text = (
            f"{told}: the lower bound must reach {ready:.0f} % today and on "
            f"{case.limits.sure_days} days in all; so far {len(sure)}."
        )
        return [Finding("wait", text)]
    doubts = _last_doubts(case)
    if doubts:
        return doubts
    use = "use as spawn" if case.history.entry.kind == "spawn" else "fruiting conditions"
    text = f"{told}, ready since {since}, rested {rested} days, nothing wrong seen: {use}."
    return [Finding("go", text)]


def _last_doubts(case: Case) -> list[Finding]:
    """Doubt a jar that would be go: a newer photo was refused, or an area is still bare."""
    found = []
    refused = max((r.taken_at.date() for r in case.history.refused), default=date.min)
    if case.last.day < refused <= case.today:
        text = f"Ready by the photo of {case.last.day}, but that of {refused} could not be used."
        found.append(Finding("check", text))
    bare = [p for p in case.last.patches if p.kind == "bare"]
    largest = max((p.area_cm2 for p in bare), default=0.0)
    if largest >= case.limits.bare_check_cm2 and not _thin(case):
        text = f"Ready and rested, but an area of {largest:.1f} cm2 is still bare."
        found.append(Finding("check", text))
    return found


def _thin(case: Case) -> bool:
    """Say whether the species grows so thin that gaps are part of its ready look."""
    return case.profile.ready_percent < case.limits.thin_below_percent


def _outlook(case: Case) -> str:
    """Say when the jar will be ready, as far as it can be told."""
    growth = case.growth
    if growth.ready_date is None:
        return ""
    early, late = growth.ready_low or "?", growth.ready_high or "not known"
    return f"Ready about {growth.ready_date} (80 % interval {early} to {late})."
