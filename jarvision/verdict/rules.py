"""The rules of the verdict, one small function each, in the order in which reasons are told.

A rule takes a :class:`jarvision.verdict.evidence.Case` and returns what it found, nothing when it
has nothing to say. It finds words and numbers; sentences are made of them by
:data:`jarvision.records.flags.FINDINGS`. Why the rules lean to caution: see
:mod:`jarvision.verdict.decide`.

1. photo: none usable, dated wrong (:mod:`jarvision.verdict.dates`), too little seen, colours not
   matched -> check
2. off-colour, not normal for the species: large or on two photos -> no-go; else check, until its
   place was seen again without it, or another photo of its day did not show it (a large area is
   never forgotten)
3. wet -> check; large -> no-go, but while the white goes on growing over it
   (:mod:`jarvision.verdict.wet`)
4. dead patch: bare, standing still in a late jar -> check; longer -> no-go, but in a thin species
5. fast front: white that runs faster than the species -> check, until it slows
   (:mod:`jarvision.verdict.outrun`)
6. stall -> check; long -> no-go
7. late: not ready long after its species should be -> check
8. pins inside the jar -> check
9. the last photo is too old -> check
10. the surface, seen from above: off-colour as on the wall, too little seen
    (:mod:`jarvision.verdict.surface`)

Rules 5 to 9 are of spawn: a jar in fruiting conditions is meant to pin. Where no rule speaks,
:mod:`jarvision.verdict.readiness` says go, overdue or wait, and :mod:`jarvision.verdict.fruiting`
what the stage of a fruiting jar asks for.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from jarvision.records import (
    Finding,
    JarDay,
    TrackedPatch,
    VerdictWord,
)
from jarvision.records.wording import Fact
from jarvision.settings.verdict import VerdictSettings
from jarvision.verdict.dates import wrong_dates
from jarvision.verdict.evidence import (
    Case,
    age_days,
    area_and_confidence,
    beyond_run,
    has_long_been_full,
    is_compact,
    is_cut,
    is_off_colour,
    is_unnamed,
    may_be_thin,
    photos_showing,
    wall_cm2,
)
from jarvision.verdict.outrun import fast_front
from jarvision.verdict.spots import is_gone
from jarvision.verdict.standing import seen_without
from jarvision.verdict.surface import SURFACE_RULES
from jarvision.verdict.wet import wet


# --------------------------------------------------------------------------- 1. the photo
def _photo(case: Case) -> list[Finding]:
    """Doubt the photos themselves: none usable, dated wrong, or showing too little."""
    found = wrong_dates(case)
    if not case.days:
        return found if case.tops else [*found, Finding.of("no_photo", "check")]
    seen, needed = _seen_percent(case.last), case.limits.min_seen_for_go_percent
    if seen < needed:
        found.append(Finding.of("little_seen", "check", seen_percent=seen, needed_percent=needed))
    return found + _colours(case)


def _seen_percent(day: JarDay) -> float:
    """Return how much of the wall in view the day's best photo lets judge."""
    return max(r.coverage.seen_percent for r in day.readings if r.coverage)


def _colours(case: Case) -> list[Finding]:
    """Doubt the colours when the card's swatches are not matched in any of the last photos."""
    errors = [r.colour_de00_median for r in case.last.readings if r.colour_de00_median is not None]
    worst, most = max(errors, default=0.0), case.limits.max_colour_de00
    if worst <= most:
        return []
    return [Finding.of("colours_off", "check", error_de00=worst, most_de00=most)]


# --------------------------------------------------------------------------- 2. colours
def _off_colour(case: Case) -> list[Finding]:
    """Find growth of off-colours that are not normal for the species, area by area."""
    sightings: dict[str, list[tuple[JarDay, TrackedPatch]]] = {}
    for day in case.days:
        for patch in day.patches:
            if is_off_colour(case, patch):
                sightings.setdefault(patch.patch, []).append((day, patch))
    found = [_mould(case, name, seen) for name, seen in sightings.items()]
    found.append(_odd_stain(case))
    return [finding for finding in found if finding]


