"""Which of a jar's kin turned bad, and whether the jar itself has shown since that it is not.

Bad is what spoils: mould, and a wet bottom that ended the jar; so is a jar whose contents were
found contaminated. A jar that stalled, stayed bare or is late has nothing to pass on. Nor does a
doubt count: what may be mould takes nobody along.

The fault of a jar of the same spawn, or of one that was fed, may be its own: a lid that leaked, a
substrate that was not clean. What came with the spawn is in all of them from the same day on, so a
jar that is older by now than the bad one was when it showed, with some days to spare, and shows
nothing, did not get it. A fault that shows late in a jar's life did not come with its spawn, which
had been all through it for weeks: once the others have stayed clean for as long as young mould is
white, it was that jar's own. Where several of the same spawn turned bad early, it is the spawn; and
what was in the jar's own spawn is in the jar. Those two are settled by a look alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from jarvision.records import Finding, JarStory, ShelfResult
from jarvision.register.jars import Register
from jarvision.register.lineage import JarState, Kinship, near_kin
from jarvision.register.outcomes import JarOutcome
from jarvision.settings.verdict import VerdictSettings

SPOILING: Final = ("mould", "wet", "told", "surface_mould")
"""Findings that spoil a jar where they end it; of what another program told, the cause is not known
here, so that it counts."""


@dataclass(frozen=True)
class BadJar:
    """A jar that turned bad, and the day from which on that is known."""

    jar: str
    since: date
    started: date | None = None

    def turned_late(self, limits: VerdictSettings) -> bool:
        """Say whether what came with its spawn would have shown long before."""
        return (
            self.started is not None and (self.since - self.started).days > limits.spawn_shows_days
        )


def bad_jars(
    stories: Mapping[str, JarStory],
    states: Mapping[str, JarState],
    outcomes: Mapping[str, JarOutcome],
    register: Register,
) -> dict[str, BadJar]:
    """The jars that turned bad by what was found in them, else by their photos."""
    found = {}
    for jar, state in states.items():
        if not state.bad:
            continue
        seen = _spoilt_on(stories[jar]) if jar in stories else None
        told = outcomes[jar].day if jar in outcomes else None
        if state.outcome != "contaminated" and jar in stories and seen is None:
            continue
        since = min(day for day in (seen, told) if day is not None)
        found[jar] = BadJar(jar, since, register.entry(jar).started)
    return found


def bad_kin(
    story: JarStory, register: Register, bad: Mapping[str, BadJar]
) -> dict[BadJar, Kinship]:
    """The jar's bad kin, each with how it is related."""
    kin = near_kin(register, story.verdict.jar)
    return {bad[jar]: kinship for jar, kinship in kin.items() if jar in bad}


def last_seen(story: JarStory, today: date) -> date | None:
    """The jar's newest day; one that lies ahead is a wrong date, and settles nothing."""
    return max((day.day for day in story.history.days if day.day <= today), default=None)


def has_stayed_clean(
    story: JarStory,
    last: date,
    kin: Mapping[BadJar, Kinship],
    register: Register,
    limits: VerdictSettings,
) -> bool:
    """Say whether a jar's own photos, up to the ``last``, settle that its kin turned bad."""
    if "parent" in kin.values():
        return False
    entry = story.history.entry
    sisters = [
        other
        for other, kinship in kin.items()
        if kinship == "sibling" and not other.turned_late(limits)
    ]
    share = len(sisters) / (1 + len(register.siblings(entry.jar)))
    if len(sisters) > 1 and share >= limits.spawn_fault_share:
        return False
    return all(_has_outlived(last, entry.started, other, limits) for other in kin)


def _has_outlived(last: date, started: date | None, other: BadJar, limits: VerdictSettings) -> bool:
    """Say whether a jar was clean for long enough, at an age at which the other was not."""
    clean = (last - other.since).days
    if other.turned_late(limits):
        return clean >= limits.kin_late_clear_days
    if started is not None and other.started is not None:
        clean -= max((started - other.started).days, 0)  # what is younger has had less time
    return clean >= limits.kin_clear_days


def _spoilt_on(story: JarStory) -> date | None:
    """The day on which the first of what spoils a jar was seen; None where nothing does."""
    days = story.history.days
    newest = days[-1].day if days else None
    found = [
        _first_seen(story, finding) or finding.day or newest
        for finding in story.verdict.findings
        if finding.verdict == "no-go" and finding.word in SPOILING
    ]
    return min((day for day in found if day is not None), default=None)


def _first_seen(story: JarStory, finding: Finding) -> date | None:
    """The first day of the area that a finding is about, or of its kind."""
    patch = finding.names.get("patch", "")
    return next(
        (
            day.day
            for day in story.history.days
            if any(p.patch == patch or (not patch and p.kind == finding.word) for p in day.patches)
        ),
        None,
    )


def doubts_about(parent: str, result: ShelfResult | None, outcome: JarOutcome | None) -> list[str]:
    """Say what the last scoring and its outcome hold against a jar as spawn; empty for no jar.

    One sentence each, without full stop.
    """
    verdict = result.verdict_of(parent) if result and parent else None
    found = []
    if result and verdict in ("no-go", "check", "wait"):
        found.append(
            f"the verdict on '{parent}' of {result.scored_on} is {verdict}, not go: spawn that is "
            "in doubt multiplies its fault"
        )
    if parent and outcome and outcome.outcome == "contaminated":
        found.append(f"'{parent}' was recorded as contaminated on {outcome.day}")
    return found
