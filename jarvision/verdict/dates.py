"""Photos with a wrong date: when they ask for a look, and when they are only told.

They count for nothing, so one that shows nothing odd is as good as none: the jar is judged by its
other photos. What it shows that is odd asks for a look, since nobody knows when it was so. More
days than one may say that today or the jar's start is wrong, not the photo.
"""

from __future__ import annotations

from jarvision.records import Finding, JarDay, VerdictWord
from jarvision.verdict.evidence import (
    Case,
    area_and_confidence,
    ignored_date,
    is_off_colour,
)


def wrong_dates(case: Case) -> list[Finding]:
    """Doubt photos dated after today, before the jar's start, or by nothing but a wrong clock."""
    found, started = [], case.history.entry.started
    ahead = [d for d in case.history.days if d.day > case.today]
    if ahead:
        day, asked = ahead[-1].day, _asks(case, ahead)
        found.append(Finding.of("dated_ahead", asked, day=day, photo_day=day, today=case.today))
    early = [d for d in case.history.days if started is not None and d.day < started]
    if early:
        day, asked = early[0].day, _asks(case, early)
        found.append(
            Finding.of("dated_before_start", asked, day=day, photo_day=day, started=started)
        )
    # a file's time is that of its copy: beside a wrong clock nothing tells the day
    copied = [r for d in case.days for r in d.readings if r.time_source == "file"]
    return found + [told for r in copied for told in ignored_date(r, "check")]


def _asks(case: Case, wrong: list[JarDay]) -> VerdictWord | None:
    """Ask for a look, but where one day alone is dated wrong and shows nothing odd."""
    alone = len(wrong) == 1 and bool(case.days)
    return None if alone and not _is_odd(case, wrong[0]) else "check"


def _is_odd(case: Case, day: JarDay) -> bool:
    """Say whether a day shows what would ask for a look on any day."""
    limits = case.limits
    coloured = any(
        is_off_colour(case, p) and p.area_cm2 >= limits.off_colour_check_cm2 for p in day.patches
    )
    return coloured or area_and_confidence(day, "wet")[0] >= limits.wet_check_cm2
