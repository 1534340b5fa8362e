"""Photos go in, one reading for each comes out, whatever happens to a worker."""

from __future__ import annotations

import os
import platform
import signal
import subprocess
import sys
import threading
import time
from datetime import date
from pathlib import Path

import pytest
from fake_shelf import fake_reading, fake_refusal
from PIL import Image
from scoring import score_folder

from jarvision.base.errors import NothingToScoreError, NotWritableError, RegisterError, UsageError
from jarvision.records import Reading
from jarvision.register.photo_names import read_name
from jarvision.run.jobs import Fleet, Job
from jarvision.run.workers import local_fleet


def calm_reader(job: Job) -> Reading:
    """Read the coverage from the file itself."""
    parts = read_name(job.name)
    assert parts.day is not None
    return fake_reading(parts.jar, parts.day, float(job.path.read_text()))


def angry_reader(job: Job) -> Reading:
    """Raise for one file, end the whole process for another."""
    if "raise" in job.name:
        raise RuntimeError("odd\nphoto")
    if "kill" in job.name:
        os._exit(9)
    return calm_reader(job)


def thread_reader(job: Job) -> Reading:
    import cv2

    return fake_refusal(job.name, str(cv2.getNumThreads()), "no_card")


def fill(folder: Path, names: list[str]) -> None:
    for number, name in enumerate(names):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(str(10 * number))


def read_all(folder: Path, names: list[str], reader) -> dict[str, Reading]:
    """Read in two worker processes, without a store."""
    queue = (Job(folder / name, folder, None) for name in names)
    outcomes = list(local_fleet(2)(queue, reader))
    assert len(outcomes) == len(names)
    return {outcome.name: outcome.reading for outcome in outcomes}


@pytest.mark.parametrize("jobs", [1, 2])
def test_readings_come_in_the_order_of_the_names(tmp_path: Path, jobs: int) -> None:
    names = [f"J{n}_2026-03-0{d}.jpg" for n in (1, 2) for d in (1, 2, 3)]
    fill(tmp_path, names[::-1])
    seen: list[tuple[int, int]] = []
    result = score_folder(
        tmp_path,
        out=tmp_path / "out",
        jobs=jobs,
        read=calm_reader,
        progress=lambda done, total, _: seen.append((done, total)),
    )
    assert [r.photo for r in result.readings] == names
    assert seen == [(n, 6) for n in range(1, 7)]
    assert [s.verdict.jar for s in result.stories] == ["J1", "J2"]
    assert result.scored_on == date(2026, 3, 3)


def test_a_photo_that_breaks_its_worker_costs_only_itself(tmp_path: Path) -> None:
    names = [f"J1_2026-03-0{d}.jpg" for d in range(1, 8)]
    names[1:1] = ["J1_kill_2026-03-01.jpg", "J1_raise_2026-03-01.jpg"]
    fill(tmp_path, names)
    readings = read_all(tmp_path, names, angry_reader)
    assert sorted(readings) == sorted(names)
    assert {name for name, r in readings.items() if r.status != "ok"} == set(names[1:3])
    assert {readings[name].reason for name in names[1:3]} == {"unreadable"}
    assert "ended its worker" in readings[names[1]].detail
    assert readings[names[2]].detail == "RuntimeError: odd photo"


@pytest.mark.parametrize("fleet", [local_fleet(2), local_fleet(1, apart=True)])
def test_a_single_photo_that_ends_its_process_does_not_end_the_run(
    tmp_path: Path, fleet: Fleet
) -> None:
    fill(tmp_path, ["J1_kill_2026-03-01.jpg"])
    result = score_folder(tmp_path, out=tmp_path / "out", read=angry_reader, fleet=fleet)
    assert "ended its worker" in result.readings[0].detail


