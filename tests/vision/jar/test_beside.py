"""Which of the things that hide the card's field is the jar, and what stands beside it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from plain_views import SHAPE, box, view_of

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import ColourFit
from jarvision.settings.jar import JarSettings
from jarvision.vision.card.layout import load_layout
from jarvision.vision.jar.plane_view import blueness
from jarvision.vision.jar.span import Span, _field_edge, _overlap, jar_span

LAYOUT, SETTINGS = load_layout(), JarSettings()
FIELD = LAYOUT.field
FOOT = FIELD.y_mm + FIELD.height_mm
MIDDLE = LAYOUT.centre_mm[0]

Thing = tuple[float, float, float, float]


def span_of(*things: Thing, settings: JarSettings = SETTINGS) -> Span:
    """The jar among boxes: left and right side, top and bottom, mm."""
    hidden = np.zeros(SHAPE, dtype=np.bool_)
    for left, right, top, bottom in things:
        box(hidden, (left, right), (top, bottom))[:] = True
    return jar_span(view_of(), hidden, layout=LAYOUT, settings=settings)


def refused(*things: Thing) -> str:
    with pytest.raises(PhotoRefusedError) as caught:
        span_of(*things)
    return caught.value.reason


def contents(middle: float, wide: float = 60.0, *, tall: float = 90.0) -> Thing:
    return middle - wide / 2, middle + wide / 2, FOOT - tall, FOOT


def lid(middle: float, wide: float = 60.0, *, above: float = 120.0, tall: float = 12.0) -> Thing:
    return middle - wide / 2, middle + wide / 2, FOOT - above - tall, FOOT - above


def test_a_jar_hides_the_field_from_side_to_side() -> None:
    found = span_of(contents(90.0))
    assert (found.left_mm, found.right_mm) == pytest.approx((60.0, 120.0), abs=0.34)
    assert found.free_mm == (np.inf, np.inf)
    assert (MIDDLE, FIELD.x_mm, FIELD.x_mm + FIELD.width_mm) == (95.0, 32.0, 158.0)


@pytest.mark.parametrize(("tall", "found"), [(24.0, False), (26.0, True)])
def test_a_jar_shows_fifteen_square_centimetres(tall: float, found: bool) -> None:
    if found:
        assert span_of(contents(95.0, tall=tall)).right_mm == pytest.approx(125.0, abs=0.34)
    else:
        assert refused(contents(95.0, tall=tall)) == "no_jar"


@pytest.mark.parametrize(("off_mm", "found"), [(29.0, True), (31.0, False)])
@pytest.mark.parametrize("side", [-1, 1])
def test_a_jar_stands_within_thirty_millimetres_of_the_middle(
    off_mm: float, side: int, found: bool
) -> None:
    middle = 95.0 + side * off_mm
    if found:
        assert span_of(contents(middle)).left_mm == pytest.approx(middle - 30.0, abs=0.34)
    else:
        assert refused(contents(middle)) == "no_jar"


def test_what_hangs_high_before_the_field_is_no_jar() -> None:
    high = (65.0, 125.0, FIELD.y_mm, FIELD.y_mm + 0.45 * FIELD.height_mm)
    assert refused(high) == "no_jar"
    low = (65.0, 125.0, FIELD.y_mm, FIELD.y_mm + 0.55 * FIELD.height_mm)
    assert span_of(low).left_mm == pytest.approx(65.0, abs=0.34)


def test_of_two_jars_the_nearer_to_the_middle_is_meant_if_the_other_is_fifteen_mm_farther() -> None:
    for farther, meant in ((14.0, False), (16.0, True)):
        near, far = contents(71.0, 44.0), contents(95.0 + 24.0 + farther, 40.0)
        if meant:
            found = span_of(near, far)
            assert found.left_mm == pytest.approx(49.0, abs=0.34)
            assert found.free_mm[0] == np.inf
            assert found.free_mm[1] == pytest.approx(far[0] - 93.0, abs=0.7)
        else:
            assert refused(near, far) == "two_jars"


def test_the_free_field_is_told_on_either_side() -> None:
    left, right = contents(40.0, 16.0), contents(152.0, 12.0)
    found = span_of(left, contents(95.0), right)
    assert found.free_mm == pytest.approx((17.0, 21.0), abs=0.7)


def test_a_thing_of_half_the_size_is_a_jar_and_a_smaller_one_is_not() -> None:
    """Both stand 25 mm beside the middle."""
    for share, two in ((0.55, True), (0.45, False)):
        one, other = contents(70.0, 40.0), contents(120.0, 40.0, tall=90.0 * share)
        if two:
            assert refused(one, other) == "two_jars"
        else:
            found = span_of(one, other)
            assert found.left_mm == pytest.approx(50.0, abs=0.34)
            assert found.free_mm[1] == pytest.approx(10.0, abs=0.7)


def test_the_biggest_is_sought_near_the_middle_first() -> None:
    """A big thing at the side does not make a small jar before it too small to count."""
    small, big = contents(95.0, 40.0, tall=45.0), contents(140.0, 36.0, tall=150.0)
    assert span_of(small, big).left_mm == pytest.approx(75.0, abs=0.34)


def test_a_neighbour_is_as_tall_as_a_jar() -> None:
    for tall, free in ((28.0, np.inf), (32.0, 15.0)):
        one, other = contents(80.0, 50.0), contents(139.0, 38.0, tall=tall)
        # tall enough to be a thing, too flat to be a jar
        found = span_of(one, other, settings=replace(SETTINGS, contents_min_cm2=18.0))
        assert found.free_mm[1] == pytest.approx(free, abs=0.7)


@pytest.mark.parametrize(
    ("things", "lids"),
    [
        ([lid(95.0)], 1),
        ([lid(80.0, 28.0), lid(112.0, 28.0)], 2),
        ([lid(112.0, 28.0), lid(80.0, 28.0)], 2),
        ([lid(80.0, 24.0), lid(112.0, 28.0)], 1),  # too narrow
        ([lid(80.0, 28.0, tall=7.0), lid(112.0, 28.0)], 1),  # too flat
        ([lid(80.0, 28.0, above=135.0), lid(112.0, 28.0, above=115.0)], 1),  # one above the other
        ([lid(52.0, 28.0), lid(95.0, 28.0)], 1),  # not above these contents
    ],
    ids=["one", "two", "two in other order", "narrow", "flat", "at two heights", "beside"],
)
def test_two_lids_side_by_side_are_two_jars(things: list[Thing], lids: int) -> None:
    if lids == 2:
        assert refused(contents(95.0), *things) == "two_jars"
    else:
        assert span_of(contents(95.0), *things).left_mm == pytest.approx(65.0, abs=0.34)


def test_a_lid_as_large_as_the_contents_stands_above_them() -> None:
    big_lid = (70.0, 130.0, FOOT - 190.0, FOOT - 110.0)
    found = span_of(contents(95.0, 50.0, tall=60.0), big_lid)
    assert (found.left_mm, found.right_mm) == pytest.approx((70.0, 120.0), abs=0.34)


def test_sides_are_those_of_the_body_not_of_a_heap_on_it() -> None:
    heap = (90.0, 100.0, FOOT - 120.0, FOOT - 60.0)
    found = span_of(contents(95.0, tall=60.0), heap)
    assert (found.left_mm, found.right_mm) == pytest.approx((65.0, 125.0), abs=0.34)


@pytest.mark.parametrize(
    ("one", "other", "both"),
    [((0, 5), (4, 5), True), ((4, 5), (0, 5), True), ((0, 5), (5, 5), False),
     ((5, 5), (0, 5), False), ((0, 9), (3, 2), True), ((3, 2), (0, 9), True)],
)  # fmt: skip
def test_lengths_that_meet(one: tuple[int, int], other: tuple[int, int], both: bool) -> None:
    assert _overlap(*one, *other) is both


# --------------------------------------------------------------------------- the field's hue
PLAIN = ColourFit(
    matrix=np.eye(3, 4), used=np.ones(1, bool), de00=np.zeros(1), reference="nominal",
    tone=np.zeros((3, 2)), gain=np.ones(3), light_field=np.zeros((3, 5)), expected_de00=0.0,
)  # fmt: skip


def test_blueness_is_the_logarithm_of_blue_over_red_and_green() -> None:
    rgb = np.array([[[40, 60, 200], [128, 128, 128], [250, 240, 230], [0, 0, 0]]], dtype=np.uint8)
    s = rgb / 255.0
    linear = np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4)
    expected = np.log((linear[..., 2] + 0.004) / (linear[..., :2].mean(axis=-1) + 0.004))
    np.testing.assert_allclose(blueness(rgb, PLAIN), expected, atol=0.02)


@pytest.mark.parametrize(
    ("high", "low", "edge"),
    [
        (0.9, 0.0, 0.45),  # the middle between both
        # What is less blue than white counts as white.
        (1.0, -0.4, 1.0 - SETTINGS.field_over_white / 2),
        (1.4, 0.6, SETTINGS.blueness_edge),  # never above the usual edge
        (0.5, 0.15, SETTINGS.blueness_edge),  # too close together: nothing stands there
        (0.4, -0.2, 0.1),
    ],
)
def test_field_and_jar_are_parted_in_the_middle_between_them(
    high: float, low: float, edge: float
) -> None:
    rng = np.random.default_rng(2)
    blue = np.where(np.arange(4000) % 3 == 0, low, high) + rng.normal(0.0, 0.02, 4000)
    found = _field_edge(blue.reshape(40, 100).astype(np.float32), settings=SETTINGS)
    assert found == pytest.approx(min(edge, SETTINGS.blueness_edge), abs=0.02)


def test_an_even_field_keeps_the_usual_edge() -> None:
    for level in (1.0, 0.0):
        blue = np.full((40, 100), level, np.float32)
        assert _field_edge(blue, settings=SETTINGS) == SETTINGS.blueness_edge
