"""Rules on the surface of a jar, seen from above: mould as on the wall, and whether enough is seen.

Places of two photos from above are not the same, since the camera goes round the jar: areas are
followed by their colour.
"""

from __future__ import annotations

from collections.abc import Callable

from jarvision.records import OFF_COLOUR_KINDS, Finding, Top, TopDay
from jarvision.verdict.evidence import Case


def surface_mould(case: Case) -> list[Finding]:
    """Find growth of off-colours on the surface that are not normal for the species.

    As on the wall, one photo alone ends the jar only where it shows a large area, else a second
    photo must show it, too; a small one is no doubt any more once so many later days with a photo
    from above did not show it as a spot on the wall needs.
    """
    kinds = (kind for kind in OFF_COLOUR_KINDS if kind not in case.profile.normal_kinds)
    found = (_mould(case, kind) for kind in kinds)
    return [finding for finding in found if finding]


def _mould(case: Case, kind: str) -> Finding | None:
    limits = case.limits
    seen = [d for d in case.tops if d.top.area_cm2(kind) >= limits.off_colour_check_cm2]
    if not seen:
        return None
    sure = [d for d in seen if _is_sure(case, d.top, kind)]
    photos = sum(_photos_showing(case, d, kind) for d in sure)
    large = [d for d in sure if d.top.area_cm2(kind) >= limits.off_colour_alone_cm2]
    if photos > 1 or case.tops[-1] in large:
        return Finding.of(
            "surface_mould",
            "no-go",
            day=sure[-1].day,
            kind=kind,
            area_cm2=sure[-1].top.area_cm2(kind),
            seen_on=sure[-1].day,
            photos=photos,
            out_cm2=limits.off_colour_no_go_cm2,
        )
    later = sum(d.day > seen[-1].day for d in case.tops)
    if later >= limits.spot_twin_days and not large:
        return None
    most = max(seen, key=lambda d: d.top.area_cm2(kind))
    return Finding.of(
        "perhaps_surface_mould",
        "check",
        day=most.day,
        kind=kind,
        area_cm2=most.top.area_cm2(kind),
        seen_on=most.day,
        seen_days=len(seen),
        photo_days=len(case.tops),
    )


def _is_sure(case: Case, top: Top, kind: str) -> bool:
    """Whether a photo shows enough of it, and is confident of it."""
    own = [p for p in top.patches if p.kind == kind]
    sure = max((p.confidence for p in own), default=0.0) >= case.limits.sure_confidence
    return sure and top.area_cm2(kind) >= case.limits.off_colour_no_go_cm2


def _photos_showing(case: Case, day: TopDay, kind: str) -> int:
    return max(sum(_is_sure(case, top, kind) for top in day.each), 1)


def surface_hidden(case: Case) -> list[Finding]:
    """Doubt a last photo from above that shows too little of the surface."""
    seen, needed = case.tops[-1].top.seen_percent, case.limits.min_seen_for_go_percent
    if seen >= needed:
        return []
    day = case.tops[-1].day
    return [
        Finding.of("surface_hidden", "check", day=day, seen_percent=seen, needed_percent=needed)
    ]


def old_top(case: Case) -> list[Finding]:
    """Doubt what was seen too long ago, of a jar of which nothing newer shows the wall either."""
    most, last = case.limits.old_photo_days, case.last_seen
    age = (case.today - last).days
    wall_tells = bool(case.days) and not case.in_fruiting
    if age <= most or wall_tells:
        return []
    return [Finding.of("old_top", "check", age_days=age, last=last, most_days=most)]


def _from_above(rule: Callable[[Case], list[Finding]]) -> Callable[[Case], list[Finding]]:
    """Run a rule only where there is a photo from above to judge."""
    return lambda case: rule(case) if case.tops else []


SURFACE_RULES: tuple[Callable[[Case], list[Finding]], ...] = tuple(
    map(_from_above, (surface_mould, surface_hidden, old_top))
)
