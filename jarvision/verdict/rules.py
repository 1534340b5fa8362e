"""The rules of the verdict, one small function each, in the order in which reasons are told.

A rule takes a :class:`jarvision.verdict.evidence.Case` and returns what it found, nothing when it
has nothing to say. Why they lean to caution: see :mod:`jarvision.verdict.decide`.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable
from datetime import timedelta

from jarvision.records import OFF_COLOUR_KINDS, JarDay, TrackedPatch, VerdictWord
from jarvision.verdict.evidence import (
    Case,
    Finding,
    age_days,
    area_and_confidence,
    beyond_run,
    is_thin,
)


# --------------------------------------------------------------------------- 1. the photo
def _photo(case: Case) -> list[Finding]:
    """Doubt the photos themselves: none usable, dated wrong, or showing too little."""
    limits, found = case.limits, []
    ahead = [d.day for d in case.history.days if d.day > case.today]
    if ahead:
        text = f"A photo is dated {ahead[-1]}, after today ({case.today}): its date is wrong."
        found.append(Finding("check", text, "wrong_date", ahead[-1]))
    started = case.history.entry.started
    early = [d.day for d in case.history.days if started is not None and d.day < started]
    if early:
        text = f"A photo is dated {early[0]}, before the jar was started ({started}): not counted."
        found.append(Finding("check", text, "wrong_date", early[0]))
    if not case.days:
        return [*found, Finding("check", "No photo of this jar could be used.")]
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
    """Find growth of off-colours that are not normal for the species, area by area."""
    sightings: dict[str, list[tuple[JarDay, TrackedPatch]]] = {}
    for day in case.days:
        for patch in day.patches:
            if patch.kind in OFF_COLOUR_KINDS and patch.kind not in case.profile.normal_kinds:
                sightings.setdefault(patch.patch, []).append((day, patch))
    found = [_mould(case, name, seen) for name, seen in sightings.items()]
    found.append(_odd_stain(case))
    return [finding for finding in found if finding]


def _mould(case: Case, name: str, seen: list[tuple[JarDay, TrackedPatch]]) -> Finding | None:
    """Judge one off-colour area over all days.

    Mould does not heal, so an earlier sighting still asks for a look, unless it was small and its
    place was seen again without it. One photo alone may have been fooled: it ends the jar only
    where it shows a large area, else a second photo must show it too. A large area is never
    forgotten: a jar that was shaken or turned shows other glass.
    """
    limits = case.limits
    seen = [s for s in seen if s[1].area_cm2 >= limits.off_colour_check_cm2]
    sure = [s for s in seen if s[1].area_cm2 >= limits.off_colour_no_go_cm2 and _is_sure(case, *s)]
    photos = sum(_photos_showing(day, patch) for day, patch in sure)
    large = [day for day, patch in sure if patch.area_cm2 >= limits.off_colour_alone_cm2]
    if photos > 1 or case.last in large:
        day, patch = sure[-1]
        text = (
            f"{patch.kind.capitalize()} growth {name} of {patch.area_cm2:.1f} cm2 on {day.day} "
            f"({_place(patch)}), on {photos} {'photos' if photos > 1 else 'photo'}: "
            f"from {limits.off_colour_no_go_cm2:.1f} cm2 on a jar is out."
        )
        return Finding("no-go", text, "off_colour", day.day)
    if not seen or (name in case.last.cleared and not large):
        return None
    day, patch = max(seen, key=lambda s: s[1].area_cm2)
    text = (
        f"Perhaps {patch.kind} growth: {patch.area_cm2:.2f} cm2 on {day.day} ({_place(patch)}), "
        f"on {len(seen)} of {len(case.days)} days."
    )
    return Finding("check", text, "off_colour", day.day)


def _is_sure(case: Case, day: JarDay, patch: TrackedPatch) -> bool:
    """Say whether a photo of that day was confident of an area of this kind."""
    return area_and_confidence(day, patch.kind)[1] >= case.limits.sure_confidence


def _photos_showing(day: JarDay, patch: TrackedPatch) -> int:
    """Return how many photos of the day show a patch of this kind; views differ, so at least 1."""
    same = Counter(r.view for r in day.readings if any(p.kind == patch.kind for p in r.patches))
    return max(same.values(), default=1)


def _place(patch: TrackedPatch) -> str:
    return f"at {patch.angle_deg:.0f} deg, {patch.height_mm:.0f} mm"


def _odd_stain(case: Case) -> Finding | None:
    """Ask for a look at staining that the species does not show."""
    area = area_and_confidence(case.last, "stain")[0]
    if "stain" in case.profile.normal_kinds or area < case.limits.stain_check_cm2:
        return None
    whose = case.profile.latin or "an unknown species"
    text = f"Staining of {area:.1f} cm2 is not known as normal for {whose}."
    return Finding("check", text, "off_colour", case.last.day)


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


# --------------------------------------------------------------------------- 4. dead patch
def _dead_patch(case: Case) -> list[Finding]:
    """Find bare islands that stand still although the jar is late for them.

    A species that stays thin shows such areas when all is well: then a person must look. An area
    over a large part of the wall is no island: the jar has not grown there yet.
    """
    found = []
    for patch in case.last.patches:
        share = patch.area_cm2 / _wall_cm2(case)
        small = patch.area_cm2 < case.limits.dead_patch_cm2
        if patch.kind != "bare" or small or share > case.limits.island_share:
            continue
        still, sightings, photographed = _still_days(case, patch)
        if still < case.limits.dead_patch_days or sightings < case.limits.dead_patch_sightings:
            continue
        if sightings < case.limits.dead_patch_seen_share * photographed:
            continue
        rest = min(case.last.coverage.percent / (1 - share), 100.0)
        age = age_days(case)
        if rest < case.limits.dead_patch_rest_percent and not beyond_run(case, age):
            continue
        text = (
            f"Bare area {patch.patch} of {patch.area_cm2:.1f} cm2 ({_place(patch)}) has not "
            f"closed for {still} days while the rest is {rest:.0f} % covered."
        )
        word: VerdictWord = "check" if is_thin(case) else "no-go"
        found.append(Finding(word, text, "dead_patch", case.last.day))
    return found


def _still_days(case: Case, patch: TrackedPatch) -> tuple[int, int, int]:
    """Return for how long a patch has not been closing, in days, sightings and days with a photo.

    A day's trend compares it with the days before, so the time starts at the sighting before the
    first of the unbroken run of ``still`` or ``growing`` days.
    """
    sightings = [(d.day, p.trend) for d in case.days for p in d.patches if p.patch == patch.patch]
    since, count = sightings[-1][0], 0
    for day, word in reversed(sightings):
        since, count = day, count + 1
        if word not in ("still", "growing"):
            break
    return (case.last.day - since).days, count, sum(d.day >= since for d in case.days)


def _wall_cm2(case: Case) -> float:
    """Return the area of the filled wall in view."""
    arc_mm = math.radians(2 * case.half_view_deg) * case.wall_radius_mm
    fill_mm = case.last.fill_height_mm
    return arc_mm * (fill_mm if math.isfinite(fill_mm) else 100.0) / 100.0


# --------------------------------------------------------------------------- 5. fast jars
def _fast_front(case: Case) -> list[Finding]:
    """Ask for a look where the white ran faster than the species can, lately."""
    limits, fronts = case.limits, case.front_limits
    top = case.profile.front_mm_per_day[1]
    fastest = min(fronts.fastest_mm_per_day, fronts.species_factor * top)
    since = case.last.day - timedelta(days=limits.fast_front_days)
    fast = [
        (d.day, d.front)
        for d in case.days
        if d.day >= since and d.front is not None and d.front.mm_per_day >= fastest
    ]
    if not fast:
        return []
    day, front = max(fast, key=lambda f: f[1].mm_per_day)
    text = (
        f"White ran over {front.area_cm2:.1f} cm2 at {front.mm_per_day:.0f} mm a day or more up to "
        f"{day} (about {front.angle_deg:.0f} deg, {front.height_mm:.0f} mm); its species' front "
        f"runs at up to {top:.0f} mm a day. Young green mould is white."
    )
    return [Finding("check", text, "fast_front", day)]


# --------------------------------------------------------------------------- 6., 7. slow jars
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
    age = age_days(case)
    ready = case.last.coverage.percent >= case.profile.ready_percent
    if ready or not beyond_run(case, age, case.limits.late_factor):
        return []
    text = (
        f"{age} days old and {case.last.coverage.percent:.0f} % covered: its species takes up to "
        f"{case.profile.spawn_run_days[1]:.0f} days."
    )
    return [Finding("check", text)]


# --------------------------------------------------------------------------- 8. pins
def _pins(case: Case) -> list[Finding]:
    """Ask for a look at what looks like pins on the last two days; one photo is easily fooled."""
    areas = [area_and_confidence(day, "pins")[0] for day in case.days[-2:]]
    if len(areas) < 2 or min(areas) == 0.0:
        return []
    text = f"Caps like those of pins were seen on two days, {areas[-1]:.1f} cm2 in all."
    return [Finding("check", text, "pins", case.last.day)]


# --------------------------------------------------------------------------- 9. old photos
def _old_photo(case: Case) -> list[Finding]:
    """Doubt what was seen too long ago."""
    limits, age = case.limits, (case.today - case.last.day).days
    if age <= limits.old_photo_days:
        return []
    text = (
        f"The last usable photo is {age} days old ({case.last.day}); more than "
        f"{limits.old_photo_days} days say too little about today."
    )
    return [Finding("check", text, "old_photo")]


def _when_seen(rule: Callable[[Case], list[Finding]]) -> Callable[[Case], list[Finding]]:
    """Run a rule only where there is a day to judge."""
    return lambda case: rule(case) if case.days else []


RULES: tuple[Callable[[Case], list[Finding]], ...] = (
    _photo,
    *map(_when_seen, (_off_colour, _wet, _dead_patch, _fast_front, _stall, _late, _pins)),
    _when_seen(_old_photo),
)
