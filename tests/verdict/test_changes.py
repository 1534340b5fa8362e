"""A verdict that turns to its opposite within three days says so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pytest
from judging import healthy
from shelves import day, oyster, patch

from jarvision.history.build import build_history
from jarvision.records import JarStory, Patch
from jarvision.register.jars import Register
from jarvision.register.species import SpeciesBook, load_profiles
from jarvision.report.why import reasons_of
from jarvision.settings.groups import Settings
from jarvision.verdict.assess import tell_stories


def story_of(patches: Mapping[int, Sequence[Patch]], days: int) -> JarStory:
    told = healthy(days)
    told.patches = dict(patches)
    history = build_history(told.readings(), oyster())
    (story,) = tell_stories(
        [history],
        Register({"J1": oyster()}),
        today=day(days - 1),
        settings=Settings(),
        species=SpeciesBook(load_profiles()),
    )
    return story


def changes(story: JarStory) -> list[str]:
    return [f.message for f in story.flags if f.flag == "changed_mind"]


@pytest.mark.parametrize("later", [1, 2, 3])
def test_a_go_that_was_a_no_go_says_what_has_changed(later: int) -> None:
    story = story_of({16: [patch("wet", 7.0)]}, 17 + later)
    assert story.verdict.verdict == "go"
    (told,) = changes(story)
    assert told.startswith("On 2026-03-17 this jar was no-go: wet at the glass, 7.0 cm2.")
    assert "Now it is go: covered since" in told
    assert any("this jar was no-go" in reason.text for reason in reasons_of(story))


def test_a_no_go_that_was_a_go_says_what_has_changed() -> None:
    (told,) = changes(story_of({17: [patch("green", 3.0)]}, 18))
    assert told.startswith("On 2026-03-17 this jar was go: covered since")
    assert "Now it is no-go: green growth, 3.0 cm2." in told


def test_what_was_said_longer_ago_and_a_steady_verdict_say_nothing() -> None:
    assert story_of({16: [patch("wet", 7.0)]}, 21).verdict.verdict == "go"
    assert changes(story_of({16: [patch("wet", 7.0)]}, 21)) == []
    assert changes(story_of({}, 18)) == []
    assert changes(story_of({n: [patch("green", 3.0)] for n in range(12, 18)}, 18)) == []
