"""One worker that stays: what a photo does to it costs that photo alone."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest
from fake_shelf import TODAY, fake_reading
from PIL import Image
from stored_photos import picture, saved

from jarvision.base.errors import PhotoRefusedError, WorkersError
from jarvision.records import Reading
from jarvision.run.first_look import first_look, warm_up
from jarvision.run.jobs import Job, JobResult, PhotoReader
from jarvision.run.workers import StandingWorker

LONGEST = "jarvision.run.workers.LONGEST_PHOTO_S"


@pytest.fixture
def worker() -> Iterator[StandingWorker]:
    found = StandingWorker()
    yield found
    found.close()


def moody_reader(job: Job) -> Reading:
    """Tell the process, but end it or never come back for some files."""
    if "kill" in job.name:
        os._exit(9)
    if "hang" in job.name:
        time.sleep(3600)
    return fake_reading(str(os.getpid()), TODAY, 40.0)


def read(worker: StandingWorker, folder: Path, name: str, reader: PhotoReader) -> JobResult:
    path = folder / name
    if not path.exists():
        path.write_bytes(b"photo")
    [result] = worker.fleet([Job(path, folder, None)], reader)
    return result


def process_of(result: JobResult) -> str:
    assert result.reading is not None
    return result.reading.jar


def test_the_worker_stays_between_photos(worker: StandingWorker, tmp_path: Path) -> None:
    worker.start(warm_up)
    seen = {process_of(read(worker, tmp_path, f"{n}.jpg", moody_reader)) for n in range(3)}
    assert len(seen) == 1 and str(os.getpid()) not in seen


def test_a_photo_that_ends_the_worker_costs_only_itself(
    worker: StandingWorker, tmp_path: Path
) -> None:
    before = process_of(read(worker, tmp_path, "a.jpg", moody_reader))
    killed = read(worker, tmp_path, "kill.jpg", moody_reader)
    assert killed.reading is not None and "ended its worker process" in killed.reading.detail
    assert killed.content == ""  # so that it is tried again
    assert process_of(read(worker, tmp_path, "b.jpg", moody_reader)) != before


def test_a_photo_that_never_comes_back_is_given_up(
    worker: StandingWorker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read(worker, tmp_path, "a.jpg", moody_reader)
    monkeypatch.setattr(LONGEST, 0.5)
    hung = read(worker, tmp_path, "hang.jpg", moody_reader)
    assert hung.reading is not None and "given up" in hung.reading.detail
    monkeypatch.setattr(LONGEST, 60.0)
    assert process_of(read(worker, tmp_path, "b.jpg", moody_reader))


def test_workers_that_cannot_start_are_told(
    worker: StandingWorker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("jarvision.run.workers._start_worker", end_at_once)
    with pytest.raises(WorkersError):
        read(worker, tmp_path, "a.jpg", moody_reader)


def end_at_once() -> None:
    os._exit(9)


# --------------------------------------------------------------------------- other work
def refuse() -> None:
    raise PhotoRefusedError("unreadable", "odd bytes")


def leave() -> None:
    os._exit(9)


def test_work_is_done_in_the_worker_and_its_answer_and_refusal_come_back(
    worker: StandingWorker,
) -> None:
    first = worker.do(os.getpid)
    assert first != os.getpid() and worker.do(os.getpid) == first
    with pytest.raises(PhotoRefusedError, match="odd bytes") as found:
        worker.do(refuse)
    assert (found.value.reason, found.value.detail) == ("unreadable", "odd bytes")


def test_work_that_ends_the_worker_or_never_comes_back_costs_only_itself(
    worker: StandingWorker, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(PhotoRefusedError, match="ended its worker process"):
        worker.do(leave)
    worker.do(os.getpid)
    with monkeypatch.context() as short:
        short.setattr(LONGEST, 0.5)
        with pytest.raises(PhotoRefusedError, match="given up"):
            worker.do(partial(time.sleep, 3600))
    assert worker.do(os.getpid) != os.getpid()


# --------------------------------------------------------------------------- the first look
def test_the_first_look_finds_no_tag_where_there_is_none(
    worker: StandingWorker, tmp_path: Path
) -> None:
    (tmp_path / "x.jpg").write_bytes(saved(Image.fromarray(picture(480, 640)), format="JPEG"))
    found = read(worker, tmp_path, "x.jpg", first_look).reading
    assert found is not None and (found.status, found.jar) == ("ok", "")


def test_the_first_look_says_why_a_file_is_no_picture(
    worker: StandingWorker, tmp_path: Path
) -> None:
    (tmp_path / "x.jpg").write_bytes(b"\xff\xd8\xff\xe0 not a picture")
    found = read(worker, tmp_path, "x.jpg", first_look).reading
    assert found is not None and (found.status, found.reason) == ("unusable", "unreadable")
