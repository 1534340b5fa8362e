"""A small cluster inside this process; real ones that lose workers: ``tests/faults``."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from paced import PACE_S, fill, paced
from scoring import score_folder

from jarvision.base.errors import JarvisionError, UsageError
from jarvision.records import ShelfResult
from jarvision.run.cluster import cluster_fleet
from jarvision.run.jobs import Fleet, Job
from jarvision.run.sources import open_folder
from jarvision.run.workers import local_fleet

distributed = pytest.importorskip("distributed")


@pytest.fixture
def address(monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    monkeypatch.setenv(PACE_S, "0")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None
    ) as cluster:
        yield cluster.scheduler_address


def score(folder: Path | str, out: Path, fleet: Fleet, **more: Any) -> ShelfResult:
    with open_folder(folder) as source:
        return score_folder(source, out=out, fleet=fleet, **{"read": paced, **more})


def test_a_cluster_reads_what_workers_of_this_machine_read(address: str, tmp_path: Path) -> None:
    names = fill(tmp_path / "photos", jars=2, days=3)
    near = score(tmp_path / "photos", tmp_path / "near", local_fleet(1))
    with cluster_fleet(address) as fleet:
        far = score(tmp_path / "photos", tmp_path / "far", fleet)
        by_address = score((tmp_path / "photos").as_uri(), tmp_path / "uri", fleet)
    assert [reading.photo for reading in far.readings] == names
    assert far == near == by_address


def test_a_file_that_cannot_be_sent_is_told_from_here(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("jarvision.run.cluster.MAX_BYTES", 1)
    names = fill(tmp_path / "photos", jars=1, days=12)  # the last three names are longer: 10, 11
    with cluster_fleet(address) as fleet:
        result = score(tmp_path / "photos", tmp_path / "out", fleet)
    assert [reading.photo for reading in result.readings] == names


def test_an_unlike_worker_ends_the_run_with_a_sentence(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(tmp_path / "photos", jars=1, days=2)
    monkeypatch.setattr("jarvision.run.cluster.code_version", iter(("1.0", "2.0", "2.0")).__next__)
    with (
        pytest.raises(UsageError, match=r"runs jarvision 2\.0, this is 1\.0"),
        cluster_fleet(address) as fleet,
    ):
        list(fleet([Job(tmp_path / "photos" / "J00_2026-03-01.jpg", tmp_path, None)], paced))


def test_a_cluster_without_workers_is_waited_for_and_then_given_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("jarvision.run.cluster.LOOK_S", 0.05)
    monkeypatch.setattr("jarvision.run.cluster.PATIENCE_LOOKS", 2)
    fill(tmp_path / "photos", jars=1, days=2)
    with (
        distributed.LocalCluster(n_workers=0, processes=False, dashboard_address=None) as empty,
        pytest.raises(JarvisionError, match="has gone, or has no worker"),
        cluster_fleet(empty.scheduler_address) as fleet,
    ):
        score(tmp_path / "photos", tmp_path / "out", fleet)


def test_without_the_extra_the_command_to_install_it_is_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UsageError) as told, cluster_fleet("tcp://127.0.0.1:1"):
        pass
    assert "pip install 'jarvision[cluster]'" in str(told.value.remedy)
