"""What the stage of a fruiting jar asks for: a finding with its numbers, dates and verdict.

What is to be done by hand (moisten, take the hood off, cut) is a ``check``: a person looks first,
and then acts. Everything else waits.
"""

from __future__ import annotations

from datetime import date
from typing import Final

from jarvision.base.days import days_after
from jarvision.records import Finding, Fruiting, JarHistory, SpeciesProfile, Top, VerdictWord
from jarvision.records.wording import Fact
from jarvision.settings.fruiting import FruitingSettings
from jarvision.verdict.evidence import Case
from jarvision.verdict.settled import asks, without_settled

STAGE_WORDS: Final = "stage_"
"""How the words of these findings begin."""


def tells_stage(finding: Finding) -> bool:
    """Whether a finding tells the stage of a fruiting jar."""
    return finding.word.startswith(STAGE_WORDS)


def stage_findings(case: Case, settings: FruitingSettings) -> list[Finding]:
    """What the stage asks for, of a jar that is followed from above.

    One that somebody has found fine waits, and that it was found fine is told. Spawn has no such
    stage: from above alone nothing can be said of it.
    """
    if case.fruiting is None:
        return [Finding.of("only_top", "check", day=case.tops[-1].day)]
    found = stage_finding(
        case.history, case.fruiting, case.profile, today=case.today, settings=settings
    )
    told = without_settled(case, [found])
    return told if asks(told) else [*told, _waiting(found)]


def _waiting(finding: Finding) -> Finding:
    facts: dict[str, Fact | None] = {**finding.numbers, **finding.dates, **finding.names}
    return Finding.of(finding.word, "wait", day=finding.day, **facts)


def stage_finding(
    history: JarHistory,
    fruiting: Fruiting,
    profile: SpeciesProfile,
    *,
    today: date,
    settings: FruitingSettings,
) -> Finding:
    """Tell the stage of today, with what it asks for."""
    seen = [top for top in history.tops if top.day <= today][-1]
    word, verdict = _asked(history, fruiting, seen.top, today)
    return Finding.of(
        word,
        verdict,
        day=seen.day,
        seen_on=seen.day,
        jar=history.entry.jar,
        rest_days=profile.consolidation_days,
        flush=fruiting.flush,
        pins_since=fruiting.pins_since,
        unhooded=max((d for d in history.told("unhooded") if d <= today), default=None),
        **_surface(seen.top),
        **_fruit(seen.top),
        **_cut(fruiting, today),
        **_place(profile, settings),
        **_rest(fruiting, settings),
    )


def _asked(
    history: JarHistory, fruiting: Fruiting, top: Top, today: date
) -> tuple[str, VerdictWord]:
    """The word of the finding, and its verdict."""
    stage = fruiting.stage
    if stage == "wet":
        standing = top.droplets is not None and top.droplets.moisture == "standing water"
        return ("stage_standing", "check") if standing else ("stage_wet", "wait")
    if stage == "hood-off":
        off = any(
            (fruiting.pins_since or today) <= day <= today or fruiting.flush > 1
            for day in history.told("unhooded")
        )
        return ("stage_unhooded", "wait") if off else ("stage_hood", "check")
    asked: dict[str, tuple[str, VerdictWord]] = {
        "recovering": ("stage_recovering", "wait"),
        "ready": ("stage_ready", "check"),
        "dry": ("stage_dry", "check"),
        "moist": ("stage_moist", "wait"),
        "pinning": ("stage_pinning", "wait"),
        "growing": ("stage_growing", "wait"),
        "harvest-soon": ("stage_soon", "wait"),
        "harvest-today": ("stage_harvest", "check"),
        "resting": ("stage_resting", "wait"),
    }
    return asked[stage]


# --------------------------------------------------------------------------- facts
def _surface(top: Top) -> dict[str, Fact | None]:
    cover, drops = top.coverage, top.droplets
    return {
        "percent": cover.percent,
        "low": cover.low,
        "high": cover.high,
        "moisture": drops.moisture if drops else None,
        "chance_percent": 100.0 * drops.chance if drops else 0.0,
    }


def _fruit(top: Top) -> dict[str, Fact | None]:
    cap = top.largest_cap_mm
    return {
        "pins": top.pins.value if top.pins and top.pins.value >= 1.0 else None,
        "pin_mm": top.largest_pin_mm.value if top.largest_pin_mm else None,
        "cap_mm": cap.value if cap else None,
        "cap_low_mm": cap.low if cap else None,
        "cap_high_mm": cap.high if cap else None,
        "flat_percent": None if top.flat_chance is None else 100.0 * top.flat_chance,
    }


def _cut(fruiting: Fruiting, today: date) -> dict[str, Fact | None]:
    cut = fruiting.cut
    if cut is None:
        return {}
    return {
        "cut": max(cut.day, today),
        "cut_low": max(cut.low, today),
        "cut_high": max(cut.high, today),
        "within": max((cut.latest - today).days, 1),
        "mm_per_day": cut.mm_per_day,
    }


def _place(profile: SpeciesProfile, settings: FruitingSettings) -> dict[str, Fact | None]:
    """Where it fruits: the usual place, as far as its species' range allows."""
    low, high = profile.fruiting_c
    least, most = settings.fruiting_low_c, settings.fruiting_high_c
    if most < low or least > high:
        return {"least_c": low, "most_c": high}
    return {"least_c": max(least, low), "most_c": min(most, high)}


def _rest(fruiting: Fruiting, settings: FruitingSettings) -> dict[str, Fact | None]:
    if fruiting.stage != "resting":
        return {}
    return {
        "cut_on": fruiting.since,
        "next_low": days_after(fruiting.since, settings.next_flush_low_days),
        "next_high": days_after(fruiting.since, settings.next_flush_high_days),
    }
