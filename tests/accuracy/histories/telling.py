"""What the package says of a simulated batch, day by day, as a grower would have read it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from jarvision.history.build import build_history
from jarvision.history.smoothing import read_together
from jarvision.records import (
    Coverage,
    Growth,
    JarEntry,
    JarHistory,
    JarStory,
    Reading,
    ShelfResult,
)
from jarvision.register.jars import Register
from jarvision.register.species import SpeciesBook, load_profiles
from jarvision.settings.groups import Settings
from jarvision.verdict.assess import tell_stories
from jarvision.verdict.lives import with_lives

from .growing import Truth, grow_jar, truth_of
from .plans import FIRST_DAY, Plan, day
from .reading import Read, read_jar

_SPECIES = SpeciesBook(load_profiles())


@dataclass(frozen=True)
class Said:
    """What was said of one jar on one day, and the coverage that was read.

    ``together`` is that coverage by the light of the days before; ``words`` are the findings.
    ``verdict`` is that of the photos alone; ``with_kin`` is what is said of a shelf on which all
    jars of a batch were fed from one spawn jar and none was taken away.
    """

    number: int
    verdict: str
    flags: frozenset[str]
    growth: Growth
    percent: float
    read: Coverage | None = None
    together: Coverage | None = None
    words: tuple[str, ...] = ()
    with_kin: str = ""


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
    """One simulated jar: its plan, what the register says of it, its truth, its photos.

    ``whole`` is the history of all photos; ``before`` that of those before one with a wrong clock.
    """

    plan: Plan
    entry: JarEntry
    truth: Truth
    read: Read
    whole: JarHistory
    before: JarHistory


def simulate(plans: Sequence[Plan], *, registered: bool = True) -> list[Case]:
    """Grow and photograph a batch, and follow its patches."""
    return [photographed(plan, registered=registered) for plan in plans]


def photographed(plan: Plan, *, registered: bool) -> Case:
    """Grow and photograph a jar."""
    entry = plan.entry if registered else JarEntry(plan.entry.jar, registered=False)
    jar = grow_jar(plan)
    read = read_jar(jar)
    whole = build_history(read.readings, entry)
    wrong = plan.wrong_clock
    early = [r for r in read.readings if wrong is None or _number(r) < wrong[0]]
    before = whole if len(early) == len(read.readings) else build_history(early, entry)
    return Case(plan, entry, truth_of(jar, entry), read, whole, before)


def tell(cases: Sequence[Case]) -> list[Told]:
    """Score a batch on every day, with the photos there were by then."""
    said: dict[str, list[Said]] = {case.entry.jar: [] for case in cases}
    for number in range(1, max(c.plan.last_day for c in cases) + 1):
        taken = {c.entry.jar for c in cases if any(_number(r) == number for r in c.read.readings)}
        if not taken:
            continue
        histories = [by_then(case, number) for case in cases]
        stories = tell_stories(
            [h for h in histories if h.days],
            _register(cases),
            today=day(number),
            settings=Settings(),
            species=_SPECIES,
        )
        kin = _with_kin(stories, _register(cases), day(number))
        for story in stories:
            jar = story.history.entry.jar
            if jar in taken:
                said[jar].append(replace(_said(story, number), with_kin=kin[jar]))
    return [Told(c.plan, c.truth, c.read.shown_day, tuple(said[c.entry.jar])) for c in cases]


def _with_kin(stories: Sequence[JarStory], register: Register, today: date) -> dict[str, str]:
    """What is said of each jar once the verdicts on its kin are known."""
    by_photos = ShelfResult("", today, (), tuple(stories))
    known = with_lives(by_photos, register, {})
    return {story.verdict.jar: story.verdict.verdict for story in known.stories}


def _said(story: JarStory, number: int) -> Said:
    verdict = story.verdict
    last = next((d for d in story.history.days if d.day == day(number)), None)
    return Said(
        number=number,
        verdict=verdict.verdict,
        flags=frozenset(f.flag for f in story.flags),
        growth=story.growth,
        percent=verdict.coverage.percent if verdict.coverage else float("nan"),
        read=last.coverage if last else None,
        together=last.level if last else None,
        words=tuple(f.word for f in verdict.findings),
    )


def by_then(case: Case, number: int) -> JarHistory:
    """Return the history with the photos taken by a day.

    Links are causal, so days can be cut; what the days say together is told anew.
    """
    wrong = case.plan.wrong_clock
    whole = case.before if wrong is not None and number < wrong[0] else case.whole
    days = [d for d in whole.days if min(map(_number, d.readings)) <= number]
    if any(max(map(_number, d.readings)) > number for d in days):  # a wrong clock joins two days
        taken = [r for r in case.read.readings if _number(r) <= number]
        return build_history(taken, case.entry)
    return replace(whole, days=read_together(days, Settings()))


def _number(reading: Reading) -> int:
    """Return the true day of a photo, which its name tells even where its clock was wrong."""
    taken = date.fromisoformat(reading.photo.rsplit("_", 1)[1].removesuffix(".jpg"))
    return (taken - FIRST_DAY).days


def _register(cases: Sequence[Case]) -> Register:
    return Register({case.entry.jar: case.entry for case in cases if case.entry.registered})
