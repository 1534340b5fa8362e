"""What is due on which day: from the last scoring to the grower's next two weeks.

A jar that is covered still rests (its species says how long); then a spawn jar is packed into a
fruiting jar, one to one, and a fruiting jar goes into fruiting conditions. Spawn that will be
usable decides how much substrate to soak the day before. Only jars with the verdict ``go`` or
``wait`` count: what a ``check`` jar will give is not known. Neither is it known of a jar that waits
and whose kin turned bad: it will have to be looked at, too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from jarvision.base.days import days_after
from jarvision.records import JarStory, ShelfResult
from jarvision.records.flag_kinds import Severity
from jarvision.records.flags import FLAGS
from jarvision.settings.plan import PlanSettings
from jarvision.verdict.fruiting import tells_stage
from jarvision.verdict.plan_fruiting import due_for_fruiting

Task = Literal[
    "isolate",
    "overdue",
    "look",
    "photo",
    "use",
    "fruit",
    "use-by",
    "ready",
    "soak",
    "heat",
    "pack",
    "moisten",
    "drain",
    "unhood",
    "harvest",
    "flush",
]

TASKS: Final[Mapping[Task, str]] = {
    "isolate": "keep the jar closed and carry it out of the room",
    "overdue": f"{FLAGS['overdue'].meaning}: look for pins before it is used",
    "look": "a person must look before anything else is done with the jar",
    "photo": "take a new photo: the last usable one is old",
    "use": "spawn has rested and can be used from this day on",
    "fruit": "a fruiting jar has rested and can go into fruiting conditions from this day on",
    "use-by": "last day on which a rested jar keeps",
    "ready": "the day on which coverage is expected to reach ready; the jar rests after it",
    "soak": "put dry substrate into water",
    "heat": "drain the substrate, pasteurise it and let it cool",
    "pack": "pack fruiting jars, one spawn jar for each",
    "moisten": "the surface of a fruiting jar is dry: look, then moisten the inside of its hood",
    "drain": "water stands on the surface of a fruiting jar: look, then tip it off",
    "unhood": "pins have formed: look, then take the hood off",
    "harvest": "the last day on which caps are expected to be cut before they flatten",
    "flush": "first usual day of pins of the next flush",
}
"""Words of the plan in their order within a day, with their meaning; a word never changes."""


@dataclass(frozen=True)
class PlanItem:
    """One thing to do, or to expect, on one day (one row of ``plan.csv``).

    Attributes
    ----------
    jars
        The jars it is about.
    low, high
        80 % interval of the day; None where the day is no forecast.
    urgency
        ``act``: do it today; ``look``: a person must look; ``note``: good to know.
    text
        One or two sentences with the numbers.
    """

    day: date
    task: Task
    jars: tuple[str, ...]
    text: str
    urgency: Severity = "note"
    low: date | None = None
    high: date | None = None


@dataclass(frozen=True)
class Batch:
    """Fruiting jars that are packed on one day, and the substrate that they take."""

    soak_on: date
    pack_on: date
    spawn_jars: tuple[str, ...]
    low: date | None
    high: date | None
    dry_g: float
    water_g: float


@dataclass(frozen=True)
class Plan:
    """What is due from ``first`` to ``last``, both included, sorted by day and task.

    ``later`` and ``undated`` name jars that are on their way and not in the plan: those that can
    be used after ``last``, and those of which no date can be told. A calendar reminds at
    ``reminder_hour`` of each day.
    """

    first: date
    last: date
    items: tuple[PlanItem, ...] = ()
    batches: tuple[Batch, ...] = ()
    later: tuple[str, ...] = ()
    undated: tuple[str, ...] = ()
    reminder_hour: int = PlanSettings.reminder_hour


@dataclass(frozen=True)
class _Use:
    """When a jar can be used: after its rest, with the interval, until it no longer keeps."""

    jar: str
    day: date
    low: date | None
    high: date | None
    until: date


def make_plan(
    result: ShelfResult, *, settings: PlanSettings | None = None, today: date | None = None
) -> Plan:
    """Plan the days from ``today`` on.

    Parameters
    ----------
    result
        With what became of the jars and of their kin (:mod:`jarvision.verdict.lives`).
    today
        First day of the plan; None: the day that the verdicts are for.
    """
    chosen = settings or PlanSettings()
    first = today or result.scored_on
    last = days_after(first, chosen.days - 1)
    stories = result.stories
    promising = (story for story in stories if _promising(story) and not _is_followed(story))
    uses = {story.verdict.jar: _use(story, first) for story in promising}
    batches = tuple(
        batch for batch in _batches(_spawn(stories, uses), first, chosen) if batch.soak_on <= last
    )
    due = [
        *_due_for_jars(stories, uses, first),
        *(item for batch in batches for item in _work(batch, chosen)),
    ]
    return Plan(
        first=first,
        last=last,
        items=_in_order(item for item in due if item.day <= last),
        batches=batches,
        later=tuple(sorted(jar for jar, use in uses.items() if use and use.day > last)),
        undated=tuple(sorted(jar for jar, use in uses.items() if use is None)),
        reminder_hour=chosen.reminder_hour,
    )


def _spawn(stories: Iterable[JarStory], uses: Mapping[str, _Use | None]) -> list[_Use]:
    """When spawn jars can be used, as far as it can be told; none that must be looked at first."""
    spawn = (story for story in stories if story.history.entry.kind == "spawn")
    jars = (story.verdict.jar for story in spawn if _kin_doubt(story) is None)
    return [use for jar in jars if (use := uses.get(jar))]


def _in_order(items: Iterable[PlanItem]) -> tuple[PlanItem, ...]:
    """Sort by day, then by task, then by jar."""
    order = list(TASKS)
    return tuple(sorted(items, key=lambda item: (item.day, order.index(item.task), item.jars)))


# --------------------------------------------------------------------------- one jar
def _promising(story: JarStory) -> bool:
    return story.verdict.verdict in ("go", "wait")


def _is_followed(story: JarStory) -> bool:
    """Whether a jar's stage, and not its coverage, says what is due."""
    first = story.verdict.findings[:1]
    return bool(first) and tells_stage(first[0])


