"""Which jar a photo counts for, when its tag and its name have a say."""

from datetime import date, datetime
from pathlib import Path

import pytest
from card_photos import photo_with_tag
from PIL import Image

from jarvision.records import NothingGrown
from jarvision.vision.read import read_jar_photo

SAMPLES = Path(__file__).parents[2] / "sample_images"


def test_a_photo_whose_tag_and_name_disagree_counts_for_neither_jar(tmp_path: Path) -> None:
    path = photo_with_tag(tmp_path / "B2-07_2026-03-05.jpg", 9)
    reading = read_jar_photo(path, root=tmp_path)
    assert (reading.status, reading.reason, reading.jar) == ("unusable", "jar_mismatch", "")
    assert "9" in reading.detail
    assert "B2-07" in reading.detail


@pytest.mark.parametrize(
    ("name", "jar"),
    [("B2-07_2026-03-05.jpg", "B2-07"), ("7_x.jpg", "7"), ("IMG_2031.jpg", "7")],
)
def test_a_tag_leaves_a_named_photo_to_its_jar_and_names_the_others(
    tmp_path: Path, name: str, jar: str
) -> None:
    reading = read_jar_photo(photo_with_tag(tmp_path / name, 7), root=tmp_path)
    assert reading.reason == "no_card"  # past the tag, stopped at the missing card
    assert reading.jar == jar
    assert reading.taken_at == datetime(2026, 3, 5, 18, 0)


def test_a_refused_photo_comes_with_its_picture_when_it_can_be_opened(tmp_path: Path) -> None:
    photos, out = tmp_path / "photos", tmp_path / "out"
    photos.mkdir()
    opened = read_jar_photo(photo_with_tag(photos / "7_x.jpg", 7), root=photos, out=out)
    (photos / "7_y.jpg").write_bytes(b"no photo")
    broken = read_jar_photo(photos / "7_y.jpg", root=photos, out=out)
    assert (opened.status, broken.status) == ("unusable", "unusable")
    assert broken.overlay == ""
    with Image.open(out / opened.overlay) as picture:
        assert picture.width == 640


def test_all_of_a_wall_is_learned_on_the_day_on_which_nothing_had_grown() -> None:
    path = SAMPLES / "SL03_2026-03-02.jpg"  # 3 % covered
    if not path.is_file():
        pytest.skip("needs sample_images")
    called, said, other = (
        read_jar_photo(path, root=SAMPLES, nothing_grown=word).bare_look
        for word in (
            None,
            {"SL03": NothingGrown(date(2026, 3, 2))},
            {"SL03": NothingGrown(date(2026, 3, 1)), "SL04": NothingGrown()},
        )
    )
    assert called is not None and said is not None
    assert said.area_cm2 > called.area_cm2
    assert other == called


def test_a_photo_of_which_nothing_says_the_jar_is_refused_where_the_jar_is_needed(
    tmp_path: Path,
) -> None:
    path = tmp_path / "IMG_0001.jpg"
    Image.new("RGB", (800, 600), (90, 90, 90)).save(path)
    assert read_jar_photo(path, root=tmp_path).reason == "no_card"  # as for a photo by itself
    reading = read_jar_photo(path, root=tmp_path, jar_needed=True)
    assert (reading.status, reading.reason, reading.jar) == ("unusable", "unnamed_jar", "")
    told = read_jar_photo(path, root=tmp_path, jar_needed=True, told_jar="K07")
    assert (told.reason, told.jar) == ("no_card", "K07")
    tagged = read_jar_photo(
        photo_with_tag(tmp_path / "IMG_0002.jpg", 7), root=tmp_path, jar_needed=True
    )
    assert (tagged.reason, tagged.jar) == ("no_card", "7")
