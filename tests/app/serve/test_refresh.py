"""The report follows the phone: written anew after a rest, never in the way; its age is told."""

from __future__ import annotations

import os
import shutil
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from scoring import score_folder
from served import a_browser, an_office

from jarvision.api import publisher
from jarvision.app.serve.refresh import Refresher, WholeScoring
from jarvision.register.counts import read_counts
from jarvision.run.shelf import open_shelf

from .conftest import Served, photo, sha_of, text_reader
from .test_count import answer, open_wall

PATIENCE_S = 180.0
SAMPLES = Path(__file__).parents[3] / "sample_images"


@dataclass
class FakeRun:
    """A scoring that ends when it is told to."""

    done: bool | None = None
    ended: bool = False
    over: threading.Event = field(default_factory=threading.Event)

    def end(self) -> None:
        self.ended = True
        self.over.set()

    def finish(self, *, done: bool = True) -> None:
        self.done = done
        self.over.set()

    def wait(self) -> bool:
        self.over.wait(20)
        return bool(self.done)


@dataclass
class Runs:
    """Begins them, and has them all."""

    all: list[FakeRun] = field(default_factory=list)

    def __call__(self) -> FakeRun:
        self.all.append(FakeRun())
        return self.all[-1]


def write(out: Path, stamp: int) -> None:
    (out / "report.html").write_text("report")
    os.utime(out / "report.html", ns=(stamp, stamp))


def until(true: Callable[[], bool]) -> None:
    """Wait as long as a busy machine may need: what is waited for comes after all others."""
    given_up = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < given_up, "it never came"
        time.sleep(0.02)


# --------------------------------------------------------------------------- what is due
def test_what_a_report_lacks_is_counted_until_one_is_written_by_whomever(tmp_path: Path) -> None:
    refresher = Refresher(tmp_path, Runs(), 20.0)
    assert refresher.tell_report() == "There is no report on the disk yet."
    write(tmp_path, 10**18)
    assert not refresher.due
    refresher.note()
    refresher.note()
    assert "2 later changes. It follows when nothing has come for 20 s" in refresher.tell_report()
    write(tmp_path, 10**18 + 5)  # by another command
    assert not refresher.due and "later change" not in refresher.tell_report()
    refresher.note()
    assert "without 1 later change" in refresher.tell_report()


def test_counts_are_told_until_all_jars_have_them(tmp_path: Path) -> None:
    runs, after = Runs(), threading.Event()
    refresher = Refresher(tmp_path, runs, 20.0)
    refresher.note()
    assert refresher.tell_counts() == ""
    refresher.note(counts=True)
    refresher.note()
    assert "What you counted is not in all jars yet" in refresher.tell_counts()
    refresher.go(after.set)
    assert "just now" in refresher.tell_counts()
    runs.all[0].finish()
    assert after.wait(20)
    assert refresher.tell_counts() == "" and not refresher.due


def test_one_scoring_at_a_time_and_none_where_nothing_is_due(tmp_path: Path) -> None:
    runs = Runs()
    refresher = Refresher(tmp_path, runs, 20.0)
    refresher.go(lambda: None)
    assert runs.all == []
    refresher.note()
    refresher.go(lambda: None)
    refresher.go(lambda: None)
    assert len(runs.all) == 1
    refresher.give_way()


def test_who_comes_ends_a_scoring_which_is_tried_again(tmp_path: Path) -> None:
    runs, again, after = Runs(), [], threading.Event()
    refresher = Refresher(tmp_path, runs, 20.0, broken_off=lambda: again.append(1))
    refresher.note(counts=True)
    refresher.go(after.set)
    write(tmp_path, 10**18)  # it has written the report already, not yet the plan
    assert refresher.give_way() and runs.all[0].ended
    assert again == [1] and refresher.due and refresher.tell_counts()
    assert not refresher.give_way()
    refresher.go(after.set)
    runs.all[1].finish()
    assert after.wait(20) and not refresher.due


def test_a_scoring_that_fails_is_told_and_not_repeated_until_something_changes(
    tmp_path: Path,
) -> None:
    runs = Runs()
    refresher = Refresher(tmp_path, runs, 20.0)
    refresher.note()
    refresher.go(lambda: None)
    runs.all[0].finish(done=False)
    until(lambda: not refresher.running)
    assert "jarvision score says why" in refresher.tell_report()
    refresher.go(lambda: None)
    assert len(runs.all) == 1
    refresher.note()
    refresher.go(lambda: None)
    assert len(runs.all) == 2
    refresher.give_way()


