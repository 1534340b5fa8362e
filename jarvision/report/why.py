"""Why a jar has its verdict: one short line for the list, and each reason with what to do."""

from __future__ import annotations

from dataclasses import dataclass, replace

from jarvision.base.text import printable
from jarvision.records import Finding, JarStory
from jarvision.records.flags import FLAGS
from jarvision.records.settling import what_settles
from jarvision.report.words import PAGE


@dataclass(frozen=True)
class Reason:
    """One reason or note in the page's words, and what to do about it.

    ``decides`` is True for what the verdict stands on, False for what is good to know; ``settled``
    says what ends a doubt.
    """

    text: str
    remedy: str
    decides: bool
    settled: str = ""


def short_why(story: JarStory) -> str:
    """Say in one short line why the jar has its verdict, with the number that matters most."""
    first = story.verdict.findings[:1]
    return printable(first[0].tell_short(PAGE)) if first else ""


def reasons_of(story: JarStory) -> tuple[Reason, ...]:
    """Every reason once, hardest first, then the flags that only tell.

    What to do stands behind the last reason that asks for it. A jar that must leave the room has
    one thing to be done, which its verdict says; a refused photo stands in the page with its
    picture.
    """
    out = story.verdict.verdict == "no-go"
    jar = printable(story.verdict.jar)
    told = [
        _reason(finding, "" if out else finding.flag, decides=True)
        for finding in story.verdict.findings
    ]
    if story.verdict.verdict == "check":
        told = [
            replace(reason, settled=what_settles(finding, jar))
            for reason, finding in zip(told, story.verdict.findings, strict=True)
        ]
    told += [
        _reason(flag.finding, "" if flag.flag == "stain" else flag.flag, decides=False)
        for flag in story.flags
        if flag.finding.verdict is None and flag.flag != "photo_refused"
    ]
    later = [reason.remedy for reason in told]
    return tuple(
        replace(reason, remedy="") if reason.remedy in later[place + 1 :] else reason
        for place, reason in enumerate(told)
    )


def _reason(finding: Finding, flag: str, *, decides: bool) -> Reason:
    remedy = FLAGS[flag].remedy if flag else ""
    return Reason(printable(finding.tell(PAGE)), remedy, decides)
