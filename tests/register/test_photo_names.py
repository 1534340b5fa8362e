"""What a photo's name says, and which files count as photos."""

from __future__ import annotations

import os
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jarvision.base.text import printable, safe_name
from jarvision.register.photo_names import (
    day_of,
    picture_name,
    read_name,
    tag_agrees,
    tells_jar,
)
from jarvision.run.photo_files import find_photos

HOSTILE = [
    "../../etc/passwd",
    "/root/x",
    "..",
    ".",
    "",
    "C:\\temp",
    "con",
    "LPT1.jpg",
    "a\x00b",
    "=1+1",
    "<script>alert(1)</script>",
    "x" * 400,
    "\udcff",
    "-rf",
]


@pytest.mark.parametrize(
    ("name", "jar", "view", "day"),
    [
        ("J07_2026-03-01.jpg", "J07", "front", date(2026, 3, 1)),
        ("J07_2026-03-01_b.JPG", "J07", "b", date(2026, 3, 1)),
        ("J07_B.jpeg", "J07", "b", None),
        ("shelf 2/J07/IMG_20260301_1010.heic", "J07", "front", date(2026, 3, 1)),
        ("J07.png", "J07", "front", None),
        ("J07_e.png", "J07", "front", None),
        ("_x.png", "_x", "front", None),
        ("J07_2026-02-31.jpg", "J07", "front", None),
        # as phones and people name them
        ("K07-2026-03-01.jpg", "K07", "front", date(2026, 3, 1)),
        ("K07 2026-03-01.jpg", "K07", "front", date(2026, 3, 1)),
        ("K07-20260301_081500.jpg", "K07", "front", date(2026, 3, 1)),
        ("K07_09.03.2026.jpg", "K07", "front", date(2026, 3, 9)),
        ("K07 9.3.2026_b.jpg", "K07", "b", date(2026, 3, 9)),
        ("K07_2026_03_01.jpg", "K07", "front", date(2026, 3, 1)),
        ("Kitchen left 2026-03-01.jpg", "Kitchen left", "front", date(2026, 3, 1)),
        ("OY-2026-02-20_2026-03-05.jpg", "OY-2026-02-20", "front", date(2026, 3, 5)),
        ("K07/2026-03-01/IMG_0001.jpg", "K07", "front", date(2026, 3, 1)),
        ("2026-03-01/K07.jpg", "K07", "front", date(2026, 3, 1)),
        ("2026-03-01/K07_2026-03-02.jpg", "K07", "front", date(2026, 3, 2)),
        ("DCIM/100ABCDE/K07_b.jpg", "K07", "b", None),
        ("photo-shelf/DSC_0001.jpg", "photo-shelf", "front", None),
        ("Foto Keller.jpg", "Foto Keller", "front", None),
    ],
)
def test_jar_view_and_day_are_read_from_the_name(
    name: str, jar: str, view: str, day: date | None
) -> None:
    parts = read_name(name)
    assert (parts.jar, parts.view, parts.day) == (jar, view, day)


@pytest.mark.parametrize(
    ("name", "day"),
    [
        ("IMG_0001.jpg", None),
        ("IMG-0001.jpg", None),
        ("IMG-20260301-AB0001.jpg", date(2026, 3, 1)),
        ("DSC00001.JPG", None),
        ("_DSC0001.jpg", None),
        ("P1010001.JPG", None),
        ("PXL_20260301_081500123.jpg", date(2026, 3, 1)),
        ("20260301_081500.jpg", date(2026, 3, 1)),
        ("2026-03-01 08.15.00.jpg", date(2026, 3, 1)),
        ("Messenger Image 2026-03-01 at 10.11.12.jpeg", date(2026, 3, 1)),
        ("messenger-2026-03-01-101112.jpg", date(2026, 3, 1)),
        ("photo_2026-03-01_08-15-00.jpg", date(2026, 3, 1)),
        ("image0.jpeg", None),
        ("Foto 3.heic", None),
        ("1741500000123.jpg", None),
        ("DCIM/IMG_0001.jpg", None),
        ("2026-03-01/IMG_0001.jpg", date(2026, 3, 1)),
    ],
)
def test_names_as_cameras_and_messengers_give_them_name_no_jar(name: str, day: date | None) -> None:
    parts = read_name(name)
    assert (parts.jar, parts.day) == ("", day)
    assert not tells_jar(name)
    told = read_name(name, told="K07")
    assert (told.jar, told.day) == ("K07", day)
    assert tells_jar(name, told="K07")


@pytest.mark.parametrize(
    ("name", "odd"),
    [
        ("K07_2026-03-01-b.jpg", "-b"),
        ("K07-2026-03-01 b.jpg", " b"),
        ("K07_2026-03-01b.jpg", "b"),
        ("K07_2026-03-01 (c).jpg", "(c)"),
        ("K07_2026-03-01_e.jpg", "_e"),
        ("K07/IMG_0001-b.jpg", "-b"),
        ("K07_2026-03-01_b.jpg", ""),
        ("K07_2026-03-01.jpg", ""),
        ("K07_2026-03-01-dark.jpg", ""),
        ("K07-b.jpg", ""),  # a jar may be called so
        ("Keller B_2026-03-01.jpg", ""),
    ],
)
def test_an_ending_that_is_nearly_a_view_is_found(name: str, odd: str) -> None:
    assert read_name(name).odd_view == odd


def test_digits_beside_a_date_are_not_a_date() -> None:
    assert day_of("J1_120260301.jpg") is None
    assert day_of("J1_2026-0301.jpg") is None


