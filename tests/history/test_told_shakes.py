"""Shakes that the grower has told: certain, whether the coverage fell or not."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
import skimage.data
from shelves import day, oyster, patch, reading, told
from walls import COLS, ROWS, photographed, tissue_of

from jarvision.history.build import build_history
from jarvision.history.shakes import shaken_on, shaken_since, shows_first
from jarvision.records import JarHistory, TissueClass
from jarvision.settings.groups import Settings
from jarvision.vision.tissue.thumbnail import shrink

GROWTH = Settings().growth


def seen(*percents: float) -> list[tuple[date, float]]:
    return [(day(number), percent) for number, percent in enumerate(percents)]


# --------------------------------------------------------------------------- the day that shows it
@pytest.mark.parametrize(
    ("percents", "shaken", "shows"),
    [
        ((20, 30, 9, 15), 2, 2),  # shaken before the photo of its day
        ((20, 30, 35, 9), 2, 3),  # and after it
        ((20, 30, 29.5, 9), 2, 3),  # where noise lets it fall a little that day
        ((1, 2, 4, 6), 2, 3),  # hardly anything to fall: the next photo is surely younger
        ((20, 30, 9), 0, 1),
        ((40, 41, 39.5, 39), 2, 3),  # a fall by chance
    ],
)
def test_of_the_day_itself_and_the_next_the_one_that_fell_further_shows_it(
    percents: tuple[float, ...], shaken: int, shows: int
) -> None:
    assert shows_first([day(shaken)], seen(*percents), GROWTH) == (day(shows),)


def test_days_without_a_photo_are_passed_over() -> None:
    photos = [(day(0), 20.0), (day(1), 30.0), (day(5), 32.0)]
    assert shows_first([day(2)], photos, GROWTH) == (day(5),)


@pytest.mark.parametrize("shaken", [-3, 2, 5])
def test_no_photo_shows_what_lies_before_the_first_or_after_the_last(shaken: int) -> None:
    assert shows_first([day(shaken)], seen(20, 30, 35), GROWTH) == ()


def test_two_shakes_between_two_photos_are_one_to_the_photos() -> None:
    photos = [(day(0), 20.0), (day(5), 12.0), (day(6), 20.0)]
    assert shows_first([day(1), day(3)], photos, GROWTH) == (day(5),)


# --------------------------------------------------------------------------- a jar's days
def history(*percents: float, shaken: int | None = None) -> JarHistory:
    readings = [reading(number, percent) for number, percent in enumerate(percents)]
    lines = [told("shaken", shaken)] if shaken is not None else []
    return build_history(readings, oyster(), diary=lines)


def test_a_fall_too_small_to_be_seen_as_a_shake_is_one_when_told() -> None:
    percents = (10, 20, 30, 25, 34)
    assert shaken_on(history(*percents).days, GROWTH) == ()
    days = history(*percents, shaken=3).days
    assert shaken_on(days, GROWTH) == (day(3),)
    assert [d.told_shaken for d in days] == [False, False, False, True, False]


def test_a_seen_shake_that_is_told_too_counts_once() -> None:
    days = history(10, 30, 60, 20, 25, shaken=3).days
    assert shaken_on(days, GROWTH) == (day(3),)


def test_days_of_before_a_told_shake_are_not_read_together_with_those_after_it() -> None:
    percents = (60, 62, 64, 58)
    mixed, parted = history(*percents).days[3], history(*percents, shaken=3).days[3]
    assert mixed.level.high > parted.level.high + 1  # the fall may be a misreading
    assert parted.level.high == parted.coverage.high


def test_a_shake_is_open_until_a_photo_shows_it() -> None:
    known = history(10, 20, 30, shaken=2)
    assert shaken_since(known, known.days, today=day(9)) == day(2)
    assert shaken_since(known, known.days, today=day(1)) is None
    assert shaken_since(known, known.days[:1], today=day(9)) == day(2)
    later = history(10, 20, 30, 12, shaken=2)
    assert shaken_since(later, later.days, today=day(9)) is None
    same, chance = history(10, 40, 12, shaken=2), history(10, 40, 39, shaken=2)
    assert shaken_since(same, same.days, today=day(9)) is None
    assert shaken_since(chance, chance.days, today=day(9)) == day(2)


# --------------------------------------------------------------------------- places
def test_no_area_and_no_front_is_followed_over_a_told_shake() -> None:
    bare = np.full((ROWS, COLS), TissueClass.BARE, dtype=np.uint8)
    wall = shrink(photographed(skimage.data.gravel(), 0.0), tissue_of(bare))
    readings = [
        reading(n, 30.0 + n, thumbnail=wall, patches=[patch("green", 2.0)]) for n in range(4)
    ]
    plain = build_history(readings, oyster()).days
    shaken = build_history(readings, oyster(), diary=[told("shaken", 1)]).days
    assert [d.patches[0].patch for d in plain] == ["green-1"] * 4
    assert [d.patches[0].patch for d in shaken] == ["green-1", "green-1", "green-2", "green-2"]
    assert plain[2].turn is not None
    assert shaken[2].turn is None  # the same wall to the eye, but told to be mixed
    assert not shaken[2].turned_away
    assert shaken[3].turn is not None
    assert shaken[3].cleared == ()  # what stood there before is not proven gone
