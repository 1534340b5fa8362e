"""A second run reads only what it must, and says what became of the photos."""

from __future__ import annotations

import os
import shutil
import threading
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from fake_shelf import fake_reading, fake_refusal
from scoring import score_folder

from jarvision.base.errors import NotWritableError
from jarvision.records import Reading, ShelfResult
from jarvision.register.photo_names import picture_name, read_name
from jarvision.run.jobs import Job
from jarvision.run.lock import only_run
from jarvision.run.photo_files import STORE_NAME
from jarvision.settings.groups import Settings
from jarvision.settings.jar import JarSettings
from jarvision.settings.vision import PhotoSettings

LONG_AGO_NS = 1_700_000_000_000_000_000
NAMES = ("J1/2026-03-01.jpg", "J1/2026-03-02.jpg", "J2/2026-03-01.jpg")


class Reader:
    """Reads the coverage from the file itself, draws a picture, and notes which it was asked."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def __call__(self, job: Job) -> Reading:
        self.asked.append(job.name)
        parts = read_name(job.name)
        percent = float(job.path.read_text().split()[0])
        assert job.out is not None
        overlay = f"overlays/{picture_name(job.name)}"
        (job.out / "overlays").mkdir(exist_ok=True)
        (job.out / overlay).write_text(f"{parts.jar} {percent}")
        reading = fake_reading(parts.jar, parts.day or date(2026, 3, 1), percent)
        return replace(reading, photo=job.name, overlay=overlay)


class Shelf:
    """A folder of photos, an output folder and what was told."""

    def __init__(self, root: Path) -> None:
        self.folder, self.out = root / "photos", root / "out"
        self.told: list[str] = []
        for number, name in enumerate(NAMES, start=1):
            self.put(name, f"{10 * number}")

    def put(self, name: str, text: str, *, mtime_ns: int = LONG_AGO_NS) -> Path:
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
        os.utime(path, ns=(mtime_ns, mtime_ns))
        return path

    def score(self, **more: object) -> tuple[ShelfResult, list[str]]:
        """Score; the result and the names of the photos that were read."""
        reader = Reader()
        self.told.clear()
        given = {"read": reader, "tell": self.told.append, **more}
        result = score_folder(self.folder, out=self.out, **given)  # type: ignore[arg-type]
        return result, sorted(reader.asked)

    @property
    def talk(self) -> str:
        return " ".join(self.told)


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    return Shelf(tmp_path)


def test_a_photo_is_read_once_and_then_known(shelf: Shelf) -> None:
    first, asked = shelf.score()
    assert asked == list(NAMES)
    assert shelf.told == []
    again, asked = shelf.score()
    assert asked == []
    assert again == first
    assert "3 photos known" in shelf.talk


def test_a_known_photo_is_not_even_opened(shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> None:
    shelf.score()

    def never(*_: object, **__: object) -> None:
        raise AssertionError("opened")

    monkeypatch.setattr("jarvision.run.stamps.content_of", never)
    assert shelf.score()[1] == []


def test_a_copied_folder_is_told_by_its_contents(shelf: Shelf) -> None:
    """Copying changes times and file numbers, nothing else."""
    shelf.score()
    shutil.copytree(shelf.folder, shelf.folder.with_name("copy"))
    shelf.folder = shelf.folder.with_name("copy")
    assert shelf.score()[1] == []


def test_a_changed_photo_is_read_again_and_said(shelf: Shelf) -> None:
    shelf.score()
    shelf.put(NAMES[0], "77", mtime_ns=LONG_AGO_NS + 10**9)
    result, asked = shelf.score()
    assert asked == [NAMES[0]]
    assert result.readings[0].coverage is not None
    assert result.readings[0].coverage.percent == 77.0
    assert f"1 photo changed since the last run and read again: {NAMES[0]}." in shelf.talk


def test_a_photo_changed_in_the_moment_of_reading_is_checked_by_content(shelf: Shelf) -> None:
    """The coarsest file systems count two seconds: the same time may hide a change."""
    import time

    now = time.time_ns()
    path = shelf.put(NAMES[0], "10", mtime_ns=now)
    shelf.score()
    with path.open("r+") as file:  # same file, same size, same time
        file.write("55")
    os.utime(path, ns=(now, now))
    result, asked = shelf.score()
    assert asked == [NAMES[0]]
    assert result.readings[0].coverage is not None
    assert result.readings[0].coverage.percent == 55.0


def test_a_photo_moved_beside_its_jar_keeps_its_reading_and_its_picture(shelf: Shelf) -> None:
    shelf.score()
    (shelf.folder / "old" / "J1").mkdir(parents=True)
    (shelf.folder / NAMES[0]).rename(shelf.folder / "old" / NAMES[0])
    result, asked = shelf.score()
    assert asked == []
    moved = {reading.photo: reading for reading in result.readings}[f"old/{NAMES[0]}"]
    assert (shelf.out / moved.overlay).read_text() == "J1 10.0"
    assert len(list((shelf.out / "overlays").iterdir())) == 3
    assert f"1 photo moved or renamed: {NAMES[0]} is now old/{NAMES[0]}." in shelf.talk
    assert shelf.score()[1] == [] and "moved" not in shelf.talk


def test_a_photo_renamed_to_another_jar_is_read_for_that_jar(shelf: Shelf) -> None:
    shelf.score()
    (shelf.folder / "J9").mkdir()
    (shelf.folder / NAMES[0]).rename(shelf.folder / "J9" / "2026-03-01.jpg")
    result, asked = shelf.score()
    assert asked == ["J9/2026-03-01.jpg"]
    assert {story.verdict.jar for story in result.stories} == {"J1", "J2", "J9"}
    assert "1 photo moved or renamed" in shelf.talk and "no longer" not in shelf.talk


def test_a_photo_that_leaves_is_said_once_and_known_when_it_comes_back(shelf: Shelf) -> None:
    shelf.score()
    aside = shelf.folder.with_name("aside.jpg")
    (shelf.folder / NAMES[2]).rename(aside)
    result, asked = shelf.score()
    assert asked == [] and len(result.readings) == 2
    assert "1 photo no longer in the folder" in shelf.talk and NAMES[2] in shelf.talk
    shelf.score()
    assert "no longer" not in shelf.talk
    aside.rename(shelf.folder / NAMES[2])
    result, asked = shelf.score()
    assert asked == [] and len(result.readings) == 3


def test_two_new_copies_of_one_gone_photo_both_get_its_reading(shelf: Shelf) -> None:
    shelf.score()
    text = (shelf.folder / NAMES[0]).read_text()
    (shelf.folder / NAMES[0]).unlink()
    for name in ("x/J1/2026-03-01.jpg", "y/J1/2026-03-01.jpg"):
        shelf.put(name, text)
    result, asked = shelf.score()
    assert asked == [] and len(result.readings) == 4
    assert all((shelf.out / reading.overlay).is_file() for reading in result.readings)


@pytest.mark.parametrize("what", ["code", "settings", "card"])
def test_what_a_reading_was_made_with_decides_whether_it_holds(
    shelf: Shelf, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    shelf.score()
    more: dict[str, object] = {}
    if what == "code":
        monkeypatch.setattr("jarvision.run.provenance.code_version", lambda: "0.1.0+other")
    elif what == "settings":
        more["settings"] = Settings(photo=PhotoSettings(jar=JarSettings(smooth_px=1.6)))
    else:
        from jarvision.vision.calibration.value_files import write_as_printed
        from jarvision.vision.calibration.values import nominal_values

        write_as_printed(shelf.folder, nominal_values(), day=date(2026, 3, 1))
    assert shelf.score(**more)[1] == list(NAMES)
    assert "3 photos read again" in shelf.talk
    assert shelf.score(**more)[1] == []


def test_the_register_may_change_without_a_second_reading(shelf: Shelf) -> None:
    shelf.score()
    (shelf.folder / "jars.csv").write_text("jar,species\nJ1,oyster\nJ2,shiitake\n")
    result, asked = shelf.score()
    assert asked == []
    assert {story.verdict.species for story in result.stories} == {"oyster", "shiitake"}


def test_what_the_grower_says_of_a_jar_is_read_into_its_photos_only(shelf: Shelf) -> None:
    shelf.score()
    (shelf.folder / "jars.csv").write_text("jar,diameter_mm\nJ1,95\nJ2,\n")
    assert shelf.score()[1] == [name for name in NAMES if name.startswith("J1")]
    assert shelf.score()[1] == []


def test_a_lost_picture_is_drawn_again(shelf: Shelf) -> None:
    result, _ = shelf.score()
    (shelf.out / result.readings[1].overlay).unlink()
    again, asked = shelf.score()
    assert asked == [NAMES[1]]
    assert (shelf.out / again.readings[1].overlay).is_file()


def test_a_failure_that_may_pass_is_a_row_now_and_tried_again_later(shelf: Shelf) -> None:
    def out_of_memory(job: Job) -> Reading:
        if job.name == NAMES[1]:
            raise MemoryError
        return Reader()(job)

    result, _ = shelf.score(read=out_of_memory)
    assert [r.status for r in result.readings] == ["ok", "unusable", "ok"]
    assert shelf.score()[1] == [NAMES[1]]


def test_a_refused_photo_is_not_read_again(shelf: Shelf) -> None:
    def refuse(job: Job) -> Reading:
        return fake_refusal(job.name, "J1", "blurred")

    first, _ = shelf.score(read=refuse)
    assert shelf.score() == (first, [])


def test_a_photo_that_goes_while_it_is_read_is_left_out(shelf: Shelf) -> None:
    def vanishing(job: Job) -> Reading:
        if job.name == NAMES[1]:
            job.path.unlink()
            raise FileNotFoundError(job.path)
        return Reader()(job)

    result, _ = shelf.score(read=vanishing)
    assert [r.photo for r in result.readings] == [NAMES[0], NAMES[2]]


def test_a_photo_whose_content_is_not_known_is_a_row_but_never_kept(
    shelf: Shelf, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file too large to be summed up cannot be known again: the next run reads it anew."""
    monkeypatch.setattr("jarvision.run.jobs.MAX_BYTES", 0)
    first, asked = shelf.score()
    assert [r.status for r in first.readings] == ["ok"] * 3
    assert asked == list(NAMES)
    assert shelf.score() == (first, list(NAMES))