def _kin_doubt(story: JarStory) -> str | None:
    """Tell which kin of a jar turned bad; None where none did."""
    return next((flag.message for flag in story.flags if flag.flag == "bad_kin"), None)


def _use(story: JarStory, first: date) -> _Use | None:
    """When the jar can be used; None where its ready date cannot be told.

    A jar that waits is not used before the day after the plan's first: today's verdict stands.
    """
    growth, go = story.growth, story.verdict.verdict == "go"
    if growth.ready_date is None:
        return _Use(story.verdict.jar, first, None, None, first) if go else None
    profile = story.profile
    rest = profile.consolidation_days
    earliest = first if go else days_after(first, 1)
    keeps = days_after(growth.ready_date, rest + profile.keeps_days)

    def rested(day: date | None) -> date | None:
        return None if go or day is None else max(days_after(day, rest), earliest)

    day = first if go else max(days_after(growth.ready_date, rest), earliest)
    low, high = rested(growth.ready_low), rested(growth.ready_high)
    return _Use(story.verdict.jar, day, low, high, max(keeps, day))


def _due_for_jars(
    stories: Iterable[JarStory], uses: Mapping[str, _Use | None], first: date
) -> Iterable[PlanItem]:
    """Tell what is due for each jar."""
    for story in stories:
        if _is_followed(story):
            for due in due_for_fruiting(story, first):
                yield PlanItem(jars=(story.verdict.jar,), **vars(due))
            continue
        yield from _now(story, first)
        if use := uses.get(story.verdict.jar):
            yield from _growing(story, first)
            yield from _using(story, use)


def _now(story: JarStory, first: date) -> Iterable[PlanItem]:
    """Tell what the verdict asks for at once."""
    verdict, jar = story.verdict, (story.verdict.jar,)
    flags = {flag.flag for flag in story.flags}
    reason = verdict.reasons[0] if verdict.reasons else ""
    if verdict.verdict == "no-go":
        text = f"Keep it closed, carry it out of the room. {reason}"
        yield PlanItem(first, "isolate", jar, text, "act")
    elif verdict.verdict == "check":
        yield PlanItem(first, "overdue" if "overdue" in flags else "look", jar, reason, "look")
    if "old_photo" in flags and verdict.verdict != "no-go":
        yield PlanItem(first, "photo", jar, FLAGS["old_photo"].remedy, "look")


