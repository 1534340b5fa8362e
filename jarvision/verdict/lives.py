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
from jarvision.register.lineage import JarState, Kinship, near_kin
from jarvision.register.looks import SeenFine
from jarvision.register.outcomes import JarOutcome

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
) -> ShelfResult:
    """Part the jars on the shelf from those whose story is over, and doubt the kin of bad ones.

    Spawn carries its faults along, and young mould is white: a jar with a bad one among its kin
    (:func:`jarvision.register.lineage.near_kin`) is never ``go`` but ``check``. One that waits goes
    on waiting, and is told. Somebody who has found it fine has settled this, until another of its
    kin turns bad.

    Parameters
    ----------
    result
        With the verdicts of photos alone.
    looks
        By jar, what a person found fine about it.
    today
        A jar that is fed from another by this day has used it up; None: the day of the verdicts.
    """
    seen = looks or {}
    now = max(today or result.scored_on, result.scored_on)
    scored = {story.verdict.jar: story for story in result.stories}
    said = {jar: story.verdict.verdict for jar, story in scored.items()}
    ended = {
        jar: ending
        for jar in {**register, **outcomes, **scored}
        if (ending := ending_of(jar, register, outcomes, today=now))
    }
    states = {jar: JarState.of(said.get(jar), ended.get(jar)) for jar in {**scored, **outcomes}}
    bad = {jar for jar, state in states.items() if state.bad}
    going = [story for jar, story in scored.items() if not states[jar].over]
    return replace(
        result,
        stories=tuple(
            _doubted(story, _bad_kin(story, register, bad), seen.get(story.verdict.jar, ()))
            for story in going
        ),
        finished=tuple(
            FinishedJar(ended[jar], story) for jar, story in scored.items() if states[jar].over
        ),
    )


def _bad_kin(story: JarStory, register: Register, bad: set[str]) -> dict[str, Kinship]:
    """The jar's bad kin, each with how it is related."""
    kin = near_kin(register, story.verdict.jar)
    return {jar: kinship for jar, kinship in kin.items() if jar in bad}


def _doubted(story: JarStory, kin: Mapping[str, Kinship], looks: Sequence[SeenFine]) -> JarStory:
    """Add the bad kin of a jar to what is said of it; one that must go has said enough."""
    verdict = story.verdict
    if not kin or verdict.verdict == "no-go":
        return story
    praise = next((f for f in verdict.findings if f.verdict == "go"), None)
    more = len(kin) - MOST_NAMED
    told = [f"{jar} ({_KINSHIP[kinship]})" for jar, kinship in kin.items()]
    named = ", ".join(told[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
    look = next((look for look in reversed(looks) if _settles(look, kin)), None)
    if look is not None:
        return _settled(story, named, look)
    facts: dict[str, Fact] = {**praise.numbers, **praise.dates} if praise else {}
    asked: VerdictWord | None = None if verdict.verdict == "wait" else "check"
    day = praise.day if praise else None
    every = KIN_APART.join(kin)
    found = Finding.of("bad_kin", asked, day=day, jars=named, kin=every, **facts)
    raised = Flag(verdict.jar, found.day, found.flag, found)
    flags = (*(_no_go_ahead(flag, found) for flag in story.flags), raised)
    if found.verdict is None:
        return replace(story, flags=flags)
    doubts = [f for f in verdict.findings if f.verdict != "go"]
    checked = replace(verdict, verdict="check", findings=(*doubts, found))
    return replace(story, verdict=checked, flags=flags)


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
