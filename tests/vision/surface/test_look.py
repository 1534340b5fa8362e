"""One line for both sides: which photo is read from above, what it gives, why it is refused."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from card_photos import drawn_card, shoot, with_jar
from drawn_tops import FOCAL_PX, RING, DrawnTop, camera, shoot_top, top_photo
from PIL import Image

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import Reading
from jarvision.records.photo_reasons import PHOTO_REASONS
from jarvision.run.packing import pack_record, unpack_record
from jarvision.vision.card.squares import find_squares
from jarvision.vision.read import read_jar_photo
from jarvision.vision.surface.look import TopAnalysis, is_from_above, look_down

GOOD = DrawnTop(seed=6, lean_deg=8.0, distance_mm=290.0, below_rim_mm=18.0, hole_mm=77.5)


@pytest.fixture(scope="module")
def good_rgb() -> np.ndarray:
    return shoot_top(GOOD)


@pytest.fixture(scope="module")
def good(good_rgb: np.ndarray) -> TopAnalysis:
    return look_down(replace(top_photo(GOOD), rgb=good_rgb))


def save(rgb: np.ndarray, path: Path) -> Path:
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = "2026:03:05 18:00:00"
    exif.get_ifd(0x8769)[0xA405] = 26
    Image.fromarray(rgb).save(path, quality=95, exif=exif)
    return path


def refused(rgb: np.ndarray) -> PhotoRefusedError:
    with pytest.raises(PhotoRefusedError) as caught:
        look_down(replace(top_photo(GOOD), rgb=rgb))
    assert caught.value.detail
    return caught.value


def test_top_says_mouth_depth_and_cover_in_the_words_of_its_record(good):
    top = good.top
    assert top.mouth_mm.low <= GOOD.inner_mm <= top.mouth_mm.high
    assert top.below_rim_mm is not None
    assert top.below_rim_mm.low <= GOOD.below_rim_mm <= top.below_rim_mm.high
    # drawn flat, without relief, shade or depth: unlike any surface that the network learned from
    assert top.coverage.percent == pytest.approx(100 * GOOD.covered, abs=12)
    assert top.seen_percent > 80
    assert top.droplets is not None and top.pins is not None and top.caps is not None
    assert "flat_chance" in top.untold
    for patch in top.patches:
        assert np.hypot(patch.x_mm, patch.y_mm) < top.mouth_mm.value / 2
        assert patch.area_cm2 < top.surface_cm2
        if patch.kind not in ("bare", "wet"):
            assert patch.confidence <= 0.5  # no mould on a surface ends a jar by itself as yet


def test_reading_of_a_photo_from_above_comes_by_the_same_line(good_rgb, tmp_path):
    path = save(good_rgb, tmp_path / "K07_2026-03-05.jpg")  # no word in its name says so
    reading = read_jar_photo(path, root=tmp_path, out=tmp_path / "out")
    assert (reading.status, reading.view, reading.jar) == ("ok", "top", "K07")
    assert reading.top is not None and reading.coverage is None
    assert (tmp_path / "out" / reading.overlay).is_file()
    assert (tmp_path / "out" / reading.wall_picture).is_file()
    assert unpack_record(Reading, pack_record(reading)) == reading


def test_photo_of_the_wall_is_none_from_above_unless_its_name_says_so(tmp_path):
    path = shoot(with_jar(drawn_card()), tmp_path / "K07_2026-03-01.jpg")
    squares = find_squares(np.asarray(Image.open(path)))
    assert not is_from_above(squares, told=False)
    named = path.rename(tmp_path / "K07_2026-03-01_top.jpg")
    reading = read_jar_photo(named, root=tmp_path)
    assert (reading.status, reading.reason, reading.view) == ("unusable", "no_ring", "top")


def test_photo_from_the_side_is_told_to_come_from_above():
    assert refused(shoot_top(replace(GOOD, lean_deg=33.0))).reason == "not_from_above"


def test_ring_that_was_not_cut_out_has_no_mouth():
    assert refused(shoot_top(replace(GOOD, inner_mm=1.0, hole_mm=0.5))).reason == "no_mouth"


def on_the_ring(rgb: np.ndarray, radius_mm: float, value: tuple[int, int, int]) -> np.ndarray:
    """The photo with a round thing on the ring's middle."""
    matrix, rotation, centre = camera(GOOD)
    angle = np.linspace(0, 2 * np.pi, 60)
    edge = np.column_stack([radius_mm * np.cos(angle), radius_mm * np.sin(angle), 0 * angle])
    middle = np.array([*RING.centre_mm, 0.0])
    image = (edge + middle - centre) @ rotation.T @ matrix.T
    covered = rgb.copy()
    cv2.fillPoly(covered, [np.rint(image[:, :2] / image[:, 2:]).astype(np.int32)], value)
    return covered


