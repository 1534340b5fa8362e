"""The last scoring is kept whole, and told again as it was told first."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from fake_shelf import TODAY, fake_reading, fake_shelf, fake_story
from scoring import fake_reader
from typer.testing import CliRunner

from jarvision.app.cli import main
from jarvision.app.cli.places import last_scoring
from jarvision.records import JarEntry, JarStory, Patch, Reading, ShelfResult, WallThumbnail
from jarvision.register.changes import Past
from jarvision.register.jars import Register
from jarvision.register.photo_names import read_name
from jarvision.report.story import tell_story
from jarvision.report.tables import write_tables
from jarvision.run.jobs import Job
from jarvision.run.photo_files import STORE_NAME
from jarvision.run.results import keep_result, last_result
from jarvision.run.shelf import Shelf, open_shelf
from jarvision.run.store import APPLICATION_ID, MIGRATIONS, Store


def shelf_of(*extra: JarStory) -> ShelfResult:
    """The made-up shelf, with a name of its own for each photo, as files have."""
    result = fake_shelf(*extra)
    *most, twin, stray = result.readings
    other = replace(twin, photo="J03_2026-03-09_b.jpg")
    stories = tuple(
        replace(story, history=replace(story.history, refused=(other,)))
        if story.history.refused
        else story
        for story in result.stories
    )
    return replace(result, readings=(*most, other, stray), stories=stories)


def kept(out: Path, result: ShelfResult) -> Path:
    with Store(out, tell=print) as store:
        keep_result(store, result)
    return out / STORE_NAME


@pytest.fixture
def empty(tmp_path: Path) -> Shelf:
    """A shelf with nothing beside the photos."""
    return open_shelf(tmp_path)


# --------------------------------------------------------------------------- there and back
def test_a_result_comes_back_as_it_was(tmp_path: Path, empty: Shelf) -> None:
    result = shelf_of(fake_story('=J0;1,"\udcff', "check", ("The first one; so far 1.",)))
    kept(tmp_path, result)
    assert last_result(tmp_path, empty) == result


def test_one_scoring_is_told_from_the_next(tmp_path: Path) -> None:
    """Both are as long, and were made within a second."""
    with Store(tmp_path, tell=print) as store:
        keep_result(store, shelf_of())
        first = store.result_kept_at()
        keep_result(store, shelf_of())
        assert store.result_kept_at() != first


def test_the_newest_result_takes_the_place_of_the_one_before(tmp_path: Path, empty: Shelf) -> None:
    kept(tmp_path, shelf_of())
    newer = replace(shelf_of(), scored_on=date(2026, 3, 20))
    path = kept(tmp_path, newer)
    assert last_result(tmp_path, empty) == newer
    with sqlite3.connect(path) as db:
        assert db.execute("SELECT count(*) FROM last_scoring").fetchone() == (1,)


def test_only_what_pictures_need_is_left_to_the_readings(tmp_path: Path, empty: Shelf) -> None:
    """Thumbnails and outlines are most of a reading; a large shelf would keep them twice."""
    noise = np.random.default_rng(1).bytes(6000)
    ring = tuple((float(n), 1.0 / (n + 1)) for n in range(200))
    heavy = replace(
        fake_reading("J1", TODAY, 50.0, (Patch("bare", 1.0, 2.0, 3.0, 0.9, ring),)),
        thumbnail=WallThumbnail(55, 61, 40.0, noise),
    )
    result = replace(fake_shelf(), readings=(heavy,), stories=())
    path = kept(tmp_path, result)
    found = last_result(tmp_path, empty)
    assert found is not None
    (reading,) = found.readings
    assert reading.patches == (replace(heavy.patches[0], outline=()),)
    assert replace(reading, thumbnail=heavy.thumbnail, patches=heavy.patches) == heavy
    with sqlite3.connect(path) as db:
        (size,) = db.execute("SELECT length(result) FROM last_scoring").fetchone()
    assert size < 1000


def test_a_jar_has_its_line_in_the_register_of_today(tmp_path: Path, empty: Shelf) -> None:
    kept(tmp_path, shelf_of())
    moved = JarEntry("J01", species="shiitake", parent="M")
    shelf = replace(empty, register=Register({"J01": moved}))
    result = last_result(tmp_path, shelf)
    assert result is not None
    first, second = result.stories[:2]
    assert (first.history.entry, first.profile.name) == (moved, "shiitake")
    assert second.history.entry == shelf_of().stories[1].history.entry


def test_a_jar_renamed_since_is_told_under_its_new_name_and_one_taken_out_is_not(
    tmp_path: Path, empty: Shelf
) -> None:
    before = shelf_of()
    kept(tmp_path, before)
    entry = JarEntry("K3", species="oyster", once=("J03",))
    shelf = replace(
        empty, register=Register({"K3": entry}), past=Past({"J03": "K3"}, frozenset({"J01"}))
    )
    write_tables(before, tmp_path / "tables")  # as a folder without a store has them
    for out in (tmp_path, tmp_path / "tables"):
        result = last_scoring(out, shelf)
        assert result is not None
        assert [s.verdict.jar for s in result.stories] == ["J02", "K3", "J04", "J05"]
        story = result.stories[1]
        assert story.history.entry == entry
        assert {flag.jar for flag in story.flags} == {"K3"}
        assert {day.jar for day in story.history.days} == {"K3"}
        shown = [r for day in story.history.days for r in day.readings]
        assert {r.jar for r in (*shown, *story.history.refused)} == {"K3"}
        assert "J03" not in {r.jar for r in result.readings}


# --------------------------------------------------------------------------- none
def absent(path: Path) -> None:
    path.unlink()


def foreign(path: Path) -> None:
    path.unlink()
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE last_scoring (result BLOB)")
        db.execute("INSERT INTO last_scoring VALUES (x'00')")


def older(path: Path) -> None:
    path.unlink()
    with sqlite3.connect(path) as db:
        db.executescript("".join(MIGRATIONS[:2]))
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute("PRAGMA user_version = 2")


def scribbled(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE last_scoring SET result = x'0102'")


def of_other_records(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE last_scoring SET result = ?", (_packed({"result": {}}),))


def no_database(path: Path) -> None:
    path.write_bytes(b"not a database at all" * 500)


def _packed(record: object) -> bytes:
    import zlib

    return zlib.compress(json.dumps({"format": 1, "record": record}).encode())


@pytest.mark.parametrize(
    "spoil", [absent, foreign, older, scribbled, of_other_records, no_database]
)
def test_where_no_result_can_be_had_the_tables_are_read(
    tmp_path: Path, empty: Shelf, spoil: Callable[[Path], None]
) -> None:
    path = kept(tmp_path, shelf_of())
    spoil(path)
    before = path.read_bytes() if path.exists() else None
    assert last_result(tmp_path, empty) is None
    assert last_scoring(tmp_path, empty) is None
    write_tables(fake_shelf(), tmp_path)
    found = last_scoring(tmp_path, empty)
    assert found is not None
    assert [s.verdict.verdict for s in found.stories] == [
        s.verdict.verdict for s in fake_shelf().stories
    ]
    assert before == (path.read_bytes() if path.exists() else None)  # looked at, not changed


def test_a_run_under_way_is_not_waited_for(tmp_path: Path, empty: Shelf) -> None:
    kept(tmp_path, shelf_of())
    with Store(tmp_path, tell=print) as store:
        store.mark(["a"], here=True)
        assert last_result(tmp_path, empty) is None
    assert last_result(tmp_path, empty) == shelf_of()


# --------------------------------------------------------------------------- from the commands
DAYS = 9


@pytest.fixture
def scored(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of one jar that stops growing, scored by the command."""
    folder = tmp_path / "photos"
    folder.mkdir()
    for day in range(1, DAYS + 1):
        for view in "ab":
            (folder / f"J1_2026-03-0{day}_{view}.jpg").write_bytes(b"x")

    def read(job: Job) -> Reading:
        parts = read_name(job.name)
        assert parts.day is not None
        percent = min(10.0 * parts.day.day, 50.0)
        fill = {"a": 90.0, "b": 100.0}[parts.view]
        reading = fake_reading("J1", parts.day, percent)
        return replace(reading, photo=job.name, view=parts.view, fill_height_mm=fill)

    fake_reader(monkeypatch, read)
    out = tmp_path / "out"
    assert call("score", folder, "--out", out, "--jobs", 1, "-q")[0] == 0
    return out


