"""The plan against shelves whose dates are known."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from fake_shelf import TODAY, fake_growth, fake_shelf, fake_story
from hypothesis import given
from hypothesis import strategies as st

from jarvision.base.errors import UsageError
from jarvision.records import Growth, JarEntry, JarStory, ShelfResult, VerdictWord
from jarvision.register.jars import Register
from jarvision.register.outcomes import JarOutcome
from jarvision.register.species import find_profile
from jarvision.settings.plan import PlanSettings
from jarvision.settings.toml import parse_settings
from jarvision.verdict.lives import with_lives
from jarvision.verdict.plan import TASKS, Plan, PlanItem, make_plan

OYSTER = find_profile("oyster")
REST = timedelta(days=OYSTER.consolidation_days)
KEEPS = timedelta(days=OYSTER.keeps_days)


def jar(
    name: str,
    verdict: VerdictWord,
    ready_in: int | None,
    *,
    kind: str = "spawn",
    flag: str = "",
    spread: int = 1,
) -> JarStory:
    """An oyster jar that is ready ``ready_in`` days from today, give or take ``spread``."""
    ready = None if ready_in is None else TODAY + timedelta(days=ready_in)
    wide = timedelta(days=spread)
    growth = (
        Growth("logistic")
        if ready is None
        else replace(
            fake_growth(4.0, 0.9), ready_date=ready, ready_low=ready - wide, ready_high=ready + wide
        )
    )
    flags = ((flag, "told"),) if flag else ()
    story = fake_story(name, verdict, ("the reason.",), growth=growth, flags=flags)
    entry = replace(story.history.entry, kind=kind)
    return replace(story, history=replace(story.history, entry=entry))


def shelf(*stories: JarStory) -> ShelfResult:
    return replace(fake_shelf(), stories=stories)


def of(plan: Plan, task: str, name: str = "") -> list[PlanItem]:
    return [i for i in plan.items if i.task == task and (not name or name in i.jars)]


# --------------------------------------------------------------------------- one jar
def test_a_waiting_jar_is_used_after_its_rest_and_its_interval_moves_along() -> None:
    plan = make_plan(shelf(jar("A", "wait", 3)))
    (
        (ready,),
        (use,),
    ) = of(plan, "ready"), of(plan, "use")
    assert ready.day == TODAY + timedelta(days=3)
    assert (ready.low, ready.high) == (TODAY + timedelta(days=2), TODAY + timedelta(days=4))
    assert use.day == ready.day + REST
    assert (use.low, use.high) == (ready.day + REST - timedelta(1), ready.day + REST + timedelta(1))


def test_a_jar_keeps_as_long_as_its_species_allows() -> None:
    (item,) = of(make_plan(shelf(jar("A", "go", -4))), "use-by")
    assert item.day == TODAY - timedelta(days=4) + REST + KEEPS


def test_a_go_jar_can_be_used_today_and_a_waiting_one_never_before_tomorrow() -> None:
    plan = make_plan(shelf(jar("A", "go", -4), jar("B", "wait", -9)))
    assert of(plan, "use", "A")[0].day == TODAY
    assert of(plan, "use", "B")[0].day == TODAY + timedelta(days=1)


def test_fruiting_jars_go_into_fruiting_conditions_and_feed_nothing() -> None:
    plan = make_plan(shelf(jar("F", "go", -4, kind="fruiting")))
    assert of(plan, "fruit")[0].day == TODAY
    assert plan.batches == ()


@pytest.mark.parametrize(
    ("verdict", "flag", "task", "urgency"),
    [
        ("no-go", "off_colour", "isolate", "act"),
        ("check", "overdue", "overdue", "look"),
        ("check", "stall", "look", "look"),
        ("check", "old_photo", "photo", "look"),
    ],
)
def test_jars_in_doubt_are_work_for_today_and_promise_nothing(
    verdict: VerdictWord, flag: str, task: str, urgency: str
) -> None:
    plan = make_plan(shelf(jar("A", verdict, 2, flag=flag)))
    (item,) = of(plan, task)
    assert (item.day, item.urgency, item.jars) == (TODAY, urgency, ("A",))
    assert plan.batches == ()
    assert {i.task for i in plan.items} <= {"isolate", "overdue", "look", "photo"}


def test_a_jar_to_be_carried_out_wants_no_new_photo() -> None:
    story = jar("A", "no-go", 2, flag="old_photo")
    assert [item.task for item in make_plan(shelf(story)).items] == ["isolate"]


@pytest.mark.parametrize(("ready_in", "told"), [(0, False), (1, True)])
def test_ready_is_told_of_days_to_come_only(ready_in: int, told: bool) -> None:
    assert bool(of(make_plan(shelf(jar("A", "wait", ready_in))), "ready")) is told


def test_what_each_jar_takes_is_told_where_there_are_several() -> None:
    one, two = (make_plan(shelf(*(jar(f"S{n}", "go", -4) for n in range(m)))) for m in (1, 2))
    (alone,), (both,) = of(one, "soak"), of(two, "soak")
    assert "Soak 100 g of dry substrate for 1 fruiting jar." in alone.text
    assert "Soak 200 g of dry substrate for 2 fruiting jars (100 g each)." in both.text


def test_a_batch_is_expected_between_the_last_of_its_bounds() -> None:
    plan = make_plan(shelf(jar("A", "wait", 2, spread=2), jar("B", "wait", 3, spread=1)))
    (batch,) = plan.batches
    assert (batch.low, batch.high) == (
        TODAY + timedelta(days=2) + REST,
        TODAY + timedelta(days=4) + REST,
    )


def test_a_jar_that_is_used_up_on_its_day_is_told_no_last_day() -> None:
    late = jar("A", "go", -(REST + KEEPS).days)
    assert of(make_plan(shelf(late)), "use-by") == []
    last = jar("A", "go", 1 - (REST + KEEPS).days)
    (item,) = of(make_plan(shelf(last)), "use-by")
    assert item.day == TODAY + timedelta(days=1)


def test_a_plan_ends_on_its_last_day_and_later_jars_are_named() -> None:
    plan = make_plan(shelf(*(jar(f"K{n}", "wait", n) for n in range(14))))
    assert plan.last == TODAY + timedelta(days=PlanSettings().days - 1)
    uses = [item.day for item in of(plan, "use")]
    assert max(uses) == plan.last
    assert len(uses) + len(plan.later) == 14


def test_jars_without_a_date_and_jars_after_the_plan_are_named() -> None:
    plan = make_plan(shelf(jar("A", "wait", None), jar("B", "wait", 13)))
    assert plan.undated == ("A",)
    assert plan.later == ("B",)
    assert of(plan, "use") == []


def test_nothing_lies_outside_the_days_of_the_plan() -> None:
    many = [jar(f"K{n}", "wait", n - 5) for n in range(30)]
    plan = make_plan(shelf(*many), settings=PlanSettings(days=7))
    assert (plan.last - plan.first).days == 6
    assert all(plan.first <= item.day <= plan.last for item in plan.items)
    assert [i.day for i in plan.items] == sorted(i.day for i in plan.items)


def test_a_later_first_day_moves_the_work_along() -> None:
    later = TODAY + timedelta(days=3)
    plan = make_plan(shelf(jar("A", "go", -4)), today=later)
    assert of(plan, "use")[0].day == later


# --------------------------------------------------------------------------- substrate
def test_one_spawn_jar_makes_one_fruiting_jar() -> None:
    plan = make_plan(shelf(*(jar(f"S{n}", "go", -4) for n in range(3))))
    (batch,) = plan.batches
    assert batch.spawn_jars == ("S0", "S1", "S2")
    assert batch.dry_g == 300.0


def test_water_is_the_share_that_the_settings_ask_for() -> None:
    settings = PlanSettings(dry_substrate_g=150.0, water_share=0.75)
    (batch,) = make_plan(shelf(jar("A", "go", -4)), settings=settings).batches
    assert batch.water_g == pytest.approx(450.0)
    assert batch.water_g / (batch.water_g + batch.dry_g) == pytest.approx(0.75)


def test_substrate_is_soaked_the_day_before_it_is_packed_and_never_yesterday() -> None:
    plan = make_plan(shelf(jar("A", "go", -4), jar("B", "wait", 6)))
    first, second = plan.batches
    assert (first.soak_on, first.pack_on) == (TODAY, TODAY + timedelta(days=1))
    assert second.pack_on == TODAY + timedelta(days=6) + REST
    assert second.soak_on == second.pack_on - timedelta(days=1)
    heat = of(plan, "heat", "A")[0]
    assert heat.day == first.pack_on
    assert "60 minutes" in heat.text


def test_jars_close_together_are_packed_on_one_day_when_all_can_be_used() -> None:
    plan = make_plan(shelf(jar("A", "wait", 2), jar("B", "wait", 4), jar("C", "wait", 5)))
    assert [b.spawn_jars for b in plan.batches] == [("A", "B"), ("C",)]
    assert plan.batches[0].pack_on == TODAY + timedelta(days=4) + REST
    assert plan.batches[0].high == TODAY + timedelta(days=5) + REST


def test_spawn_that_was_used_or_has_ended_feeds_nothing_again() -> None:
    register = {
        "A": JarEntry("A"),
        "F": JarEntry("F", kind="fruiting", parent="A", started=TODAY),
        "B": JarEntry("B"),
        "G": JarEntry("G", kind="fruiting", parent="B", started=TODAY + timedelta(days=1)),
    }
    stories = (jar("A", "go", -4), jar("B", "go", -4), jar("C", "go", -4))
    ended = {"C": JarOutcome("C", "clean", TODAY, (), None, None, None)}
    plan = make_plan(with_lives(shelf(*stories), Register(register), ended))
    assert [b.spawn_jars for b in plan.batches] == [("B",)]  # G is only planned
    assert {name for item in plan.items for name in item.jars} == {"B"}


@given(
    jars=st.lists(
        st.tuples(
            st.sampled_from(("go", "wait", "check", "no-go")),
            st.none() | st.integers(-30, 30),
            st.sampled_from(("spawn", "fruiting")),
        ),
        max_size=12,
    ),
    soak=st.integers(0, 3),
    gather=st.integers(0, 5),
    days=st.integers(1, 30),
)
def test_whatever_stands_on_the_shelf_the_work_can_be_done(
    jars: list[tuple[VerdictWord, int | None, str]], soak: int, gather: int, days: int
) -> None:
    stories = [jar(f"J{n}", *told[:2], kind=told[2]) for n, told in enumerate(jars)]
    settings = PlanSettings(days=days, soak_days=soak, gather_days=gather)
    plan = make_plan(shelf(*stories), settings=settings)
    by_name = {story.verdict.jar: story for story in stories}
    packed = [name for batch in plan.batches for name in batch.spawn_jars]
    assert len(packed) == len(set(packed))
    for batch in plan.batches:
        assert plan.first <= batch.soak_on <= batch.pack_on
        assert batch.dry_g == settings.dry_substrate_g * len(batch.spawn_jars)
        for name in batch.spawn_jars:
            story = by_name[name]
            assert story.verdict.verdict in ("go", "wait")
            assert story.history.entry.kind == "spawn"
            ready = story.growth.ready_date
            assert story.verdict.verdict == "go" or (ready and ready + REST <= batch.pack_on)
    assert all(plan.first <= item.day <= plan.last for item in plan.items)
    doubtful = {n for n, s in by_name.items() if s.verdict.verdict in ("check", "no-go")}
    promised = {n for i in plan.items if i.task in ("use", "fruit", "pack") for n in i.jars}
    assert not doubtful & promised


def test_a_spawn_jar_that_was_used_is_still_carried_out_when_it_turns_bad() -> None:
    register = Register({"A": JarEntry("A"), "F": JarEntry("F", parent="A", started=TODAY)})
    plan = make_plan(with_lives(shelf(jar("A", "no-go", 1)), register, {}))
    assert [(i.task, i.jars) for i in plan.items] == [("isolate", ("A",))]


def test_a_jar_whose_kin_turned_bad_is_looked_at_in_place_of_being_used() -> None:
    register = {"M": JarEntry("M"), **{name: JarEntry(name, parent="M") for name in "ABCF"}}
    register["F"] = replace(register["F"], kind="fruiting")
    fruiting = jar("F", "wait", 3, kind="fruiting")
    stories = [jar("A", "go", -4), jar("B", "no-go", 0), jar("C", "wait", 3), fruiting]
    plan = make_plan(with_lives(shelf(*stories), Register(register), {}))
    (now,), (later,), (fruits,) = (of(plan, "look", name) for name in "ACF")
    assert (now.day, now.urgency) == (TODAY, "look")
    assert (later.day, later.urgency) == (TODAY + timedelta(days=3) + REST, "look")
    assert later.low is not None
    assert fruits.day == later.day
    assert all("Of its kin, B (same spawn) turned bad." in i.text for i in (now, later, fruits))
    assert [of(plan, task) for task in ("use", "fruit", "soak", "pack")] == [[]] * 4
    assert plan.batches == ()
    assert of(plan, "ready", "C")


def test_a_jar_that_is_not_in_the_register_or_has_no_parent_has_no_bad_kin() -> None:
    stories = [jar("A", "go", -4), jar("B", "no-go", 0)]
    for register in ({"B": JarEntry("B")}, {"A": JarEntry("A"), "B": JarEntry("B")}):
        plan = make_plan(with_lives(shelf(*stories), Register(register), {}))
        (use,) = of(plan, "use", "A")
        assert use.urgency == "note"
        assert "kin" not in use.text


def test_every_task_has_its_meaning_and_every_text_ends_as_a_sentence() -> None:
    plan = make_plan(
        shelf(jar("A", "go", -4), jar("B", "no-go", 1), jar("C", "check", 1, flag="old_photo"))
    )
    assert all(item.task in TASKS and item.text.endswith(".") for item in plan.items)
    assert all(isinstance(item.day, date) for item in plan.items)


# --------------------------------------------------------------------------- settings
def test_the_grower_sets_what_a_jar_takes() -> None:
    settings = parse_settings("[plan]\ndry_substrate_g = 180\nsoak_days = 2\n")
    (batch,) = make_plan(shelf(jar("A", "go", -4)), settings=settings.plan).batches
    assert batch.dry_g == 180
    assert (batch.pack_on - batch.soak_on).days == 2


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("water_share = 70", "water_share must be a number, 0.3 to 0.9"),
        ("dry_substrate_g = 0", "dry_substrate_g must be a number, 1 to 100000, in g"),
        ("soak_days = 1.5", "soak_days must be a whole number"),
        ("pasteurise_low_c = 90", "is above pasteurise_high_c"),
    ],
)
def test_amounts_that_cannot_be_are_told(line: str, words: str) -> None:
    with pytest.raises(UsageError) as caught:
        parse_settings(f"[plan]\n{line}\n")
    assert words in str(caught.value)
