"""Which day the verdicts are for, when nobody says."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import pytest
from shelves import day, reading, refused

from jarvision.base import days
from jarvision.records import Reading
from jarvision.run.shelf_day import shelf_day


class Clock(date):
    """A calendar whose today is set."""

    @classmethod
    def today(cls) -> date:
        return date(2026, 11, 28)


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(days, "date", Clock)


def copied(number: int, jar: str) -> Reading:
    return reading(number, 50.0, jar=jar, time_source="file")


def test_it_is_the_newest_day_of_a_usable_photo() -> None:
    assert shelf_day([reading(3, 50.0), reading(1, 40.0), reading(2, 45.0, jar="J2")]) == day(3)


def test_photos_that_were_refused_in_the_evening_move_it() -> None:
    assert shelf_day([reading(3, 50.0), refused(4)]) == day(4)


def test_a_refused_photo_of_no_jar_or_without_a_day_does_not_move_it() -> None:
    known = reading(3, 50.0)
    for odd in (
        refused(9, jar=""),
        refused(9, jar="never-read"),
        replace(refused(9), time_source="file"),
        replace(refused(0), taken_at=datetime(2030, 1, 1)),
    ):
        assert shelf_day([known, odd]) == day(3)


def test_one_photo_without_a_date_does_not_make_all_others_old() -> None:
    shelf = [reading(3, 50.0, jar=f"J{n}") for n in range(4)]
    assert shelf_day([*shelf, copied(200, "J0")]) == day(3)
    assert shelf_day([*shelf, copied(200, "J0"), copied(200, "J0")]) == day(3)


def test_a_shelf_whose_photos_lose_their_dates_goes_by_their_files() -> None:
    shelf = [reading(3, 50.0, jar=f"J{n}") for n in range(4)]
    assert shelf_day([*shelf, copied(9, "J0"), copied(9, "J1")]) == day(9)
    assert shelf_day([copied(2, "J0"), copied(5, "J1")]) == day(5)


def test_without_a_usable_photo_it_is_the_newest_of_those_there_are() -> None:
    assert shelf_day([refused(3), refused(5)]) == day(5)
    assert shelf_day([]) == date(2026, 11, 28)
