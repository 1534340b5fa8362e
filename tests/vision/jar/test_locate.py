"""Jar, wall and contents on drawn photos whose geometry is exact."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from drawn_jars import FLOOR_MM, GREY, LAYOUT, DrawnJar, DrawnPhoto, draw, white_check
from walls import CELL_MM, flat_wall

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import TissueClass, Wall
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.card.pose import card_to_photo
from jarvision.vision.jar.edges import find_edges, liveliness, windows_of_edges
from jarvision.vision.jar.plane_view import view_in_plane
from jarvision.vision.jar.span import hidden_field, jar_span
from jarvision.vision.read import WallSight, wall_of
from jarvision.vision.tissue.fill import fill_height_mm, fill_height_sd_mm, find_contents

SETTINGS = PhotoSettings()
JARS = {
    "usual": DrawnJar(),
    "narrow": DrawnJar(outer_radius_mm=32.0, glass_mm=2.5),
    "wide": DrawnJar(outer_radius_mm=50.0, distance_mm=460.0),
    "off centre": DrawnJar(axis_x_mm=102.0, aside_mm=20.0),
    "nearer to the page": DrawnJar(axis_z_mm=-62.0),
    "farther from it": DrawnJar(axis_z_mm=-78.0),
    "upright page": DrawnJar(lean_deg=0.0),
    "page leaning forward": DrawnJar(lean_deg=-1.5),
    "page leaning far back": DrawnJar(lean_deg=3.0),
    "shouldered, with a lid": DrawnJar(neck_mm=30.0, lid_rgb=GREY),
    "edges on the field's border": DrawnJar(
        outer_radius_mm=54.0, neck_mm=40.0, lid_rgb=GREY, wall_mm=127.0
    ),
    "120 mm wide, two litres": DrawnJar(
        outer_radius_mm=60.0, distance_mm=480.0, wall_mm=160.0, fill_mm=120.0, lid_rgb=GREY
    ),
    "wide and off centre": DrawnJar(outer_radius_mm=50.0, axis_x_mm=107.0, lid_rgb=GREY),
    "tall": DrawnJar(outer_radius_mm=33.0, wall_mm=170.0, fill_mm=130.0, neck_mm=24.0),
    "paper label across its edge": DrawnJar(label_deg=(40.0, 95.0), lid_rgb=GREY),
    "another jar beside it": DrawnJar(outer_radius_mm=30.0, other_x_mm=162.0, lid_rgb=GREY),
}
TOP_MM = {
    "usual": 4.0,
    "shouldered, with a lid": 4.0,
    "edges on the field's border": 12.0,  # the lid alone ends it: as high as the neck
    "120 mm wide, two litres": 4.0,
    "wide and off centre": 4.0,
    "tall": 4.0,
}
"""How well the top of the straight wall is found. Where the edges end is stepped by 4 mm."""
SHIFT_MM = SETTINGS.jar.floor_below_mm
"""A page that leans 3 degrees otherwise than expected shifts the front wall, 110 mm before it, by
up to 6 mm. The wall is unrolled so far below the floor, which contents.py then finds by sight."""


@cache
def seen(name: str) -> tuple[DrawnPhoto, WallSight]:
    drawn = draw(JARS[name])
    return drawn, wall_of(drawn.photo, layout=LAYOUT, settings=SETTINGS)


def refusal(jar: DrawnJar) -> str:
    with pytest.raises(PhotoRefusedError) as caught:
        wall_of(draw(jar).photo, layout=LAYOUT, settings=SETTINGS)
    return caught.value.reason


# --------------------------------------------------------------------------- where it stands
@pytest.mark.parametrize("name", JARS)
def test_axis_and_radius_are_found_within_their_stated_uncertainty(name: str) -> None:
    drawn, sight = seen(name)
    jar = sight.jar
    assert jar.axis_x_mm == pytest.approx(drawn.axis_x_mm, abs=1.0)
    assert abs(jar.radius_mm - drawn.jar.outer_radius_mm) < 2.0 * jar.radius_sd_mm


@pytest.mark.parametrize("name", TOP_MM)
def test_the_wall_ends_at_the_shoulder_or_below_the_lid(name: str) -> None:
    drawn, sight = seen(name)
    assert sight.jar.floor_y_mm - sight.jar.top_y_mm == pytest.approx(
        drawn.jar.wall_mm, abs=TOP_MM[name]
    )


@pytest.mark.parametrize("name", JARS)
def test_the_table_is_found_where_the_page_ends(name: str) -> None:
    drawn, sight = seen(name)
    foot = np.array([95.0, 278.5, 0.0])
    assert drawn.table_y_mm == pytest.approx(foot[1], abs=0.5)
    assert sight.jar.floor_y_mm + FLOOR_MM == pytest.approx(foot[1], abs=0.8)


@pytest.mark.parametrize("name", JARS)
def test_every_place_of_the_wall_is_read_from_where_it_shows(name: str) -> None:
    """An edge 1 mm off turns the wall of a narrow jar by 2 degrees in front, 4 at the sides."""
    drawn, sight = seen(name)
    wall = sight.wall
    angles, heights = drawn.places(wall.pixels)
    off_deg = np.abs(angles - wall.angles_deg)
    off_mm = heights - wall.heights_mm[:, None]
    shift_mm = float(np.median(off_mm))
    assert np.median(off_deg) < 1.5
    assert np.percentile(off_deg, 95) < 4.0
    assert abs(shift_mm) < SHIFT_MM
    assert np.percentile(np.abs(off_mm - shift_mm), 95) < 1.6


def test_the_wall_has_the_colours_that_are_painted_on_it() -> None:
    drawn, sight = seen("usual")
    angles, heights = drawn.places(sight.wall.pixels)
    white = white_check(angles, heights)
    full = (heights > 1.0) & (heights < drawn.jar.fill_mm - 1.0)
    light = sight.wall.linear[..., 1]
    assert np.mean((light > 0.35)[full] == white[full]) > 0.96  # the rest: checks' blurred edges
    assert np.median(light[full & white]) == pytest.approx(0.73, rel=0.06)
    assert np.median(light[full & ~white]) == pytest.approx(0.09, rel=0.1)


def test_the_outline_goes_round_the_jar() -> None:
    drawn, sight = seen("usual")
    x, y = sight.jar.outline_px.T
    cols = drawn.photo.rgb.shape[1]
    assert x.min() > 0
    assert x.max() < cols
    lower = drawn.photo.rgb[round(float(y.max())) + 6, round(float(x.mean()))].astype(int)
    assert lower[0] > lower[2] + 20  # the table's brown begins under it


# --------------------------------------------------------------------------- refusals
@pytest.mark.parametrize(
    ("jar", "reason"),
    [
        (DrawnJar(present=False), "no_jar"),
        (DrawnJar(axis_x_mm=215.0), "no_jar"),
        (DrawnJar(outer_radius_mm=14.0, glass_mm=2.0), "no_jar"),
        (DrawnJar(distance_mm=800.0), "too_small"),
        (
            DrawnJar(
                axis_x_mm=66.0, other_x_mm=126.0, outer_radius_mm=29.9, neck_mm=22.0, lid_rgb=GREY
            ),
            "two_jars",
        ),
        (DrawnJar(axis_x_mm=64.0, other_x_mm=127.0, outer_radius_mm=28.5), "two_jars"),
    ],
    ids=["nothing there", "beside the card", "a test tube", "far away", "two touch", "two apart"],
)
def test_photos_without_a_jar_to_read_are_refused(jar: DrawnJar, reason: str) -> None:
    assert refusal(jar) == reason


@pytest.mark.parametrize(("off", "too_small"), [(-0.1, False), (0.1, True)])
def test_a_jar_is_too_small_by_the_pixels_on_its_own_front(off: float, too_small: bool) -> None:
    drawn, _ = seen("usual")
    scale = drawn.jar.focal_px / (drawn.jar.distance_mm - drawn.jar.outer_radius_mm)
    jar = replace(SETTINGS.jar, px_per_mm_min=scale + off)
    asked = {"layout": LAYOUT, "settings": replace(SETTINGS, jar=jar)}
    if too_small:
        with pytest.raises(PhotoRefusedError, match="pixels a mm on the jar"):
            wall_of(drawn.photo, **asked)
    else:
        assert wall_of(drawn.photo, **asked).jar.radius_mm > 0.0


# --------------------------------------------------------------------------- contents
def emptiness(*, fill_mm: float, floor_cells: int, noise: float = 0.0) -> tuple[Wall, np.ndarray]:
    """A wall 100 mm high with contents up to ``fill_mm``, and the network's opinion of it."""
    classes = np.full((400, 300), TissueClass.BARE, dtype=np.uint8)
    empty = np.zeros(classes.shape, dtype=np.float32)
    empty[: round((100.0 - fill_mm) / CELL_MM) - floor_cells] = 1.0
    empty[classes.shape[0] - floor_cells :] = 1.0
    rng = np.random.default_rng(4)
    empty = np.clip(empty + noise * rng.standard_normal(empty.shape), 0.0, 1.0)
    return flat_wall(classes), empty.astype(np.float32)


