"""All that lies beside the photos is loaded in one place, once, and is the same for everything."""

from __future__ import annotations

from pathlib import Path

import pytest
from card_photos import drawn_card, shoot, with_jar
from fake_shelf import fake_reading
from PIL import Image
from scoring import score_folder
from typer.testing import CliRunner

from jarvision.app.cli import main
from jarvision.app.cli.places import open_paperwork
from jarvision.base.errors import NothingToScoreError, UsageError
from jarvision.records import Reading
from jarvision.register.photo_names import read_name
from jarvision.run.jobs import Job
from jarvision.run.shelf import home_of, open_shelf
from jarvision.run.sources import open_folder
from jarvision.settings.groups import Settings
from jarvision.vision.photo.icc import BROKEN_PROFILE

BESIDE = {
    "jars.csv": "jar,species,profile\nJ1,quick,pint\n",
    "outcomes.csv": "jar,outcome,date,grams,dry_grams,note,verdict,verdict_date\n"
    "J1,clean,2026-03-09,,,,,\n",
    "diary.csv": "jar,date,what,celsius,text,undone\nJ1,2026-03-05,shaken,,,\n",
    "jars_history.csv": "date,jar,change,column,before,after\n2026-03-05,J0,renamed,jar,J0,J1\n",
    "jarvision.toml": "[verdict]\nsure_days = 4\n",
    "jar_profiles.toml": "[pint]\ndiameter_mm = 80\n",
    "species/quick.toml": 'like = "oyster"\nready_percent = 60\n',
}
WRONG = {
    "jars.csv": "name\nJ1\n",
    "outcomes.csv": BESIDE["outcomes.csv"].replace("clean", "lost"),
    "diary.csv": BESIDE["diary.csv"].replace("shaken", "stirred"),
    "jars_history.csv": BESIDE["jars_history.csv"].replace("renamed", "lost"),
    "jarvision.toml": "[verdict]\nsure = 4\n",
    "jar_profiles.toml": "[pint]\ndiameter_mm = 8\n",
    "species/quick.toml": "ready = 60\n",
    "calibration/card.txt": "no table\n",
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "photos"
    for name, text in BESIDE.items():
        put(place, name, text)
    (place / "J1_2026-03-01.jpg").write_bytes(b"x")
    return place


def put(folder: Path, name: str, text: str) -> None:
    (folder / name).parent.mkdir(parents=True, exist_ok=True)
    (folder / name).write_text(text, encoding="utf-8")


def read(job: Job) -> Reading:
    parts = read_name(job.name)
    assert parts.day is not None
    return fake_reading(parts.jar, parts.day, 50.0)


def never(job: Job) -> Reading:
    raise AssertionError(job)


# --------------------------------------------------------------------------- what is there
def test_everything_beside_the_photos_is_loaded(folder: Path) -> None:
    shelf = open_shelf(folder)
    assert list(shelf.register) == ["J1"]
    assert shelf.outcomes["J1"].outcome == "clean"
    assert [line.what for line in shelf.diary["J1"]] == ["shaken"]
    assert shelf.register["J1"].once == ("J0",)
    assert shelf.settings.verdict.sure_days == 4
    assert shelf.species.find("quick").ready_percent == 60.0
    assert shelf.shapes_for("J1_2026-03-01.jpg")["J1"].diameter_mm == 80.0
    assert shelf.shapes_for("J0_2026-03-01.jpg")["J0"].diameter_mm == 80.0  # its former name
    assert shelf.values.reference == "nominal"
    (warning,) = shelf.warnings
    assert "settings of your own" in warning


def test_paperwork_and_photos_share_one_shelf(folder: Path) -> None:
    assert open_paperwork(folder / "jars.csv") == open_shelf(folder, register=folder / "jars.csv")


def test_nothing_beside_the_photos_is_fine(tmp_path: Path) -> None:
    shelf = open_shelf(tmp_path)
    assert (dict(shelf.register), dict(shelf.outcomes), shelf.settings) == ({}, {}, Settings())
    assert (dict(shelf.shapes), shelf.warnings) == ({}, ())


def test_outcomes_lie_beside_the_register_wherever_it_is(folder: Path, tmp_path: Path) -> None:
    put(tmp_path, "office/jars.csv", BESIDE["jars.csv"])
    shelf = open_shelf(folder, register=tmp_path / "office" / "jars.csv")
    assert shelf.outcomes_path == tmp_path / "office" / "outcomes.csv"
    assert shelf.outcomes == {}
    assert shelf.settings.verdict.sure_days == 4  # those of the photos


def test_a_register_that_was_named_must_be_there(folder: Path) -> None:
    with pytest.raises(UsageError, match=r"no register .*none\.csv"):
        open_shelf(folder, register=folder / "none.csv")


def test_a_shelf_behind_an_address_is_loaded_like_any_other(folder: Path) -> None:
    fsspec = pytest.importorskip("fsspec")
    files = fsspec.filesystem("memory")
    files.put(str(folder), "/far-shelf", recursive=True)
    with open_folder("memory://far-shelf") as source:
        far, near = open_shelf(source.root), open_shelf(folder)
        assert dict(far.shapes) == dict(near.shapes)
        assert (far.settings, far.outcomes) == (near.settings, near.outcomes)
        assert far.species.find("quick").ready_percent == 60.0
    files.rm("/far-shelf", recursive=True)


# --------------------------------------------------------------------------- what is wrong
@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_file_beside_the_photos_stops_the_run_before_any_is_read(
    folder: Path, tmp_path: Path, name: str
) -> None:
    put(folder, name, WRONG[name])
    with pytest.raises(UsageError, match=Path(name).stem):
        score_folder(folder, out=tmp_path / "out", read=never)


def test_the_glass_and_the_card_are_not_looked_at_where_only_paper_is_needed(folder: Path) -> None:
    for name in ("jar_profiles.toml", "calibration/card.txt"):
        put(folder, name, WRONG[name])
    assert list(open_shelf(folder).register) == ["J1"]


# --------------------------------------------------------------------------- whose home
@pytest.mark.parametrize("mark", ["jarvision.toml", "jar_profiles.toml", "calibration/card.txt"])
def test_a_jars_folder_belongs_to_the_shelf_above_it(tmp_path: Path, mark: str) -> None:
    photo = tmp_path / "J1" / "2026-03-01.jpg"
    put(photo.parent, photo.name, "x")
    assert home_of(photo) == photo.parent
    put(tmp_path, mark, "")
    assert home_of(photo) == tmp_path
    put(photo.parent, "jarvision.toml", "")
    assert home_of(photo) == photo.parent


# --------------------------------------------------------------------------- notes on files
def test_how_a_file_was_read_reaches_the_user(tmp_path: Path) -> None:
    """A damaged profile changes the colours: whoever looks at the numbers must hear of it."""
    photos, out = tmp_path / "photos", tmp_path / "out"
    photos.mkdir()
    for day in (1, 2):
        photo = shoot(with_jar(drawn_card()), photos / f"J1_2026-03-0{day}.jpg", day=day)
        with Image.open(photo) as image:
            image.save(photo, quality=95, icc_profile=b"broken")
    told = f"J1_2026-03-01.jpg and 1 more: {BROKEN_PROFILE}"
    result = score_folder(photos, out=out)
    assert {reading.status for reading in result.readings} == {"ok"}
    assert told in result.warnings
    assert told in score_folder(photos, out=out).warnings  # of known photos, too
    done = CliRunner().invoke(main.app, ["score", str(photos), "--out", str(out), "--jobs", "1"])
    assert told in " ".join(done.stderr.split())
    assert told in (out / "report.html").read_text("utf-8")


def test_an_empty_folder_is_told_although_its_paperwork_is_right(folder: Path) -> None:
    (folder / "J1_2026-03-01.jpg").unlink()
    with pytest.raises(NothingToScoreError):
        score_folder(folder, out=folder.parent / "out", read=never)