def call(*args: object) -> tuple[int, str]:
    result = CliRunner().invoke(main.app, [*map(str, args)])
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout


def test_explain_tells_what_the_scoring_knew(scored: Path) -> None:
    """From the tables neither the length of a stall nor the fitted curve could be told again."""
    shelf = open_shelf(scored.parent / "photos")
    result = last_result(scored, shelf)
    assert result is not None
    (story,) = result.stories
    assert story.growth.stalled and story.growth.stalled_days > 0
    assert story.growth.curve_percent
    document = json.loads(call("explain", "J1", "--out", scored, "--json")[1])
    chapters = tell_story(story, scored_on=result.scored_on)
    assert [c["sentences"] for c in document["chapters"]] == [[*c.sentences] for c in chapters]


def test_the_tables_tell_the_same_story_as_far_as_they_go(scored: Path) -> None:
    plan = json.loads(call("plan", "--out", scored, "--json")[1])
    story = call("explain", "J1", "--out", scored)[1]
    (scored / STORE_NAME).unlink()
    assert json.loads(call("plan", "--out", scored, "--json")[1]) == plan
    assert call("explain", "J1", "--out", scored)[1].splitlines()[0] == story.splitlines()[0]
    found = last_scoring(scored, open_shelf(scored))
    assert found is not None
    assert found.stories[0].history.days[0].fill_height_mm == 95.0
