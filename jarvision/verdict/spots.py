"""Small off-colour spots that one photo alone showed: when they are no doubt any more.

Mould does not heal, but a photo may be fooled. A spot that one photo showed, another one of the
same day and side did not, and the next days do not show at its place, was none. The other photo of
its own day is needed: a white wall does not show that the jar was turned since, and a mould that
was turned away the day after is not seen either. Two such spots in one jar are too many for chance,
and so is a large one.
"""

from __future__ import annotations

from collections.abc import Sequence

from jarvision.records import Finding, JarDay, TrackedPatch
from jarvision.verdict.evidence import Case, is_off_colour, photos_showing, twin_without

SpotSightings = Sequence[tuple[JarDay, TrackedPatch]]


def is_gone(case: Case, name: str, seen: SpotSightings) -> bool:
    """Say whether a spot was no growth: one photo showed it, and enough later ones do not.

    Parameters
    ----------
    seen
        All sightings of the spot, the latest last.
    """
    limits = case.limits
    if len(seen) != 1 or photos_showing(*seen[0]) > 1 or _off_colours(case) != {name}:
        return False
    day, patch = seen[0]
    if patch.area_cm2 >= limits.off_colour_alone_cm2:
        return False
    absent = case.last.absent.get(name, 0)
    return absent >= limits.spot_twin_days and twin_without(day, patch)


def gone_spots(case: Case) -> list[Finding]:
    """Tell spots that are no doubt any more, so that the jar is looked over before it is used."""
    least = case.limits.off_colour_check_cm2
    sightings: dict[str, list[tuple[JarDay, TrackedPatch]]] = {}
    for day in case.days:
        for patch in day.patches:
            if is_off_colour(case, patch) and patch.area_cm2 >= least:
                sightings.setdefault(patch.patch, []).append((day, patch))
    return [
        Finding.of(
            "spot_gone",
            day=day.day,
            seen_on=day.day,
            kind=patch.kind,
            area_cm2=patch.area_cm2,
            angle_deg=patch.angle_deg,
            height_mm=patch.height_mm,
            absent_days=case.last.absent[name],
        )
        for name, seen in sightings.items()
        if is_gone(case, name, seen)
        for day, patch in seen
    ]


def _off_colours(case: Case) -> set[str]:
    """Names of all areas of an odd colour that the jar ever showed."""
    return {p.patch for day in case.days for p in day.patches if is_off_colour(case, p)}
