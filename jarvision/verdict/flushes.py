"""What a recorded harvest changes: the stage of its jar, and whether its story goes on."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from jarvision.records import Flag, JarStory
from jarvision.register.outcomes import JarOutcome
from jarvision.settings.fruiting import FruitingSettings
from jarvision.verdict.fruiting import stage_finding, tells_stage
from jarvision.verdict.stages import follow_fruiting


def gives_more(
    story: JarStory | None, outcome: JarOutcome | None, today: date, settings: FruitingSettings
) -> bool:
    """Whether a harvested jar is followed on to its next flush.

    It must have been photographed from above at all; it ends when something else is recorded of it,
    and when neither a photo from above nor a harvest is newer than some weeks.
    """
    if story is None or story.fruiting is None or outcome is None:
        return False
    if outcome.outcome != "harvested" or outcome.closed is not None:
        return False
    last = max(story.fruiting.days[-1].day, outcome.day)
    return (today - last).days <= settings.given_up_days


def with_harvests(
    story: JarStory, outcome: JarOutcome | None, today: date, settings: FruitingSettings
) -> JarStory:
    """A story whose stage knows of the recorded harvests; unchanged where there are none."""
    if outcome is None or not outcome.harvests or story.fruiting is None:
        return story
    fruiting = follow_fruiting(
        story.history,
        story.profile,
        today=today,
        settings=settings,
        harvests=outcome.harvests,
        wall_ready=story.growth.ready_date,
    )
    if fruiting is None:
        return story
    found = stage_finding(story.history, fruiting, story.profile, today=today, settings=settings)
    others = [f for f in story.verdict.findings if not tells_stage(f)]
    flags = [flag for flag in story.flags if not tells_stage(flag.finding)]
    if any(f.verdict in ("no-go", "check") for f in others):  # what is wrong has been said
        return replace(story, fruiting=fruiting)
    if found.flag:
        flags.insert(0, Flag(story.verdict.jar, found.day or today, found.flag, found))
    verdict = replace(story.verdict, verdict=found.verdict or "wait", findings=(found,))
    return replace(story, fruiting=fruiting, verdict=verdict, flags=tuple(flags))
