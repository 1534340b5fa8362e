"""The words of a jar's curve stand inside its chart, however far ahead it looks."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import pytest
from fake_shelf import FIRST, fake_growth, fake_story

from jarvision.records import JarStory
from jarvision.report.charts import (
    CURVE_SIZE_PX,
    DAY_LETTERS,
    LEFT_PX,
    LETTER_PX,
    Curve,
    _label_days,
    _level_words,
    _ready_words,
    build_curve,
    curve_sheet,
)


def waiting(days: int, ready: int, *, high: int | None = None) -> JarStory:
    story = fake_story("J1", "wait", ("Grows.",))
    growth = replace(
        fake_growth(4.0, 0.9),
        ready_date=FIRST + timedelta(days=ready),
        ready_low=FIRST + timedelta(days=ready),
        ready_high=FIRST + timedelta(days=ready if high is None else high),
    )
    history = replace(story.history, days=story.history.days[:days])
    return replace(story, growth=growth, history=history)


def curve_of(days: int, ready: int, *, high: int | None = None) -> Curve:
    curve = build_curve(waiting(days, ready, high=high), ready_percent=97.0)
    assert curve is not None
    return curve


def letter_days(curve: Curve) -> float:
    return LETTER_PX * (curve.last_day + 0.5) / (CURVE_SIZE_PX[0] - LEFT_PX)


@pytest.mark.parametrize(
    ("days", "ready", "high"),
    [(8, 9, None), (8, 40, None), (8, 40, 60), (1, 1, 30), (1, 2, 11), (3, 4, 12), (8, 12, 20)],
)
def test_the_ready_date_stands_inside_the_chart(days: int, ready: int, high: int | None) -> None:
    curve = curve_of(days, ready, high=high)
    day, side, told = _ready_words(curve, float(ready))
    length = len(told) * letter_days(curve)
    left, right = (day - length, day) if side == "right" else (day, day + length)
    assert left >= -0.5 and right <= curve.last_day + 0.01
    assert told.strip().startswith("ready ")
    assert ("\N{RIGHTWARDS ARROW}" in told) == (ready > curve.last_day)


@pytest.mark.parametrize("last", [1.0, 1.9, 4.9, 7.0, 8.9, 12.9, 13.9, 17.9, 27.9])
def test_no_name_of_a_day_is_cut_at_the_end(last: float) -> None:
    _, axes = curve_sheet()
    half = DAY_LETTERS / 2 * LETTER_PX * (last + 0.5) / (CURVE_SIZE_PX[0] - LEFT_PX)
    _label_days(axes, FIRST, last, most=5, margin=half)
    ticks = axes.get_xticks()
    assert ticks[0] == 0.0 and len(ticks) <= 5
    assert max(ticks) == 0.0 or max(ticks) + half <= last
    assert all(b - a >= 2.2 * half for a, b in pairwise(ticks)), "names stand apart"
    labels = [label.get_text() for label in axes.get_xticklabels()]
    assert labels[0] == "3 Mar" and len(set(labels)) == len(labels)


@pytest.mark.parametrize("level", [10.0, 60.0, 80.0, 88.0, 90.0, 99.0])
@pytest.mark.parametrize("days", [1, 3, 8])
def test_the_words_of_ready_stand_over_no_reading(days: int, level: float) -> None:
    curve = curve_of(days, 2)
    flat = tuple((day, level, low, high) for day, _, low, high in curve.points)
    place, _ = _level_words(replace(curve, points=flat))
    assert place.foot < curve.ready_percent and place.left >= -0.5
    assert place.right <= curve.last_day
    inside = [day for day, *_ in flat if place.left <= day <= place.right]
    assert not inside or not place.foot - 4 < level < place.foot + 8
