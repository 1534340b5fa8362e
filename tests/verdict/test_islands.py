"""Bare islands: of thin species, and of jars whose islands close slowly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from judging import healthy, judge, with_patches, words
from shelves import oval, oyster, patch

from jarvision.records import Patch


def last_day(bare: Patch, species: str) -> str:
    readings = with_patches(healthy(18), [bare], since=17)
    return judge(readings, oyster(species=species))[0].verdict


@pytest.mark.parametrize("species", ["lion's mane", "wine cap"])
def test_a_compact_island_keeps_a_thin_species_from_go_at_once(species: str) -> None:
    assert last_day(oval(1.3, 1.0), species) == "check"
    assert last_day(oval(1.5, 2.0), species) == "check"
    assert last_day(patch("bare", 1.3), species) == "check"  # its outline is not known


@pytest.mark.parametrize("species", ["lion's mane", "wine cap"])
def test_the_gaps_of_a_thin_species_do_not(species: str) -> None:
    assert last_day(oval(1.3, 4.0), species) == "go"
    assert last_day(oval(0.8, 1.0), species) == "go"


def test_an_island_of_a_thin_species_that_closes_is_waited_for() -> None:
    """A dead one is ragged first, and closes for a while."""
    story = healthy(19)
    story.patches = {
        10 + n: [oval(np.pi * (radius / 10) ** 2, 1.0)]
        for n, radius in enumerate((20.0, 17.0, 14.0, 12.0, 10.0, 8.0, 7.0, 6.0, 5.0))
    }
    for days, verdict, word in ((18, "wait", "still_closing"), (19, "go", "spawn_ready")):
        told = judge(story.readings()[:days], oyster(species="lion's mane"))[0]
        assert (told.verdict, told.findings[0].word) == (verdict, word)


def test_an_island_is_looked_at_before_it_ends_the_jar() -> None:
    told = [
        judge(with_patches(healthy(n), [patch("bare", 3.0)], since=11))[0] for n in (15, 16, 17)
    ]
    assert [v.verdict for v in told] == ["check", "no-go", "no-go"]
    assert all(v.findings[0].word == "dead_patch" for v in told)


def test_an_island_that_closes_by_little_every_day_is_not_dead() -> None:
    story = healthy(18)
    story.patches = {11 + n: [patch("bare", 3.0 * 0.95**n)] for n in range(7)}
    verdict, flags = judge(story.readings())
    assert verdict.verdict == "check"
    assert "dead_patch" not in words(flags)


def test_the_lace_of_a_thin_species_does_not_keep_a_doubt_of_an_area_that_is_gone() -> None:
    """Its gaps are bare on every day; a jar of another species is not full with them."""
    gaps = [oval(0.7, 1.0, 30.0)]
    story = healthy(20)
    story.patches = dict.fromkeys(range(9, 20), gaps) | {
        n: [oval(2.0, 1.0), *gaps] for n in (6, 7, 8)
    }
    told = [
        judge(story.readings()[:16], oyster(species=species))[0].findings[0].word
        for species in ("lion's mane", "oyster")
    ]
    assert told == ["spawn_ready", "bare_left"]


def test_an_area_that_only_one_of_two_photos_shows_is_no_island() -> None:
    """... on its first day: a second one makes it one."""
    story, gap = healthy(18), patch("bare", 1.3)
    for days, both, verdict in ((1, False, "go"), (1, True, "check"), (2, False, "check")):
        readings = with_patches(story, [gap], since=18 - days)
        twin = replace(readings[-1], photo="twin.jpg", patches=(gap,) if both else ())
        assert judge([*readings, twin])[0].verdict == verdict


def at(angles_deg: Sequence[float], species: str, area_cm2: float = 2.0) -> list[str]:
    """What is found of a round area that stands still on the last days, seen at these angles."""
    story = healthy(18)
    first = 18 - len(angles_deg)
    story.patches = {first + n: [oval(area_cm2, 1.0, a)] for n, a in enumerate(angles_deg)}
    verdict, _ = judge(story.readings(), oyster(species=species))
    return [verdict.verdict, *(finding.word for finding in verdict.findings)]


@pytest.mark.parametrize("whole_deg", [40.0, -40.0])
@pytest.mark.parametrize(("whole", "word"), [(0, "bare_left"), (1, "bare_left"), (2, "dead_patch")])
def test_an_area_of_a_thin_species_is_dead_when_it_was_seen_whole_on_two_days(
    whole: int, word: str, whole_deg: float
) -> None:
    """10 degrees to its edge: at 50 degrees the edge of the view cuts it."""
    cut_deg = 50.0 if whole_deg > 0 else -50.0
    assert at([cut_deg] * (5 - whole) + [whole_deg] * whole, "wine cap") == ["check", word]


def test_one_that_the_edge_of_the_view_cuts_is_dead_after_six_days() -> None:
    assert at([50.0] * 6, "wine cap") == ["check", "bare_left"]
    assert at([50.0] * 7, "wine cap") == ["check", "dead_patch"]


@pytest.mark.parametrize(("area_cm2", "verdict"), [(9.9, "check"), (10.0, "no-go")])
def test_one_so_large_that_no_turn_hides_how_it_closes_need_not_be_seen_whole(
    area_cm2: float, verdict: str
) -> None:
    assert at([50.0] * 5, "oyster", area_cm2) == [verdict, "dead_patch"]


def test_one_of_another_species_ends_the_jar_sooner_where_it_was_seen_whole() -> None:
    """What the edge of the view cuts is looked at from the third day on, as any other is."""
    assert at([50.0] * 4, "oyster") == ["check", "dead_patch"]
    assert at([40.0] * 5, "oyster") == ["no-go", "dead_patch"]
    assert at([50.0, 50.0, 50.0, 50.0, 40.0], "oyster") == ["check", "dead_patch"]
    assert at([50.0, 50.0, 50.0, 40.0, 40.0], "oyster") == ["no-go", "dead_patch"]
    assert at([50.0] * 6, "oyster") == ["check", "dead_patch"]
    assert at([50.0] * 7, "oyster") == ["no-go", "dead_patch"]


def test_what_was_seen_whole_before_the_standstill_does_not_count() -> None:
    story = healthy(18)
    large = [oval(4.0, 1.0, 38.0)]
    small = [oval(2.0, 1.0, 50.0)]
    story.patches = {11: large, 12: large} | dict.fromkeys(range(13, 18), small)
    verdict, flags = judge(story.readings(), oyster(species="wine cap"))
    assert (verdict.verdict, "dead_patch" in words(flags)) == ("check", False)


@pytest.mark.parametrize(
    ("before_cm2", "before_deg", "verdict"),
    [
        (1.2, 30.0, "go"),
        (1.2, -30.0, "check"),  # another area
        (1.0, 30.0, "go"),
        (0.9, 30.0, "check"),  # it may have been the smaller part of one that is cut now
        (1.5, 30.0, "check"),  # as large as an island, seen whole
        (1.2, 49.0, "check"),  # cut then, too
    ],
)
def test_a_gap_that_was_seen_whole_is_no_island_because_the_edge_cuts_it_now(
    before_cm2: float, before_deg: float, verdict: str
) -> None:
    story = healthy(18)
    story.patches = {
        16: [oval(before_cm2, 2.0, before_deg)],
        17: [oval(1.2, 2.0, 50.0)],
    }
    assert judge(story.readings(), oyster(species="lion's mane"))[0].verdict == verdict
