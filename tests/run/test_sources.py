"""A folder behind an address is scored like one of this machine, byte by byte."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from fake_shelf import fake_reading
from scoring import score_folder

from jarvision.base.errors import NothingToScoreError, UsageError
from jarvision.base.files import write_whole
from jarvision.records import Reading, ShelfResult
from jarvision.register.photo_names import picture_name, read_name
from jarvision.report import write_report
from jarvision.run.jobs import Job, Parcel, read_job
from jarvision.run.photo_files import STORE_NAME
from jarvision.run.sources import NearFolder, open_folder
from jarvision.run.stamps import Stamp
from jarvision.run.workers import local_fleet

fsspec = pytest.importorskip("fsspec")

LONG_AGO_S = 1_700_000_000
NAMES = ("J1/2026-03-01.jpg", "J1/2026-03-02.jpg", "J2_2026-03-01.jpg", "J3/no-date.jpg")


def reader(job: Job) -> Reading:
    """Read the coverage from the file, and its day where the name has none; draw a picture."""
    from jarvision.vision.photo import time_without_exif

    parts = read_name(job.name)
    assert job.out is not None
    taken_at, source = time_without_exif(job.path, dated=parts.day)
    overlay = f"overlays/{picture_name(job.name)}"
    write_whole(job.out / overlay, job.path.read_bytes() * 2)
    reading = fake_reading(parts.jar, parts.day or date(2026, 3, 1), float(job.path.read_text()))
    return replace(reading, photo=job.name, overlay=overlay, taken_at=taken_at, time_source=source)


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    folder = tmp_path / "photos"
    for number, name in enumerate(NAMES):
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(f"{10 * number}")
        os.utime(path, (LONG_AGO_S, LONG_AGO_S))
    (folder / "jars.csv").write_text("jar,species\nJ1,oyster\nJ2,\nJ3,\n")
    (folder / "notes.md").write_text("not ours")
    return folder


@pytest.fixture
def far(photos: Path) -> str:
    """Address of the same folder in memory."""
    files = fsspec.filesystem("memory")
    address = f"memory:///{photos.parent.name}/photos"
    files.put(str(photos), address, recursive=True)
    return address


def score(address: str | Path, out: Path, asked: list[str] | None = None) -> ShelfResult:
    def noting(job: Job) -> Reading:
        if asked is not None:
            asked.append(job.name)
        return reader(job)

    with open_folder(address) as source:
        return score_folder(
            source, out=out, read=noting, publish=lambda result: write_report(result, out)
        )


def files_of(out: Path) -> dict[str, bytes]:
    """Every file of an output folder but the store and its lock, and what is in it."""
    found = (path for path in out.rglob("*") if path.is_file())
    names = {path.relative_to(out).as_posix(): path.read_bytes() for path in found}
    return {name: text for name, text in names.items() if name not in (STORE_NAME, "run.lock")}


def test_a_file_address_is_a_folder_of_this_machine(photos: Path) -> None:
    with open_folder(photos.as_uri()) as source:
        assert isinstance(source, NearFolder)
        assert source.root == photos


def test_a_far_folder_gives_the_same_bytes(photos: Path, far: str, tmp_path: Path) -> None:
    (photos / "J3" / "no-date.jpg").unlink()  # memory keeps no file times
    fsspec.filesystem("memory").rm(f"{far}/J3/no-date.jpg")
    near_out, far_out = tmp_path / "near", tmp_path / "far"
    near = score(photos, near_out)
    assert score(far, far_out) == near
    assert files_of(far_out) == files_of(near_out)
    assert "overlays/J2_2026-03-01.jpg" in files_of(far_out)


def test_a_far_photo_is_read_once_and_again_when_it_changes(far: str, tmp_path: Path) -> None:
    asked: list[str] = []
    score(far, tmp_path / "out", asked)
    assert sorted(asked) == sorted(NAMES)
    asked.clear()
    score(far, tmp_path / "out", asked)
    assert asked == []
    with fsspec.open(f"{far}/{NAMES[0]}", "w") as file:
        file.write("77")
    result = score(far, tmp_path / "out", asked)
    assert asked == [NAMES[0]]
    assert result.readings[0].coverage is not None
    assert result.readings[0].coverage.percent == 77.0


def test_worker_processes_get_what_they_cannot_see(far: str, tmp_path: Path) -> None:
    with open_folder(far) as source:
        result = score_folder(source, out=tmp_path, read=reader, fleet=local_fleet(2))
    assert {r.status for r in result.readings} == {"ok"}


def test_names_that_would_leave_the_folder_are_left_out(far: str, tmp_path: Path) -> None:
    store = fsspec.filesystem("memory").store
    for name in ("../../outside.jpg", "a//b.jpg", "./c.jpg", "d\\e.jpg"):
        key = f"{far.removeprefix('memory://')}/{name}"
        store[key] = type(next(iter(store.values())))(fsspec.filesystem("memory"), key, b"50")
    result = score(far, tmp_path / "deep" / "out")
    assert {r.photo for r in result.readings} == set(NAMES)
    assert not list(tmp_path.rglob("*outside*"))


def test_hidden_files_and_earlier_output_are_no_photos(far: str, tmp_path: Path) -> None:
    for name in (".trash/x.jpg", "out/overlays/x.jpg", "out/jarvision.sqlite", "calibration/c.jpg"):
        with fsspec.open(f"{far}/{name}", "wb") as file:
            file.write(b"50")
    assert {r.photo for r in score(far, tmp_path / "out").readings} == set(NAMES)


def test_a_photo_that_cannot_be_fetched_is_a_row_and_is_tried_again() -> None:
    parcel = Parcel(Stamp(1, 1, ""), LONG_AGO_S * 10**9, url="nowhere://x/J1_2026-03-01.jpg")
    job = Job(Path("/r/J1_2026-03-01.jpg"), Path("/r"), Path("/o"), parcel=parcel)
    outcome = read_job(reader, job)
    assert outcome.reading is not None and outcome.content == ""
    assert outcome.reading.reason == "unreadable"
    assert "cannot fetch" in outcome.reading.detail


def test_a_far_photo_that_has_gone_has_no_reading(far: str) -> None:
    parcel = Parcel(Stamp(1, 1, ""), 0, url=f"{far}/gone.jpg")
    job = Job(Path("/r/gone.jpg"), Path("/r"), Path("/o"), parcel=parcel)
    assert read_job(reader, job).reading is None


@pytest.mark.parametrize("address", ["nowhere://x", "memory:///no/such/folder", "file:///no/such"])
def test_an_address_that_leads_nowhere_is_one_sentence(address: str) -> None:
    with pytest.raises(UsageError), open_folder(address):
        pass


def test_a_far_folder_without_photos_is_told(far: str, tmp_path: Path) -> None:
    files = fsspec.filesystem("memory")
    files.rm(far, recursive=True)
    with fsspec.open(f"{far}/jars.csv", "w") as file:
        file.write("jar\n")
    with pytest.raises(NothingToScoreError):
        score(far, tmp_path / "out")
