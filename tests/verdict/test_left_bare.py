"""Bare areas of a ready, rested jar: open, closing, closing slowly, or new."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from judging import healthy, judge
from shelves import patch

from jarvision.records import Finding

DAYS = 18
"""Ready on day 11, rested on day 14; the last day with a photo is day 17."""


def said(areas: dict[int, Sequence[float]], *, at_deg: float = 0.0) -> Finding:
    """What is said first where a bare area is so large, cm2, on some days."""
    story = healthy(DAYS)
    story.patches = {
        n: [patch("bare", area, at_deg) for area in every] for n, every in areas.items()
    }
    return judge(story.readings())[0].findings[0]


def daily(*areas: float) -> dict[int, Sequence[float]]:
    """One area on each of the last days."""
    return {DAYS - len(areas) + n: [area] for n, area in enumerate(areas)}


@pytest.mark.parametrize(
    ("left", "word"), [(0.66, "spawn_ready"), (0.68, "bare_left")], ids=["a third", "less"]
)
def test_a_small_area_that_has_closed_by_a_third_since_the_jar_was_ready_is_alive(
    left: float, word: str
) -> None:
    """It closes too slowly by now for its trend to tell."""
    assert said(daily(0.9, *[0.9 * left] * 6)).word == word


def test_one_that_would_end_the_jar_keeps_it_from_go_however_much_has_closed() -> None:
    for area, goes in ((0.99, True), (1.0, False)):
        assert (said(daily(2.0, *[area] * 6)).word == "spawn_ready") == goes


def test_one_that_grows_again_is_open() -> None:
    assert said(daily(0.9, 0.4, 0.45, 0.5, 0.55, 0.6)).word == "bare_left"


def test_one_that_the_edge_of_the_view_may_have_cut_is_open() -> None:
    assert said(daily(0.9, *[0.55] * 6), at_deg=57.0).word == "bare_left"


def test_a_small_area_that_is_new_on_a_white_wall_waits_for_the_next_photo() -> None:
    new = said(daily(0.7))
    assert (new.word, new.verdict) == ("bare_anew", "wait")
    assert "0.7 cm2 are bare on the last photo where the wall was white before" in new.sentence
    assert said(daily(0.7, 0.7)).word == "bare_left"


def test_a_large_one_is_looked_at_at_once() -> None:
    assert said(daily(1.0)).word == "bare_left"


def test_beside_another_area_it_is_no_news() -> None:
    assert said({DAYS - 2: [0.8], DAYS - 1: [0.8, 0.7]}).word == "bare_left"