def _growing(story: JarStory, first: date) -> Iterable[PlanItem]:
    """Tell when a promising jar is expected to be ready."""
    growth = story.growth
    if growth.ready_date and growth.ready_date > first:
        yield PlanItem(
            growth.ready_date,
            "ready",
            (story.verdict.jar,),
            "Expected to be covered; it rests after that. Leave it alone.",
            low=growth.ready_low,
            high=growth.ready_high,
        )


def _using(story: JarStory, use: _Use) -> Iterable[PlanItem]:
    """Tell when a promising jar can be used, and must be used."""
    go, spawn = story.verdict.verdict == "go", story.history.entry.kind == "spawn"
    can = "Can" if go else "Expected to be rested: can"
    what = "be used as spawn" if spawn else "go into fruiting conditions"
    task: Task = "use" if spawn else "fruit"
    urgency: Severity = "note"
    text = f"{can} {what}. Look it over once more first."
    if doubt := _kin_doubt(story):
        task, urgency = "look", "look"
        text = f"Expected to be rested. {doubt} {FLAGS['bad_kin'].remedy}"
    yield PlanItem(use.day, task, (use.jar,), text, urgency, low=use.low, high=use.high)
    if use.until > use.day:
        text = f"Keeps until {use.until}: use it by then, or it will pin inside."
        yield PlanItem(use.until, "use-by", (use.jar,), text)


# --------------------------------------------------------------------------- substrate
def _batches(uses: Sequence[_Use], first: date, settings: PlanSettings) -> tuple[Batch, ...]:
    """Gather spawn jars into days of packing: those close together, while the first still keeps.

    Nothing is packed before substrate that is soaked on the first day is wet.
    """
    soaked = days_after(first, settings.soak_days)
    rounds: list[tuple[list[_Use], list[date]]] = []
    for use in sorted(uses, key=lambda u: (u.day, u.jar)):
        day = max(use.day, soaked)
        held, days = rounds[-1] if rounds else ([], [day])
        near = (day - days[0]).days <= settings.gather_days
        if held and near and day <= min(u.until for u in held):
            held.append(use)
            days.append(day)
        else:
            rounds.append(([use], [day]))
    return tuple(_batch(held, days[-1], settings) for held, days in rounds)


def _batch(held: Sequence[_Use], pack_on: date, settings: PlanSettings) -> Batch:
    dry = settings.dry_substrate_g * len(held)
    lows = [use.low for use in held if use.low]
    highs = [use.high for use in held if use.high]
    return Batch(
        soak_on=days_after(pack_on, -settings.soak_days),
        pack_on=pack_on,
        spawn_jars=tuple(use.jar for use in held),
        low=max(lows, default=None),  # the last of the jars decides when all can be packed
        high=max(highs, default=None) if len(highs) == len(lows) else None,
        dry_g=dry,
        water_g=settings.water_g(dry),
    )


def _work(batch: Batch, settings: PlanSettings) -> Iterable[PlanItem]:
    """Tell the work for one day of packing: soak, heat, pack."""
    jars, count = batch.spawn_jars, len(batch.spawn_jars)
    made = "1 fruiting jar" if count == 1 else f"{count} fruiting jars"
    each = f" ({settings.dry_substrate_g:.0f} g each)" if count > 1 else ""
    text = (
        f"Soak {batch.dry_g:.0f} g of dry substrate for {made}{each}. Drained, it should hold "
        f"{batch.water_g:.0f} g of water ({100 * settings.water_share:.0f} %)."
    )
    yield PlanItem(batch.soak_on, "soak", jars, text)
    text = (
        f"Drain until it no longer drips. Pasteurise for {settings.pasteurise_minutes} minutes at "
        f"{settings.pasteurise_low_c:.0f} to {settings.pasteurise_high_c:.0f} degrees Celsius, "
        f"then cool below {settings.cool_below_c:.0f}."
    )
    yield PlanItem(batch.pack_on, "heat", jars, text)
    text = f"Pack {made}, one spawn jar for each. A spawn jar that looks wrong stays closed."
    yield PlanItem(batch.pack_on, "pack", jars, text, low=batch.low, high=batch.high)