def test_floor_and_fill_line_are_found_through_noise() -> None:
    wall, empty = emptiness(fill_mm=70.0, floor_cells=20, noise=0.3)
    contents = find_contents(wall, empty, settings=SETTINGS.jar)
    assert contents.floor_row == 400 - 20
    assert fill_height_mm(_filled(wall, contents.filled)) == pytest.approx(70.0, abs=0.3)


def test_a_wrong_patch_moves_neither_floor_nor_fill_line() -> None:
    wall, empty = emptiness(fill_mm=70.0, floor_cells=20)
    clean = find_contents(wall, empty, settings=SETTINGS.jar)
    wrong = empty.copy()
    wrong[200:260, 100:160] = 1.0  # dark, taken for empty glass, amid the contents
    wrong[20:60, 200:230] = 0.0  # a drop above them
    contents = find_contents(wall, wrong, settings=SETTINGS.jar)
    assert contents.floor_row == clean.floor_row
    assert np.mean(contents.filled == clean.filled) > 0.995


def test_a_heap_is_followed_and_a_mirrored_lamp_is_bridged() -> None:
    wall, empty = emptiness(fill_mm=70.0, floor_cells=0)
    columns = np.arange(300)
    line = np.round(120 - 16 * np.sin(columns / 300 * np.pi)).astype(int)  # a heap of 4 mm
    empty[:] = np.arange(400)[:, None] < line
    truth = fill_line(find_contents(wall, empty, settings=SETTINGS.jar).filled)
    assert np.abs(truth - line).max() <= 3
    lamp = empty.copy()
    lamp[60:300, 140:165] = 0.0
    bridged = fill_line(find_contents(wall, lamp, settings=SETTINGS.jar).filled)
    assert np.abs(bridged - line).max() * CELL_MM <= 2.0


