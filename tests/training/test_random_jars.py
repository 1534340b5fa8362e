"""Jars with random contents: what the path tracer is given, and what counts as truth."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from jarvision.records import TissueClass
from tests.scenes.bulk import FRONT_DEG
from tests.scenes.measures import true_coverage

from .contents_layers import FAMILIES, contents_heap, contents_layer, stored
from .random_jars import DrawnJar, name_of, random_jar

GROWN = (TissueClass.MYCELIUM, TissueClass.STAIN)
MOULDS = (TissueClass.GREEN, TissueClass.BLACK, TissueClass.PINK, TissueClass.YELLOW)


@cache
def jar(number: int) -> DrawnJar:
    return random_jar(number)


@pytest.mark.parametrize("number", range(len(FAMILIES)))
def test_every_family_makes_a_wall(number: int) -> None:
    drawn = jar(number)
    paint = drawn.paint
    assert drawn.words["substrate"] == FAMILIES[number]
    assert drawn.words["holds"] & 1 << number
    for part in (paint.albedo, paint.relief_mm, paint.gloss, paint.opacity):
        assert part.dtype == np.float32
        assert part.shape[:2] == paint.classes.shape
        assert np.isfinite(part).all()
    assert 0.0 <= paint.albedo.min() < paint.albedo.max() <= 1.0
    assert paint.relief_mm.min() >= 0.0
    assert paint.relief_mm.max() <= 6.0
    filled = paint.heights_mm[:, None] <= paint.fill_height_mm
    assert ((paint.classes != TissueClass.OUTSIDE) == filled).all()


@pytest.mark.parametrize("number", range(8))
def test_what_half_of_growth_hides_is_covered_and_nothing_else(number: int) -> None:
    paint = jar(number).paint
    hidden = paint.opacity >= 0.5
    grown = np.isin(paint.classes, GROWN)
    assert (grown == hidden).all()
    assert (paint.opacity[np.isin(paint.classes, MOULDS)] == 0.0).all()
    assert (paint.classes[paint.pins] == TissueClass.MYCELIUM).all()


def test_some_jars_are_bare_some_full_and_the_others_anything_between() -> None:
    covered = np.array([true_coverage(jar(number).paint) for number in range(16)])
    assert (covered < 1.0).any()
    assert (covered > 90.0).any()
    assert ((covered > 10.0) & (covered < 90.0)).sum() > 4


def test_contents_lie_sharp_and_pressed_against_the_glass() -> None:
    paint = jar(0).paint
    front = np.abs(paint.angles_deg) <= FRONT_DEG
    near = paint.relief_mm[:, front][paint.classes[:, front] != TissueClass.OUTSIDE]
    assert (near < 0.5).mean() > 0.15
    assert paint.heights_mm[0] - paint.heights_mm[1] < 0.26


def test_judged_jars_are_never_trained_on() -> None:
    assert name_of(3, judged=True) != name_of(3, judged=False)
    one, other = (random_jar(0, judged=judged).paint.albedo for judged in (False, True))
    assert one.shape != other.shape or (one != other).any()


def test_a_layer_is_what_was_drawn_finer() -> None:
    heap, holds = contents_heap(1, 5)
    layer = contents_layer(1, 5)
    np.testing.assert_array_equal(layer.maps, stored(heap))
    assert layer.holds == holds