def test_a_row_that_does_not_hold_together_is_read_again(shelf: Shelf) -> None:
    import sqlite3

    first, _ = shelf.score()
    db = sqlite3.connect(shelf.out / STORE_NAME)
    db.execute("UPDATE readings SET reading = x'00' WHERE photo = ?", (NAMES[1].encode(),))
    db.execute("DELETE FROM parts")  # a story that is kept needs no readings
    db.execute("DELETE FROM parts")  # a story that is kept needs no readings
    db.commit()
    db.close()
    assert shelf.score() == (first, [NAMES[1]])


def test_a_moved_photo_whose_old_row_is_damaged_is_read(shelf: Shelf) -> None:
    import sqlite3

    shelf.score()
    db = sqlite3.connect(shelf.out / STORE_NAME)
    db.execute("UPDATE readings SET reading = x'00'")
    db.commit()
    db.close()
    (shelf.folder / "old" / "J1").mkdir(parents=True)
    (shelf.folder / NAMES[0]).rename(shelf.folder / "old" / NAMES[0])
    result, asked = shelf.score()
    assert len(result.readings) == 3
    assert f"old/{NAMES[0]}" in asked


def test_an_output_folder_without_its_tables_is_no_folder_of_photos(shelf: Shelf) -> None:
    """A killed first run leaves pictures and no report."""
    shelf.out = shelf.folder / "report"
    first, _ = shelf.score()
    assert not (shelf.out / "readings.csv").exists()
    shelf.out = shelf.out.with_name("other")
    assert shelf.score()[0].readings == first.readings


