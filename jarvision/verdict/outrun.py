"""White that runs faster than its species can: young green mould is white."""

from __future__ import annotations

from jarvision.base.days import days_after
from jarvision.records import Finding, JarDay
from jarvision.verdict.evidence import Case


def fast_front(case: Case) -> list[Finding]:
    """Ask for a look where the white ran faster than the species can, lately.

    A mould runs on as long as it has room. Where a later day with room left shows no front faster
    than the species', the fast one was a start at many places at once, or misread.
    """
    since = days_after(case.last.day, -case.limits.fast_front_days)
    fast = [
        (day.day, day.front)
        for number, day in enumerate(case.days)
        if day.day >= since and day.front is not None
        if day.front.mm_per_day >= _suspect_mm_per_day(case, day) and not _slowed(case, number)
    ]
    if not fast:
        return []
    day, front = max(fast, key=lambda f: f[1].mm_per_day)
    return [
        Finding.of(
            "fast_front",
            "check",
            day=day,
            seen_on=day,
            area_cm2=front.area_cm2,
            mm_per_day=front.mm_per_day,
            angle_deg=front.angle_deg,
            height_mm=front.height_mm,
            species_mm_per_day=case.profile.front_mm_per_day[1],
        )
    ]


def _suspect_mm_per_day(case: Case, day: JarDay) -> float:
    """Return from which speed on a front is suspect.

    Where it is not known how far the jar was turned, a careless turn adds to the speed.
    """
    fronts, top = case.front_limits, case.profile.front_mm_per_day[1]
    least = min(fronts.fastest_mm_per_day, fronts.species_factor * top)
    suspect = max(least, fronts.least_factor * top)
    known = day.turn is not None and day.turn.found
    return suspect if known else suspect + fronts.unturned_mm_per_day


def _slowed(case: Case, number: int) -> bool:
    """Say whether the white ran no faster than the species on a later day with room left."""
    most = case.profile.front_mm_per_day[1]
    return any(
        day.front is not None
        and day.front.mm_per_day <= most
        and day.coverage.percent <= case.front_limits.room_percent
        for day in case.days[number + 1 :]
    )
