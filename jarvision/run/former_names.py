"""A scoring of before, under the names that its jars have now, and without those taken out."""

from __future__ import annotations

from dataclasses import replace

from jarvision.records import FinishedJar, JarStory, ShelfResult
from jarvision.run.shelf import Shelf


def under_todays_names(result: ShelfResult, shelf: Shelf) -> ShelfResult:
    """The result as if every jar had been called then what it is called now."""
    if not shelf.past.names and not shelf.past.removed:
        return result
    removed = shelf.past.removed
    stories = (s for s in result.stories if shelf.past.now(s.verdict.jar) not in removed)
    finished = (done for done in result.finished if shelf.past.now(done.jar) not in removed)
    return replace(
        result,
        readings=tuple(map(shelf.under_todays_name, result.readings)),
        stories=tuple(_renamed(story, shelf) for story in stories),
        finished=tuple(_finished(done, shelf) for done in finished),
    )


def _finished(done: FinishedJar, shelf: Shelf) -> FinishedJar:
    ending = replace(done.ending, jars=tuple(map(shelf.past.now, done.ending.jars)))
    return FinishedJar(ending, _renamed(done.story, shelf))


def _renamed(story: JarStory, shelf: Shelf) -> JarStory:
    jar = shelf.past.now(story.verdict.jar)
    history = story.history
    if jar == story.verdict.jar:
        return story
    days = (
        replace(day, jar=jar, readings=tuple(map(shelf.under_todays_name, day.readings)))
        for day in history.days
    )
    return replace(
        story,
        history=replace(
            history,
            entry=shelf.register.entry(jar),
            days=tuple(days),
            refused=tuple(map(shelf.under_todays_name, history.refused)),
        ),
        verdict=replace(story.verdict, jar=jar),
        flags=tuple(replace(flag, jar=jar) for flag in story.flags),
    )
