"""Bare areas that are gone: which of them keep a ready jar from go, and for how long."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest
from judging import healthy, judge
from shelves import Story, kjma, oval, oyster

from jarvision.growth.forecast import seen_growth
from jarvision.history.build import build_history
from jarvision.records import Patch, TrackedPatch, Verdict
from jarvision.register.species import find_profile
from jarvision.settings.groups import Settings
from jarvision.settings.verdict import VerdictSettings
from jarvision.verdict.decide import decide
from jarvision.verdict.vanished import _lies_in


def found(verdict: Verdict) -> list[str]:
    return [finding.word for finding in verdict.findings]


def square(side_mm: float, angle_deg: float = 0.0, height_mm: float = 50.0) -> Patch:
    """A bare square on a wall of 45 mm radius, with its outline."""
    half_deg, half_mm = np.rad2deg(side_mm / 2 / 45.0), side_mm / 2
    corners = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    outline = tuple((angle_deg + x * half_deg, height_mm + y * half_mm) for x, y in corners)
    return Patch("bare", side_mm**2 / 100.0, angle_deg, height_mm, 0.9, outline)


def verdict_of(patches: Mapping[int, Sequence[Patch]], story: Story | None = None) -> Verdict:
    told = story or healthy(18)
    told.patches = dict(patches)
    return judge(told.readings())[0]


def test_the_bare_wall_of_a_young_jar_is_no_island_that_vanished() -> None:
    assert verdict_of({n: [square(80.0)] for n in range(5)}).verdict == "go"


def test_an_area_of_before_a_shake_says_nothing_of_the_wall_after_it() -> None:
    grown = kjma(np.arange(12))
    percents = np.concatenate([kjma(np.arange(6)), [3.0], grown[3:], [100.0] * 5])
    still = {n: [square(20.0)] for n in range(1, 6)}
    assert verdict_of(still, Story(percents)).verdict == "go"


def test_an_area_that_falls_apart_lives_on_under_other_names() -> None:
    whole = {n: [square(30.0)] for n in range(9, 14)}
    parts = {14: [square(19.0, -13.0), square(19.0, 13.0)], 15: [square(5.0, -13.0)]}
    verdict = verdict_of({**whole, **parts}, healthy(17))
    assert "vanished" not in found(verdict)
    for left in ({}, {14: [square(8.0, -14.0)]}):  # a small one may be another side's
        assert found(verdict_of({**whole, **left}, healthy(17))) == ["vanished"]


@pytest.mark.parametrize("angle_deg", [0.0, 175.0, -175.0])
@pytest.mark.parametrize("way", [-1.0, 1.0])
@pytest.mark.parametrize(("off_mm", "inside"), [(9.9, True), (10.1, False)])
def test_what_is_left_of_an_area_lies_within_its_radius(
    angle_deg: float, way: float, off_mm: float, inside: bool
) -> None:
    whole = TrackedPatch("bare-1", "bare", np.pi, angle_deg, 50.0, "still")  # a disc of 10 mm
    turned = (angle_deg + way * np.rad2deg(off_mm / 45.0) + 180.0) % 360.0 - 180.0
    for place in ({"angle_deg": turned}, {"height_mm": 50.0 + way * off_mm}):
        later = replace(whole, patch="bare-2", area_cm2=0.5, **place)
        assert _lies_in(later, whole, "bare-1", 45.0) is inside
        assert _lies_in(replace(later, patch="bare-1"), whole, "bare-1", 45.0)
        assert not _lies_in(replace(later, kind="green"), whole, "bare-1", 45.0)


@pytest.mark.parametrize(("white", "word"), [(1, "vanished"), (2, "spawn_ready")])
def test_an_area_gone_while_the_wall_grew_is_forgotten_after_two_full_days(
    white: int, word: str
) -> None:
    """A day with a bare area elsewhere is none."""
    still = {n: [square(22.0)] for n in range(4, 9)}
    elsewhere = {n: [square(8.0, 50.0)] for n in range(9, 18 - white)}
    story = Story(np.concatenate([kjma(np.arange(9)), [99.0] * 9]))
    assert found(verdict_of({**still, **elsewhere}, story)) == [word]


def test_an_area_seen_three_times_beside_a_full_wall_is_not_forgotten() -> None:
    for first, word in ((11, "vanished"), (12, "spawn_ready")):
        seen = {n: [square(17.0)] for n in range(first, 14)}
        assert found(verdict_of(seen, healthy(20))) == [word]


def test_an_area_that_stood_still_as_a_dead_one_is_forgotten_later_than_any_other() -> None:
    dead: dict[int, Sequence[Patch]] = {n: [square(17.0)] for n in range(11, 15)}
    sooner = Settings(verdict=VerdictSettings(dead_forgotten_days=6))
    for white in range(1, 7):
        story = healthy(15 + white)
        story.patches = dict(dead)
        told = judge(story.readings(), settings=sooner)[0].verdict
        assert (told == "go") == (white >= 6), white
    assert found(verdict_of(dead, healthy(21))) == ["vanished"]


def test_one_that_stood_still_for_three_days_is_forgotten_after_a_month() -> None:
    """Of a species that keeps for so long."""
    lasting = replace(find_profile("oyster"), keeps_days=60.0)
    for white, word in ((1, "vanished"), (29, "vanished"), (30, "spawn_ready")):
        story = healthy(15 + white)
        story.patches = {n: [square(17.0)] for n in range(11, 15)}
        history = build_history(story.readings(), oyster())
        now = history.days[-1].day
        growth = seen_growth(history, lasting, today=now)
        assert found(decide(history, growth, lasting, today=now)[0]) == [word]


def test_one_that_would_have_ended_the_jar_is_not_forgotten() -> None:
    dead = {n: [square(17.0)] for n in range(11, 17)}
    assert found(verdict_of(dead, healthy(24))) == ["vanished"]


def test_a_dead_area_does_not_close_in_the_days_between_two_photos() -> None:
    dead = {n: [square(10.0)] for n in range(11, 17)}
    story = healthy(21, skip=(17, 18))
    assert found(verdict_of(dead, story)) == ["vanished"]


def test_a_speck_that_is_left_of_a_dead_area_does_not_show_that_it_closed() -> None:
    dead = {n: [square(17.0)] for n in range(11, 17)}
    assert found(verdict_of({**dead, 17: [square(5.0)]}, healthy(20))) == ["vanished"]


def test_a_small_area_in_its_place_does_not_make_a_dead_island_forgotten() -> None:
    """The rest of the wall was full beside the island, whatever is taken for it later."""
    percents = np.concatenate([kjma(np.arange(10)), np.full(5, 88.9), np.full(12, 100.0)])
    island = {n: [square(17.0)] for n in range(9, 15)}  # 2.9 cm2 of 104: 90 % of the rest is 87.5
    gap = {15: [square(6.0, 5.0)]}
    for patches in (island, {**island, **gap}):
        assert found(verdict_of(patches, Story(percents))) == ["vanished"]


@pytest.mark.parametrize(("long", "word"), [(2.75, "vanished"), (3.0, "spawn_ready")])
def test_what_is_no_island_by_its_shape_has_not_vanished(long: float, word: str) -> None:
    """A string of gaps between fronts closes, or falls apart, all at once."""
    assert found(verdict_of({n: [oval(2.4, long)] for n in range(11, 15)}, healthy(17))) == [word]


def gone_after(angles_deg: Sequence[float], species: str, area_cm2: float = 2.0) -> list[str]:
    """What is found of a jar whose area was seen at these angles and is gone for three days."""
    story = healthy(14 + len(angles_deg))
    story.patches = {11 + n: [oval(area_cm2, 1.0, a)] for n, a in enumerate(angles_deg)}
    return found(judge(story.readings(), oyster(species=species))[0])


def test_an_area_of_a_thin_species_that_the_edge_always_cut_did_not_surely_stand_still() -> None:
    """10 degrees to its edge: at 50 degrees the edge of the view cuts it, at 40 not."""
    assert gone_after([50.0] * 5, "wine cap") == ["spawn_ready"]
    assert gone_after([-50.0] * 5, "wine cap") == ["spawn_ready"]
    assert gone_after([50.0, 50.0, 50.0, 40.0, 50.0], "wine cap") == ["vanished"]
    assert gone_after([50.0] * 5, "oyster") == ["vanished"]


def test_one_that_it_cut_is_known_to_stand_still_after_six_days() -> None:
    assert gone_after([50.0] * 6, "wine cap") == ["spawn_ready"]
    assert gone_after([50.0] * 7, "wine cap") == ["vanished"]


def test_a_small_part_seen_whole_does_not_show_that_it_stood_still() -> None:
    story = healthy(19)
    part = {10: [oval(0.9, 1.0, 42.0)]}
    for first, word in ((part, "spawn_ready"), ({10: [oval(1.1, 1.0, 42.0)]}, "vanished")):
        story.patches = {**first, **{n: [oval(1.2, 1.0, 50.0)] for n in range(11, 16)}}
        assert found(judge(story.readings(), oyster(species="wine cap"))[0]) == [word]
