"""Days at which a verdict turns, dates that are doubted, and what is told of both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from judging import healthy, judge, with_patches, words
from shelves import START, Story, day, kjma, oyster, patch, reading, refused

from jarvision.growth.forecast import fit_growth
from jarvision.history.build import build_history
from jarvision.records import (
    Flag,
    Growth,
    JarEntry,
    JarHistory,
    Patch,
    Reading,
    TrackedPatch,
    Trend,
    Verdict,
)
from jarvision.register.species import find_profile
from jarvision.verdict.decide import decide

OYSTER = find_profile("oyster")


def found(verdict: Verdict) -> list[str]:
    return [finding.word for finding in verdict.findings]


def told(
    history: JarHistory, *, growth: Growth | None = None, today: date | None = None
) -> tuple[Verdict, tuple[Flag, ...]]:
    now = today or history.days[-1].day
    return decide(history, growth or fit_growth(history, OYSTER, today=now), OYSTER, today=now)


def exact(days: int, *, last: float = 100.0) -> list[Reading]:
    """A healthy jar that is read without any noise, ready on day 11, its last day at a level."""
    percents = [*kjma(np.arange(days - 1)), last]
    return [reading(n, float(p), half_width=1.5) for n, p in enumerate(percents)]


# --------------------------------------------------------------------------- dates
@pytest.mark.parametrize(
    ("early", "told_as"), [(1, ("go", ["spawn_ready"])), (2, ("check", ["dated_before_start"]))]
)
def test_a_photo_dated_before_the_jars_start_is_told_and_counts_for_nothing(
    early: int, told_as: tuple[str, list[str]]
) -> None:
    """More days than one of them may mean that the start is wrong."""
    before = [reading(-n, 99.9, half_width=0.5) for n in range(1, early + 1)]
    verdict, flags = judge([*before, *healthy(17).readings()])
    assert (verdict.verdict, found(verdict)) == told_as
    (flag,) = flags
    assert (flag.flag, flag.day) == ("wrong_date", START - timedelta(days=early))
    assert str(START) in flag.message
    assert verdict.coverage is not None
    undated = [*before, *healthy(6).readings()]
    later = build_history(undated, oyster())
    kept = told(later)[0]
    assert kept.coverage == later.days[-1].coverage
    only_before = build_history(before, oyster())
    nothing, _ = told(only_before, today=day(1))
    assert (found(nothing), nothing.coverage) == (["dated_before_start", "no_photo"], None)


def test_a_jar_without_a_start_has_no_photo_before_it() -> None:
    entry = oyster(started=None)
    assert "dated_before_start" not in found(judge(healthy(17).readings(), entry)[0])


def test_a_photo_of_the_first_day_is_not_dated_before_it() -> None:
    assert judge(healthy(17).readings())[0].verdict == "go"


def test_the_newest_of_photos_dated_ahead_is_told() -> None:
    verdict, flags = judge(healthy(19).readings(), today=day(16))
    assert found(verdict) == ["dated_ahead"]
    assert [(f.flag, f.day) for f in flags] == [("wrong_date", day(18))]


@pytest.mark.parametrize("number", [-3, 400])
@pytest.mark.parametrize(
    ("shown", "verdict"),
    [
        (patch("green", 0.04), "go"),
        (patch("green", 0.05), "check"),
        (patch("stain", 2.0), "go"),
        (patch("wet", 0.49), "go"),
        (patch("wet", 0.5), "check"),
    ],
)
def test_what_a_photo_with_a_wrong_date_shows_is_asked_about(
    number: int, shown: Patch, verdict: str
) -> None:
    wrong = reading(number, 60.0, patches=[shown])
    told_of, flags = judge([wrong, *healthy(17).readings()], today=day(16))
    assert told_of.verdict == verdict
    assert words(flags) >= {"wrong_date"}


def test_a_jar_of_which_all_photos_are_dated_wrong_is_looked_at() -> None:
    verdict, _ = judge([reading(400, 60.0)], today=day(16))
    assert (verdict.verdict, found(verdict)) == ("check", ["dated_ahead", "no_photo"])


def test_findings_without_a_day_of_their_own_are_flagged_today() -> None:
    _, flags = judge(healthy(17).readings(), today=day(20))
    assert [(f.flag, f.day) for f in flags] == [("old_photo", day(20))]


# --------------------------------------------------------------------------- ready, rested, sure
def test_a_jar_that_is_ready_on_its_last_day_rests_and_grows_no_more() -> None:
    verdict, _ = judge(exact(12))
    assert found(verdict) == ["resting"]
    assert verdict.findings[0].numbers["rested_days"] == 0
    assert [found(judge(exact(days))[0]) for days in (14, 15)] == [["resting"], ["spawn_ready"]]


def test_a_reading_of_just_ready_has_not_fallen() -> None:
    for last, word in ((95.0, "spawn_ready"), (94.9, "reading_fell")):
        history = build_history(exact(17, last=last), oyster())
        alone = tuple(replace(d, together=None) for d in history.days)
        growth = Growth("logistic", ready_date=day(11))
        assert found(told(replace(history, days=alone), growth=growth)[0]) == [word]


def test_days_before_the_ready_date_do_not_make_a_jar_sure() -> None:
    """It was sure on four days, fell, and is ready anew since day 17, sure on the last day only."""
    percents = [*kjma(np.arange(11)), 99.0, 99.2, 99.4, 99.5, 90.0, 90.0, 99.0, 99.0, 99.2, 99.4]
    readings = [
        reading(n, float(p), half_width=8.0 if 17 <= n < 20 else 1.5)
        for n, p in enumerate(percents)
    ]
    history = build_history(readings, oyster())
    alone = tuple(replace(d, together=None) for d in history.days)
    growth = Growth("logistic", ready_date=day(17))
    verdict, _ = told(replace(history, days=alone), growth=growth)
    assert found(verdict) == ["not_sure"]
    assert verdict.findings[0].numbers["so_far"] == 1


def test_a_bound_of_three_points_below_ready_is_sure() -> None:
    for low, word in ((92.0, "spawn_ready"), (91.9, "not_sure")):
        history = build_history(exact(17), oyster())
        sure = [
            replace(d, together=None, coverage=replace(d.coverage, low=low)) for d in history.days
        ]
        first = replace(sure[0], coverage=replace(sure[0].coverage, low=0.0, high=1.0))
        days = (first, *sure[1:])
        growth = Growth("logistic", ready_date=day(11))
        assert found(told(replace(history, days=days), growth=growth)[0]) == [word]


@pytest.mark.parametrize(
    ("area_cm2", "trend", "word"),
    [
        (0.99, "closing", "spawn_ready"),
        (1.0, "closing", "still_closing"),
        (0.5, "still", "bare_left"),
        (0.5, "new", "bare_anew"),
    ],
)
def test_a_small_area_that_closes_does_not_keep_a_ready_jar(
    area_cm2: float, trend: Trend, word: str
) -> None:
    history = build_history(exact(17), oyster())
    area = TrackedPatch("bare-1", "bare", area_cm2, 0.0, 40.0, trend)
    last = replace(history.days[-1], patches=(area,))
    assert found(told(replace(history, days=(*history.days[:-1], last)))[0]) == [word]


@pytest.mark.parametrize(("days", "word"), [(25, "spawn_ready"), (26, "overdue")])
def test_a_jar_is_overdue_the_day_after_its_rest_and_its_keeping_time(days: int, word: str) -> None:
    assert (OYSTER.consolidation_days, OYSTER.keeps_days) == (3, 10)
    assert found(judge(exact(days))[0]) == [word]  # ready on day 11: it keeps until day 24


@pytest.mark.parametrize(("number", "verdict"), [(15, "go"), (16, "go"), (17, "check")])
def test_only_a_refused_photo_that_is_newer_than_the_last_good_one_is_a_doubt(
    number: int, verdict: str
) -> None:
    assert judge([*exact(17), refused(number)], today=day(17))[0].verdict == verdict


def test_a_refused_photo_of_tomorrow_is_no_doubt_of_today() -> None:
    assert judge([*exact(17), refused(18)], today=day(17))[0].verdict == "go"


def test_two_points_beyond_both_intervals_are_growth_and_less_are_not() -> None:
    for rise, word in ((2.0, "spawn_ready"), (1.99, "never_seen_growing")):
        first = [reading(n, 95.5, half_width=0.5) for n in range(3)]
        later = [reading(n, 96.5 + rise, half_width=0.5) for n in range(3, 14)]
        history = build_history([*first, *later], oyster())
        alone = tuple(replace(d, together=None) for d in history.days)
        growth = Growth("logistic", ready_date=day(3))
        assert found(told(replace(history, days=alone), growth=growth)[0]) == [word]


# --------------------------------------------------------------------------- photos of one day
def twice(first: Sequence[str], second: Sequence[str], *, view: str = "front") -> list[Reading]:
    """A good jar; its last day has two photos, of the same side or another, that show moulds."""
    readings = healthy(17).readings()
    shown = [tuple(patch(kind, 0.5, 20.0, 40.0) for kind in kinds) for kinds in (first, second)]
    last = replace(readings[-1], patches=shown[0])
    again = replace(last, photo="again.jpg", view=view, patches=shown[1])
    return [*readings[:-1], last, again]


@pytest.mark.parametrize(
    ("photos", "verdict"),
    [
        (twice(["green"], ["green"]), "no-go"),
        (twice(["green"], []), "check"),
        (twice(["green"], ["wet"]), "check"),
        (twice(["green"], ["green"], view="c"), "check"),  # two sides: one photo of each area
    ],
    ids=["both", "one", "something else", "another side"],
)
def test_a_small_mould_ends_the_jar_when_two_photos_of_one_side_and_day_show_it(
    photos: list[Reading], verdict: str
) -> None:
    assert judge(photos)[0].verdict == verdict


# --------------------------------------------------------------------------- notes
def test_a_jar_whose_contents_show_another_side_is_told_as_turned() -> None:
    history = build_history(healthy(17).readings(), oyster())
    for turned in (True, False):
        last = replace(history.days[-1], turned_away=turned)
        _, flags = told(replace(history, days=(*history.days[:-1], last)))
        assert ("turned" in words(flags)) is turned


SPREAD = ((-50.0, 20.0), (-40.0, 60.0), (-45.0, 100.0))


@pytest.mark.parametrize(
    ("before", "kept", "moved", "is_turned"),
    [(3, 0, 3, True), (3, 1, 3, False), (2, 0, 3, False), (3, 0, 2, False)],
    ids=["all elsewhere", "one followed", "few before", "few now"],
)
def test_a_jar_has_turned_when_all_its_patches_are_new(
    before: int, kept: int, moved: int, is_turned: bool
) -> None:
    old = [patch("bare", 1.0, a, h) for a, h in SPREAD[:before]]
    new = [patch("bare", 1.0, a + 95.0, h) for a, h in SPREAD[:moved]] + old[:kept]
    _, flags = judge([reading(3, 60, patches=old), reading(4, 70, patches=new)])
    assert ("turned" in words(flags)) is is_turned


def test_the_area_of_a_stain_is_told() -> None:
    stained = with_patches(healthy(17), [patch("stain", 4.0, 20, 30, 0.6)], since=9)
    _, flags = judge(stained)
    (stain,) = flags
    assert "4.0 cm2" in stain.message


# --------------------------------------------------------------------------- areas that are gone
def gone(areas_cm2: Sequence[float], *, white: int = 2) -> list[str]:
    """What is found of a full jar in which a bare area ends so many days before the last."""
    story = healthy(18)
    first = 18 - white - len(areas_cm2)
    story.patches = {first + n: [patch("bare", area)] for n, area in enumerate(areas_cm2)}
    return found(judge(story.readings())[0])


def test_an_area_is_no_island_below_a_square_centimetre_or_while_it_closes() -> None:
    assert "vanished" in gone([1.05] * 5)
    assert gone([0.95] * 5) == ["spawn_ready"]
    assert gone([8.0, 6.2, 4.6, 3.2, 2.0]) == ["spawn_ready"]
    assert gone([24.0, 21.0, 18.0, 15.0, 12.0], white=1) == ["spawn_ready"]
    assert gone([12.0] * 5, white=1) == ["vanished"]


def test_an_area_over_more_than_a_quarter_of_the_wall_was_no_island() -> None:
    assert gone([26.3] * 3, white=1) == ["spawn_ready"]  # of 103.7 cm2
    assert gone([25.5] * 3, white=1) == ["vanished"]


def test_an_area_that_was_not_dead_may_close_at_its_species_fastest() -> None:
    slowest, fastest = OYSTER.front_mm_per_day
    for radius_mm, word in ((fastest - 0.3, "spawn_ready"), (fastest + 0.3, "vanished")):
        assert radius_mm > slowest
        assert gone([np.pi * radius_mm**2 / 100] * 3, white=1) == [word]


def test_an_area_that_was_seen_again_without_it_or_fell_apart_is_forgotten() -> None:
    story = healthy(18)
    story.patches = {n: [patch("bare", 3.0)] for n in range(11, 16)}
    history = build_history(story.readings(), oyster())
    (name,) = {p.patch for d in history.days for p in d.patches}
    assert found(told(history)[0]) == ["vanished"]
    for known in ({"cleared": (name,)}, {"parted": (name,)}):
        last = replace(history.days[-1], **known)
        days = (*history.days[:-1], last)
        assert found(told(replace(history, days=days))[0]) == ["spawn_ready"], known


def test_a_stain_on_a_full_wall_is_no_bare_area() -> None:
    story = healthy(18)
    story.patches = {n: [patch("bare", 2.3)] for n in range(6, 9)}
    story.patches |= {n: [patch("stain", 3.0, 60.0)] for n in range(9, 18)}
    assert found(judge(story.readings())[0]) == ["spawn_ready"]
    story.patches |= {n: [patch("bare", 0.6, 90.0)] for n in range(9, 17)}
    assert found(judge(story.readings())[0]) == ["vanished"]


@pytest.mark.parametrize(
    ("trends", "words_found"),
    [
        (("new", "still", "still", "still", "still", "still"), ["vanished"]),
        (("new", "still", "still", "closing", "still", "still"), ["vanished"]),
        (("new", "still", "still", "still", "closing", "still"), ["spawn_ready"]),
        (("new", "still", "closing", "still", "growing", "still"), ["vanished"]),
    ],
    ids=["five days", "two days", "one day", "three days"],
)
def test_an_area_was_dead_in_the_unbroken_run_of_days_on_which_it_stood_still(
    trends: Sequence[Trend], words_found: list[str]
) -> None:
    """Two days with a full wall let an area be forgotten that was closing the day before."""
    story = healthy(18)
    story.patches = {10 + n: [patch("bare", 3.0 if n < 4 else 2.3)] for n in range(6)}
    history = build_history(story.readings(), oyster())
    days = list(history.days)
    for n, trend in enumerate(trends):
        (bare,) = days[10 + n].patches
        days[10 + n] = replace(days[10 + n], patches=(replace(bare, trend=trend),))
    assert found(told(replace(history, days=tuple(days)))[0]) == words_found


@pytest.mark.parametrize(("first", "word"), [(2.8, "vanished"), (3.0, "spawn_ready")])
def test_an_area_that_has_hardly_shrunk_stood_still_whatever_its_trend(
    first: float, word: str
) -> None:
    story = healthy(18)
    story.patches = {
        12 + n: [patch("bare", area)] for n, area in enumerate((first, first, 2.3, 2.3))
    }
    history = build_history(story.readings(), oyster())
    days = list(history.days)
    for n, trend in enumerate(("new", "closing", "closing", "still")):
        (bare,) = days[12 + n].patches
        days[12 + n] = replace(days[12 + n], patches=(replace(bare, trend=trend),))
    assert found(told(replace(history, days=tuple(days)))[0]) == [word]


def test_only_a_registered_jar_has_a_known_start() -> None:
    entry = JarEntry("J1", species="oyster", registered=True)
    assert judge(Story(kjma(np.arange(17))).readings(), entry)[0].verdict == "go"
