"""Findings that somebody has looked at and found fine: no doubt any more, until they grow.

A look settles what asks for a look, never what ends a jar: mould on two photos stays mould. It
settles that one finding of its kind, as large as it was; what time makes worse, and what has no
name to be known by, is asked for again some days later.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from jarvision.records import Finding, Verdict
from jarvision.records.settling import SETTLED, about, size_of
from jarvision.records.wording import PLAIN
from jarvision.register.looks import SeenFine
from jarvision.verdict.evidence import Case


def without_settled(case: Case, findings: Sequence[Finding]) -> list[Finding]:
    """The findings, each that was found fine turned into a note that says so."""
    told = []
    for finding in findings:
        look = _look_at(case, finding)
        told.append(finding if look is None else _note(finding, look))
    return told


def looks_at(verdict: Verdict, *, day: date, note: str = "") -> tuple[SeenFine, ...]:
    """Return the looks that say that all of a verdict's doubts that a look can settle are fine."""
    known = [f for f in verdict.findings if f.verdict == "check" and f.word in SETTLED]
    return tuple(
        SeenFine(verdict.jar, day, f.word, about(f), size_of(f), note)
        for f in known
        if SETTLED[f.word].by_look
    )


def asks(findings: Sequence[Finding]) -> bool:
    """Say whether any finding asks for a verdict; notes do not."""
    return any(finding.verdict for finding in findings)


def _look_at(case: Case, finding: Finding) -> SeenFine | None:
    """The last look that settles a finding."""
    known = SETTLED.get(finding.word)
    if finding.verdict != "check" or known is None or not known.by_look:
        return None
    for look in reversed(case.looks):
        same = (look.finding, look.about) == (finding.word, about(finding))
        if same and not _has_grown(case, finding, look):
            return look
    return None


def _has_grown(case: Case, finding: Finding, look: SeenFine) -> bool:
    """Say whether a finding is more than it was when it was looked at."""
    limits, size = case.limits, size_of(finding)
    if SETTLED[finding.word].by_time and (case.today - look.day).days > limits.look_holds_days:
        return True
    if size is None:
        return False
    return look.size is None or size > (1 + limits.settled_growth_share) * look.size


def _note(finding: Finding, look: SeenFine) -> Finding:
    return Finding.of(
        "found_fine",
        day=finding.day,
        looked_on=look.day,
        what=finding.tell_short(PLAIN),
        note=look.note or None,
    )
