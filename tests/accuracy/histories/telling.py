"""What the package says of a simulated batch, day by day, as a grower would have read it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from jarvision.growth.forecast import fit_growth
from jarvision.growth.priors import fit_siblings
from jarvision.history.build import build_history
from jarvision.history.smoothing import read_together
from jarvision.records import Coverage, Growth, JarHistory, Reading
from jarvision.register.species import find_profile
from jarvision.settings.groups import Settings
from jarvision.verdict.decide import decide

from .growing import Truth, grow_jar, truth_of
from .plans import FIRST_DAY, Plan, day, plan_batch
from .reading import Read, read_jar


@dataclass(frozen=True)
class Said:
    """What was said of one jar on one day, and the coverage that was read.

    ``together`` is that coverage by the light of the days before.
    """

    number: int
    verdict: str
    flags: frozenset[str]
    growth: Growth
    percent: float
    read: Coverage | None = None
    together: Coverage | None = None


@dataclass(frozen=True)
class Told:
    """One jar: its plan, its truth, what was said of it on each day with a photo.

    ``shown_day``: the first day whose photo can show what is wrong with it; None: none can.
    """

    plan: Plan
    truth: Truth
    shown_day: int | None
    said: tuple[Said, ...]

    def first(self, *flags: str, since: int = 0) -> int | None:
        """Return the first day from ``since`` on with one of the flags."""
        return next((s.number for s in self.said if s.number >= since and s.flags & {*flags}), None)


@dataclass(frozen=True)
class Case:
    """One simulated jar."""

    plan: Plan
    truth: Truth
    read: Read


def simulate(seed: int) -> list[Case]:
    """Grow and photograph a batch."""
    cases = []
    for plan in plan_batch(seed):
        jar = grow_jar(plan)
        cases.append(Case(plan, truth_of(jar), read_jar(jar)))
    return cases


def tell(cases: Sequence[Case]) -> list[Told]:
    """Score a batch on every day, with the photos there were by then."""
    whole = {c.plan.entry.jar: build_history(c.read.readings, c.plan.entry) for c in cases}
    said: dict[str, list[Said]] = {jar: [] for jar in whole}
    profile = find_profile("oyster")
    for number in range(1, max(c.plan.last_day for c in cases) + 1):
        today = day(number)
        by_then = {c.plan.entry.jar: _by_then(c, whole[c.plan.entry.jar], number) for c in cases}
        taught = fit_siblings(by_then.values(), today=today)
        for case in cases:
            jar = case.plan.entry.jar
            taken = any(_number(r) == number for r in case.read.readings)
            if number > case.plan.last_day or not taken:
                continue
            batch = [sibling for name, sibling in taught.items() if name != jar]
            growth = fit_growth(by_then[jar], profile, today=today, siblings=batch)
            verdict, flags = decide(by_then[jar], growth, profile, today=today)
            words = frozenset(f.flag for f in flags)
            percent = verdict.coverage.percent if verdict.coverage else float("nan")
            last = next((d for d in by_then[jar].days if d.day == today), None)
            both = (last.coverage, last.level) if last else (None, None)
            said[jar].append(Said(number, verdict.verdict, words, growth, percent, *both))
    return [Told(c.plan, c.truth, c.read.shown_day, tuple(said[c.plan.entry.jar])) for c in cases]


def _by_then(case: Case, history: JarHistory, number: int) -> JarHistory:
    """Return the history with the photos taken by a day.

    Links are causal, so days can be cut; what the days say together is told anew.
    """
    if case.plan.wrong_clock is not None:  # its photos are not in the order they were taken in
        taken = [r for r in case.read.readings if _number(r) <= number]
        return build_history(taken, case.plan.entry)
    days = tuple(d for d in history.days if d.day <= day(number))
    return replace(history, days=read_together(days, Settings()))


def _number(reading: Reading) -> int:
    """Return the true day of a photo, which its name tells even where its clock was wrong."""
    taken = date.fromisoformat(reading.photo.rsplit("_", 1)[1].removesuffix(".jpg"))
    return (taken - FIRST_DAY).days
