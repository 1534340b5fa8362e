"""Say go, overdue or wait, of a jar against which no rule has found anything."""

from __future__ import annotations

from datetime import date

from jarvision.records import TrackedPatch
from jarvision.records.wall import radius_mm
from jarvision.verdict.evidence import Case, Finding, is_thin


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
    if largest >= case.limits.bare_check_cm2 and not is_thin(case):
        text = f"Ready and rested, but an area of {largest:.1f} cm2 is still bare."
        found.append(Finding("check", text))
    return found + _vanished(case)


def _vanished(case: Case) -> list[Finding]:
    """Doubt a jar in which an area that stood still is gone sooner than the front could close it.

    Then the jar was turned, or the photos do not agree: the area may stand on the other side. Its
    place seen again without it ends the doubt.
    """
    seen: dict[str, list[tuple[int, TrackedPatch]]] = {}
    for number, day in enumerate(case.days):
        for patch in day.patches:
            if patch.kind == "bare":
                seen.setdefault(patch.patch, []).append((number, patch))
    return [
        finding
        for name, sightings in seen.items()
        if name not in case.last.cleared and (finding := _gone_too_soon(case, name, sightings))
    ]


def _gone_too_soon(
    case: Case, name: str, sightings: list[tuple[int, TrackedPatch]]
) -> Finding | None:
    """Compare an area's last sighting at which it stood still with the next day that has a photo.

    ``sightings``: number of the day and the area, in order.
    """
    limits = case.limits
    still = [
        (number, patch)
        for number, patch in sightings[limits.dead_patch_sightings - 1 :]
        if patch.trend in ("still", "growing") and patch.area_cm2 >= limits.dead_patch_cm2
    ]
    if not still or still[-1][0] + 1 == len(case.days):
        return None
    number, patch = still[-1]
    before, after = case.days[number], case.days[number + 1]
    left = sum(p.area_cm2 for p in after.patches if p.patch == name)
    days = (after.day - before.day).days
    if radius_mm(patch.area_cm2) - radius_mm(left) <= case.profile.front_mm_per_day[1] * days:
        return None
    text = (
        f"The bare area {name} of {patch.area_cm2:.1f} cm2 was last seen on {before.day} and was "
        f"gone {days} day{'s' if days > 1 else ''} later, sooner than it can close: was the jar "
        "turned? Show the same side again."
    )
    return Finding("check", text, "turned", case.last.day)


def _outlook(case: Case) -> str:
    """Say when the jar will be ready, as far as it can be told."""
    growth = case.growth
    if growth.ready_date is None:
        return ""
    early, late = growth.ready_low or "?", growth.ready_high or "not known"
    return f"Ready about {growth.ready_date} (80 % interval {early} to {late})."
