"""Bare areas that stood still and are gone: sooner than they can close, so the jar was turned."""

from __future__ import annotations

import math
from collections.abc import Sequence

from jarvision.records import Finding, TrackedPatch
from jarvision.records.wall import radius_mm
from jarvision.verdict.evidence import (
    Case,
    is_compact,
    is_cut,
    is_round,
    is_thin,
    is_white,
    wall_cm2,
)

Sightings = list[tuple[int, TrackedPatch]]
"""Number of the day, and the area on it, in order."""


def vanished(case: Case) -> list[Finding]:
    """Doubt a jar in which an area that stood still is gone sooner than the front could close it.

    Then the jar was turned, or the photos do not agree: the area may stand on the other side. Its
    place seen again without it ends the doubt, and so do days on which nothing is bare, but for an
    area that would have ended the jar.
    """
    seen: dict[str, Sightings] = {}
    for number, day in enumerate(case.days):
        for patch in day.patches:
            if patch.kind == "bare":
                seen.setdefault(patch.patch, []).append((number, patch))
    known = {*case.last.cleared, *case.last.parted}
    return [
        finding
        for name, sightings in seen.items()
        if name not in known and (finding := _gone_too_soon(case, name, sightings))
    ]


def _gone_too_soon(case: Case, name: str, sightings: Sightings) -> Finding | None:
    """Compare an area's last sighting at which it stood still with the next day that has a photo.

    Not where it was no island: so large that growth had just not come there yet, a gap in the lace
    of a thin species, or of before a shake. One that was dead may close slowly, if at all, but is
    not gone by the next photo.
    """
    limits = case.limits
    still = [
        (number, patch)
        for number, patch in sightings[limits.dead_patch_sightings - 1 :]
        if patch.trend in ("still", "growing") and _is_island(case, patch)
    ]
    if not still or still[-1][0] + 1 == len(case.days):
        return None
    number, patch = still[-1]
    before, after = case.days[number], case.days[number + 1]
    if patch.area_cm2 > limits.island_share * wall_cm2(case):
        return None
    if any(day > before.day for day in case.shaken):
        return None
    stood = _stood_dead(case, sightings, number)
    dead = stood >= limits.dead_patch_days
    forgotten = limits.dead_forgotten_days if stood else limits.forgotten_days
    if stood < limits.dead_patch_out_days and _white_days(case, number) >= forgotten:
        return None
    left = sum(p.area_cm2 for p in after.patches if _lies_in(p, patch, name, case.wall_radius_mm))
    days = (after.day - before.day).days
    slowest, fastest = case.profile.front_mm_per_day
    front = (slowest if left else 0.0) * days if dead else fastest * days
    if radius_mm(patch.area_cm2) - radius_mm(left) <= front:
        return None
    return Finding.of(
        "vanished",
        "check",
        day=case.last.day,
        patch=name,
        area_cm2=patch.area_cm2,
        last_seen=before.day,
        days=days,
    )


def _is_island(case: Case, patch: TrackedPatch) -> bool:
    compact = is_compact(case, patch) if is_thin(case) else is_round(case, patch)
    return compact and patch.area_cm2 >= case.limits.dead_patch_cm2


def _was_whole(case: Case, sightings: Sightings) -> bool:
    """Say whether an area was ever seen whole, as large as one that ends a jar."""
    least_cm2 = case.limits.dead_patch_cm2
    return any(p.area_cm2 >= least_cm2 and not is_cut(case, p) for _, p in sightings)


def _lies_in(later: TrackedPatch, patch: TrackedPatch, name: str, wall_radius_mm: float) -> bool:
    """Say whether a later bare area is what is left of one: of its name, or a part of its place."""
    if later.kind != "bare" or later.patch == name:
        return later.patch == name
    turn_deg = (later.angle_deg - patch.angle_deg + 180.0) % 360.0 - 180.0
    away_mm = math.hypot(math.radians(turn_deg) * wall_radius_mm, later.height_mm - patch.height_mm)
    return away_mm <= radius_mm(patch.area_cm2)


def _stood_dead(case: Case, sightings: Sightings, last: int) -> int:
    """Return for how many days an area had stood still up to one, the rest being full; else 0.

    It stood still where its trend says so, and where it was no larger before. Of an area of a thin
    species that the edge of the view always cut that takes longer to tell: turns hide that it
    closes.
    """
    limits, day = case.limits, case.days[last].day
    until = [(number, patch) for number, patch in sightings if number <= last]
    area = until[-1][1].area_cm2
    if case.days[last].coverage.percent < limits.dead_patch_rest_percent * (
        1 - area / wall_cm2(case)
    ):
        return 0
    run = [p.trend in ("still", "growing") for _, p in until]
    by_trend = until[max(_run_from(run) - 1, 0) :]  # a trend compares with the sighting before
    by_area = until[
        _run_from([area >= limits.dead_patch_left_share * p.area_cm2 for _, p in until]) :
    ]
    stood = max((by_trend, by_area), key=len)
    if len(stood) < limits.dead_patch_sightings:
        return 0
    days = (day - case.days[stood[0][0]].day).days
    may_turn = is_thin(case) and not _was_whole(case, until)
    return 0 if may_turn and days < limits.dead_patch_cut_days else days


def _run_from(holds: Sequence[bool]) -> int:
    """Return from where on all hold; the length where the last does not."""
    return next((n + 1 for n in reversed(range(len(holds))) if not holds[n]), 0)


def _white_days(case: Case, number: int) -> int:
    """Return on how many days after one the wall was full, with no bare area on it."""
    return sum(is_white(case, day) for day in case.days[number + 1 :])
