"""Say go, overdue or wait, of a jar against which no rule has found anything.

Ready, rested and sure -> go; its last reading far below the ones before, past its keeping time,
never seen growing, a newer photo refused, a large bare area left or one that vanished -> check;
else, also while a bare area is still closing or where it was shaken since its last photo -> wait.
"""

from __future__ import annotations

from datetime import date

from jarvision.history.shakes import shaken_since
from jarvision.records import Finding, TrackedPatch
from jarvision.records.wording import Fact
from jarvision.verdict.evidence import (
    Case,
    covered,
    keeps_from_go,
    surely_covered,
    twin_without,
)
from jarvision.verdict.settled import asks, without_settled
from jarvision.verdict.vanished import vanished


def ripeness(case: Case) -> list[Finding]:
    """Say go, overdue or wait, of a jar against which nothing was found."""
    cover, since = case.last.coverage, case.growth.ready_date
    shaken = shaken_since(case.history, case.days, today=case.today)
    if shaken is not None:
        last = case.last.day
        return [Finding.of("shaken_since", "wait", day=last, shaken_on=shaken, last=last)]
    if since is None or since > case.last.day:
        return [_growing(case)]
    if cover.percent < case.profile.ready_percent:
        return [_fallen(case, since)]
    keeps = case.profile.consolidation_days + case.profile.keeps_days
    ready_days = (case.today - since).days
    if ready_days <= keeps:
        return _rested(case, since)
    overdue = Finding.of(
        "overdue",
        "check",
        day=case.last.day,
        since=since,
        ready_days=ready_days,
        keeps_days=keeps,
    )
    told = without_settled(case, [overdue])
    return told if asks(told) else [*told, *_rested(case, since)]


def _growing(case: Case) -> Finding:
    """Say wait, and when the jar will be ready, as far as it can be told."""
    growth = case.growth
    if growth.ready_date is None:
        word = "growing_undated"
    else:
        word = "growing" if growth.ready_date > case.last.day else "nearly_ready"
    return Finding.of(
        word,
        "wait",
        day=case.last.day,
        ready_percent=case.profile.ready_percent,
        ready=growth.ready_date,
        ready_low=growth.ready_low,
        ready_high=growth.ready_high,
        **_covered(case),
    )


def _fallen(case: Case, since: date) -> Finding:
    """Ask for a look at a ready jar whose last reading is too low to be believed, or a bad sign."""
    return Finding.of(
        "reading_fell",
        "check",
        day=case.last.day,
        since=since,
        ready_percent=case.profile.ready_percent,
        **_covered(case),
    )


def _rested(case: Case, since: date) -> list[Finding]:
    """Say go of a jar that is ready, rested and sure, and against which no doubt is left."""
    rested, rest = (case.last.day - since).days, case.profile.consolidation_days
    facts = {**_covered(case), "since": since, "shown_since": max(since, case.days[0].day)}
    if rested < rest:
        return [
            Finding.of(
                "resting", "wait", day=case.last.day, rested_days=rested, rest_days=rest, **facts
            )
        ]
    ready, margin = case.profile.ready_percent, case.limits.sure_margin_points
    later = [d for d in case.days if d.day >= since]
    sure = sum(surely_covered(d, ready, margin=margin) for d in later)
    if not covered(case.last, ready) or sure < case.limits.sure_days:
        told = without_settled(case, _never_seen_growing(case))
        not_sure = Finding.of(
            "not_sure",
            "wait",
            day=case.last.day,
            ready_percent=ready,
            needed_percent=ready - margin,
            sure_days=case.limits.sure_days,
            so_far=sure,
            **facts,
        )
        return told if asks(told) else [*told, not_sure]
    word = "spawn_ready" if case.history.entry.kind == "spawn" else "fruiting_ready"
    told = without_settled(case, _last_doubts(case))
    go = Finding.of(word, "go", day=case.last.day, rested_days=rested, **facts)
    return told if asks(told) else [*told, go]


def _covered(case: Case) -> dict[str, Fact | None]:
    cover = case.last.coverage
    ends = ("low", "high") if cover.is_told else ("least", "most")
    return {"percent": cover.percent, **dict(zip(ends, (cover.low, cover.high), strict=True))}


def _last_doubts(case: Case) -> list[Finding]:
    """Doubt a jar that would be go: a newer photo was refused, or an area is still bare."""
    found = []
    refused = max((r.taken_at.date() for r in case.history.refused), default=date.min)
    if case.last.day < refused <= case.today:
        found.append(Finding.of("newer_refused", "check", last=case.last.day, refused_on=refused))
    large = [p for p in case.last.patches if _keeps_open(case, p)]
    if large:
        area, closing = max(p.area_cm2 for p in large), all(p.trend == "closing" for p in large)
        open_still = Finding.of("bare_left", "check", area_cm2=area)
        closes = Finding.of("still_closing", "wait", area_cm2=area)
        found.append(closes if closing else open_still)
    return found + _never_seen_growing(case) + vanished(case)


def _keeps_open(case: Case, patch: TrackedPatch) -> bool:
    """Say whether a bare area stands against go.

    A new one that another photo of the day does not show is misread; a small one that is closing
    is not dead.
    """
    if patch.trend == "new" and twin_without(case.last, patch):
        return False
    if patch.trend == "closing" and patch.area_cm2 < case.limits.closing_cm2:
        return False
    return keeps_from_go(case, patch)


def _never_seen_growing(case: Case) -> list[Finding]:
    """Doubt a jar that was as white on its first photo as it is now: rice is white, too.

    That it was seen to grow settles it, as does a normal stain of its species, which only old
    growth has. One day that was misread as bare is not seen growth, so the days together must say
    so, too.
    """
    limits, first = case.limits, case.days[0]
    rise = case.last.coverage.low - max(
        min(day.coverage.high for day in case.days), min(day.level.high for day in case.days)
    )
    stain = sum(p.area_cm2 for p in case.last.patches if p.kind == "stain")
    stained = "stain" in case.profile.normal_kinds and stain >= limits.stain_note_cm2
    if rise >= limits.seen_growing_points or stained:
        return []
    return [
        Finding.of(
            "never_seen_growing",
            "check",
            day=case.last.day,
            percent=first.coverage.percent,
            first=first.day,
            rise_points=limits.seen_growing_points,
        )
    ]
