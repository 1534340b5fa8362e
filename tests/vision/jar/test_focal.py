"""Lens and table, worked out from card, jar and page, on drawn photos whose geometry is exact."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest
from drawn_jars import GREY, LAYOUT, DrawnJar, DrawnPhoto, draw

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import CardFit, Photo, RawWall
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.card.camera import camera_matrix, refocus, strain_of
from jarvision.vision.card.pose import card_to_photo, scale_at
from jarvision.vision.jar.focal import NO_FOCAL, OTHER_FOCAL, OTHER_TABLE
from jarvision.vision.jar.foot import Foot
from jarvision.vision.jar.page import PAGE_HEIGHTS_MM, page_ends_mm, trimmed_end_mm
from jarvision.vision.jar.plane_view import view_in_plane
from jarvision.vision.read import WallSight, wall_of

SETTINGS = PhotoSettings()
JARS = {
    "usual": DrawnJar(),
    "narrow": DrawnJar(outer_radius_mm=32.0, glass_mm=2.5, lid_rgb=GREY),
    "wide": DrawnJar(outer_radius_mm=50.0, distance_mm=460.0),
    "far, long lens": DrawnJar(distance_mm=520.0, focal_px=1900.0),
    "near, wide lens": DrawnJar(distance_mm=360.0, focal_px=1350.0),
}
LENSES = {"unknown": (False, 1.0), "half": (True, 0.5), "double": (True, 2.0), "x4": (True, 4.0)}
PAGES = {
    "whole": DrawnJar(),
    "trimmed": DrawnJar(trim_mm=17.0),
    "taped up": DrawnJar(lift_mm=30.0),
    "trimmed and taped up": DrawnJar(trim_mm=17.0, lift_mm=35.0),
    "leaning and taped up": DrawnJar(lean_deg=3.0, lift_mm=25.0),
}
FOOT_MM = 3.5
"""Height on the wall by which every place may be off. Before, half a focal length shifted all by
30 mm, a trimmed page by 17."""


@cache
def drawn(jar: DrawnJar) -> DrawnPhoto:
    return draw(replace(jar, thick_foot=True))


def sight_of(photo: Photo) -> WallSight:
    return wall_of(photo, layout=LAYOUT, settings=SETTINGS)


def shift_mm(picture: DrawnPhoto, wall: RawWall) -> float:
    """How much higher the wall is read than it stands, about its foot."""
    foot = wall.heights_mm < 25.0
    _, heights = picture.places(wall.pixels[foot])
    return float(np.median(heights - wall.heights_mm[foot, None]))


# --------------------------------------------------------------------------- the lens
@pytest.mark.parametrize("lens", LENSES)
@pytest.mark.parametrize("name", JARS)
def test_foot_is_found_through_a_lens_that_is_unknown_or_misstated(name: str, lens: str) -> None:
    picture = drawn(JARS[name])
    known, times = LENSES[lens]
    focal = picture.photo.focal_px
    photo = replace(picture.photo, focal_known=known, focal_px=focal * times)
    sight = sight_of(photo)
    assert sight.jar.notes == (OTHER_FOCAL if known else NO_FOCAL,)
    assert abs(shift_mm(picture, sight.wall)) < FOOT_MM
    assert sight.card.camera[0, 0] == pytest.approx(focal, rel=0.15)
    assert abs(sight.jar.radius_mm - picture.jar.outer_radius_mm) < 2.0 * sight.jar.radius_sd_mm


@pytest.mark.parametrize("name", JARS)
def test_a_focal_length_that_fits_is_kept(name: str) -> None:
    picture = drawn(JARS[name])
    for times in (0.95, 1.0, 1.05):
        photo = replace(picture.photo, focal_px=picture.photo.focal_px * times)
        sight = sight_of(photo)
        assert sight.card.camera[0, 0] == pytest.approx(photo.focal_px)
        assert sight.jar.notes == ()


def test_the_radius_is_less_sure_through_an_unknown_lens() -> None:
    photo = drawn(JARS["usual"]).photo
    known, unknown = (sight_of(replace(photo, focal_known=said)) for said in (True, False))
    assert unknown.jar.radius_sd_mm > known.jar.radius_sd_mm


def tilted(degrees: float, *, focal_px: float = 1500.0, wider: float = 1.0) -> CardFit:
    """A card that leans away from the camera, ``wider`` than it should be."""
    turn, _ = cv2.Rodrigues(np.deg2rad([degrees, 0.4 * degrees, 0.0]))
    centre = np.array([*LAYOUT.centre_mm, 0.0])
    shift = np.array([10.0, -15.0, 440.0]) - turn @ centre
    camera = camera_matrix((2016, 1512), focal_px)
    plane = np.column_stack([turn[:, 0] * wider, turn[:, 1], shift])
    homography = camera @ plane
    return CardFit(
        homography=homography / homography[2, 2],
        camera=camera,
        rotation=np.asarray(turn),
        translation=shift,
        markers=(0, 1, 2, 3),
        reprojection_px=0.0,
        px_per_mm=scale_at(homography / homography[2, 2], LAYOUT.centre_mm),
        outline_px=card_to_photo(LAYOUT.corners_mm, homography / homography[2, 2]),
    )


def test_a_tilted_card_tells_the_lens_and_one_seen_head_on_does_not() -> None:
    sd = SETTINGS.jar.card_strain_sd
    through = [refocus(tilted(14.0), LAYOUT.corners_mm, f) for f in (1200.0, 1500.0, 1875.0)]
    wide, right, long = (np.abs(strain_of(card)).max() / sd for card in through)
    assert right < 1e-6
    assert min(wide, long) > 3.0
    head_on = refocus(tilted(0.0), LAYOUT.corners_mm, 3000.0)
    assert np.abs(strain_of(head_on)).max() < 1e-6


def test_the_strain_is_what_the_print_is_stretched_by() -> None:
    stretched, sheared = strain_of(tilted(10.0, wider=1.004))
    assert stretched == pytest.approx(np.log(1.004), rel=1e-6)
    assert sheared == pytest.approx(0.0, abs=1e-9)


def test_the_camera_of_another_lens_stands_elsewhere() -> None:
    card = refocus(tilted(0.0), LAYOUT.corners_mm, 3000.0)
    assert -card.camera_position_mm[2] == pytest.approx(880.0, rel=0.01)


# --------------------------------------------------------------------------- the table
@pytest.mark.parametrize("name", PAGES)
def test_foot_is_found_whatever_the_page_does(name: str) -> None:
    picture = drawn(PAGES[name])
    sight = sight_of(picture.photo)
    assert sight.jar.notes == (() if name == "whole" else (OTHER_TABLE,))
    assert abs(shift_mm(picture, sight.wall)) < FOOT_MM
    assert sight.jar.foot_sd_mm == 0.0


@pytest.mark.parametrize("name", ["trimmed", "taped up"])
def test_foot_is_found_with_neither_lens_nor_page(name: str) -> None:
    picture = drawn(PAGES[name])
    sight = sight_of(replace(picture.photo, focal_known=False, focal_px=900.0))
    assert abs(shift_mm(picture, sight.wall)) < FOOT_MM


@pytest.mark.parametrize("beyond_mm", [-3.0, -1.5, 0.0, 1.5])
def test_the_photos_own_end_is_no_end_of_the_page(beyond_mm: float) -> None:
    picture = drawn(PAGES["whole"])
    card = sight_of(picture.photo).card
    end = (PAGE_HEIGHTS_MM[0] + LAYOUT.height_mm) / 2
    last = card_to_photo(np.array([[0.0, end + beyond_mm]]), card.homography)[0, 1]
    cut = replace(picture.photo, rgb=np.ascontiguousarray(picture.photo.rgb[: int(last)]))
    ends = page_ends_mm(
        view_in_plane(cut, card), jar_mm=(45.0, 145.0), layout=LAYOUT, settings=SETTINGS.jar
    )
    assert ends[0] == end  # as printed: no edge is seen
    with pytest.raises(PhotoRefusedError) as refusal:
        sight_of(cut)
    assert refusal.value.reason == "jar_cut"


@pytest.mark.parametrize("known", [True, False])
def test_a_trimmed_page_is_no_cut_jar_where_the_foot_stands_at_its_edge(known: bool) -> None:
    picture = drawn(PAGES["trimmed"])
    foot = float(sight_of(picture.photo).jar.outline_px[:, 1].max())
    short = np.ascontiguousarray(picture.photo.rgb[: round(foot) + 24])
    sight = sight_of(replace(picture.photo, rgb=short, focal_known=known))
    assert abs(shift_mm(picture, sight.wall)) < FOOT_MM
    seen = trimmed_end_mm(
        view_in_plane(picture.photo, sight.card), jar_mm=(45.0, 145.0), layout=LAYOUT,
        settings=SETTINGS.jar,
    )  # fmt: skip
    assert seen == pytest.approx((PAGE_HEIGHTS_MM[0] + LAYOUT.height_mm) / 2 - 17.0, abs=1.0)


def test_a_whole_page_is_not_seen_to_end_under_the_card() -> None:
    picture = drawn(PAGES["whole"])
    view = view_in_plane(picture.photo, sight_of(picture.photo).card)
    jar_mm = (45.0, 145.0)
    assert trimmed_end_mm(view, jar_mm=jar_mm, layout=LAYOUT, settings=SETTINGS.jar) is None


def low_in_the_photo(focal_px: float) -> DrawnPhoto:
    """A jar seen from above, its foot at the photo's lower end: at its last row with 2310 px."""
    return drawn(DrawnJar(eye_mm=170.0, focal_px=focal_px))


