"""``jarvision count``: what to count, what counts say, and counts as files for training."""

from __future__ import annotations

import json
import shutil
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest
from commands import call

from jarvision.register.counts import PointWord
from jarvision.run.counting import CountableWall, countable_walls, record
from jarvision.run.shelf import open_shelf
from jarvision.run.store import Store

SAMPLES = Path(__file__).parents[3] / "sample_images"
PHOTOS = ("SL04_2026-03-02.jpg", "SL08_2026-03-08.jpg")
NOW = datetime(2026, 3, 10, 8)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two sample photos, scored, the first wall in order counted by two people."""
    home = tmp_path_factory.mktemp("count")
    (home / "photos").mkdir()
    for name in (*PHOTOS, "jars.csv"):
        shutil.copy2(SAMPLES / name, home / "photos" / name)
    code, _, told = call("score", str(home / "photos"), "--out", str(home / "out"), "--jobs", "1")
    assert code == 0, told
    shelf = open_shelf(home / "photos")
    wall = walls(home)[0]
    for who, step in (("Ann Example", 3), ("Ben", 4)):
        for number, point in enumerate(wall.points):
            word: PointWord = "bare" if number % step else "white"
            record(shelf, wall, point, word, who=who, now=NOW)
    return home


def walls(home: Path) -> tuple[CountableWall, ...]:
    with Store(home / "out", tell=print) as store:
        return countable_walls(open_shelf(home / "photos"), store)


def count(home: Path, *words: str) -> tuple[int, str, str]:
    what, *more = words
    return call("count", what, str(home / "photos"), "--out", str(home / "out"), *more)


def test_the_next_walls_are_listed_without_what_was_read(home: Path) -> None:
    code, told, talk = count(home, "next")
    assert code == 0
    (line,) = told.splitlines()
    other = walls(home)[1]
    assert line == f"{other.jar}, {other.day}: {len(other.points)} points ({other.photo})"
    assert "1 of 2 walls" in talk
    document = json.loads(count(home, "next", "--json")[1])
    assert [wall["photo"] for wall in document] == [other.photo]
    assert "coverage" not in told + json.dumps(document)


def test_readings_are_held_against_counts_with_a_page(home: Path) -> None:
    code, told, _ = count(home, "compare")
    assert code == 0
    assert told.startswith("all counted walls: 1 wall, ")
    assert "too few walls" in told
    assert "1 wall counted by Ann Example and Ben" in told and "kappa" in told
    page = (home / "out" / "counts.html").read_text("utf-8")
    assert page.count("<svg") == 2 and "://" not in page
    document = json.loads(count(home, "compare", "--json")[1])
    assert document["all"]["walls"] == 1 and document["adjustment"] is None
    assert document["repeats"][0]["people"] == ["Ann Example", "Ben"]


def test_hindsight_tells_of_counts(home: Path) -> None:
    register = str(home / "photos" / "jars.csv")
    _, told, _ = call("hindsight", "--register", register, "--out", str(home / "out"))
    assert "all counted walls: 1 wall" in told
    _, told, _ = call("hindsight", "--register", register, "--out", str(home / "nowhere"))
    assert "counted walls" not in told


def test_an_export_holds_walls_and_points_and_nobody(home: Path, tmp_path: Path) -> None:
    to = tmp_path / "counted"
    code, told, _ = count(home, "export", "--to", str(to), "--licence", "CC BY 4.0", "--confirm")
    wall = walls(home)[0]
    assert (code, told.split(":")[0]) == (0, f"1 wall, {2 * len(wall.points)} points")
    assert sorted(path.suffix for path in to.iterdir()) == [".npz", ".txt"]
    (file,) = to.glob("*.npz")
    raw = file.read_bytes()
    for secret in (b"Ann", b"Ben", b"SL0", b"2026", b"Exif"):
        assert secret not in raw
    with np.load(file) as data:
        assert str(data["licence"]) == "CC BY 4.0"
        assert np.allclose(data["points"][: len(wall.points)], [p.place for p in wall.points])
        assert sorted(set(data["people"].tolist())) == [1, 2]
        answers = data["answers"][: len(wall.points)]
        assert answers.tolist() == [1 if n % 3 else 0 for n in range(len(wall.points))]
        picture = cv2.imdecode(data["colour"], cv2.IMREAD_COLOR)
        shape = (data["heights_mm"].size, data["angles_deg"].size)
        assert picture.shape[:2] == shape
        judged = np.unpackbits(data["judged"], count=picture[..., 0].size).reshape(shape) > 0
        assert {name for name in data if data[name].dtype.kind in "US"} == {"licence", "made_with"}
    assert judged.mean() > 0.5


def test_nothing_is_exported_before_the_licence_is_confirmed(home: Path, tmp_path: Path) -> None:
    to = tmp_path / "counted"
    code, _, told = count(home, "export", "--to", str(to), "--licence", "CC BY 4.0")
    assert code == 2 and "not confirmed" in told
    code, _, told = count(home, "export", "--to", str(to), "--confirm")
    assert code == 2 and "licence" in told
    assert not to.exists()


def test_a_folder_that_was_not_scored_is_told(tmp_path: Path) -> None:
    (tmp_path / "photos").mkdir()
    for what in ("next", "compare"):
        code, _, told = call(
            "count", what, str(tmp_path / "photos"), "--out", str(tmp_path / "out")
        )
        assert code == 2 and "holds no verdicts.csv" in told
