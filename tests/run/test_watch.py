"""Photos that arrive one by one are read when they are whole, and told in the next pause."""

from __future__ import annotations

import io
import os
from collections.abc import Callable, Collection
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from jarvision.base.errors import (
    FolderLostError,
    JarvisionError,
    NotWritableError,
    UsageError,
)
from jarvision.run.sources import NearFolder, PhotoFolder, open_folder
from jarvision.run.stamps import UNSURE, Stamp
from jarvision.run.watch import PATIENCE_S, Arrivals, Look, Rhythm, Work, watch_folder
from jarvision.vision.photo.read import is_whole

A, B = Path("a.jpg"), Path("b.jpg")
NOTHING, MOVED, FRESH = Look(False, False), Look(False, True), Look(True, True)
LONG_AGO_NS = 1_700_000_000_000_000_000


def stamp(size: int, mtime_ns: int = 1) -> Stamp:
    return Stamp(size, mtime_ns, "1")


def picture(form: str, side: int = 64) -> bytes:
    noise = np.random.default_rng(1).integers(0, 255, (side, side, 3), dtype=np.uint8)
    data = io.BytesIO()
    if form == "HEIF":
        import pillow_heif

        pillow_heif.register_heif_opener()
    Image.fromarray(noise).save(data, form)
    return data.getvalue()


# --------------------------------------------------------------------------- one photo
def test_a_photo_is_ready_when_it_has_stopped_growing() -> None:
    arrivals = Arrivals({}, whole=lambda _: True)
    assert arrivals.look({A: stamp(10)}, 0) == MOVED
    assert arrivals.look({A: stamp(20)}, 1) == MOVED
    assert arrivals.waiting == {A}
    assert arrivals.look({A: stamp(20)}, 2) == FRESH
    assert arrivals.waiting == frozenset()
    assert arrivals.look({A: stamp(20)}, 3) == NOTHING


def test_a_photo_without_its_end_is_waited_for_but_not_for_ever() -> None:
    """Some copies set the size first and fill it later."""
    ends = False
    arrivals = Arrivals({}, whole=lambda _: ends)
    arrivals.look({A: stamp(20)}, 0)
    assert arrivals.look({A: stamp(20)}, PATIENCE_S - 1) == NOTHING
    assert arrivals.look({A: stamp(20)}, PATIENCE_S) == FRESH
    assert arrivals.look({A: stamp(20), B: stamp(9)}, PATIENCE_S + 1) == MOVED
    ends = True
    assert arrivals.look({A: stamp(20), B: stamp(9)}, PATIENCE_S + 2) == FRESH


def test_a_photo_whose_time_is_now_may_still_change() -> None:
    arrivals = Arrivals({}, whole=lambda _: True)
    for now in range(3):
        assert not arrivals.look({A: stamp(20, UNSURE)}, now).fresh
    assert not arrivals.look({A: stamp(20)}, 3).fresh
    assert arrivals.look({A: stamp(20)}, 4).fresh


def test_a_photo_that_changes_or_goes_is_noticed() -> None:
    arrivals = Arrivals({A: stamp(20)}, whole=lambda _: True)
    assert arrivals.look({A: stamp(20)}, 0) == NOTHING
    assert arrivals.look({A: stamp(21)}, 1) == MOVED
    assert arrivals.look({A: stamp(21)}, 2) == FRESH
    assert arrivals.look({}, 3) == MOVED


def test_what_is_no_file_is_not_waited_for() -> None:
    arrivals = Arrivals({}, whole=lambda _: False)
    assert arrivals.look({A: None}, 0) == FRESH
    assert arrivals.look({A: None}, 1) == NOTHING


@pytest.mark.parametrize("form", ["JPEG", "PNG", "TIFF", "WEBP", "HEIF"])
def test_a_part_of_a_photo_is_not_whole(tmp_path: Path, form: str) -> None:
    content, path = picture(form), tmp_path / "a.jpg"
    for share in (0.0, 0.3, 0.9):
        path.write_bytes(content[: int(share * len(content))])
        assert not is_whole(path)
    path.write_bytes(content)
    assert is_whole(path)


# --------------------------------------------------------------------------- the folder
class Watched:
    """A watched folder whose clock is moved by hand: each nap runs the next event."""

    def __init__(self, root: Path, *events: Callable[[], object]) -> None:
        self.folder, self.out = root / "photos", root / "out"
        self.folder.mkdir(exist_ok=True)
        self.log: list[str] = []
        self.now_s = 0.0
        self.events = iter(events)

    def put(self, name: str, content: bytes) -> None:
        path = self.folder / name
        path.write_bytes(content)
        os.utime(path, ns=(LONG_AGO_NS, LONG_AGO_NS))

    def run(self) -> list[str]:
        with pytest.raises(KeyboardInterrupt):
            watch_folder(
                lambda: open_folder(self.folder),
                out=self.out,
                work=Work(read=self.read, refresh=self.refresh, tell=self.log.append),
                rhythm=Rhythm(10.0, 30.0, sleep=self.nap, clock=lambda: self.now_s),
            )
        return self.log

    def nap(self, seconds: float) -> None:
        self.now_s += seconds
        event = next(self.events, None)
        if event is None:
            raise KeyboardInterrupt
        event()

    def read(self, source: PhotoFolder, skip: Collection[Path]) -> None:
        self.log.append(f"read {self.names(source, skip)}")

    def refresh(self, source: PhotoFolder, skip: Collection[Path]) -> None:
        self.log.append(f"refresh {self.names(source, skip)}")

    def names(self, source: PhotoFolder, skip: Collection[Path]) -> str:
        paths = source.photos(out=self.out, warn=self.log.append)
        return " ".join(path.name for path in paths if path not in skip)


