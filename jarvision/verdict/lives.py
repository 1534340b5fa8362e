"""What is known of the jars beside their photos: how they ended, and which of their kin turned bad.

Verdicts are made of photos alone, and kept so: what became of the jars is known later, and may be
put right. This is the one place where it is added, for the report and for every command.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Final

from jarvision.records import Finding, FinishedJar, Flag, JarStory, ShelfResult, VerdictWord
from jarvision.records.settling import KIN_APART
from jarvision.records.wording import PLAIN, Fact
from jarvision.register.endings import ending_of
from jarvision.register.jars import Register
from jarvision.register.lineage import JarState, Kinship
from jarvision.register.looks import SeenFine
from jarvision.register.outcomes import JarOutcome
from jarvision.settings.fruiting import FruitingSettings
from jarvision.settings.verdict import VerdictSettings
from jarvision.verdict.flushes import gives_more, with_harvests
from jarvision.verdict.kin import BadJar, bad_jars, bad_kin, has_stayed_clean, last_seen

MOST_NAMED: Final = 2
_KINSHIP: Final[Mapping[Kinship, str]] = {
    "parent": "its own spawn",
    "ancestor": "further up its line",
    "sibling": "same spawn",
    "child": "fed from it",
}


def with_lives(
    result: ShelfResult,
    register: Register,
    outcomes: Mapping[str, JarOutcome],
    *,
    looks: Mapping[str, Sequence[SeenFine]] | None = None,
    today: date | None = None,
    limits: VerdictSettings | None = None,
    fruiting: FruitingSettings | None = None,
) -> ShelfResult:
    """Part the jars on the shelf from those whose story is over, and doubt the kin of bad ones.

    Spawn carries its faults along, and young mould is white: a jar with a bad one among its kin
    (:func:`jarvision.register.lineage.near_kin`) is never ``go`` but ``check``. One that waits goes
    on waiting, and is told. Somebody who has found it fine has settled this, until another of its
    kin turns bad; so has, where one fault alone need not be the spawn's, the time in which the jar
    stayed clean (:mod:`jarvision.verdict.kin`). That is told, too.

    Parameters
    ----------
    result
        With the verdicts of photos alone.
    looks
        By jar, what a person found fine about it.
    today
        A jar that is fed from another by this day has used it up; None: the day of the verdicts.
    limits
        How long a jar must have stayed clean; None: as they are by default.
    fruiting
        When a jar that was cut gives no more flush; None: as they are by default.

    A jar that was harvested and is photographed from above goes on to its next flush
    (:mod:`jarvision.verdict.flushes`).
    """
    seen, chosen, stages = looks or {}, limits or VerdictSettings(), fruiting or FruitingSettings()
    now = max(today or result.scored_on, result.scored_on)
    told_cut = (
        with_harvests(story, outcomes.get(story.verdict.jar), result.scored_on, stages)
        for story in result.stories
    )
    scored = {story.verdict.jar: story for story in told_cut}
    said = {jar: story.verdict.verdict for jar, story in scored.items()}
    ended = {
        jar: ending
        for jar in {**register, **outcomes, **scored}
        if (ending := ending_of(jar, register, outcomes, today=now))
        and not gives_more(scored.get(jar), outcomes.get(jar), now, stages)
    }
    states = {jar: JarState.of(said.get(jar), ended.get(jar)) for jar in {**scored, **outcomes}}
    bad = bad_jars(scored, states, outcomes, register)

    def told(jar: str, story: JarStory) -> JarStory:
        kin = bad_kin(story, register, bad)
        if not kin or story.verdict.verdict == "no-go":  # that has said enough
            return story
        last = last_seen(story, result.scored_on)
        if last and has_stayed_clean(story, last, kin, register, chosen):
            return _stayed_clean(story, kin, last, late=all(b.turned_late(chosen) for b in kin))
        return _doubted(story, kin, seen.get(jar, ()))

    return replace(
        result,
        stories=tuple(told(jar, s) for jar, s in scored.items() if not states[jar].over),
        finished=tuple(
            FinishedJar(ended[jar], story) for jar, story in scored.items() if states[jar].over
        ),
    )


def _doubted(story: JarStory, kin: Mapping[BadJar, Kinship], looks: Sequence[SeenFine]) -> JarStory:
    """Add the bad kin of a jar to what is said of it."""
    verdict, jars = story.verdict, [bad.jar for bad in kin]
    look = next((look for look in reversed(looks) if _settles(look, jars)), None)
    if look is not None:
        return _settled(story, _named(kin), look)
    praise = next((f for f in verdict.findings if f.verdict == "go"), None)
    facts: dict[str, Fact] = {**praise.numbers, **praise.dates} if praise else {}
    asked: VerdictWord | None = None if verdict.verdict == "wait" else "check"
    day = praise.day if praise else None
    every = KIN_APART.join(jars)
    found = Finding.of("bad_kin", asked, day=day, jars=_named(kin), kin=every, **facts)
    raised = Flag(verdict.jar, found.day, found.flag, found)
    flags = (*(_no_go_ahead(flag, found) for flag in story.flags), raised)
    if found.verdict is None:
        return replace(story, flags=flags)
    doubts = [f for f in verdict.findings if f.verdict != "go"]
    checked = replace(verdict, verdict="check", findings=(*doubts, found))
    return replace(story, verdict=checked, flags=flags)


def _named(kin: Mapping[BadJar, Kinship]) -> str:
    """The first of the bad kin by name, each with how it is related; the others counted."""
    more = len(kin) - MOST_NAMED
    told = [f"{bad.jar} ({_KINSHIP[kinship]})" for bad, kinship in kin.items()]
    return ", ".join(told[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def _stayed_clean(
    story: JarStory, kin: Mapping[BadJar, Kinship], last: date, *, late: bool
) -> JarStory:
    """Tell bad kin of a jar whose own photos, up to the ``last``, have settled them."""
    since = max(bad.since for bad in kin)
    days = (last - since).days
    word = "kin_turned_late" if late else "kin_stayed_clean"
    found = Finding.of(word, day=last, jars=_named(kin), since=since, days=days)
    return replace(story, flags=(*story.flags, Flag(story.verdict.jar, last, found.flag, found)))


def _settles(look: SeenFine, kin: Collection[str]) -> bool:
    """Say whether a look knew of all bad kin."""
    return look.finding == "bad_kin" and set(kin) <= set(look.about.split(KIN_APART))


def _settled(story: JarStory, named: str, look: SeenFine) -> JarStory:
    note = look.note or None
    found = Finding.of("kin_found_fine", day=look.day, jars=named, looked_on=look.day, note=note)
    flag = Flag(story.verdict.jar, found.day, found.flag, found)
    return replace(story, flags=(*story.flags, flag))


def _no_go_ahead(flag: Flag, doubt: Finding) -> Flag:
    """A change of mind that ended in a go ends in the doubt."""
    finding = flag.finding
    if finding.names.get("now") != "go":
        return flag
    names = {**finding.names, "now": "check", "now_why": doubt.tell_short(PLAIN)}
    return replace(flag, finding=replace(finding, names=names))