def stuck_reader(job: Job) -> Reading:
    """Never come back for one file, as a stopped process does for another."""
    if "hang" in job.name:
        time.sleep(3600)
    if "stop" in job.name:
        os.kill(os.getpid(), signal.SIGSTOP)
    return calm_reader(job)


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
@pytest.mark.parametrize("workers", [1, 2])
def test_a_photo_that_never_comes_back_is_given_up_and_told(
    tmp_path: Path, workers: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("jarvision.run.workers.LONGEST_PHOTO_S", 12.0)  # with the start of a worker
    names = [f"J1_2026-03-0{d}.jpg" for d in range(1, 6)]
    names[1:1], names[4:4] = ["J1_hang_2026-03-01.jpg"], ["J1_stop.jpg"]
    fill(tmp_path, names)
    fleet = local_fleet(workers, apart=True)
    found = score_folder(tmp_path, out=tmp_path / "out", read=stuck_reader, fleet=fleet).readings
    told = {r.photo: r.detail for r in found if r.status != "ok"}
    assert len(found) == len(names)
    assert sorted(told) == ["J1_hang_2026-03-01.jpg", "J1_stop.jpg"]
    assert all("took longer than 12 s" in detail for detail in told.values())
    again = score_folder(tmp_path, out=tmp_path / "out", read=calm_without_day).readings
    assert {r.status for r in again} == {"ok"}  # it is tried again in the next run


def calm_without_day(job: Job) -> Reading:
    return fake_reading("J1", read_name(job.name).day or date(2026, 3, 2), 5.0)


def test_a_script_that_workers_run_anew_is_told_what_to_do(tmp_path: Path) -> None:
    """Every photo would be called unreadable, and two processes a photo be started in vain."""
    folder = tmp_path / "photos"
    folder.mkdir()
    for name in ("A1_2026-03-01.jpg", "A1_2026-03-02.jpg", "A1_2026-03-03.jpg"):
        Image.new("RGB", (64, 48)).save(folder / name)
    script = tmp_path / "score.py"
    script.write_text(
        f"from jarvision import score_folder\nscore_folder({str(folder)!r}, 'out', jobs=2)\n"
    )
    done = subprocess.run(
        [sys.executable, script],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.returncode != 0
    assert "under \"if __name__ == '__main__':\"" in done.stderr
    assert not (tmp_path / "out" / "readings.csv").exists()


def test_workers_use_one_opencv_thread(tmp_path: Path) -> None:
    fill(tmp_path, ["a.jpg", "b.jpg"])
    readings = read_all(tmp_path, ["a.jpg", "b.jpg"], thread_reader)
    assert [r.jar for r in readings.values()] == ["1", "1"]
    assert threading.active_count() < 20  # no pool is left behind


def test_an_evening_of_refused_photos_is_a_day_of_its_own(tmp_path: Path) -> None:
    fill(tmp_path, ["J1_2026-03-01.jpg", "J1_raise_2026-03-09.jpg"])
    result = score_folder(tmp_path, out=tmp_path / "out", read=angry_reader)
    assert result.scored_on == date(2026, 3, 9)
    assert result.stories[0].verdict.verdict == "check"
    fill(tmp_path, ["J1_2026-03-01.jpg", "J2_raise_2026-03-19.jpg"])  # a jar that was never read
    assert score_folder(tmp_path, out=tmp_path / "out", read=angry_reader).scored_on.day == 9
    told = score_folder(tmp_path, out=tmp_path / "out", read=angry_reader, today=date(2026, 3, 20))
    assert told.scored_on == date(2026, 3, 20)


def test_a_jar_of_refused_photos_only_is_told_and_never_go(tmp_path: Path) -> None:
    fill(tmp_path, ["J1_raise_2026-03-09.jpg"])
    (story,) = score_folder(tmp_path, out=tmp_path / "out", read=angry_reader).stories
    assert story.verdict.verdict == "check"
    assert story.verdict.coverage is None


def test_the_register_in_the_folder_is_used_and_missing_jars_are_told(tmp_path: Path) -> None:
    fill(tmp_path, ["J1_2026-03-01.jpg"])
    (tmp_path / "jars.csv").write_text("jar,species\nJ1,oyster\nJ9,oyster\n")
    result = score_folder(tmp_path, out=tmp_path / "out", read=calm_reader)
    assert result.stories[0].history.entry.registered
    assert any("J9" in warning for warning in result.warnings)
    (tmp_path / "jars.csv").write_text("name\nJ1\n")
    with pytest.raises(RegisterError):
        score_folder(tmp_path, out=tmp_path / "out", read=calm_reader)


def test_folders_that_cannot_do_are_told_before_any_photo_is_read(tmp_path: Path) -> None:
    def never(job: Job) -> Reading:
        raise AssertionError(job)

    with pytest.raises(NothingToScoreError):
        score_folder(tmp_path, out=tmp_path / "out", read=never)
    with pytest.raises(UsageError):
        score_folder(tmp_path / "gone", out=tmp_path / "out", read=never)
    with pytest.raises(UsageError):
        score_folder(tmp_path, out=tmp_path, read=never)
    fill(tmp_path, ["a.jpg"])
    (tmp_path / "file").write_text("not a folder")
    with pytest.raises(NotWritableError):
        score_folder(tmp_path, out=tmp_path / "file" / "out", read=never)


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="what glibc does with freed memory")
def test_memory_that_one_photo_frees_serves_the_next() -> None:
    """Pages fetched anew, as getrusage(2) counts them, for arrays of three photos' size."""
    script = """
import resource
import numpy as np
from jarvision.run.jobs import keep_freed_memory

def fetched():
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    photos = [np.ones(9_000_000, np.uint8) for _ in range(3)]
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before

keep_freed_memory()
print(fetched(), fetched(), fetched())
"""
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, check=True, text=True
    )
    first, *later = map(int, done.stdout.split())
    assert first > 0
    assert max(later) < first / 10
