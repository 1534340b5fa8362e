"""Changes of mind: a verdict that went from no-go to go, or back, within a few days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from jarvision.base.days import days_after
from jarvision.growth.forecast import seen_growth
from jarvision.growth.priors import Sibling
from jarvision.history.smoothing import read_together
from jarvision.records import Finding, Flag, JarHistory, Verdict, VerdictWord
from jarvision.records.wording import PLAIN
from jarvision.register.looks import SeenFine
from jarvision.register.species import SpeciesProfile
from jarvision.settings.groups import Settings
from jarvision.verdict.decide import decide

_OPPOSITE: dict[VerdictWord, VerdictWord] = {"go": "no-go", "no-go": "go"}


def changed_mind(
    history: JarHistory,
    verdict: Verdict,
    profile: SpeciesProfile,
    *,
    today: date,
    batch_mates: Sequence[Sibling],
    settings: Settings,
    looks: tuple[SeenFine, ...] = (),
) -> tuple[Flag, ...]:
    """Tell when the verdict of a day with a photo shortly before was the opposite, and why.

    What was said then is worked out anew from the photos there were by then: go and no-go stand on
    what was seen, so no curve need be fitted for it.
    """
    opposite = _OPPOSITE.get(verdict.verdict)
    if opposite is None:
        return ()
    since = days_after(today, -settings.verdict.change_told_days)
    for day in reversed([d.day for d in history.days if since <= d.day < today]):
        by_then = tuple(d for d in history.days if d.day <= day)
        tops = tuple(top for top in history.tops if top.day <= day)
        cut = replace(history, days=read_together(by_then, settings), tops=tops)
        growth = seen_growth(cut, profile, today=day, siblings=batch_mates, settings=settings)
        before, _ = decide(cut, growth, profile, today=day, settings=settings, looks=looks)
        if before.verdict == opposite:
            found = _told(before, verdict, day)
            return (Flag(verdict.jar, today, found.flag, found),)
    return ()


def _told(before: Verdict, now: Verdict, day: date) -> Finding:
    return Finding.of(
        "changed_mind",
        day=day,
        seen_on=day,
        was=before.verdict,
        was_why=before.findings[0].tell_short(PLAIN),
        now=now.verdict,
        now_why=now.findings[0].tell_short(PLAIN),
    )
