"""What a Dask cluster costs beside reading: simulated readings, so that nothing else takes time.

A local cluster of worker processes; photos are files of a few bytes that travel with their jobs.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import psutil

from tests.benchmarks.farm import plant, simulated


@dataclass(frozen=True)
class Clustered:
    """Cost of a photo, ms: processor time of the parent and of all workers together; by the clock.

    ``parent_mb``: the parent's resident memory at the end; ``worker_mb``: that of the largest
    worker.
    """

    photos: int
    workers: int
    parent_ms: float
    workers_ms: float
    clock_ms: float
    parent_mb: float
    worker_mb: float


def measure_cluster(
    root: Path, *, sizes: Sequence[int], workers: Sequence[int], jars: int = 50
) -> list[Clustered]:
    """Read folders of so many photos on clusters of so many workers, each in a fresh process."""
    from tests.benchmarks.folders import alone

    found = []
    for size in sizes:
        folder = root / f"photos-{size}"
        many = max(jars, size // 200)
        plant(folder, jars=many, days=size // many)
        for count in workers:
            out = root / f"out-{size}-{count}"
            found.append(alone(_on_cluster, folder, out, size // many * many, count))
            print(found[-1], flush=True)
    return found


def _on_cluster(folder: Path, out: Path, photos: int, workers: int) -> Clustered:
    from distributed import LocalCluster

    from jarvision.run.cluster import cluster_fleet
    from jarvision.run.score import read_shelf
    from jarvision.run.shelf import open_shelf

    shelf = open_shelf(folder)
    with LocalCluster(
        n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        hands = [p for p in psutil.Process().children(recursive=True) if "spawn" in _told(p)]
        before = sum(_spent(hand) for hand in hands)
        cpu, clock = time.process_time(), time.perf_counter()
        with cluster_fleet(cluster.scheduler_address) as fleet:
            read_shelf(shelf, out=out, read=simulated, fleet=fleet)
        parent, took = time.process_time() - cpu, time.perf_counter() - clock
        spent = sum(_spent(hand) for hand in hands) - before
        return Clustered(
            photos=photos,
            workers=workers,
            parent_ms=1e3 * parent / photos,
            workers_ms=1e3 * spent / photos,
            clock_ms=1e3 * took / photos,
            parent_mb=psutil.Process().memory_info().rss / 1e6,
            worker_mb=max(hand.memory_info().rss for hand in hands) / 1e6,
        )


def _told(process: psutil.Process) -> str:
    return " ".join(process.cmdline())


def _spent(process: psutil.Process) -> float:
    times = process.cpu_times()
    return float(times.user + times.system)
