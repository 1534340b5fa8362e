"""What the rules of the verdict look at."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from datetime import date

from jarvision.records import (
    HALF_VIEW_DEG,
    OFF_COLOUR_KINDS,
    Finding,
    Fruiting,
    Growth,
    JarDay,
    JarHistory,
    Reading,
    TopDay,
    TrackedPatch,
    VerdictWord,
)
from jarvision.records.wall import radius_mm
from jarvision.register.looks import SeenFine
from jarvision.register.species import SpeciesProfile
from jarvision.settings.history import FrontSettings
from jarvision.settings.verdict import VerdictSettings


@dataclass(frozen=True)
class Case:
    """All that a rule may look at.

    ``days`` are those up to ``today``, ``shaken`` those of them on which the jar was shaken.
    ``looks``: what a person found fine about the jar. ``tops`` are its days from above up to
    ``today``, ``fruiting`` is how far it is by them; None where it is not followed from above.
    """

    history: JarHistory
    days: tuple[JarDay, ...]
    growth: Growth
    profile: SpeciesProfile
    today: date
    limits: VerdictSettings
    wall_radius_mm: float
    front_limits: FrontSettings
    shaken: tuple[date, ...] = ()
    looks: tuple[SeenFine, ...] = ()
    tops: tuple[TopDay, ...] = ()
    fruiting: Fruiting | None = None

    @property
    def in_fruiting(self) -> bool:
        """Whether it is in fruiting conditions: it is meant to pin, and is spawn no more."""
        return self.fruiting is not None and self.fruiting.has_begun

    @property
    def last_seen(self) -> date:
        """The last day with a usable photo of any side; only asked where there is one."""
        wall, above = (day.day for day in self.days), (top.day for top in self.tops)
        return max((*wall, *above))

    @property
    def last(self) -> JarDay:
        """The last day with a usable photo; only asked where there is one."""
        return self.days[-1]


def area_and_confidence(day: JarDay, kind: str) -> tuple[float, float]:
    """Return a kind's summed area that day (of the pooled patches) and its best confidence."""
    area = sum(p.area_cm2 for p in day.patches if p.kind == kind)
    confidence = max(
        (p.confidence for r in day.readings for p in r.patches if p.kind == kind), default=0.0
    )
    return area, confidence


def ignored_date(reading: Reading, verdict: VerdictWord | None = None) -> list[Finding]:
    """Tell a day in EXIF that could not be used, and what is used in its place."""
    if reading.ignored_day is None:
        return []
    day = reading.taken_at.date()
    return [
        Finding.of(
            "date_ignored",
            verdict,
            day=day,
            photo=reading.photo,
            photo_day=day,
            exif_day=reading.ignored_day,
            source="name" if reading.time_source == "name" else "own time",
        )
    ]


def is_off_colour(case: Case, patch: TrackedPatch) -> bool:
    """Say whether an area has a colour that is not normal for the species."""
    return patch.kind in OFF_COLOUR_KINDS and patch.kind not in case.profile.normal_kinds


def photos_showing(day: JarDay, patch: TrackedPatch) -> int:
    """Return how many photos of the day show a patch of this kind; views differ, so at least 1."""
    same = Counter(r.view for r in day.readings if any(p.kind == patch.kind for p in r.patches))
    return max(same.values(), default=1)


def twin_without(day: JarDay, patch: TrackedPatch) -> bool:
    """Say whether another photo of that day and side does not show a patch of this kind."""
    shows = {r.view: False for r in day.readings}
    for reading in day.readings:
        shows[reading.view] |= any(p.kind == patch.kind for p in reading.patches)
    return sum(shows[r.view] for r in day.readings) > photos_showing(day, patch)


def covered(day: JarDay, percent: float) -> bool:
    """Say whether a day is covered so far by its own photos, and by the days together.

    The days together may lift a low reading, or doubt a high one: no verdict gets softer by them.
    """
    return min(day.coverage.percent, day.level.percent) >= percent


def surely_covered(day: JarDay, percent: float, *, margin: float) -> bool:
    """Say whether a day is covered so far, and its lower bound within ``margin`` points of that."""
    return covered(day, percent) and day.coverage.low >= percent - margin


