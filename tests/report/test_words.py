"""How things are told on the page."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from fake_shelf import fake_reading

from jarvision.records import BareLook, Coverage
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