# --------------------------------------------------------------------------- in the server
def test_a_photo_ends_a_scoring_and_no_page_does(served: Served) -> None:
    runs = Runs()
    served.office.refresher.begin = runs
    served.send(photo("40 percent"), "jar=K01")
    until(lambda: len(runs.all) == 1)  # after the rest
    for path in ("/", "/today", "/jars", "/jar?name=K01"):
        assert served.browser.get(path).status == 200
        assert not runs.all[0].ended, path
    assert "told anew just now" in served.browser.get("/").text
    assert served.send(photo("60 percent"), "jar=K02") == 202
    assert runs.all[0].ended
    until(lambda: len(runs.all) == 2)  # and again, after the next rest
    served.browser.post("/jar/event", {"name": "K01", "what": "shaken"})
    assert runs.all[1].ended
    until(lambda: len(runs.all) == 3)
    runs.all[2].finish()
    until(lambda: not served.office.refresher.running)


def test_the_report_holds_the_phones_photos_after_a_rest(served: Served) -> None:
    """Scored in a thread here, as the command line would."""
    keeper = served.office.keeper

    class InThread(FakeRun):
        def wait(self) -> bool:
            shelf = open_shelf(served.folder)
            score_folder(served.folder, out=served.office.out, read=text_reader,
                         publish=publisher(shelf, served.office.out))  # fmt: skip
            return True

    served.office.refresher.begin = InThread
    assert "no report on the disk yet" in served.browser.get("/today").text
    served.send(photo("40 percent"), "jar=K01")
    report = served.office.out / "report.html"
    until(lambda: report.is_file() and not served.office.refresher.running)
    served.settle()
    assert "K01" in report.read_text("utf-8")
    told = served.browser.get("/today").text
    assert "The report on the disk is of" in told and "later change" not in told
    assert keeper.by_photos is not None and len(keeper.by_photos.readings) == 1


def test_a_photo_that_asks_for_its_jar_is_no_change_until_it_is_told(served: Served) -> None:
    content = photo("50 no label")
    served.send(content, "")
    assert "later change" not in served.browser.get("/today").text
    assert not served.office.refresher.due
    served.browser.post(f"/photos/{sha_of(content)}/jar", {"jar": "K01"})
    assert served.office.refresher.due


@pytest.mark.slow
def test_counts_put_every_jar_right_after_a_rest(tmp_path: Path) -> None:
    """Not only those that a photo came for: by a real scoring, in its own process."""
    folder, out = tmp_path / "photos", tmp_path / "out"
    folder.mkdir()
    names = ("SL04_2026-03-02.jpg", "SL08_2026-03-08.jpg", "SL01_2026-03-03.jpg")
    for name in names:
        shutil.copy2(SAMPLES / name, folder / name)
    (folder / "jarvision.toml").write_text("[count]\nleast_walls = 2\n")
    score_folder(folder, out=out, publish=publisher(open_shelf(folder), out))
    office = an_office(folder, out)
    office.limits = type(office.limits)(rest_s=0.3)
    office.refresher.begin = WholeScoring(folder, out).begin
    browser = a_browser(office)
    before = (out / "report.html").stat().st_mtime_ns
    for _ in range(2):
        _, wall = open_wall(browser)
        for at in range(len(wall["points"])):
            assert answer(browser, wall, at, "bare" if at % 10 == 0 else "white") == 200
    assert len({p.photo for p in read_counts(folder / "counts.csv")}) == 2
    assert "What you counted is not in all jars yet" in browser.get("/today").text
    until(lambda: (out / "report.html").stat().st_mtime_ns != before)
    until(lambda: not office.refresher.running and office.desk.idle)
    shelf = office.keeper.by_photos
    assert shelf is not None and len(shelf.readings) == 3
    assert all(r.raw_coverage is not None for r in shelf.readings)
    anew = score_folder(folder, out=tmp_path / "anew")
    assert [r.coverage for r in shelf.readings] == [r.coverage for r in anew.readings]
    assert [s.verdict for s in shelf.stories] == [s.verdict for s in anew.stories]
    assert "What you counted is not" not in browser.get("/today").text
    office.desk.close()