def test_cloth_over_the_mouth_hides_it(good_rgb):
    assert refused(on_the_ring(good_rgb, 52.0, (120, 110, 90))).reason == "mouth_hidden"


def test_glints_of_a_hood_are_told_as_such(good_rgb):
    matrix, rotation, centre = camera(GOOD)
    rng = np.random.default_rng(4)
    hooded = good_rgb.copy()
    for _ in range(60):  # folds that mirror the lamp, 1 mm by 6 mm, all over the sheet
        x, y = rng.uniform(5, 155, 2)
        way = rng.uniform(0, np.pi)
        ends = np.array([[x, y, 0], [x + 6 * np.cos(way), y + 6 * np.sin(way), 0]]) - centre
        image = ends @ rotation.T @ matrix.T
        (x1, y1), (x2, y2) = np.rint(image[:, :2] / image[:, 2:]).astype(int)
        cv2.line(hooded, (int(x1), int(y1)), (int(x2), int(y2)), (252, 252, 252), 3)
    assert refused(hooded).reason == "through_hood"


def test_mist_on_a_hood_that_mirrors_no_lamp_is_told_as_such(good_rgb):
    mist = cv2.GaussianBlur(np.random.default_rng(8).standard_normal(good_rgb.shape[:2]), (0, 0), 5)
    opaque = np.clip(0.35 + 0.25 * mist / mist.std(), 0.0, 0.9)
    near = on_the_ring(np.zeros_like(good_rgb), 60.0, (255, 255, 255))[..., 0] > 0
    share = np.where(near, opaque, 0.0)[..., None]
    hooded = np.rint(good_rgb * (1.0 - share) + 150.0 * share).astype(np.uint8)
    assert refused(hooded).reason == "through_hood"


def test_mirrored_lamp_on_the_surface_is_glare(good_rgb):
    burnt = on_the_ring(good_rgb, 17.0, (255, 255, 255))
    assert refused(burnt).reason == "glare"


def test_blur_and_darkness_are_refused_as_on_the_wall(good_rgb):
    assert refused(cv2.GaussianBlur(good_rgb, (0, 0), 3.5)).reason == "blurred"
    assert refused((good_rgb * 0.12).astype(np.uint8)).reason == "underexposed"


@pytest.mark.parametrize(
    "word",
    ["no_ring", "not_from_above", "no_mouth", "mouth_hidden", "through_hood", "surface_hidden"],
)
def test_reasons_of_photos_from_above_come_with_advice(word):
    assert PHOTO_REASONS[word].meaning and PHOTO_REASONS[word].remedy.endswith(".")


def test_no_photo_needs_its_focal_length_for_the_width_of_the_mouth(good_rgb):
    photo = replace(top_photo(GOOD), rgb=good_rgb)
    other = look_down(replace(photo, focal_px=FOCAL_PX * 1.15, focal_known=False))
    assert other.top.mouth_mm.low <= GOOD.inner_mm <= other.top.mouth_mm.high
