"""The edits of good photos: each changes what it says, and nothing else."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from drawn_jars import DrawnJar, draw
from PIL import Image
from PIL.ExifTags import IFD, Base

from jarvision.records import ByteArray
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.photo import read_photo
from jarvision.vision.read import look
from tests.accuracy.edits import reading, shelf, tables
from tests.accuracy.edits.card import trimmed
from tests.accuracy.edits.files import exif_of, save_edited
from tests.accuracy.edits.jar import turned_over
from tests.accuracy.edits.reading import AS_IT_IS, Answer, Kept
from tests.accuracy.edits.scene import JarScene
from tests.accuracy.edits.sources import TruePhoto
from tests.accuracy.edits.table import EDITS, edited
from tests.accuracy.edits.veil import fog

SAMPLES = Path(__file__).parents[2] / "sample_images"
ON_THE_JAR = ("fog_85", "fog_all_60", "water_drops", "kraft_60x40", "white_print", "grow_pink",
              "pale_90", "head_down", "milk")  # fmt: skip
ON_THE_CARD = ("faded_50", "coffee", "print_mirrored", "print_94", "trimmed", "mark_covered",
               "torn")  # fmt: skip
ALWAYS = "none"


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> JarScene:
    """A drawn jar with a lid, in a file with a focal length."""
    drawn = draw(DrawnJar(lid_rgb=(0.5, 0.45, 0.1), neck_mm=34.0))
    path = tmp_path_factory.mktemp("photo") / "J1_2026-03-01.jpg"
    exif = Image.Exif()
    exif.get_ifd(IFD.Exif)[Base.FocalLengthIn35mmFilm] = 26
    Image.fromarray(drawn.photo.rgb).save(path, quality=95, exif=exif)
    return JarScene.of(look(read_photo(path, name=path.name)))


def changed(scene: JarScene, rgb: ByteArray, *, least: int = 12) -> np.ndarray:
    """Where a picture differs from the photo by more than a step or two."""
    return np.abs(rgb.astype(int) - scene.photo.rgb).max(axis=2) >= least


def focal_of(path: Path) -> float | None:
    with Image.open(path) as image:
        return image.getexif().get_ifd(IFD.Exif).get(Base.FocalLengthIn35mmFilm)


# --------------------------------------------------------------------------- regions
def test_the_jar_ends_where_the_cards_field_begins_above_its_lid(scene) -> None:
    y = np.nonzero(scene.whole)[0]
    field_above = scene.photo.rgb[y.min() - 12, round(scene.upright[0][0])].astype(int)
    lid_below = scene.photo.rgb[y.min() + 12, round(scene.upright[0][0])].astype(int)
    assert field_above[2] > field_above[0] + 20
    assert lid_below[2] < lid_below[0]
    assert scene.whole[scene.body].all()


def test_the_plate_shows_the_field_where_the_jar_stood(scene) -> None:
    x, y = scene.plane_mm[..., 0], scene.plane_mm[..., 1]
    inner = scene.whole & (y < 200.0) & (x > 40.0) & (x < 150.0)
    free = ~scene.whole & (y > 60.0) & (y < 200.0) & (x > 34.0) & (x < 45.0)
    plate, photo = (np.median(part, axis=0) for part in (scene.plate[inner], scene.photo.rgb[free]))
    assert np.abs(plate - photo).max() < 12.0


# --------------------------------------------------------------------------- edits
@pytest.mark.parametrize("word", ON_THE_JAR)
def test_what_is_done_to_the_jar_leaves_the_rest_alone(scene, word: str) -> None:
    here = changed(scene, edited(scene, EDITS[word]))
    near = scene.soft(scene.whole, 8.0)[..., 0] > 0.001
    assert here[scene.body].mean() > 0.01
    assert not here[~near].any()


@pytest.mark.parametrize("word", ON_THE_CARD)
def test_what_is_done_to_the_card_leaves_the_contents_alone(scene, word: str) -> None:
    here = changed(scene, edited(scene, EDITS[word]))
    inside = scene.places.seen & (scene.soft(~scene.whole, 2.0)[..., 0] < 0.001)
    assert here.any()
    assert not here[inside].any()


def test_fog_thickens_from_the_border_down_and_spares_the_upper_wall(scene) -> None:
    flat = fog(0.6, structure=0)(scene, np.random.default_rng(3))
    light = np.abs(flat.astype(float) - scene.photo.rgb).mean(axis=2)
    middle = np.abs(scene.places.x_mm) < 15.0
    by_height = [
        light[scene.places.seen & middle & (np.abs(scene.places.height_mm - mm) < 4.0)].mean()
        for mm in (8.0, 40.0, 78.0)
    ]
    assert by_height[0] > 15.0
    assert by_height[2] < 2.0
    assert by_height[0] > by_height[1] > by_height[2]


def test_a_jar_turned_twice_is_the_photo_again(scene) -> None:
    y, x = np.nonzero(scene.whole)
    middle = np.array([x.min() + x.max() + 1, y.min() + y.max()]) / 2.0
    once = turned_over(scene.photo.rgb, scene.whole, middle)
    assert changed(scene, once).any()
    assert np.array_equal(turned_over(once, scene.whole, middle), scene.photo.rgb)


def test_a_trimmed_page_has_no_white_left_around_the_card(scene) -> None:
    x, y = scene.plane_mm[..., 0], scene.plane_mm[..., 1]
    margin = (y > 20.0) & (y < 240.0) & (((x > -8.0) & (x < -2.0)) | ((x > 192.0) & (x < 198.0)))
    assert margin.any()
    before, after = (
        np.median(rgb[margin])
        for rgb in (scene.photo.rgb, trimmed(scene, np.random.default_rng(1)))
    )
    assert before > 200.0
    assert after < 170.0


def test_a_print_of_another_size_moves_the_marks_and_not_the_jar(scene) -> None:
    usual = PhotoSettings()
    any_size = replace(usual, acceptance=replace(usual.acceptance, print_off_max=1.0))
    photo = replace(scene.photo, rgb=edited(scene, EDITS["print_94"]))
    small = look(photo, settings=any_size)
    assert any("printed at 94" in note for note in small.photo.notes)
    ratio = small.card.px_per_mm / scene.card.px_per_mm
    assert ratio == pytest.approx(0.94, abs=0.005)
    assert small.jar.radius_mm == pytest.approx(scene.sight.jar.radius_mm / 0.94, rel=0.03)


def read_back(scene: JarScene, word: str):
    photo = replace(scene.photo, rgb=edited(scene, EDITS[word]))
    return look(photo)


@pytest.mark.parametrize("word", ["grow_blue", "fog_drops_85", "rice", "second_card"])
def test_edits_repeat(scene, word: str) -> None:
    first, again = (edited(scene, EDITS[word]) for _ in range(2))
    assert np.array_equal(first, again)


def test_every_edit_makes_a_photo_and_has_a_word_of_its_own(scene) -> None:
    assert len({edit.meaning for edit in EDITS.values()}) == len(EDITS)
    for word, edit in EDITS.items():
        assert word == edit.word
        assert not set(word) - set("abcdefghijklmnopqrstuvwxyz0123456789_")
    cheap = [edit for edit in EDITS.values() if edit.kind in ("lens", "crop", "codec")]
    for edit in cheap:
        rgb = edited(scene, edit)
        assert rgb.dtype == np.uint8
        assert rgb.ndim == 3


# --------------------------------------------------------------------------- files
def test_edits_of_exif_change_nothing_but_exif(scene, tmp_path: Path) -> None:
    plain = save_edited(scene.photo.rgb, EDITS[ALWAYS], like=scene.photo.path, folder=tmp_path)
    with Image.open(plain) as image:
        pixels = np.asarray(image)
    focal = {"focal_lost": None, "focal_half": 13, "focal_x2": 52, "focal_x4": 104}
    for word, wanted in focal.items():
        path = save_edited(
            edited(scene, EDITS[word]), EDITS[word], like=scene.photo.path, folder=tmp_path / word
        )
        assert focal_of(path) == wanted
        with Image.open(path) as image:
            assert np.array_equal(np.asarray(image), pixels)


def test_a_sent_photo_has_lost_its_exif(scene, tmp_path: Path) -> None:
    edit = EDITS["messenger"]
    path = save_edited(edited(scene, edit), edit, like=scene.photo.path, folder=tmp_path)
    with Image.open(path) as image:
        assert max(image.size) == 1280
        assert not dict(image.getexif())


def test_a_wider_picture_of_the_same_pixels_says_a_shorter_focal_length(scene) -> None:
    cols, rows = scene.shape[1], scene.shape[0]
    wide = exif_of(scene.photo.path, EDITS["second_card"].saved, size=(2 * cols, 2 * rows))
    assert wide.get_ifd(IFD.Exif)[Base.FocalLengthIn35mmFilm] == 13


# --------------------------------------------------------------------------- answers
def said(true: float, percent: float, half: float, *, edit: str = ALWAYS) -> Answer:
    low, high = percent - half, percent + half
    return Answer("x", edit, true, percent=percent, low=low, high=high, seen_percent=90.0)


@pytest.mark.parametrize(
    ("percent", "half", "silent"),
    [(56.0, 5.0, True), (56.0, 6.0, False), (54.0, 1.0, False), (20.0, 25.0, True)],
)
def test_silent_is_far_off_and_outside_the_interval(
    percent: float, half: float, silent: bool
) -> None:
    assert said(50.0, percent, half).silent is silent


def test_a_refused_photo_is_never_silent() -> None:
    assert not Answer("x", ALWAYS, 50.0, reason="blurred").silent


def test_answers_are_kept_until_the_edit_changes(tmp_path: Path, monkeypatch) -> None:
    photo = TruePhoto(tmp_path / "x.jpg", 50.0)
    photo.path.write_bytes(b"x")
    kept = Kept(tmp_path, photo)
    kept.put(said(50.0, 60.0, 2.0))
    kept.put(Answer("x", "fog_60", 50.0, reason="blurred", detail="soft"))
    kept.save()
    again = Kept(tmp_path, photo)
    assert again.get(ALWAYS) == said(50.0, 60.0, 2.0)
    refused = again.get("fog_60")
    assert refused is not None and refused.reason == "blurred"
    monkeypatch.setattr(reading, "edit_digest", lambda word: "other")
    assert Kept(tmp_path, photo).get(ALWAYS) is None


def test_tables_tell_silent_errors_and_refusals_in_error_apart() -> None:
    answers = [
        said(50.0, 50.0, 2.0, edit=AS_IT_IS),
        said(50.0, 70.0, 2.0, edit="fog_60"),
        said(50.0, 51.0, 2.0, edit="fog_60"),
        Answer("x", "fog_60", 50.0, reason="blurred"),
        Answer("x", "crop_10", 50.0, reason="no_card"),
    ]
    rows = {line.split(" | ")[0]: line for line in tables.edit_table(answers).splitlines()}
    assert "2 of 3 | **1** | 50 → 70 [68, 72] | 50 % | blurred 1" in rows["| `fog_60`"]
    assert "0 of 1 | 0 | – | – | **in error:** no_card 1" in rows["| `crop_10`"]
    total = tables.kind_table(answers).splitlines()[2]
    assert total == "| **all** | 4 | 2 | 1 of 4 (25.0 %) | 50 % | 1 of 1 (100.0 %) |"


def test_one_photo_is_read_as_it_is_and_edited(tmp_path: Path) -> None:
    if not SAMPLES.is_dir():
        pytest.skip("needs sample_images")
    photo = TruePhoto(SAMPLES / "SL01_2026-03-02.jpg", 78.5)
    words = ("none", "negative", "milk")
    answers = reading.read_photo_edited(photo, words=words, cache_folder=tmp_path)
    assert [a.edit for a in answers] == [AS_IT_IS, *words]
    assert abs(answers[0].error) < 5.0
    assert abs(answers[1].percent - answers[0].percent) < 1.5
    assert not answers[2].accepted
    assert answers[3].true_percent == 0.0
    kept = reading.read_photo_edited(photo, words=words, cache_folder=tmp_path)
    assert repr(kept) == repr(answers)


def test_the_shelf_names_jars_and_edits_that_are_there() -> None:
    if not SAMPLES.is_dir():
        pytest.skip("needs sample_images")
    assert set(shelf.WORDS) <= set(EDITS)
    for jar in (*shelf.BAD, *shelf.CLEAN):
        assert all((SAMPLES / f"{jar}_{day}.jpg").is_file() for day in shelf.DAYS)
