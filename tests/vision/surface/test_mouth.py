"""Mouth, depth and flat surface of photos drawn sight line by sight line, under known poses."""

import cv2
import numpy as np
import pytest
from drawn_tops import RING, DrawnTop, camera, surface_cover, top_photo

from jarvision.records import CardFit, ColourFit, Photo
from jarvision.records.mouth import MouthFit
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.card.find import find_card, read_swatches
from jarvision.vision.colour.fit import fit_colour
from jarvision.vision.colour.light import paper_layout
from jarvision.vision.surface.flatten import SURFACE_CELL_MM, flatten
from jarvision.vision.surface.hole import fit_circle
from jarvision.vision.surface.mouth import locate_mouth
from jarvision.vision.surface.sight import Above, circle

SETTINGS = PhotoSettings()
TOPS = (
    DrawnTop(seed=1, distance_mm=300.0, below_rim_mm=12.0, inner_mm=64.0, hole_mm=72.0),
    DrawnTop(
        seed=2, lean_deg=12.0, lean_to_deg=40.0, turn_deg=25.0, distance_mm=290.0,
        below_rim_mm=22.0, inner_mm=70.0, hole_mm=78.0, aside_mm=(0.7, -0.5), warm=1.2,
    ),
    DrawnTop(
        seed=3, lean_deg=19.0, lean_to_deg=250.0, turn_deg=-160.0, distance_mm=310.0, light=0.4,
        below_rim_mm=35.0, inner_mm=78.0, hole_mm=86.0, rim_above_mm=7.0,
    ),
)  # fmt: skip


class Seen:
    """What the stages make of one drawn photo."""

    def __init__(self, top: DrawnTop) -> None:
        self.top = top
        self.photo: Photo = top_photo(top)
        rgb = self.photo.rgb
        self.card: CardFit = find_card(rgb, self.photo.focal_px, layout=RING)
        swatches = read_swatches(rgb, self.card, layout=RING)
        paper = read_swatches(rgb, self.card, layout=paper_layout(RING))
        self.colour: ColourFit = fit_colour(swatches, paper, layout=RING, settings=SETTINGS.colour)
        self.above = Above.of_card(self.card)
        self.mouth: MouthFit = locate_mouth(
            self.photo, self.above, colour=self.colour, layout=RING, settings=SETTINGS.surface
        )


@pytest.fixture(scope="module", params=TOPS, ids=["straight down", "leaning", "far leaning"])
def seen(request: pytest.FixtureRequest) -> Seen:
    return Seen(request.param)


def test_camera_stands_where_it_stood(seen):
    _, _, centre = camera(seen.top)
    np.testing.assert_allclose(seen.card.camera_position_mm, centre, atol=1.5)


def test_colours_of_the_ring_are_corrected(seen):
    assert seen.colour.de00_median < 1.0  # CIEDE2000: half of what eyes notice side by side


def test_every_level_plane_is_seen_in_the_rings_plane_where_the_camera_has_it(seen):
    matrix, rotation, centre = camera(seen.top)
    points = circle(seen.top.axis_mm, 33.0, points=12)
    for z in (-9.0, 0.0, 31.0):
        there = np.column_stack([points, np.full(12, z)]) - centre
        image = there @ rotation.T @ matrix.T
        np.testing.assert_allclose(
            seen.above.in_photo(points, z), image[:, :2] / image[:, 2:], atol=0.5
        )  # half a pixel of 1512: 0.15 mm


def test_mouth_is_as_wide_as_it_is_and_where_it_is(seen):
    inner = seen.mouth.inner_mm
    assert seen.mouth.rim_seen
    assert inner.low <= seen.top.inner_mm <= inner.high
    assert abs(inner.value - seen.top.inner_mm) < 1.2
    assert np.linalg.norm(seen.mouth.axis_mm - seen.top.axis_mm) < 1.0


def test_depth_below_the_rim_is_told_by_the_parallax(seen):
    below = seen.mouth.below_rim_mm
    assert below is not None and seen.mouth.untold == ""
    assert below.low <= seen.top.below_rim_mm <= below.high
    assert abs(below.value - seen.top.below_rim_mm) < 3.0
    assert below.high - below.low < 16.0


def test_flat_surface_has_the_growth_in_its_place_as_the_ring_lies(seen):
    picture = flatten(
        seen.photo, seen.above, colour=seen.colour, mouth=seen.mouth, settings=SETTINGS
    )
    true_colour, _ = surface_cover(seen.top)
    middle = (len(true_colour) - 1) / 2  # its cells are as large: 4 a mm
    shift = seen.mouth.axis_mm - seen.top.axis_mm
    n = len(picture.within)
    one = np.arange(n) - (n - 1) / 2 + middle
    x, y = np.meshgrid(one + shift[0] / SURFACE_CELL_MM, one + shift[1] / SURFACE_CELL_MM)
    true = cv2.remap(true_colour, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR)
    true = cv2.GaussianBlur(true, (0, 0), 1.5)
    core = picture.seen & (np.hypot(*np.meshgrid(picture.axis, picture.axis)) < 28.0)
    agree = np.corrcoef(picture.linear[core][:, 2], true[core][:, 2])[0, 1]
    assert agree > 0.9  # turned or mirrored it is 0.3 at most
    # in mm: no shift fits better than one of a millimetre
    best = max(
        (np.corrcoef(np.roll(picture.linear, (dy, dx), (0, 1))[core][:, 2], true[core][:, 2])[0, 1],
         abs(dx), abs(dy))
        for dx in range(-8, 9, 2) for dy in range(-8, 9, 2)
    )  # fmt: skip
    assert max(best[1:]) * SURFACE_CELL_MM <= 1.0


def test_area_of_the_mouth_is_that_of_its_circle(seen):
    picture = flatten(
        seen.photo, seen.above, colour=seen.colour, mouth=seen.mouth, settings=SETTINGS
    )
    round_cm2 = np.pi * seen.mouth.radius_mm**2 / 100.0
    assert picture.surface_cm2 == pytest.approx(round_cm2, rel=0.01)
    assert 0.7 * picture.surface_cm2 < picture.seen_cm2 <= picture.surface_cm2


def test_circle_is_found_among_points_a_third_of_which_lie_elsewhere():
    rng = np.random.default_rng(0)
    points = circle(np.array([82.0, 78.5]), 36.0, points=240)
    points[:80] += rng.uniform(-14, -4, (80, 1)) * (points[:80] - [82.0, 78.5]) / 36.0
    middle, radius, off = fit_circle(points)
    np.testing.assert_allclose(middle, [82.0, 78.5], atol=0.2)
    assert radius == pytest.approx(36.0, abs=0.2)
    assert off < 0.2
