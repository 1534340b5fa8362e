"""Where each limit of the verdict lies: a little below it says one thing, a little above another.

The numbers stand here and not in the settings, so that a limit that is moved is noticed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest
from judging import healthy, judge, with_patches, words
from shelves import Story, kjma, oyster, patch, reading

from jarvision.growth.forecast import fit_growth
from jarvision.history.build import build_history
from jarvision.records import Finding, Growth, Patch, Reading, Verdict
from jarvision.register.species import find_profile
from jarvision.settings.groups import Settings
from jarvision.settings.verdict import VerdictSettings
from jarvision.verdict.decide import decide

DAYS = 17


def found(verdict: Verdict) -> list[str]:
    return [finding.word for finding in verdict.findings]


def last_as(**changed: object) -> list[Reading]:
    """A healthy jar that is rested, its last reading changed."""
    *early, last = healthy(DAYS).readings()
    return [*early, replace(last, **changed)]  # type: ignore[arg-type]


def showing(kind: str, area_cm2: float, *, days: int = 1, sure: float = 0.9) -> list[Reading]:
    """A healthy jar that is rested, with an area on its last days."""
    return with_patches(healthy(DAYS), [patch(kind, area_cm2, 20, 40, sure)], since=DAYS - days)


def seen(percent: float) -> list[Reading]:
    return [*healthy(DAYS).readings()[:-1], reading(DAYS - 1, 99.5, half_width=1.5, seen=percent)]


def still(
    area_cm2: float, *, since: int = 11, days: int = DAYS, full: float = 100.0
) -> list[Reading]:
    """A jar that is full as far as it grows, with a bare area that stands still."""
    percents = np.minimum(kjma(np.arange(days)), full)
    return with_patches(Story(percents, noise=0.3), [patch("bare", area_cm2)], since=since)


Told = tuple[str, list[str]]


@pytest.mark.parametrize(
    ("story", "below", "above"),
    [
        (seen, (59.0, ("check", ["little_seen"])), (60.0, ("go", ["spawn_ready"]))),
        (
            lambda error: last_as(colour_de00_median=error),
            (6.0, ("go", ["spawn_ready"])),
            (6.1, ("check", ["colours_off"])),
        ),
        (
            lambda area: showing("green", area, days=2),
            (0.29, ("check", ["perhaps_mould"])),
            (0.3, ("no-go", ["mould"])),
        ),
        (
            lambda area: showing("green", area),
            (1.9, ("check", ["perhaps_mould"])),
            (2.0, ("no-go", ["mould"])),
        ),
        (
            lambda area: showing("green", area, days=2),
            (0.048, ("go", ["spawn_ready"])),
            (0.05, ("check", ["perhaps_mould"])),
        ),
        (
            lambda sure: showing("green", 1.0, days=2, sure=sure),
            (0.69, ("check", ["perhaps_mould"])),
            (0.7, ("no-go", ["mould"])),
        ),
        (
            lambda area: showing("wet", area),
            (0.49, ("go", ["spawn_ready"])),
            (0.5, ("check", ["wet"])),
        ),
        (lambda area: showing("wet", area), (5.9, ("check", ["wet"])), (6.0, ("no-go", ["wet"]))),
        (
            lambda area: showing("bare", area),
            (0.49, ("go", ["spawn_ready"])),
            (0.5, ("wait", ["bare_anew"])),
        ),
        (still, (0.97, ("check", ["bare_left"])), (1.0, ("no-go", ["dead_patch"]))),
    ],
    ids=[
        "wall seen",
        "colours off",
        "mould on two photos",
        "mould on one photo",
        "speck",
        "sure of a mould",
        "wet looked at",
        "wet out",
        "bare area left",
        "dead area",
    ],
)
def test_a_verdict_turns_at_its_limit(
    story: Callable[[float], list[Reading]], below: tuple[float, Told], above: tuple[float, Told]
) -> None:
    for value, told in (below, above):
        verdict, _ = judge(story(value))
        assert (verdict.verdict, found(verdict)) == told, value


def test_a_stain_that_its_species_does_not_show_is_looked_at_from_its_limit_on() -> None:
    """... while it grows: on old, full growth of a species that nobody knows it is a note."""
    for days, area_cm2, asked in ((9, 0.49, False), (9, 0.5, True), (DAYS, 0.5, False)):
        young = with_patches(healthy(days), [patch("stain", area_cm2, 20, 40, 0.9)], since=days - 1)
        assert ("odd_stain" in found(judge(young, oyster(species="moon cap"))[0])) == asked


@pytest.mark.parametrize(
    ("flag", "below", "above"),
    [
        ("stain", showing("stain", 0.29), showing("stain", 0.3)),
        ("unproven_stain", last_as(unproven_cm2=3.9), last_as(unproven_cm2=4.0)),
    ],
)
def test_a_note_is_told_from_its_limit_on(
    flag: str, below: Sequence[Reading], above: Sequence[Reading]
) -> None:
    assert flag not in words(judge(below)[1])
    verdict, flags = judge(above)
    assert verdict.verdict == "go"
    assert flag in words(flags)


def test_an_interval_is_told_as_wide_from_25_points_and_a_wall_as_hidden_from_25_percent() -> None:
    plain = healthy(8).readings()

    def told(points: float, seen_percent: float) -> list[str]:
        cover = plain[-1].coverage
        assert cover is not None
        wide = replace(
            cover,
            low=cover.percent - points / 2,
            high=cover.percent + points / 2,
            seen_percent=seen_percent,
        )
        _, flags = judge([*plain[:-1], replace(plain[-1], coverage=wide)])
        return [f.message for f in flags if f.flag == "wide_interval"]

    assert told(24.8, 95.0) == []
    (open_to_view,) = told(25.2, 75.5)
    (hidden,) = told(25.2, 75.0)
    assert "hidden" not in open_to_view
    assert "25 % of the wall is hidden" in hidden


@pytest.mark.parametrize(
    ("below", "above"),
    [
        # 120 degrees of 45 mm, 110 mm high: 103.7 cm2, of which an island takes a quarter at most
        (still(26.3, full=72.0), still(25.5, full=72.0)),
        # a tenth of the wall: the rest must be full to 90 %, nine tenths of which are 81 %
        (still(10.37, full=80.0), still(10.37, full=82.0)),
    ],
    ids=["island", "rest of the wall"],
)
def test_a_bare_area_is_a_dead_one_within_its_limits(
    below: Sequence[Reading], above: Sequence[Reading]
) -> None:
    assert "dead_patch" not in found(judge(below)[0])
    assert "dead_patch" in found(judge(above)[0])


@pytest.mark.parametrize(("groove_mm", "low"), [(110.0, False), (110.1, True)])
def test_contents_as_high_as_the_groove_are_high_enough(groove_mm: float, low: bool) -> None:
    _, flags = judge(last_as(groove_height_mm=groove_mm))
    assert ("low_fill" in words(flags)) is low


@pytest.mark.parametrize(("days", "dead"), [(22, False), (23, True)])
def test_whatever_the_rest_an_area_is_dead_once_its_species_longest_run_is_over(
    days: int, dead: bool
) -> None:
    slow = Story(kjma(np.arange(days), t95=40.0))  # oyster: 21 days
    verdict, _ = judge(with_patches(slow, [patch("bare", 3.0)], since=days - 6))
    assert ("dead_patch" in found(verdict)) is dead


# --------------------------------------------------------------------------- how long, how often
def test_a_bare_area_is_dead_from_the_third_day_on_and_out_from_the_fourth() -> None:
    told = [judge(still(3.0, days=days))[0] for days in (14, 15, 16)]
    assert [found(v)[0] == "dead_patch" for v in told] == [False, True, True]
    assert [v.verdict for v in told[1:]] == ["check", "no-go"]


def sighted(days_seen: Sequence[int], days_photographed: Sequence[int]) -> list[str]:
    """What is found of a bare area that shows on some of the days with a photo."""
    story = healthy(18, skip=tuple(n for n in range(11, 18) if n not in days_photographed))
    story.patches = {n: [patch("bare", 3.0)] for n in days_seen}
    return found(judge(story.readings())[0])


def test_a_dead_area_was_seen_on_three_days() -> None:
    assert "dead_patch" not in sighted((13, 17), (11, 12, 13, 17))
    assert "dead_patch" in sighted((13, 15, 17), (11, 12, 13, 15, 17))


def test_a_dead_area_was_seen_on_three_of_five_days_with_a_photo() -> None:
    assert "dead_patch" in sighted((13, 15, 17), (13, 14, 15, 16, 17))
    assert "dead_patch" not in sighted((12, 15, 17), (12, 13, 14, 15, 16, 17))


@pytest.mark.parametrize(("left", "dead"), [(0.78, False), (0.8, True)])
def test_four_fifths_of_a_dead_area_are_left(left: float, dead: bool) -> None:
    story = healthy(DAYS)
    areas = np.linspace(2.5, 2.5 * left, 6)
    story.patches = {11 + n: [patch("bare", float(area))] for n, area in enumerate(areas)}
    assert ("dead_patch" in found(judge(story.readings())[0])) == dead


@pytest.mark.parametrize(("aspect", "verdict"), [(2.75, "check"), (3.0, "go")])
def test_an_island_of_a_thin_species_fills_a_third_of_its_circle(
    aspect: float, verdict: str
) -> None:
    around = np.linspace(0.0, 2 * np.pi, 180, endpoint=False)
    half_mm = 10 * np.sqrt(2.4 * aspect / np.pi)
    outline = tuple(
        (float(np.rad2deg(half_mm * np.cos(t) / 45.0)), float(50 + half_mm / aspect * np.sin(t)))
        for t in around
    )
    bare = Patch("bare", 2.4, 0.0, 50.0, 0.9, outline)
    readings = with_patches(healthy(18), [bare], since=17)
    assert judge(readings, oyster(species="lion's mane"))[0].verdict == verdict


@pytest.mark.parametrize(
    ("area_cm2", "angle_deg", "verdict"),
    [
        (1.38, 0.0, "go"),  # an oval of 2 to 1 fills half of its circle
        (1.42, 0.0, "check"),
        (1.2, 46.8, "go"),
        (1.2, 48.2, "check"),  # 7.9 degrees to its edge: the edge of the view may cut it
        (1.2, -48.2, "check"),
    ],
)
def test_an_island_of_a_thin_species_has_a_core_or_lies_at_the_edge_of_the_view(
    area_cm2: float, angle_deg: float, verdict: str
) -> None:
    around = np.linspace(0.0, 2 * np.pi, 180, endpoint=False)
    half_mm = 10 * np.sqrt(2.0 * area_cm2 / np.pi)
    outline = tuple(
        (angle_deg + float(np.rad2deg(half_mm / 2 * np.cos(t) / 45.0)), 50 + half_mm * np.sin(t))
        for t in around
    )
    bare = Patch("bare", area_cm2, angle_deg, 50.0, 0.9, outline)
    readings = with_patches(healthy(18), [bare], since=17)
    assert judge(readings, oyster(species="lion's mane"))[0].verdict == verdict


def test_the_rest_of_the_wall_is_full_from_its_limit_on() -> None:
    """What is bare takes up an eighth of the wall in view: the rest is full to 80 / 0.875 %."""
    history = build_history(still(3.0), oyster())
    for ready, word in ((80.0 / 0.875, "dead_patch"), (80.1 / 0.875, "growing")):
        day = history.days[-1]
        eighth = replace(day.patches[0], area_cm2=103.67255756846318 / 8)
        last = replace(day, patches=(eighth,), coverage=replace(day.coverage, percent=80.0))
        last = replace(last, fill_height_mm=110.0)
        profile = replace(find_profile("oyster"), ready_percent=ready)
        limits = Settings(verdict=VerdictSettings(dead_patch_rest_percent=99.0))
        days = (*history.days[:-1], last)
        told, _ = decide(
            replace(history, days=days), Growth("logistic"), profile, today=day.day, settings=limits
        )
        assert (word == "dead_patch") == ("dead_patch" in found(told)), ready


@pytest.mark.parametrize(("ready_percent", "verdict"), [(89.0, "check"), (90.0, "no-go")])
def test_a_species_that_is_ready_below_90_percent_is_thin(
    ready_percent: float, verdict: str
) -> None:
    history = build_history(still(3.0), oyster())
    profile = replace(find_profile("oyster"), ready_percent=ready_percent)
    today = history.days[-1].day
    growth = fit_growth(history, profile, today=today)
    assert decide(history, growth, profile, today=today)[0].verdict == verdict


# --------------------------------------------------------------------------- slow jars
@pytest.mark.parametrize(
    ("days", "percent", "verdict"),
    [(6, 89.5, "check"), (7, 89.5, "no-go"), (7, 90.0, "check")],
)
def test_a_stall_ends_a_jar_after_a_week_unless_it_is_near_ready(
    days: int, percent: float, verdict: str
) -> None:
    history = build_history(Story(np.full(12, percent), noise=0.0).readings(), oyster())
    profile, today = find_profile("oyster"), history.days[-1].day
    growth = fit_growth(history, profile, today=today)
    stall = Finding.of(
        "stall",
        days=days,
        percent=percent,
        percent_per_day=0.0,
        expected_percent_per_day=5.0,
        slow_share=0.3,
        chance=0.001,
    )
    told, _ = decide(history, replace(growth, stall=stall), profile, today=today)
    assert (told.verdict, found(told)) == (verdict, ["stall"])


def test_a_jar_is_late_after_one_and_a_half_of_its_species_longest_run() -> None:
    slow = Story(kjma(np.arange(33), t95=50.0)).readings()  # oyster: 21 days
    assert "late" not in found(judge(slow[:32])[0])
    assert "late" in found(judge(slow)[0])


def test_a_jar_was_seen_growing_when_it_rose_by_two_points_beyond_both_intervals() -> None:
    def told(rise: float) -> list[str]:
        first = [reading(n, 95.5, half_width=0.5) for n in range(3)]  # at most 96
        later = [reading(n, 96.5 + rise, half_width=0.5) for n in range(3, 14)]
        history = build_history([*first, *later], oyster())
        alone = tuple(replace(d, together=None) for d in history.days)
        profile, today = find_profile("oyster"), history.days[-1].day
        growth = fit_growth(history, profile, today=today)
        return found(decide(replace(history, days=alone), growth, profile, today=today)[0])

    assert told(1.9) == ["never_seen_growing"]
    assert told(2.1) == ["spawn_ready"]
