"""``jarvision check``: one line a photo, good or what to do, while the jar stands there."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from card_photos import drawn_card, photo_with_tag, shoot, stick_tag, with_jar
from PIL import Image
from typer.testing import CliRunner

from jarvision import score_photo
from jarvision.app.cli import main
from jarvision.base.errors import (
    ExitCode,
    NothingToScoreError,
    PhotoRefusedError,
    UsageError,
)
from jarvision.records import JarShape
from jarvision.records.photo_reasons import PHOTO_REASONS
from jarvision.run.check import check_photo, check_photos
from jarvision.vision.jar.focal import NO_FOCAL
from jarvision.vision.photo.icc import BROKEN_PROFILE

GOOD = f"good (note: {NO_FOCAL})"  # as the drawn photos are


@pytest.fixture(scope="module")
def jar() -> np.ndarray:
    return with_jar(drawn_card())


def check(*args: object) -> tuple[int, str]:
    result = CliRunner().invoke(main.app, ["check", *map(str, args)])
    return result.exit_code, result.stdout


def test_a_good_photo_is_called_good(jar: np.ndarray, tmp_path: Path) -> None:
    photo = shoot(jar, tmp_path / "a.jpg")
    assert check(photo) == (ExitCode.DONE, f"{photo}: {GOOD}\n")


def test_every_photo_gets_one_line_with_what_to_do(jar: np.ndarray, tmp_path: Path) -> None:
    shots = {
        "": shoot(jar, tmp_path / "good.jpg"),
        "no_jar": shoot(drawn_card(), tmp_path / "empty.jpg"),
        "underexposed": shoot(jar, tmp_path / "dark.jpg", light=0.015),
        "overexposed": shoot(jar, tmp_path / "burnt.jpg", light=3.0),
        "no_card": tmp_path / "wall.jpg",
        "unreadable": tmp_path / "text.jpg",
    }
    Image.new("RGB", (800, 600), (90, 90, 90)).save(shots["no_card"])
    shots["unreadable"].write_text("no photo")
    code, text = check(*shots.values())
    assert code == ExitCode.SOME_UNUSABLE
    for line, (reason, path) in zip(text.splitlines(), shots.items(), strict=True):
        assert line.startswith(f"{path}: ")
        if reason:
            assert PHOTO_REASONS[reason].meaning in line
            assert line.endswith(PHOTO_REASONS[reason].remedy)
        else:
            assert line.endswith(f": {GOOD}")


def test_json_holds_the_reasons_and_the_numbers(jar: np.ndarray, tmp_path: Path) -> None:
    good = shoot(jar, tmp_path / "good.jpg")
    code, text = check(good, tmp_path / "none.jpg", "--json")
    first, missing = json.loads(text)
    assert code == ExitCode.SOME_UNUSABLE
    assert (first["status"], first["reason"], first["advice"]) == ("ok", "", "")
    # the card stands at 5 px/mm, and nothing hides the drawn jar
    assert first["px_per_mm"] == pytest.approx(5.0, abs=0.02)
    assert first["seen_percent"] > 90  # the network knows rendered glass, not a drawing of it
    assert first["colour_de00_median"] < 1.0
    assert (missing["reason"], missing["detail"]) == ("unreadable", "no such file")
    assert missing["seen_percent"] is None


def test_notes_on_the_file_are_told(jar: np.ndarray, tmp_path: Path) -> None:
    photo = shoot(jar, tmp_path / "a.jpg")
    with Image.open(photo) as image:
        image.save(photo, quality=95, icc_profile=b"broken")
    code, text = check(photo)
    assert code == ExitCode.DONE
    assert BROKEN_PROFILE in text


def test_a_photo_of_twelve_megapixels_is_read_as_well(jar: np.ndarray, tmp_path: Path) -> None:
    photo = shoot(jar, tmp_path / "a.jpg")
    with Image.open(photo) as image:
        image.resize((3024, 4032)).save(photo, quality=92)
    assert check_photo(photo).good


def test_without_photos_the_usage_is_told() -> None:
    assert check()[0] == ExitCode.BAD_USAGE


def test_the_help_has_an_example() -> None:
    result = CliRunner().invoke(main.app, ["check", "--help"])
    assert "Example: jarvision check" in " ".join(result.stdout.split())


def test_the_stated_shape_of_the_jar_is_looked_up_by_the_photos_name(
    jar: np.ndarray, tmp_path: Path
) -> None:
    photo = shoot(jar, tmp_path / "K07_2026-03-01.jpg")
    (tmp_path / "jars.csv").write_text("jar,profile\nK07,pint\n")
    (tmp_path / "jar_profiles.toml").write_text("[pint]\ndiameter_mm = 80\n")
    assert check(photo)[0] == ExitCode.DONE
    (tmp_path / "jar_profiles.toml").write_text("[pint]\ndiameter_mm = 8\n")
    told = CliRunner().invoke(main.app, ["check", str(photo)]).exception
    assert isinstance(told, UsageError)  # a slip is told, not passed over


# --------------------------------------------------------------------------- as it is scored
@pytest.mark.parametrize(
    ("name", "reason"), [("SL01_2026-03-01.jpg", "jar_mismatch"), ("SL09_2026-03-01.jpg", "")]
)
def test_a_photo_is_good_only_when_tag_and_name_are_of_one_jar(
    jar: np.ndarray, tmp_path: Path, name: str, reason: str
) -> None:
    """Good means that it will give a reading, and a photo of neither jar gives none."""
    photo = stick_tag(shoot(jar, tmp_path / name), 9)
    found, scored = check_photo(photo), score_photo(photo)
    assert (found.reason, scored.reason) == (reason, reason)
    assert (found.detail or "; ".join(found.notes)) == scored.detail
    assert check(photo)[0] == (ExitCode.SOME_UNUSABLE if reason else ExitCode.DONE)


@pytest.mark.parametrize("name", ["IMG_2031.jpg", "7.jpg", "B2-07_x.jpg", "7/IMG_1.jpg", "K9.jpg"])
def test_the_shape_of_the_jar_that_a_tag_names_is_used_as_in_scoring(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    def told(*_: object, shape: JarShape | None, **__: object) -> None:
        raise PhotoRefusedError("no_jar", repr(shape))

    for room in ("run.check", "vision.read"):
        monkeypatch.setattr(f"jarvision.{room}.look", told)
    (tmp_path / "jars.csv").write_text("jar,profile\n7,pint\nB2-07,litre\n")
    shapes = "[pint]\ndiameter_mm = 80\n[litre]\ndiameter_mm = 99\n"
    (tmp_path / "jar_profiles.toml").write_text(shapes)
    (tmp_path / name).parent.mkdir(exist_ok=True)
    photo = photo_with_tag(tmp_path / name, 7)
    found, scored = check_photo(photo), score_photo(photo)
    assert (found.reason, found.detail) == (scored.reason, scored.detail)
    wanted = {"K9.jpg": "the tag says 7", "B2-07_x.jpg": "diameter_mm=99"}
    assert wanted.get(name, "diameter_mm=80") in found.detail


def test_a_link_counts_by_its_own_name_as_in_scoring(tmp_path: Path) -> None:
    (tmp_path / "photos").mkdir()
    photo = photo_with_tag(tmp_path / "IMG_2031.jpg", 7)
    link = tmp_path / "photos" / "K9_2026-03-01.jpg"
    link.symlink_to(photo)
    assert (check_photo(link).reason, score_photo(link).reason) == ("jar_mismatch", "jar_mismatch")
    assert check_photo(photo).reason == "no_card"


def test_a_folder_means_all_photos_in_it(jar: np.ndarray, tmp_path: Path) -> None:
    inside = tmp_path / "K07"
    inside.mkdir()
    one, two = shoot(jar, inside / "b.jpg"), shoot(jar, tmp_path / "K08_a.jpg")
    code, text = check(tmp_path)
    assert (code, text) == (ExitCode.DONE, f"{one}: {GOOD}\n{two}: {GOOD}\n")
    (tmp_path / "empty").mkdir()
    with pytest.raises(NothingToScoreError, match="No photo found"):
        list(check_photos([tmp_path / "empty"]))


def test_a_photo_that_names_no_jar_is_good_and_that_is_noted(
    jar: np.ndarray, tmp_path: Path
) -> None:
    photo = shoot(jar, tmp_path / "IMG_0001.jpg")
    code, text = check(photo)
    assert code == ExitCode.DONE
    assert text.startswith(f"{photo}: {GOOD} (note: neither its name")
    (tmp_path / "photo_jars.csv").write_text("photo,jar\nIMG_0001.jpg,K07\n")
    assert check(photo)[1] == f"{photo}: {GOOD}\n"
    assert score_photo(photo).jar == "K07"
