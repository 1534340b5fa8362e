"""From a jar's history and growth to its verdict: explicit rules, each with its numbers.

The costs are not even. In units of a needless look, as the rules weigh them (common practice, no
source):

| | said of a good jar | said of a bad jar |
|---|---|---|
| ``go`` | 0 | 1000: it is broken up over the next batch and takes it along |
| ``wait`` | 1: a day | 5: a day longer in the room |
| ``check`` | 1: a look | 1: the look finds it |
| ``no-go`` | 50: a jar is lost | 0 |

So ``go`` must be wrong in fewer than 1 of 1000 and ``no-go`` in fewer than 1 of 50 cases, and what
lies between is ``check``: every rule may only make the verdict harder, ``go`` is what is left when
no rule speaks and the coverage says so on more than one day, and ``no-go`` is said only of what is
large, seen twice or lasting. What asks for a look is settled by one
(:mod:`jarvision.verdict.settled`), what ends a jar is not.

The rules stand in :mod:`jarvision.verdict.rules`, what is said where none of them speaks in
:mod:`jarvision.verdict.readiness`, and the words of both in :mod:`jarvision.records.flags`.
"""

from __future__ import annotations

from datetime import date
from statistics import median

from jarvision.history.shakes import shaken_on
from jarvision.records import Finding, Flag, Fruiting, Growth, JarHistory, Verdict, VerdictWord
from jarvision.register.looks import SeenFine
from jarvision.register.species import SpeciesProfile
from jarvision.settings.groups import Settings
from jarvision.verdict.evidence import Case
from jarvision.verdict.fruiting import stage_findings
from jarvision.verdict.notes import notes_on
from jarvision.verdict.readiness import ripeness
from jarvision.verdict.rules import RULES
from jarvision.verdict.settled import asks, without_settled

HARDNESS: tuple[VerdictWord, ...] = ("go", "wait", "check", "no-go")
"""The verdicts from softest to hardest; the hardest finding is the verdict."""


def decide(
    history: JarHistory,
    growth: Growth,
    profile: SpeciesProfile,
    *,
    today: date,
    settings: Settings | None = None,
    siblings: tuple[str, ...] = (),
    looks: tuple[SeenFine, ...] = (),
    fruiting: Fruiting | None = None,
) -> tuple[Verdict, tuple[Flag, ...]]:
    """Decide about one jar.

    Parameters
    ----------
    growth
        Of the same history and day.
    siblings
        Other jars made from the same spawn jar, for the ``shared_parent`` flag.
    looks
        What a person found fine about it.
    fruiting
        Its stage, where it is followed from above.

    Returns
    -------
    The verdict, its findings hardest first, and the flags: those of the findings, then the notes.
    """
    chosen, entry = settings or Settings(), history.entry
    days = tuple(d for d in history.days if (entry.started or d.day) <= d.day <= today)
    case = Case(
        history=history,
        days=days,
        growth=growth,
        profile=profile,
        today=today,
        limits=chosen.verdict,
        wall_radius_mm=_radius_mm(history, chosen),
        front_limits=chosen.front,
        shaken=shaken_on(days, chosen.growth),
        looks=looks,
        tops=tuple(top for top in history.tops if top.day <= today),
        fruiting=fruiting,
    )
    told = without_settled(case, [finding for rule in RULES for finding in rule(case)])
    if not asks(told):
        by_stage = case.in_fruiting or not case.days
        told += stage_findings(case, chosen.fruiting) if by_stage else ripeness(case)
    findings = [finding for finding in told if finding.verdict]
    findings.sort(key=_hardness, reverse=True)  # stable: rule order within a verdict
    verdict = Verdict(
        jar=entry.jar,
        species=entry.species,
        verdict=HARDNESS[_hardness(findings[0])],
        findings=tuple(findings),
        coverage=case.last.coverage if case.days else None,
        growth=growth,
    )
    raised = [Flag(entry.jar, f.day or today, f.flag, f) for f in findings if f.flag]
    settled = [finding for finding in told if not finding.verdict]
    notes = [Flag(entry.jar, f.day, f.flag, f) for f in (*settled, *notes_on(case, siblings))]
    return verdict, (*raised, *notes)


def _hardness(finding: Finding) -> int:
    """Return the place of a finding's verdict among the verdicts; a note asks for none."""
    return HARDNESS.index(finding.verdict) if finding.verdict else 0


def _radius_mm(history: JarHistory, settings: Settings) -> float:
    """Return the median of the jar's inner radius, an ordinary one where none is known."""
    radii = [d.radius_mm for d in history.days if d.radius_mm is not None]
    return float(median(radii)) if radii else settings.tracking.wall_radius_mm
