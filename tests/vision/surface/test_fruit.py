"""Pins and caps: chances made by hand, and a photo drawn in the test."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawn_tops import DrawnTop, top_photo
from surface_maps import X, Y, chances, disc, picture

from jarvision.records import FruitBody
from jarvision.vision.surface.caps import find_caps
from jarvision.vision.surface.fruit import find_fruit, looks_mm
from jarvision.vision.surface.look import TopAnalysis, look_down
from jarvision.vision.surface.network import CAP, PIN, SurfaceChances
from jarvision.vision.surface.sight import Above

TOP = DrawnTop(seed=3, lean_deg=4.0, distance_mm=300.0, below_rim_mm=16.0, hole_mm=77.5)


@pytest.fixture(scope="module")
def seen() -> TopAnalysis:
    return look_down(top_photo(TOP))


def on(seen: TopAnalysis, said: SurfaceChances, photo=None) -> tuple[FruitBody, ...]:
    """What is found on a picture as large as the hand-made one, of that photo and mouth."""
    return find_fruit(
        picture(), said, photo or seen.photo, Above.of_card(seen.card), colour=seen.colour,
        mouth=seen.mouth,
    )  # fmt: skip


def test_pins_are_counted_placed_and_measured(seen):
    places = [(-12.0, 4.0, 3.5), (6.0, -9.0, 4.5), (15.0, 12.0, 3.0)]
    pins = np.any([disc(*place) for place in places], axis=0)
    found = on(seen, chances(0.95, ground={PIN: pins}))
    assert [body.kind for body in found] == ["pin"] * 3
    for x, y, size in places:
        near = min(found, key=lambda b: np.hypot(b.x_mm - x, b.y_mm - y))
        assert np.hypot(near.x_mm - x, near.y_mm - y) < 0.3
        assert near.diameter_mm.low < size < near.diameter_mm.high
        assert near.chance > 0.5


def test_two_pins_that_touch_are_two(seen):
    pins = disc(0, 0, 4) | disc(3.6, 0, 4)
    assert len(on(seen, chances(0.95, ground={PIN: pins}))) == 2


def test_faint_specks_are_no_pins(seen):
    assert on(seen, chances(0.55, ground={PIN: disc(0, 0, 2)})) == ()
    assert on(seen, chances(0.95, ground={PIN: disc(0, 0, 0.6)})) == ()


def test_what_is_hardly_a_cap_is_none(seen):
    assert on(seen, chances(0.75, ground={CAP: disc(0, 0, 12)})) == ()


def test_a_cap_is_narrower_than_it_looks_from_near(seen):
    found = on(seen, chances(ground={CAP: disc(2, -3, 16)}))
    (cap,) = [body for body in found if body.kind == "cap"]
    assert np.hypot(cap.x_mm - 2, cap.y_mm + 3) < 0.6
    assert 14.0 < cap.diameter_mm.value < 16.5
    away = 300.0
    assert looks_mm(cap, distance_mm=away) > cap.diameter_mm.value


def test_caps_that_overlap_are_told_apart_by_the_edge_between_them(seen):
    """One lies over the other: half of its edge shows in the photo alone."""
    above, mouth = Above.of_card(seen.card), seen.mouth
    rgb = seen.photo.rgb.copy()
    for x, y, size, value in ((6, 0, 20, (150, 130, 105)), (-6, 0, 20, (205, 185, 160))):
        turn = np.linspace(0, 2 * np.pi, 90)
        edge = mouth.axis_mm + np.column_stack([x + size / 2 * np.cos(turn),
                                                y + size / 2 * np.sin(turn)])  # fmt: skip
        points = np.rint(above.in_photo(edge, mouth.surface_z_mm)).astype(np.int32)
        cv2.fillPoly(rgb, [points], value)
    mask = disc(6, 0, 20) | disc(-6, 0, 20)
    photo = replace(seen.photo, rgb=rgb)
    found = find_caps(mask, picture(), photo, above, colour=seen.colour, mouth=mouth)
    large = [circle for circle in found if circle.radius_mm > 7]
    assert len(large) == 2
    upper = min(large, key=lambda circle: circle.x_mm)
    assert np.hypot(upper.x_mm + 6, upper.y_mm) < 0.7
    assert upper.radius_mm == pytest.approx(10.0, abs=0.5)


def test_hand_made_maps_lie_as_the_picture_does():
    assert X[0, 0] < 0 < X[0, -1] and Y[0, 0] < 0 < Y[-1, 0]