def test_the_fill_line_is_less_sure_where_fog_looks_like_contents() -> None:
    """Where 30 mm above the contents are as likely filled as not, the line may lie anywhere there:
    a uniform spread of 30 mm has a standard deviation of 8.7 mm."""
    wall, empty = emptiness(fill_mm=50.0, floor_cells=0)
    clear = find_contents(wall, empty, settings=SETTINGS.jar)
    empty[80:200] = 0.5
    fogged = find_contents(wall, empty, settings=SETTINGS.jar)
    assert clear.line_sd_mm < 1.0
    assert fogged.line_sd_mm == pytest.approx(30.0 / np.sqrt(12.0), rel=0.1)
    assert fogged.floor_sd_mm == pytest.approx(clear.floor_sd_mm)


def test_a_doubtful_floor_is_taken_where_floors_usually_are() -> None:
    wall, empty = emptiness(fill_mm=70.0, floor_cells=0)
    below = replace(wall, heights_mm=wall.heights_mm - 6.0)  # unrolled 6 mm below the usual floor
    empty[-48:] = 0.5  # 12 mm that may be glass or contents
    contents = find_contents(below, empty, settings=SETTINGS.jar)
    assert below.heights_mm[contents.floor_row - 1] == pytest.approx(0.0, abs=0.3)
    assert contents.floor_sd_mm > 1.5


