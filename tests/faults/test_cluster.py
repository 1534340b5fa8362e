"""A Dask cluster reads what worker processes read, byte by byte, also when one of it dies."""

from __future__ import annotations

import os
import pickle
import signal
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from paced import PACE_S, files_of, fill, paced
from scoring import score_folder

from jarvision.base.errors import JarvisionError, UsageError
from jarvision.records import Reading, ShelfResult
from jarvision.report import write_report
from jarvision.run.cluster import cluster_fleet
from jarvision.run.jobs import Fleet, Job
from jarvision.run.sources import open_folder
from jarvision.run.workers import local_fleet

distributed = pytest.importorskip("distributed")
pytestmark = pytest.mark.slow


@pytest.fixture
def cluster(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """A scheduler and two worker processes of this machine."""
    monkeypatch.setenv(PACE_S, "0.1")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as found:
        yield found


def score(folder: Path | str, out: Path, fleet: Fleet, **more: Any) -> ShelfResult:
    def publish(result: ShelfResult) -> None:
        write_report(result, out)

    with open_folder(folder) as source:
        return score_folder(source, out=out, fleet=fleet, read=paced, publish=publish, **more)


def test_a_cluster_gives_the_bytes_of_a_local_run_though_a_worker_is_killed(
    cluster: Any, tmp_path: Path
) -> None:
    names = fill(tmp_path / "photos", jars=4, days=8)
    near = score(tmp_path / "photos", tmp_path / "near", local_fleet(1))
    killed: list[int] = []

    def kill_one(done: int, total: int, reading: Reading | None) -> None:
        if done == 5:
            killed.append(cluster.workers[0].process.pid)
            os.kill(killed[0], signal.SIGKILL)

    with cluster_fleet(cluster.scheduler_address) as fleet:
        far = score(tmp_path / "photos", tmp_path / "far", fleet, progress=kill_one)
        for_address = score((tmp_path / "photos").as_uri(), tmp_path / "uri", fleet)
    assert killed
    assert [reading.photo for reading in far.readings] == names
    assert far == near == for_address
    wanted = files_of(tmp_path / "near")
    assert "report.html" in wanted and len(wanted) > len(names)
    assert files_of(tmp_path / "far") == wanted == files_of(tmp_path / "uri")


def deadly(job: Job) -> Reading:
    """End the worker for one photo."""
    if "J00_2026-03-02" in job.name:
        os._exit(9)
    return paced(job)


def test_a_photo_that_ends_every_worker_is_a_row(cluster: Any, tmp_path: Path) -> None:
    names = fill(tmp_path / "photos", jars=2, days=4)
    with cluster_fleet(cluster.scheduler_address) as fleet, open_folder(tmp_path / "photos") as far:
        result = score_folder(far, out=tmp_path / "out", fleet=fleet, read=deadly)
    bad = {reading.photo: reading.reason for reading in result.readings if reading.reason}
    assert len(result.readings) == len(names)
    assert bad.pop("J00_2026-03-02.jpg") == "unreadable"
    assert bad == {}


def test_a_cluster_that_goes_ends_the_run_and_the_next_one_goes_on(
    cluster: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("jarvision.run.cluster.LOOK_S", 0.2)
    monkeypatch.setattr("jarvision.run.cluster.PATIENCE_LOOKS", 3)
    names = fill(tmp_path / "photos", jars=3, days=5)

    def close(done: int, total: int, reading: Reading | None) -> None:
        if done == 4:
            cluster.close()

    with (
        pytest.raises(JarvisionError, match="has gone"),
        cluster_fleet(cluster.scheduler_address) as fleet,
    ):
        score(tmp_path / "photos", tmp_path / "out", fleet, progress=close)
    read_now: list[str] = []
    told = lambda done, total, reading: read_now.append(reading.photo)  # noqa: E731
    result = score(tmp_path / "photos", tmp_path / "out", local_fleet(1), progress=told)
    assert [reading.photo for reading in result.readings] == names
    assert len(read_now) <= len(names) - 4


def test_no_scheduler_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("jarvision.run.cluster.CONNECT_S", 0.5)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
    for where in (address, "nonsense://x"):
        with pytest.raises(UsageError, match="No Dask scheduler"), cluster_fleet(where):
            pass


def test_a_worker_of_another_version_is_refused(tmp_path: Path) -> None:
    job = Job(tmp_path / "a.jpg", tmp_path, None)
    with pytest.raises(UsageError, match=r"0\.0\.0"):
        cluster._read_packed(pickle.dumps(("0.0.0+x", paced, job)))