def is_unnamed(case: Case) -> bool:
    """Say whether the species is not known, or has no profile."""
    return not case.profile.latin


def full_since(case: Case) -> date | None:
    """Return since when the wall has been full, with no day on which it was not; else None."""
    since = None
    for day in case.days:
        full = day.level.percent >= case.limits.stain_full_percent
        since = (since or day.day) if full else None
    return since


def has_long_been_full(case: Case) -> bool:
    """Say whether the wall has been full for so long that its growth is no longer young."""
    since = full_since(case)
    return since is not None and (case.last.day - since).days >= case.limits.stain_old_days


def wall_cm2(case: Case) -> float:
    """Return the area of the filled wall in view."""
    arc_mm = math.radians(2 * HALF_VIEW_DEG) * case.wall_radius_mm
    fill_mm = case.last.fill_height_mm
    return arc_mm * (fill_mm if math.isfinite(fill_mm) else 100.0) / 100.0


def is_thin(case: Case) -> bool:
    """Say whether the species grows so thin that gaps are part of its ready look."""
    return case.profile.ready_percent < case.limits.thin_below_percent


def may_be_thin(case: Case) -> bool:
    """Say whether the species is thin, or not known and then perhaps thin."""
    return is_thin(case) or is_unnamed(case)


def is_round(case: Case, patch: TrackedPatch) -> bool:
    """Say whether an area is round enough for an island; without an outline it counts as one."""
    return patch.round_share is None or patch.round_share >= case.limits.island_round_share


def is_compact(case: Case, patch: TrackedPatch) -> bool:
    """Say whether an area is an island, not a gap in lace; without an outline it counts as one.

    An island is round and large at once; one that the edge of the view may have cut is only round,
    but where it was seen whole on another day, and was a gap then.
    """
    if not is_round(case, patch):
        return False
    return _has_core(case, patch) or (is_cut(case, patch) and not _was_gap(case, patch))


def _has_core(case: Case, patch: TrackedPatch) -> bool:
    share = patch.round_share
    return share is None or patch.area_cm2 * share >= case.limits.island_core_cm2


def _was_gap(case: Case, patch: TrackedPatch) -> bool:
    """Say whether a day showed an area whole, hardly smaller, and too small for an island."""
    least_cm2 = case.limits.dead_patch_left_share * patch.area_cm2
    return any(
        not is_cut(case, seen) and seen.area_cm2 >= least_cm2 and not _has_core(case, seen)
        for day in case.days
        for seen in day.patches
        if seen.patch == patch.patch
    )


def keeps_from_go(case: Case, patch: TrackedPatch) -> bool:
    """Say whether a bare area is more than the ragged edge, or the lace, of a ready jar."""
    if is_thin(case):
        large = patch.area_cm2 >= case.limits.dead_patch_cm2 and is_compact(case, patch)
    else:
        large = patch.area_cm2 >= case.limits.bare_check_cm2
    return large and patch.kind == "bare"


def is_white(case: Case, day: JarDay) -> bool:
    """Say whether the wall was full on a day, by the days together, with no bare area on it."""
    full = day.level.percent >= case.profile.ready_percent
    return full and not any(keeps_from_go(case, p) for p in day.patches)


def is_cut(case: Case, patch: TrackedPatch) -> bool:
    """Say whether an area may reach beyond the wall in view."""
    half_deg = math.degrees(radius_mm(patch.area_cm2) / case.wall_radius_mm)
    return abs(patch.angle_deg) + half_deg >= HALF_VIEW_DEG - case.limits.island_edge_deg


def age_days(case: Case) -> int | None:
    """Return the jar's age on the last day, None where its start is not known."""
    started = case.history.entry.started
    return None if started is None else (case.last.day - started).days


def beyond_run(case: Case, age: int | None, factor: float = 1.0) -> bool:
    """Say whether a jar is older than ``factor`` times its species' longest spawn run."""
    return age is not None and age > factor * case.profile.spawn_run_days[1]