def test_a_floor_on_a_table_that_is_not_known_is_sought_farther_and_less_sure() -> None:
    wall, empty = emptiness(fill_mm=70.0, floor_cells=48)  # the floor is 12 mm above the lowest row
    known = find_contents(wall, empty, settings=SETTINGS.jar)
    unknown = find_contents(replace(wall, foot_sd_mm=8.0), empty, settings=SETTINGS.jar)
    assert wall.heights_mm[unknown.floor_row] == pytest.approx(12.0, abs=0.5)
    assert unknown.floor_sd_mm > 8.0 > known.floor_sd_mm


def test_the_fill_height_is_as_unsure_as_its_ends_and_the_scale_of_the_jar() -> None:
    wall, _ = emptiness(fill_mm=70.0, floor_cells=0)
    filled = wall.heights_mm[:, None] < np.full(300, 40.0)
    unsure = replace(_filled(wall, filled), line_sd_mm=0.3, floor_sd_mm=0.4)
    scale = 0.02 * wall.radius_mm  # 2 % of 40 mm are 0.8 mm
    assert fill_height_sd_mm(unsure, radius_sd_mm=scale) == pytest.approx(
        np.linalg.norm([0.3, 0.4, 0.8]), rel=0.01
    )


def test_an_empty_jar_has_no_contents() -> None:
    wall, _ = emptiness(fill_mm=70.0, floor_cells=0)
    contents = find_contents(wall, np.ones((400, 300), np.float32), settings=SETTINGS.jar)
    assert not contents.filled.any()


def fill_line(filled: np.ndarray) -> np.ndarray:
    return filled.argmax(axis=0)


def _filled(wall: Wall, filled: np.ndarray) -> Wall:
    return replace(wall, filled=filled, judged=filled)


def test_the_view_knows_where_it_has_no_photo() -> None:
    drawn, sight = seen("usual")
    corner = card_to_photo(np.array([160.0, 230.0]), sight.card.homography)
    wide, high = (int(side) for side in corner)
    cut = replace(drawn.photo, rgb=np.ascontiguousarray(drawn.photo.rgb[:high, :wide]))
    view = view_in_plane(cut, sight.card)
    inside = view.inside(view.whole)
    at_x, at_y = np.meshgrid(*(np.arange(n, dtype=float) for n in view.shape[::-1]))
    pixels = card_to_photo(np.stack([view.x_mm(at_x), view.y_mm(at_y)], -1), sight.card.homography)
    room = np.minimum(pixels, np.array([wide - 1, high - 1]) - pixels).min(axis=-1)
    sure = np.abs(room) > 1e-6  # on the very border either answer will do
    assert 0.3 < inside.mean() < 0.99
    np.testing.assert_array_equal(inside[sure], room[sure] > 0.0)


@pytest.mark.parametrize("name", JARS)
def test_edges_are_found_in_windows_as_in_the_whole_view(name: str) -> None:
    drawn, sight = seen(name)
    layout, settings = LAYOUT, SETTINGS.jar
    view = view_in_plane(drawn.photo, sight.card)
    hidden = hidden_field(view, sight.colour, layout=layout, settings=settings)
    span = jar_span(view, hidden, layout=layout, settings=settings)
    band = (settings.upright_top_mm, settings.upright_bottom_mm)
    windows = windows_of_edges(view, span, rows_mm=band, layout=layout, settings=settings)
    in_windows, everywhere = (liveliness(view, layout, w) for w in (windows, [view.whole]))
    assert np.isfinite(in_windows).mean() < 0.2 < 0.5 < np.isfinite(everywhere).mean()
    both = [
        find_edges(view, change, span=span, rows_mm=band, layout=layout, settings=settings)
        for change in (in_windows, everywhere)
    ]
    for one, other in zip(*both, strict=True):
        assert one.at_mm == pytest.approx(other.at_mm, abs=0.02)
        assert one.slope == pytest.approx(other.slope, abs=0.001)
