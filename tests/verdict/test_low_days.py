"""Low readings of a jar that is ready: one may be misread, two are believed."""

from __future__ import annotations

import numpy as np
from judging import healthy, judge, words
from shelves import Story, day, kjma, reading

READY = np.concatenate([kjma(np.arange(12)), np.full(12, 99.5)])


def full_jar(**low: float) -> list:
    """A full jar's readings, with those of some days (``day14=70``) put in their place."""
    readings = Story(READY).readings()
    for name, percent in low.items():
        number = int(name.removeprefix("day"))
        readings[number] = reading(number, percent)
    return readings


def test_one_low_day_in_the_rest_does_not_begin_it_anew() -> None:
    for percent in (70.0, 90.0):
        verdict, _ = judge(full_jar(day13=percent)[:16])
        assert (verdict.verdict, verdict.growth.ready_date) == ("go", day(11)), percent


def test_two_low_days_begin_the_rest_anew() -> None:
    verdict, _ = judge(full_jar(day13=90.0, day14=90.5)[:17])
    assert (verdict.verdict, verdict.growth.ready_date) == ("wait", day(15))


def test_a_last_reading_that_fell_is_looked_at_and_is_no_stall() -> None:
    for percent in (60.0, 75.0):
        verdict, flags = judge(full_jar(day20=percent)[:21])
        assert [f.word for f in verdict.findings] == ["reading_fell"]
        assert verdict.verdict == "check"
        assert "stall" not in words(flags)
    again = judge(full_jar(day20=75.0, day21=76.0)[:22])[0]
    assert "reading_fell" not in [f.word for f in again.findings]
    assert again.verdict != "go"


def test_a_jar_that_was_never_ready_is_not_told_that_it_fell() -> None:
    readings = healthy(9).readings()
    readings[8] = reading(8, 20.0)
    assert "reading_fell" not in [f.word for f in judge(readings)[0].findings]