def _mould(case: Case, name: str, seen: list[tuple[JarDay, TrackedPatch]]) -> Finding | None:
    """Judge one off-colour area over all days.

    Mould does not heal, so an earlier sighting still asks for a look, unless it was small and its
    place was seen again without it (:mod:`jarvision.verdict.spots`). One photo alone may have been
    fooled: it ends the jar only where it shows a large area, else a second photo must show it too.
    A large area is never forgotten: a jar that was shaken or turned shows other glass.
    """
    limits = case.limits
    seen = [s for s in seen if s[1].area_cm2 >= limits.off_colour_check_cm2]
    sure = [s for s in seen if s[1].area_cm2 >= limits.off_colour_no_go_cm2 and _is_sure(case, *s)]
    photos = sum(photos_showing(day, patch) for day, patch in sure)
    large = [day for day, patch in sure if patch.area_cm2 >= limits.off_colour_alone_cm2]
    if photos > 1 or case.last in large:
        day, patch = sure[-1]
        return Finding.of(
            "mould",
            "no-go",
            day=day.day,
            patch=name,
            photos=photos,
            out_cm2=limits.off_colour_no_go_cm2,
            **_sighting(case, day, patch),
        )
    if not seen or (not large and _is_cleared(case, name, seen)) or is_gone(case, name, seen):
        return None
    day, patch = max(seen, key=lambda s: s[1].area_cm2)
    return Finding.of(
        "perhaps_mould",
        "check",
        day=day.day,
        patch=name,
        seen_days=len(seen),
        photo_days=len(case.days),
        **_sighting(case, day, patch),
    )


def _is_cleared(case: Case, name: str, seen: Sequence[tuple[JarDay, TrackedPatch]]) -> bool:
    """Say whether an area's place was seen again without it, the jar not turned meanwhile."""
    return name in case.last.cleared or seen_without(case, name, [day for day, _ in seen])


def _sighting(case: Case, day: JarDay, patch: TrackedPatch) -> dict[str, Fact | None]:
    """Return what is told of an area seen on a day; ``earlier`` unless that is the last."""
    return {
        "kind": patch.kind,
        "seen_on": day.day,
        "earlier": None if day is case.last else day.day,
        **_size_and_place(patch),
    }


def _size_and_place(patch: TrackedPatch) -> dict[str, Fact | None]:
    return {
        "area_cm2": patch.area_cm2,
        "angle_deg": patch.angle_deg,
        "height_mm": patch.height_mm,
    }


def _is_sure(case: Case, day: JarDay, patch: TrackedPatch) -> bool:
    """Say whether a photo of that day was confident of an area of this kind."""
    return area_and_confidence(day, patch.kind)[1] >= case.limits.sure_confidence


def _odd_stain(case: Case) -> Finding | None:
    """Ask for a look at staining that the species does not show.

    Where the species is not known, full growth that is no longer young may be stained: that is
    told as a note.
    """
    area = area_and_confidence(case.last, "stain")[0]
    if "stain" in case.profile.normal_kinds or area < case.limits.stain_check_cm2:
        return None
    if is_unnamed(case) and has_long_been_full(case):
        return None
    species = case.profile.latin or None
    return Finding.of("odd_stain", "check", day=case.last.day, area_cm2=area, species=species)


# --------------------------------------------------------------------------- 4. dead patch
def _dead_patch(case: Case) -> list[Finding]:
    """Find bare islands that stand still although the jar is late for them.

    They are looked at first, and end the jar when they have stood still for longer. A species that
    stays thin, which one that is not known may be, shows such areas when all is well: then a person
    must look, and not where the edge of the view cut the area on most days, since what is seen of
    it changes with each turn of the jar: it keeps a ready jar from go. An area over a large part of
    the wall is no island: the jar has not grown there yet.
    """
    found = (_dead(case, patch) for patch in case.last.patches if patch.kind == "bare")
    return [finding for finding in found if finding]


def _dead(case: Case, patch: TrackedPatch) -> Finding | None:
    """Judge one bare area of the last day."""
    limits = case.limits
    share = patch.area_cm2 / wall_cm2(case)
    if patch.area_cm2 < limits.dead_patch_cm2 or share > limits.island_share:
        return None
    if may_be_thin(case) and not is_compact(case, patch):
        return None
    still = _standstill(case, patch)
    if not still.proves(limits) or (may_be_thin(case) and not still.is_sure(limits)):
        return None
    rest = min(case.last.coverage.percent / (1 - share), 100.0)
    late = min(limits.dead_patch_rest_percent, case.profile.ready_percent)
    if rest < late and not beyond_run(case, age_days(case)):
        return None
    lasts = still.days >= limits.dead_patch_out_days and still.is_sure(limits)
    out = lasts and not may_be_thin(case)
    return Finding.of(
        "dead_patch",
        "no-go" if out else "check",
        day=case.last.day,
        patch=patch.patch,
        days=still.days,
        rest_percent=rest,
        **_size_and_place(patch),
    )


