"""One shot in several files."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import permutations

import pytest
from fake_shelf import fake_reading
from judging import healthy, judge, words

from jarvision.history.repeats import refuse_repeats, tell_shared_pictures
from jarvision.records import Reading

FIRST = date(2026, 3, 1)


def shot(day: int, picture: str, **more: object) -> Reading:
    reading = fake_reading("J1", FIRST + timedelta(days=day), 99.0)
    return replace(reading, picture=picture, **more)


def test_one_picture_under_five_dates_is_one_day_and_no_go() -> None:
    """Five real days of the same jar, each a picture of its own, do go."""
    real = [replace(r, picture=str(n)) for n, r in enumerate(healthy(17).readings())]
    assert judge(refuse_repeats(real))[0].verdict == "go"
    grown = [replace(r, picture="the last" if n > 11 else r.picture) for n, r in enumerate(real)]
    told = refuse_repeats(grown)
    assert [r.reason for r in told if r.status != "ok"] == ["repeated"] * 4
    verdict, flags = judge(told)
    assert verdict.verdict != "go"
    assert "photo_refused" in words(flags)


@pytest.mark.parametrize("order", list(permutations(range(3))))
def test_the_first_day_that_exif_tells_counts_in_any_order(order: tuple[int, ...]) -> None:
    copies = [
        replace(shot(0, "a"), photo="copied.jpg", time_source="file"),
        replace(shot(4, "a"), photo="late.jpg"),
        replace(shot(3, "a"), photo="true.jpg"),
    ]
    told = refuse_repeats([copies[n] for n in order])
    assert [r.photo for r in told] == [copies[n].photo for n in order]
    assert [r.photo for r in told if r.status == "ok"] == ["true.jpg"]
    assert {r.detail for r in told if r.status != "ok"} == {"the same picture as true.jpg"}
    assert all(r.coverage is None for r in told if r.status != "ok")


def test_other_pictures_other_jars_and_readings_without_pixels_are_left_alone() -> None:
    readings = [
        shot(0, "a"),
        shot(1, "b"),
        replace(shot(2, "a"), jar="J2"),
        shot(3, ""),
        shot(4, ""),
    ]
    assert refuse_repeats(readings) == tuple(readings)


def test_a_picture_that_stands_for_two_jars_is_told() -> None:
    mine, other = shot(0, "a"), replace(shot(0, "a"), jar="J2", photo="J2.jpg")
    (told,) = tell_shared_pictures([mine, other, shot(1, "b"), replace(shot(2, "a"), jar="J2")])
    assert told.endswith(f"{mine.photo}, J2.jpg")
    assert tell_shared_pictures([mine, shot(1, "b"), shot(2, ""), replace(other, picture="")]) == []
