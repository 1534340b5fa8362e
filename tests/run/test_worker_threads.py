"""Workers share the cores by photos, not by threads: each works in one, this process as before."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from fake_shelf import fake_refusal
from threadpoolctl import threadpool_info, threadpool_limits

from jarvision.records import Reading
from jarvision.run.jobs import Job
from jarvision.run.workers import local_fleet


def pools() -> dict[str, int]:
    """Threads of every OpenMP and linear algebra library that is loaded, by its file."""
    return {Path(pool["filepath"]).name: pool["num_threads"] for pool in threadpool_info()}


def pool_reader(job: Job) -> Reading:
    """Tell the threads of this process, with all loaded that a photo needs."""
    import scipy.linalg  # noqa: F401 - it brings a linear algebra library of its own

    from jarvision.vision.tissue.network import load_networks

    load_networks()
    return fake_refusal(job.name, json.dumps(pools()), "no_card")


def told_here(folder: Path) -> dict[str, int]:
    (folder / "a.jpg").touch()
    [result] = local_fleet(1)([Job(folder / "a.jpg", folder, None)], pool_reader)
    assert result.reading is not None
    told: dict[str, int] = json.loads(result.reading.jar)
    return told


def told_in_worker(folder: Path) -> dict[str, int]:
    (folder / "a.jpg").touch()
    [result] = local_fleet(1, apart=True)([Job(folder / "a.jpg", folder, None)], pool_reader)
    assert result.reading is not None
    told: dict[str, int] = json.loads(result.reading.jar)
    return told


def test_a_worker_runs_one_thread_in_every_library(tmp_path: Path) -> None:
    told = told_in_worker(tmp_path)
    assert told  # NumPy's at least
    assert set(told.values()) == {1}


def test_a_photo_that_is_read_in_this_process_has_one_thread_too(tmp_path: Path) -> None:
    with threadpool_limits(2, user_api="blas"):
        told_here(tmp_path)  # libraries load
        before = pools()
        told = told_here(tmp_path)
        assert set(told.values()) == {1}
        assert pools() == before
        assert 2 in before.values()


def test_this_process_keeps_its_threads_and_its_environment(tmp_path: Path) -> None:
    before = dict(os.environ), pools()
    told_in_worker(tmp_path)
    assert (dict(os.environ), pools()) == before


def environment_reader(job: Job) -> Reading:
    return fake_refusal(job.name, os.environ.get("OPENBLAS_NUM_THREADS", ""), "no_card")


@pytest.mark.parametrize(("told", "found"), [(None, "1"), ("2", "2")])
def test_workers_start_no_threads_unless_the_user_has_told_them_to(
    told: str | None, found: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    if told is not None:
        monkeypatch.setenv("OPENBLAS_NUM_THREADS", told)
    (tmp_path / "a.jpg").touch()
    jobs = [Job(tmp_path / "a.jpg", tmp_path, None)]
    [result] = local_fleet(1, apart=True)(jobs, environment_reader)
    assert result.reading is not None and result.reading.jar == found