@dataclass(frozen=True)
class _Standstill:
    """For how long an area has not been closing: days, sightings and days with a photo.

    ``whole`` counts the sightings that the edge of the view did not cut: of a cut area each turn of
    the jar shows more or less, which hides that it closes. ``left`` is the share of its first area
    that is still bare, ``area_cm2`` that on the last day.
    """

    days: int
    sightings: int
    whole: int
    photographed: int
    left: float
    area_cm2: float

    def proves(self, limits: VerdictSettings) -> bool:
        """Say whether that is long, and seen often enough."""
        return (
            self.days >= limits.dead_patch_days
            and self.sightings >= limits.dead_patch_sightings
            and self.sightings >= limits.dead_patch_seen_share * self.photographed
            and self.left >= limits.dead_patch_left_share
        )

    def is_sure(self, limits: VerdictSettings) -> bool:
        """Say whether no turn of the jar feigns it: seen whole, or for long, or large."""
        return (
            self.whole >= limits.dead_patch_whole
            or self.days >= limits.dead_patch_cut_days
            or self.area_cm2 >= limits.dead_patch_cut_cm2
        )


def _standstill(case: Case, patch: TrackedPatch) -> _Standstill:
    """Return for how long a patch has not been closing.

    A day's trend compares it with the days before, so the time starts at the sighting before the
    first of the unbroken run of ``still`` or ``growing`` days.
    """
    sightings = [(d.day, p) for d in case.days for p in d.patches if p.patch == patch.patch]
    since, count, whole, area = sightings[-1][0], 0, 0, patch.area_cm2
    for day, seen in reversed(sightings):
        since, count, area = day, count + 1, seen.area_cm2
        whole += not is_cut(case, seen)
        if seen.trend not in ("still", "growing"):
            break
    return _Standstill(
        days=(case.last.day - since).days,
        sightings=count,
        whole=whole,
        photographed=sum(d.day >= since for d in case.days),
        left=patch.area_cm2 / max(area, 1e-6),
        area_cm2=patch.area_cm2,
    )


# --------------------------------------------------------------------------- 6., 7. slow jars
def _stall(case: Case) -> list[Finding]:
    """Take over the stall that the growth stage has found.

    A jar that was never seen to start is not given up before its species' longest run is over.
    """
    if case.growth.stall is None:
        return []
    waits = case.growth.stall.word == "never_started" and not beyond_run(case, age_days(case))
    full = case.profile.ready_percent
    if is_unnamed(case):  # it may be one that stays thin, and full so
        full = min(full, case.limits.thin_below_percent)
    near = full - case.limits.near_ready_points
    long = case.growth.stalled_days >= case.limits.long_stall_days
    over = long and not waits and case.last.coverage.percent < near
    verdict: VerdictWord = "no-go" if over else "check"
    return [replace(case.growth.stall, verdict=verdict, day=case.last.day)]


def _late(case: Case) -> list[Finding]:
    """Ask for a look at a jar that should have been ready long ago."""
    age = age_days(case)
    percent, most = case.last.coverage.percent, case.profile.spawn_run_days[1]
    if percent >= case.profile.ready_percent or not beyond_run(case, age, case.limits.late_factor):
        return []
    return [Finding.of("late", "check", age_days=age, percent=percent, most_days=most)]


# --------------------------------------------------------------------------- 8. pins
def _pins(case: Case) -> list[Finding]:
    """Ask for a look at what looks like pins on the last two days; one photo is easily fooled."""
    areas = [area_and_confidence(day, "pins")[0] for day in case.days[-2:]]
    if len(areas) < 2 or min(areas) == 0.0:
        return []
    return [Finding.of("pins", "check", day=case.last.day, area_cm2=areas[-1])]


# --------------------------------------------------------------------------- 9. old photos
def _old_photo(case: Case) -> list[Finding]:
    """Doubt what was seen too long ago."""
    most, age = case.limits.old_photo_days, (case.today - case.last.day).days
    if age <= most:
        return []
    last = case.last.day
    return [Finding.of("old_photo", "check", age_days=age, last=last, most_days=most)]


def _when_seen(rule: Callable[[Case], list[Finding]]) -> Callable[[Case], list[Finding]]:
    """Run a rule only where there is a day to judge."""
    return lambda case: rule(case) if case.days else []


def _of_spawn(rule: Callable[[Case], list[Finding]]) -> Callable[[Case], list[Finding]]:
    """Run a rule only on jars that are not in fruiting conditions: those are meant to pin."""
    return lambda case: [] if case.in_fruiting else rule(case)


RULES: tuple[Callable[[Case], list[Finding]], ...] = (
    _photo,
    *map(_when_seen, (_off_colour, wet, _dead_patch)),
    *map(_of_spawn, map(_when_seen, (fast_front, _stall, _late, _pins, _old_photo))),
    *SURFACE_RULES,
)
