"""Bare islands: of thin species, and of jars whose islands close slowly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from judging import healthy, judge, with_patches, words
from shelves import oyster, patch

from jarvision.records import Patch


def outlined(area_cm2: float, long: float, angle_deg: float = 0.0) -> Patch:
    """A bare oval, ``long`` times as long as it is wide, on a wall of 45 mm radius."""
    wide_mm = 10.0 * np.sqrt(area_cm2 / np.pi / long)
    around = np.linspace(0.0, 2 * np.pi, 40, endpoint=False)
    outline = tuple(
        (
            angle_deg + float(np.rad2deg(wide_mm * np.sin(t) / 45.0)),
            50.0 + long * wide_mm * np.cos(t),
        )
        for t in around
    )
    return Patch("bare", area_cm2, angle_deg, 50.0, 0.9, outline)


def last_day(bare: Patch, species: str) -> str:
    readings = with_patches(healthy(18), [bare], since=17)
    return judge(readings, oyster(species=species))[0].verdict


@pytest.mark.parametrize("species", ["lion's mane", "wine cap"])
def test_a_compact_island_keeps_a_thin_species_from_go_at_once(species: str) -> None:
    assert last_day(outlined(1.3, 1.0), species) == "check"
    assert last_day(outlined(1.5, 2.0), species) == "check"
    assert last_day(patch("bare", 1.3), species) == "check"  # its outline is not known


@pytest.mark.parametrize("species", ["lion's mane", "wine cap"])
def test_the_gaps_of_a_thin_species_do_not(species: str) -> None:
    assert last_day(outlined(1.3, 4.0), species) == "go"
    assert last_day(outlined(0.8, 1.0), species) == "go"


def test_an_island_of_a_thin_species_that_closes_is_waited_for() -> None:
    """A dead one is ragged first, and closes for a while."""
    story = healthy(19)
    story.patches = {
        10 + n: [outlined(np.pi * (radius / 10) ** 2, 1.0)]
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
    gaps = [outlined(0.7, 1.0, 30.0)]
    story = healthy(20)
    story.patches = dict.fromkeys(range(9, 20), gaps) | {
        n: [outlined(2.0, 1.0), *gaps] for n in (6, 7, 8)
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
