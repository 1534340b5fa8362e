"""What a jar seen from above is told to do: by its stage, by mould on its surface, by its plan."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import pytest
from tops import a_fruiting_run, day, fruiting_jar, top

from jarvision.records import DiaryWord, JarStory, ShelfResult, Top
from jarvision.register.jars import Register
from jarvision.register.outcomes import Outcome, taken_together
from jarvision.register.species import SpeciesBook
from jarvision.register.species.profiles import load_profiles
from jarvision.settings.groups import Settings
from jarvision.verdict.assess import tell_stories
from jarvision.verdict.lives import with_lives
from jarvision.verdict.plan import Plan, make_plan

SPECIES = SpeciesBook(load_profiles())


def story(
    tops: Mapping[int, Top],
    today: int,
    *,
    diary: Mapping[int, DiaryWord] | None = None,
    **entry: object,
) -> JarStory:
    history = fruiting_jar(tops, diary={8: "fruiting"} if diary is None else diary, **entry)
    register = Register({"F01": history.entry})
    (found,) = tell_stories(
        [history], register, today=day(today), settings=Settings(), species=SPECIES
    )
    return found


def shelf(told: JarStory, today: int, *lines: Outcome, made: date | None = None) -> ShelfResult:
    result = ShelfResult("shelf", day(today), (), (told,), made_on=made or day(today))
    register = Register({"F01": told.history.entry})
    return with_lives(result, register, taken_together(lines), today=made)


def plan(told: JarStory, today: int) -> Plan:
    return make_plan(shelf(told, today))


@pytest.mark.parametrize(("today", "word", "verdict", "flag"), [
    (3, "stage_recovering", "wait", ""),
    (7, "stage_ready", "check", ""),
    (10, "stage_moist", "wait", ""),
    (12, "stage_pinning", "wait", ""),
    (13, "stage_hood", "check", "hood_off"),
    (18, "stage_harvest", "check", "harvest"),
])  # fmt: skip
def test_each_stage_asks_for_what_the_trade_does(
    today: int, word: str, verdict: str, flag: str
) -> None:
    told = story(a_fruiting_run(), today)
    assert told.verdict.findings[0].word == word
    assert told.verdict.verdict == verdict
    assert [f.flag for f in told.flags if f.flag in ("harvest", "hood_off")] == [flag] * bool(flag)


def test_moist_enough_is_not_to_be_sprayed_and_dry_is() -> None:
    moist = story({n: top() for n in range(1, 11)}, 10)
    assert "Do not spray" in moist.verdict.reasons[0]
    dry = story({n: top(moisture="dry") for n in range(1, 11)}, 10)
    assert dry.verdict.verdict == "check"
    assert [f.flag for f in dry.flags if f.finding.verdict] == ["dry_surface"]
    assert [i.task for i in plan(dry, 10).items] == ["moisten"]


def test_a_hood_that_was_taken_off_is_asked_for_no_more() -> None:
    told = story(a_fruiting_run(), 13, diary={8: "fruiting", 13: "unhooded"})
    assert told.verdict.findings[0].word == "stage_unhooded"
    assert told.verdict.verdict == "wait"


def test_the_plan_has_the_day_to_cut_with_its_interval() -> None:
    (item,) = (i for i in plan(story(a_fruiting_run(), 16), 16).items if i.task == "harvest")
    assert item.low is not None
    assert item.high is not None
    assert item.low <= item.day <= item.high
    assert abs((item.day - day(18)).days) <= 1
    (now,) = (i for i in plan(story(a_fruiting_run(), 18), 18).items if i.task == "harvest")
    assert (now.day, now.urgency) == (day(18), "act")
    assert "outcome F01 harvested" in now.text


def test_mould_on_the_surface_ends_a_jar_once_two_photos_show_it() -> None:
    tops = {n: top() for n in range(1, 10)} | {10: top(green=0.4), 11: top(green=0.6)}
    once = story(tops, 10)
    assert (once.verdict.verdict, once.verdict.findings[0].word) == (
        "check",
        "perhaps_surface_mould",
    )
    twice = story(tops, 11)
    assert (twice.verdict.verdict, twice.verdict.findings[0].word) == ("no-go", "surface_mould")
    assert [i.task for i in plan(twice, 11).items] == ["isolate"]
    assert story({10: top(green=2.5)}, 10).verdict.verdict == "no-go"


def test_a_small_spot_that_two_later_photos_do_not_show_is_no_doubt_any_more() -> None:
    tops = {n: top() for n in range(1, 13)} | {9: top(green=0.4)}
    assert story(tops, 10).verdict.verdict == "check"
    assert story(tops, 11).verdict.findings[0].word == "stage_moist"


def test_a_colour_that_is_normal_for_the_species_is_no_mould_but_green_always_is() -> None:
    tops = {10: top(green=0.6), 11: top(green=0.6)}
    for species in ("oyster", "pink-oyster", "reishi", "nobody knows"):
        assert story(tops, 11, species=species).verdict.verdict == "no-go"


def test_a_hidden_surface_and_an_old_photo_ask_for_a_new_one() -> None:
    hidden = story({n: top(seen=20.0) for n in range(1, 11)}, 10)
    assert hidden.verdict.findings[0].word == "surface_hidden"
    old = story({n: top() for n in range(1, 11)}, 13)
    assert old.verdict.findings[0].word == "old_top"
    assert story({n: top() for n in range(1, 11)}, 12).verdict.verdict == "wait"


def test_spawn_seen_from_above_alone_is_never_go() -> None:
    told = story({n: top() for n in range(1, 11)}, 10, kind="spawn")
    assert (told.verdict.verdict, told.verdict.findings[0].word) == ("check", "only_top")


def test_a_recorded_harvest_begins_the_rest_without_scoring_anew() -> None:
    told = story(a_fruiting_run() | {19: top()}, 19)
    after = shelf(told, 19, Outcome("F01", "harvested", day(18), 120.0, 100.0))
    (found,) = after.stories
    assert after.finished == ()
    assert found.fruiting is not None
    assert (found.fruiting.stage, found.fruiting.flush) == ("resting", 2)
    assert found.verdict.findings[0].word == "stage_resting"
    tasks = [(i.task, i.day) for i in make_plan(after).items]
    assert ("flush", day(25)) in tasks


@pytest.mark.parametrize("then", ["discarded", "contaminated", "clean"])
def test_what_is_recorded_after_the_harvest_ends_the_story(then: str) -> None:
    told = story(a_fruiting_run(), 18)
    cut = Outcome("F01", "harvested", day(18), 120.0)
    done = shelf(told, 20, cut, Outcome("F01", then, day(20)))  # type: ignore[arg-type]
    assert [over.ending.word for over in done.finished] == ["harvested"]


def test_a_harvested_jar_that_nobody_photographs_any_more_leaves_the_list() -> None:
    told = story(a_fruiting_run(), 18)
    cut = Outcome("F01", "harvested", day(18), 120.0)
    assert shelf(told, 18, cut, made=day(40)).finished == ()
    assert len(shelf(told, 18, cut, made=day(60)).finished) == 1