@pytest.mark.parametrize(
    ("jar", "tag", "agrees"),
    [("J07", 7, True), ("7", 7, True), ("B2-07", 7, True), ("J08", 7, False), ("IMG", 7, True)],
)
def test_a_tag_agrees_with_the_last_number_of_the_name(jar: str, tag: int, agrees: bool) -> None:
    assert tag_agrees(jar, tag) is agrees


@pytest.mark.parametrize("text", HOSTILE)
def test_a_safe_name_never_leaves_its_folder(text: str, tmp_path: Path) -> None:
    for name in (safe_name(text), picture_name(text)):
        place = tmp_path / name
        place.write_bytes(b"x")
        assert place.resolve().parent == tmp_path.resolve()
        assert not name.startswith((".", "-"))


def test_plain_names_stay_as_they_are() -> None:
    assert safe_name("J07_2026-03-01.jpg") == "J07_2026-03-01.jpg"
    assert safe_name("Glas Ä-3") != safe_name("Glas-Ä-3") == "Glas-Ä-3"


def test_two_photos_never_share_a_picture() -> None:
    names = ["a/b.jpg", "a--b.jpg", "a/b--c.jpg", "a--b/c.jpg", "a.png", "a.png.jpg", "a/b.png"]
    assert len({picture_name(n).casefold() for n in names}) == len(names)


def test_photos_whose_names_differ_in_capitals_only_have_pictures_of_their_own() -> None:
    """As on exFAT, NTFS and APFS, which take J1.JPG for j1.jpg."""
    names = [
        *("J1.jpg", "j1.jpg", "J1.JPG", "J1.JpG", "j1.JPG", "J1.jpeg", "J1.JPEG"),
        *("J1/a.jpg", "j1/a.jpg", "J1/A.jpg", "Ä1.jpg", "ä1.jpg", "σ.jpg", "ς.jpg", "Σ.jpg"),
    ]
    assert len({picture_name(n).casefold() for n in names}) == len(names)
    for plain in ("SL01_2026-03-05-dark.jpg", "J1_2026-03-01_a.jpg", "B2-07_2026-03-01.jpg"):
        assert picture_name(plain) == plain


@given(name=st.text(st.sampled_from("aAjJ1_-sSßſkK"), min_size=1), data=st.data())
def test_no_two_spellings_of_a_name_share_a_picture(name: str, data: st.DataObject) -> None:
    other = "".join(data.draw(st.sampled_from([c.lower(), c.upper()[:1], c])) for c in name)
    if other != name:
        assert picture_name(f"{name}.jpg").casefold() != picture_name(f"{other}.jpg").casefold()


def test_printable_text_holds_no_control_characters() -> None:
    assert printable("J\x1b[31m7\udcff").isprintable()
    assert printable("Glas Ä-3") == "Glas Ä-3"


def make(folder: Path, *names: str) -> None:
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"x")


def test_photos_are_found_by_suffix_in_any_case_and_sorted(tmp_path: Path) -> None:
    make(tmp_path, "b.JPG", "a.heic", "s/c.WebP", "s/notes.txt", ".hidden.jpg", ".git/d.jpg")
    found = [p.relative_to(tmp_path).as_posix() for p in find_photos(tmp_path)]
    assert found == ["a.heic", "b.JPG", "s/c.WebP"]


def test_pictures_written_by_a_run_are_no_photos(tmp_path: Path) -> None:
    make(tmp_path, "a.jpg", "out/overlays/a.jpg", "old/overlays/a.jpg")
    make(tmp_path, "old/readings.csv", "old/report.html")
    assert find_photos(tmp_path, out=tmp_path / "out") == [tmp_path / "a.jpg"]


def test_an_output_folder_around_the_photos_hides_nothing(tmp_path: Path) -> None:
    make(tmp_path, "photos/a.jpg")
    assert len(find_photos(tmp_path / "photos", out=tmp_path)) == 1


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
def test_link_loops_end_and_dead_links_are_listed(tmp_path: Path) -> None:
    make(tmp_path, "s/a.jpg")
    (tmp_path / "s" / "round").symlink_to(tmp_path)
    (tmp_path / "dead.jpg").symlink_to(tmp_path / "gone.jpg")
    os.mkfifo(tmp_path / "pipe.jpg")
    found = [p.relative_to(tmp_path).as_posix() for p in find_photos(tmp_path)]
    assert found == ["dead.jpg", "s/a.jpg"]


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
def test_links_are_followed_but_not_to_the_folders_above(tmp_path: Path) -> None:
    """One to / would take in every picture of the disk."""
    make(tmp_path, "shelf/photos/a.jpg", "shelf/private.jpg", "beside/b.jpg")
    photos = tmp_path / "shelf" / "photos"
    for name, leads in (("up", photos.parent), ("top", Path("/")), ("other", tmp_path / "beside")):
        (photos / name).symlink_to(leads)
    told: list[OSError] = []
    found = [p.relative_to(photos).as_posix() for p in find_photos(photos, on_error=told.append)]
    assert found == ["a.jpg", "other/b.jpg"]
    assert sorted(error.filename for error in told) == [str(photos / "top"), str(photos / "up")]


def test_a_missing_folder_is_reported_not_raised(tmp_path: Path) -> None:
    errors: list[OSError] = []
    assert find_photos(tmp_path / "gone", on_error=errors.append) == []
    assert len(errors) == 1
