"""How things are told on the page."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

from fake_shelf import fake_reading, fake_shelf, fake_story

from jarvision.records import BareLook, Coverage
from jarvision.report.page import render_page
from jarvision.report.words import tell_coverage, tell_reference

DAY = date(2026, 3, 3)
LOOK = BareLook(((0.0, 0.0, 0.0),), 0.3, 40.0)


def test_the_page_says_which_bare_look_a_photo_was_held_against() -> None:
    reading = fake_reading("J1", DAY, 40.0)
    own = replace(reading, reference_jar="J1", reference_day=date(2026, 3, 1))
    assert tell_reference(own, date(2026, 3, 1)) == "held against its own look of 1 Mar"
    mate = replace(own, reference_jar="J2")
    assert tell_reference(mate, DAY) == "held against J2's look of 1 Mar"
    assert tell_reference(replace(reading, bare_look=LOOK), DAY) == "learned from this photo"


def test_a_jar_whose_bare_look_is_not_known_is_told_what_would_help() -> None:
    assert "photograph a jar of bare contents" in tell_reference(fake_reading("J1", DAY, 99.0), DAY)


def test_coverage_whose_interval_is_half_the_scale_is_told_by_its_ends_alone() -> None:
    known = Coverage(percent=81.5, low=79.0, high=84.1, soft_percent=80.0, seen_percent=90.0)
    assert tell_coverage(known) == "81.5 % (79.0 to 84.1)"
    assert tell_coverage(replace(known, percent=56.0, low=27.1, high=85.3)) == "27.1 to 85.3 %"
    assert tell_coverage(None) == "not scored"


def test_a_day_whose_coverage_nobody_can_tell_has_no_number(tmp_path: Path) -> None:
    story = fake_story("J9", "check", ("Look at it.",))
    *before, last = story.history.days
    vague = replace(last.coverage, percent=56.0, low=27.0, high=85.0)
    days = (*before, replace(last, coverage=vague))
    story = replace(
        story,
        history=replace(story.history, days=days),
        verdict=replace(story.verdict, coverage=vague),
    )
    page = render_page(replace(fake_shelf(), stories=(story,)), tmp_path)
    assert "27 to 85 %" in page
    assert "56 %" not in page
    assert ">?<" in page
