"""What the grower has told, in growth and verdict."""

from __future__ import annotations

import numpy as np
import pytest
from judging import healthy, judge, words
from shelves import Story, day, kjma, oyster, patch, told

from jarvision.growth.forecast import fit_growth, seen_growth
from jarvision.growth.timeseries import last_piece
from jarvision.history.build import build_history
from jarvision.records import Verdict
from jarvision.register.species import find_profile
from jarvision.settings.groups import Settings
from jarvision.settings.verdict import VerdictSettings

OYSTER = find_profile("oyster")


def found(verdict: Verdict) -> list[str]:
    return [finding.word for finding in verdict.findings]


# --------------------------------------------------------------------------- shaken
def test_growth_is_fitted_from_a_told_shake_on() -> None:
    """A gentle shake: 6 points, which by themselves are no shake."""
    before, after = kjma(np.arange(6)), kjma(np.arange(5, 12)) - 8.0
    readings = Story(np.concatenate([before, after]), seed=3).readings()
    days = build_history(readings, oyster()).days
    parted = build_history(readings, oyster(), diary=[told("shaken", 6)]).days
    assert last_piece(days, Settings().growth) == days
    assert last_piece(parted, Settings().growth) == parted[6:]


def test_a_ready_jar_shaken_since_its_last_photo_waits_for_another() -> None:
    readings = healthy(17).readings()
    verdict, _ = judge(readings, diary=[told("shaken", 16)])
    assert verdict.verdict == "wait"
    assert found(verdict) == ["shaken_since"]
    assert "shaken on 2026-03-17" in verdict.reasons[0]
    assert judge(readings)[0].verdict == "go"


def test_a_shake_that_is_told_for_a_later_day_than_asked_of_counts_not_yet() -> None:
    readings = healthy(17).readings()
    verdict, _ = judge(readings, diary=[told("shaken", 18)], today=day(16))
    assert verdict.verdict == "go"
    assert judge(readings, diary=[told("shaken", 18)], today=day(18))[0].verdict == "wait"


def test_what_else_is_wrong_is_still_said_of_a_shaken_jar() -> None:
    story = healthy(17)
    story.patches = {16: [patch("green", 5.0)]}
    verdict, _ = judge(story.readings(), diary=[told("shaken", 16)])
    assert verdict.verdict == "no-go"


def test_a_jar_shaken_since_its_last_photo_has_no_date_and_no_stall() -> None:
    growing, standing = Story(kjma(np.arange(8))), Story(np.array([*kjma(np.arange(6)), *[45] * 9]))
    for story in (growing, standing):
        readings = story.readings()
        last = len(readings) - 1
        plain = build_history(readings, oyster())
        shaken = build_history(readings, oyster(), diary=[told("shaken", last)])
        for grow in (fit_growth, seen_growth):
            growth = grow(shaken, OYSTER, today=day(last))
            assert (growth.ready_date, growth.stall) == (None, None)
        growth = fit_growth(plain, OYSTER, today=day(last))
        assert growth.ready_date or growth.stall


def test_mould_of_before_a_told_shake_is_not_forgotten() -> None:
    """It is mixed into the jar, wherever it was."""
    story = healthy(17)
    story.patches = {n: [patch("green", 0.2)] for n in (8, 9)}
    verdict, _ = judge(story.readings(), diary=[told("shaken", 10)])
    assert "perhaps_mould" in found(verdict)


def test_an_area_of_before_a_told_shake_is_not_looked_for_after_it() -> None:
    """The coverage hardly falls: without the word of the grower the area would have vanished."""
    story = healthy(17)
    story.patches = {n: [patch("bare", 9.0)] for n in range(9, 14)}
    assert found(judge(story.readings())[0]) == ["vanished"]
    story.patches = {n: [patch("bare", 9.0)] for n in range(9, 14)}
    assert "vanished" not in found(judge(story.readings(), diary=[told("shaken", 14)])[0])


def test_a_shake_before_it_says_nothing_of_an_area_that_is_gone_later() -> None:
    story = healthy(17)
    story.patches = {n: [patch("bare", 9.0)] for n in range(9, 14)}
    assert found(judge(story.readings(), diary=[told("shaken", 8)])[0]) == ["vanished"]


def test_that_areas_lie_elsewhere_after_a_told_shake_is_no_news() -> None:
    here, there = ([patch("bare", 3.0, a, 20.0 + n) for a in (-40, 0, 40)] for n in (0, 60))
    story = healthy(6)
    story.patches = {4: here, 5: there}
    assert "turned" in words(judge(story.readings())[1])
    assert "turned" not in words(judge(story.readings(), diary=[told("shaken", 4)])[1])


# --------------------------------------------------------------------------- opened
@pytest.mark.parametrize(("since", "flagged"), [(0, True), (7, True), (8, False)])
def test_an_opened_jar_is_one_to_look_at_for_a_week_and_no_verdict_changes(
    since: int, flagged: bool
) -> None:
    readings = healthy(17).readings()
    verdict, flags = judge(readings, diary=[told("opened", 16 - since)])
    assert verdict.verdict == "go"
    assert ("opened" in words(flags)) == flagged


def test_the_last_opening_counts_and_for_how_long_is_the_growers_to_set() -> None:
    readings, diary = healthy(17).readings(), [told("opened", 2), told("opened", 12)]
    _, flags = judge(readings, diary=diary)
    message = next(flag.message for flag in flags if flag.flag == "opened")
    assert "opened on 2026-03-13" in message
    assert "up to 2026-03-20" in message
    short = Settings(verdict=VerdictSettings(opened_watch_days=3))
    assert "opened" not in words(judge(readings, diary=diary, settings=short)[1])


def test_of_a_day_gone_by_nothing_is_told_that_came_later() -> None:
    readings = healthy(8).readings()
    diary = [told("opened", 7), told("temperature", 7, 12.0)]
    assert words(judge(readings[:7], diary=diary)[1]) == set()
    assert words(judge(readings, diary=diary)[1]) == {"opened", "temperature"}


# --------------------------------------------------------------------------- temperature
@pytest.mark.parametrize(
    ("celsius", "flagged"), [(18.0, True), (22.0, False), (26.0, False), (29.5, True)]
)
def test_a_temperature_at_which_the_species_does_not_run_is_noted(
    celsius: float, flagged: bool
) -> None:
    """Oyster: 22 to 26 C by its profile."""
    readings = healthy(8).readings()
    diary = [told("temperature", 2, 40.0), told("temperature", 6, celsius)]
    verdict, flags = judge(readings, diary=diary)
    assert ("temperature" in words(flags)) == flagged
    assert verdict == judge(readings)[0]  # the growth that photos show is what counts


def test_of_a_ready_jar_and_of_an_unknown_species_no_temperature_is_told() -> None:
    diary = [told("temperature", 2, 12.0)]
    assert "temperature" not in words(judge(healthy(17).readings(), diary=diary)[1])
    unknown = oyster(species="")
    assert "temperature" not in words(judge(healthy(6).readings(), unknown, diary=diary)[1])


def test_moved_and_notes_change_nothing() -> None:
    readings = healthy(17).readings()
    diary = [told("moved", 3), told("note", 16, text="smells sweet")]
    assert judge(readings, diary=diary) == judge(readings)