def nothing() -> None:
    pass


def test_photos_are_read_as_they_come_and_told_once_it_is_quiet(tmp_path: Path) -> None:
    content = picture("JPEG")
    watched = Watched(tmp_path)
    watched.put("a.jpg", content)
    watched.events = iter(
        [
            nothing,  # a is ready
            lambda: watched.put("b.jpg", content[:200]),
            lambda: watched.put("b.jpg", content[:400]),
            lambda: watched.put("b.jpg", content),
            *[nothing] * 8,
        ]
    )
    assert watched.run() == ["read a.jpg", "read a.jpg b.jpg", "refresh a.jpg b.jpg"]


def test_the_report_does_not_wait_for_a_copy_that_hangs(tmp_path: Path) -> None:
    watched = Watched(tmp_path, *[nothing] * 5)
    watched.put("a.jpg", picture("JPEG"))
    watched.put("half.jpg", picture("JPEG")[:300])
    assert watched.run() == ["read a.jpg", "refresh a.jpg"]


def test_a_change_of_the_register_refreshes_the_report(tmp_path: Path) -> None:
    watched = Watched(tmp_path)
    watched.put("a.jpg", picture("JPEG"))
    register = watched.folder / "jars.csv"
    later = lambda: register.write_text("jar\nJ1\n")  # noqa: E731
    watched.events = iter([*[nothing] * 5, later, *[nothing] * 5])
    assert watched.run() == ["read a.jpg", "refresh a.jpg", "refresh a.jpg"]


def test_a_folder_that_goes_away_is_said_once_and_waited_for(tmp_path: Path) -> None:
    watched = Watched(tmp_path)
    watched.put("a.jpg", picture("JPEG"))
    aside = tmp_path / "aside"
    watched.events = iter(
        [
            *[nothing] * 4,
            lambda: watched.folder.rename(aside),
            *[nothing] * 3,
            lambda: aside.rename(watched.folder),
            *[nothing] * 4,
        ]
    )
    log = watched.run()
    assert log[:2] == ["read a.jpg", "refresh a.jpg"]
    assert [line for line in log if "Waiting" in line] == [log[2]]
    assert log[3:] == ["That is settled: going on."]


@pytest.mark.parametrize("kind", [UsageError, FolderLostError])
def test_a_register_or_folder_that_cannot_be_read_is_tried_again(
    tmp_path: Path, kind: type[JarvisionError]
) -> None:
    watched = Watched(tmp_path, *[nothing] * 8)
    watched.put("a.jpg", picture("JPEG"))
    real, faults = watched.refresh, iter([kind("jars.csv, line 2"), kind("line 2")])

    def refresh(source: PhotoFolder, skip: Collection[Path]) -> None:
        fault = next(faults, None)
        if fault is not None:
            raise fault
        real(source, skip)

    watched.refresh = refresh  # type: ignore[method-assign]
    log = watched.run()
    assert log == ["read a.jpg", "jars.csv, line 2 Waiting.", "refresh a.jpg", log[3]]


def test_a_full_disk_ends_the_watch(tmp_path: Path) -> None:
    watched = Watched(tmp_path, *[nothing] * 8)
    watched.put("a.jpg", picture("JPEG"))

    def full(*_: object) -> None:
        raise NotWritableError("no space")

    watched.read = full  # type: ignore[method-assign]
    with pytest.raises(NotWritableError):
        watch_folder(
            lambda: open_folder(watched.folder),
            out=watched.out,
            work=Work(read=full, refresh=full, tell=watched.log.append),
            rhythm=Rhythm(10.0, 30.0, sleep=watched.nap, clock=lambda: watched.now_s),
        )


def test_no_folder_at_the_start_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(UsageError):
        NearFolder(tmp_path / "gone")


def test_an_output_folder_inside_the_watched_one_does_not_keep_it_awake(tmp_path: Path) -> None:
    watched = Watched(tmp_path, *[nothing] * 12)
    watched.out = watched.folder / "report"
    watched.out.mkdir()
    watched.put("a.jpg", picture("JPEG"))
    real = watched.refresh

    def refresh(source: PhotoFolder, skip: Collection[Path]) -> None:
        (watched.out / "readings.csv").write_text(f"{watched.now_s}")
        (watched.out / "report.html").write_text("")
        real(source, skip)

    watched.refresh = refresh  # type: ignore[method-assign]
    assert watched.run() == ["read a.jpg", "refresh a.jpg"]


@pytest.mark.parametrize("out", ["photos", "photos/../photos", "file/out"])
def test_places_that_cannot_do_are_told_before_the_first_look(tmp_path: Path, out: str) -> None:
    folder = tmp_path / "photos"
    folder.mkdir()
    (tmp_path / "file").write_text("x")

    def never(source: PhotoFolder, skip: Collection[Path]) -> None:
        raise AssertionError(source)

    def no_sleep(_: float) -> None:
        raise AssertionError("it began to watch")

    work = Work(read=never, refresh=never, tell=lambda _: None)
    expected = NotWritableError if out == "file/out" else UsageError
    with pytest.raises(expected):
        watch_folder(
            lambda: open_folder(folder),
            out=tmp_path / out,
            work=work,
            rhythm=Rhythm(interval_s=1, pause_s=1, sleep=no_sleep),
        )