def test_a_photo_that_ends_above_the_jars_floor_is_refused() -> None:
    with pytest.raises(PhotoRefusedError) as refusal:
        sight_of(low_in_the_photo(2450.0).photo)
    assert refusal.value.reason == "jar_cut"


def test_where_the_foot_does_not_show_the_floor_is_less_sure(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("jarvision.vision.jar.focal.find_foot", lambda *_, **__: None)
    photo = drawn(DrawnJar()).photo
    known, unknown = (sight_of(replace(photo, focal_known=said)) for said in (True, False))
    assert known.jar.foot_sd_mm == SETTINGS.jar.page_sd_mm
    assert known.wall.foot_sd_mm == known.jar.foot_sd_mm
    assert unknown.jar.foot_sd_mm > 1.5 * known.jar.foot_sd_mm


def test_a_foot_without_arcs_is_looked_for_where_the_page_ends() -> None:
    """Rings in the contents are stronger than the foot's one weak edge; the page points to it."""
    picture = draw(DrawnJar(lid_rgb=GREY))
    sight = sight_of(picture.photo)
    assert sight.jar.notes == ()
    assert abs(shift_mm(picture, sight.wall)) < FOOT_MM


@pytest.mark.parametrize("bent_mm", [0.0, 0.9])
def test_a_foot_that_bends_otherwise_must_lie_farther_off_the_page(
    bent_mm: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Eight millimetres off: told when the foot is surely one, else the table is half way."""
    photo = drawn(DrawnJar()).photo
    whole = sight_of(photo).jar
    page_y = whole.floor_y_mm + SETTINGS.jar.floor_mm

    def off_the_page(*_: object, **__: object) -> Foot:
        return Foot(table_y_mm=page_y + 8.0, bent_mm=bent_mm)

    monkeypatch.setattr("jarvision.vision.jar.focal.find_foot", off_the_page)
    jar = sight_of(photo).jar
    if bent_mm:
        assert jar.notes == ()
        assert jar.floor_y_mm == pytest.approx(whole.floor_y_mm + 4.0, abs=0.7)
        assert jar.foot_sd_mm == pytest.approx(4.0, abs=0.1)
    else:
        assert jar.notes == (OTHER_TABLE,)
        assert jar.floor_y_mm == pytest.approx(whole.floor_y_mm + 8.0, abs=0.7)
        assert jar.foot_sd_mm == 0.0
