"""Wet areas: rot that ends a jar, or wet contents that the white is still growing over."""

from __future__ import annotations

from jarvision.base.days import days_after
from jarvision.records import Finding, VerdictWord
from jarvision.verdict.evidence import Case, area_and_confidence

_FULL_PERCENT = 100.0


def wet(case: Case) -> list[Finding]:
    """Find wet areas on the last day: a large one ends the jar, unless growth goes on beside it.

    Growth closes over contents that are only wet, and stops at rot. Where the wall has filled at
    its species' pace ever since a large wet area was seen, it is looked at first; it ends the jar
    when it grows, stays, or the white stands still, and then for as long as it is large.
    """
    limits, day = case.limits, case.last.day
    look, out = limits.wet_check_cm2, limits.wet_no_go_cm2
    sizes = [area_and_confidence(d, "wet")[0] for d in case.days]
    area = sizes[-1]
    if area < look:
        return []
    gained = _gained_throughout(case, sizes) if area >= out else None
    if gained is not None:
        facts = {"area_cm2": area, "gained_a_day": gained, "out_cm2": out}
        days = limits.wet_stays_days
        return [Finding.of("wet_in_growth", "check", day=day, days=days, **facts)]
    verdict: VerdictWord = "no-go" if area >= out else "check"
    return [Finding.of("wet", verdict, day=day, area_cm2=area, look_cm2=look, out_cm2=out)]


def _gained_throughout(case: Case, sizes: list[float]) -> float | None:
    """Return the points a day that the last day has gained; None where a day has told of rot.

    ``sizes``: what was wet on each day, cm2.
    """
    gained = None
    for number, size in enumerate(sizes):
        if size >= case.limits.wet_no_go_cm2:
            gained = _gained_a_day(case, number)
            if gained is None or not _is_held(case, sizes[: number + 1]):
                return None
    return gained


def _gained_a_day(case: Case, number: int) -> float | None:
    """Return the points a day that a day's wall has gained; None where that is no full pace.

    None, too, where the wall is full enough for use, where another side was shown, and on the
    first days. Of a day's own photos and the days together, what tells the smaller gain counts.
    """
    limits, last, profile = case.limits, case.days[number], case.profile
    until = days_after(last.day, -limits.wet_pace_days)
    first = max((n for n, day in enumerate(case.days[:number]) if day.day <= until), default=None)
    if first is None or any(day.turned_away for day in case.days[first + 1 : number + 1]):
        return None
    if max(last.coverage.percent, last.level.percent) >= profile.ready_percent:
        return None
    before = case.days[first]
    now = min(last.coverage.percent, last.level.percent)
    then = max(before.coverage.percent, before.level.percent)
    gained = (now - then) / (last.day - before.day).days
    pace = _FULL_PERCENT / profile.spawn_run_days[1]
    return gained if gained >= limits.wet_pace_share * pace else None


def _is_held(case: Case, sizes: list[float]) -> bool:
    """Say whether a wet area has not grown since it was seen, and is young or smaller by now.

    ``sizes``: cm2 on each day up to the one that is judged.
    """
    limits = case.limits
    seen = [(n, size) for n, size in enumerate(sizes) if size >= limits.wet_check_cm2]
    smallest, largest = min(size for _, size in seen), max(size for _, size in seen)
    if sizes[-1] > (1 + limits.wet_changed_share) * smallest:
        return False
    age = (case.days[len(sizes) - 1].day - case.days[seen[0][0]].day).days
    return age < limits.wet_stays_days or sizes[-1] <= (1 - limits.wet_changed_share) * largest
