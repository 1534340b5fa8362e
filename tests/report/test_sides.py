"""Jars photographed from several sides: the one that gave the reason stands in front."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from fake_shelf import TODAY, fake_shelf, fake_story, replace_readings

from jarvision.records import Finding, JarStory, Patch, View
from jarvision.register.jars import Register
from jarvision.report.cards import JarCard, Surroundings, build_card
from jarvision.report.page import render_page
from jarvision.report.pictures import detail_for
from jarvision.report.sides import in_turn, shown_reading, side_shown, tell_seen, tell_view
from jarvision.report.walls import SMALL_TAGS_APART

SIDES: tuple[View, ...] = ("a", "b", "c", "d")


def turned(*findings: Finding, areas: dict[View, tuple[str, float]] | None = None) -> JarStory:
    """A jar of eight days with four sides each; ``areas`` are what a side shows, kind and cm2."""
    story = fake_story("J1", "no-go", ())
    story = replace(story, verdict=replace(story.verdict, findings=findings))
    known = areas or {}

    def seen(view: View) -> tuple[Patch, ...]:
        return (Patch(*known[view], 0.0, 40.0, 0.9),) if view in known else ()

    days = []
    for day in story.history.days:
        readings = tuple(
            replace(
                day.readings[0],
                view=view,
                photo=f"J1_{day.day}_{view}.jpg",
                overlay=f"{view}-{day.day}",
                patches=seen(view),
            )
            for view in SIDES
        )
        days.append(replace(day, views=4, readings=readings))
    return replace(story, history=replace(story.history, days=tuple(days)))


@pytest.mark.parametrize(
    ("angle_deg", "side"),
    [(0.0, 0), (44.0, 0), (46.0, 1), (112.0, 1), (180.0, 2), (-170.0, 2), (-90.0, 3), (-40.0, 0)],
)
def test_the_side_nearest_to_the_place_is_shown(angle_deg: float, side: int) -> None:
    place = {"angle_deg": angle_deg, "height_mm": 40.0}
    assert side_shown(turned(Finding.of("mould", "no-go", **place))) == side


def test_a_reason_without_a_place_shows_the_side_with_most_of_it() -> None:
    areas: dict[View, tuple[str, float]] = {
        "a": ("wet", 0.4),
        "c": ("wet", 3.0),
        "d": ("bare", 9.0),
    }
    assert side_shown(turned(Finding.of("wet", "no-go", area_cm2=3.4), areas=areas)) == 2
    assert side_shown(turned(Finding.of("bare_left", "check", area_cm2=9), areas=areas)) == 3
    assert side_shown(turned(Finding.of("odd_stain", "check", area_cm2=1), areas=areas)) == 0


def test_the_first_reason_that_is_about_a_side_decides() -> None:
    late = Finding.of("late", "check", age_days=40, percent=90)
    place = {"angle_deg": 90.0, "height_mm": 40.0}
    assert side_shown(turned(late, Finding.of("dead_patch", "check", **place))) == 1
    assert side_shown(turned(late)) == 0


def test_without_that_side_the_front_is_shown() -> None:
    day = turned().history.days[-1]
    assert [tell_view(shown_reading(day, n)) for n in range(4)] == [f"side {s}" for s in SIDES]
    few = replace(day, readings=(day.readings[0], day.readings[3]))
    assert shown_reading(few, 1).view == "a"
    assert [r.view for r in in_turn(day, 1)] == ["b", "c", "d", "a"]


def test_what_was_judged_says_of_what() -> None:
    one, four = fake_story("J1", "go", ("r",)).history.days[-1], turned().history.days[-1]
    assert tell_seen(one) == "94 % of the side shown"
    assert tell_seen(four) == "94 % of the wall all round"


def test_four_walls_stand_two_by_two_with_the_reasons_side_first(tmp_path: Path) -> None:
    card = card_of(pictured(tmp_path), tmp_path)
    assert [strip.view for strip in card.strips] == ["side b", "side c", "side d", "side a"]
    assert card.side == "side b"
    assert card.overlay is not None and card.overlay.width == 20 + 1  # that of side b
    assert [frame.day for frame in card.frames][:2] == ["10 Mar", "9 Mar"]  # the newest first
    page = render_page(replace(fake_shelf(), stories=(pictured(tmp_path),)), tmp_path)
    assert 'class="walls many"' in page
    assert "Tue 10 Mar, side b" in page
    assert re.findall(r"<figcaption>Side (\w)</figcaption>", page) == ["b", "c", "d", "a"]


def test_names_are_not_cut_where_two_walls_show_one_side(tmp_path: Path) -> None:
    story = pictured(tmp_path)
    *earlier, last = story.history.days
    at_the_edge = Patch("bare", 2.0, -58.0, 40.0, 0.9)
    fronts = tuple(replace(r, view="front", patches=(at_the_edge,)) for r in last.readings[:2])
    days = (*earlier, replace(last, views=2, readings=fronts))
    card = card_of(replace(story, history=replace(story.history, days=days)), tmp_path)
    assert [strip.view for strip in card.strips] == ["", ""]
    assert all(tag.left >= SMALL_TAGS_APART[0] / 2 for s in card.strips for tag in s.tags)
    assert all(strip.tags for strip in card.strips)


def pictured(out: Path) -> JarStory:
    """Mould on side b; the overlay of each side is a pixel wider than that of the one before."""
    from PIL import Image

    facts = {"angle_deg": 95.0, "height_mm": 40.0, "area_cm2": 2.5, "photos": 2, "out_cm2": 0.3}
    names = {"kind": "green", "patch": "green-1"}
    story = turned(Finding.of("mould", "no-go", seen_on=TODAY, **names, **facts))
    drawn = {}
    for number, view in enumerate(SIDES):
        Image.new("RGB", (20 + number, 400)).save(out / f"{view}.png")
    for day in story.history.days:
        for reading in day.readings:
            name = f"{reading.view}.png"
            drawn[reading.photo] = replace(reading, overlay=name, wall_picture=name)
    return replace_readings(replace(fake_shelf(), stories=(story,)), drawn).stories[0]


def card_of(story: JarStory, out: Path) -> JarCard:
    jar = story.verdict.jar
    around = Surroundings(
        out,
        TODAY,
        detail_for(1),
        Register({jar: story.history.entry}),
        {jar: "jar-1"},
        {jar: story.verdict.verdict},
        {},
    )
    return build_card(story, "", around)
