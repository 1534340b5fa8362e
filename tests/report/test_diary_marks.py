"""The diary on a curve: every word at its day, none over another."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import combinations
from typing import Any

import pytest
from fake_shelf import FIRST, fake_story

from jarvision.records import DiaryLine, DiaryWord, JarStory, TrackedPatch
from jarvision.report.charts import CURVE_SIZE_PX, build_curve, curve_sheet, draw_curve


def with_diary(story: JarStory, *told: tuple[DiaryWord, int, float | None]) -> JarStory:
    lines = tuple(
        DiaryLine(story.verdict.jar, what, FIRST + timedelta(days=day), celsius)
        for what, day, celsius in told
    )
    return replace(story, history=replace(story.history, diary=lines))


def drawn_words(story: JarStory) -> list[tuple[str, Any]]:
    """All words on a jar's curve, each with the box that it stands in, px."""
    figure, axes = sheet = curve_sheet()
    draw_curve(story, ready_percent=95, key="k", sheet=sheet)
    figure.canvas.draw()
    return [(text.get_text(), text.get_window_extent()) for text in axes.texts]


def assert_apart(boxes: list[tuple[str, Any]]) -> None:
    for (one, a), (two, b) in combinations(boxes, 2):
        apart = a.x1 <= b.x0 or b.x1 <= a.x0 or a.y1 <= b.y0 or b.y1 <= a.y0
        assert apart, (one, two)


def test_what_was_told_stands_on_the_curve_at_its_day() -> None:
    story = fake_story("J02", "wait", ("r",), middle=5.1)
    told = with_diary(story, ("shaken", 2, None), ("temperature", 4, 21.5), ("opened", -2, None))
    curve = build_curve(told, ready_percent=95)
    assert curve is not None
    assert curve.told == ((2.0, "shaken"), (4.0, "21.5 °C"))  # one lies before the first photo
    drawn = draw_curve(told, ready_percent=95, key="k")
    assert "shaken" in drawn and "21.5 °C" in drawn
    assert "shaken" not in draw_curve(story, ready_percent=95, key="k")


def test_what_was_told_since_the_last_photo_is_on_the_chart_too() -> None:
    story = fake_story("J04", "no-go", ("r",))
    plain = build_curve(story, ready_percent=95)
    told = build_curve(with_diary(story, ("moved", 9, None)), ready_percent=95)
    assert plain is not None and told is not None
    assert told.last_day > 9.0 > plain.last_day


@pytest.mark.parametrize("middle", [-4.0, 1.0, 4.0, 6.0, 30.0])
def test_no_word_stands_over_another(middle: float) -> None:
    """From a jar that is white all along to one on which nothing grows."""
    words: tuple[DiaryWord, ...] = ("shaken", "opened", "moved", "temperature", "note", "shaken")
    warm = {"temperature": 21.5}
    told = [(what, day, warm.get(what)) for day, what in enumerate(words, 2)]
    story = with_diary(fake_story("J02", "wait", ("r",), middle=middle), *told)
    boxes = drawn_words(story)
    assert {"opened", "moved", "note", "21.5 °C"} <= {words for words, _ in boxes}
    assert_apart(boxes)
    ours = [box for text, box in boxes if not text.startswith("ready")]
    assert all(box.x0 >= 0 and box.x1 <= CURVE_SIZE_PX[0] for box in ours)


@pytest.mark.parametrize("first", [3, 6])
def test_words_of_the_diary_keep_clear_of_what_was_seen_first(first: int) -> None:
    """Seen late, its words stand at the upper left of the reading, else at the lower right."""
    patch = TrackedPatch("green-1", "green", 2.5, 22.0, 40.0, "growing")
    flags = (("off_colour", "green growth"),)
    plain = fake_story("J04", "no-go", ("r",), middle=4.4, flags=flags)
    days = tuple(
        replace(day, patches=(patch,)) if number >= first else day
        for number, day in enumerate(plain.history.days)
    )
    seen = replace(plain, history=replace(plain.history, days=days))
    words: tuple[DiaryWord, ...] = ("opened", "moved", "shaken")
    told = [(what, day, None) for day, what in enumerate(words, first - 1)]
    boxes = drawn_words(with_diary(seen, *told))
    assert {"green seen", "opened", "moved", "shaken"} <= {words for words, _ in boxes}
    assert_apart(boxes)


def test_two_words_of_one_day_stand_together_and_each_once() -> None:
    told = (("shaken", 3, None), ("opened", 3, None), ("opened", 3, None))
    story = with_diary(fake_story("J02", "wait", ("r",)), *told)
    assert "shaken, opened" in draw_curve(story, ready_percent=95, key="k")
    assert "opened, opened" not in draw_curve(story, ready_percent=95, key="k")