# --------------------------------------------------------------------------- two runs
def test_a_second_run_waits_and_says_so(shelf: Shelf) -> None:
    shelf.score()
    told: list[str] = []
    done = threading.Event()

    def second() -> None:
        with only_run(shelf.out, tell=told.append):
            done.set()

    with only_run(shelf.out, tell=told.append):
        waiting = threading.Thread(target=second)
        waiting.start()
        assert not done.wait(0.5)
    assert done.wait(10)
    waiting.join()
    assert len(told) == 1 and "waiting" in told[0] and str(shelf.out) in told[0]


def test_the_report_is_written_while_the_folder_is_held(shelf: Shelf) -> None:
    def publish(_: ShelfResult) -> None:
        told: list[str] = []
        free = threading.Event()

        def other() -> None:
            with only_run(shelf.out, tell=told.append):
                free.set()

        threading.Thread(target=other).start()
        assert not free.wait(0.5) and told

    shelf.score(publish=publish)


def test_parts_of_files_that_a_killed_run_left_are_swept(shelf: Shelf) -> None:
    shelf.score()
    parts = [shelf.out / ".jarvision-x.part", shelf.out / "overlays" / ".jarvision-y.part"]
    for part in parts:
        part.write_bytes(b"half")
    shelf.score()
    assert not any(part.exists() for part in parts)


def test_an_output_that_fails_ends_the_run_and_keeps_what_was_read(shelf: Shelf) -> None:
    reader = Reader()

    def full(job: Job) -> Reading:
        if job.name == NAMES[1]:  # the last: first days go before others
            raise NotWritableError("no space")
        return reader(job)

    with pytest.raises(NotWritableError):
        shelf.score(read=full)
    assert shelf.score()[1] == [NAMES[1]]
