"""The sample shelf read in five ways; the tables that come out, byte for byte."""

from __future__ import annotations

import hashlib
import os
import random
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks.photos import SAMPLES

TABLES = ("readings.csv", "days.csv", "patches.csv", "verdicts.csv", "flags.csv", "plan.csv")
RUN = "from jarvision.app.cli.main import run; run()"
KILLS = 8
KILL_AFTER_S = (2.0, 6.0)


@dataclass(frozen=True)
class Same:
    """Digests of the tables of each way to run, by table; how often the last one was killed."""

    digests: dict[str, dict[str, str]]
    kills: int

    def equal(self, table: str) -> bool:
        """Tell whether a table holds the same bytes, whichever way it was made."""
        return len({found[table] for found in self.digests.values()}) == 1


def measure_same(root: Path, *, seed: int = 0) -> Same:
    """Score the samples in every way.

    With one worker, once more with all stories kept from that run, with two workers, on a Dask
    cluster, and killed and resumed.
    """
    digests = {}
    for jobs in (1, 2):
        _run(root / f"jobs-{jobs}", "--jobs", str(jobs))
        digests[f"{jobs} worker{'s' * (jobs > 1)}"] = _digests(root / f"jobs-{jobs}")
    _unlink_tables(root / "jobs-1")
    _run(root / "jobs-1", "--jobs", "1")
    digests["run again"] = _digests(root / "jobs-1")
    digests["Dask cluster"] = _on_cluster(root / "cluster")
    kills = _killed(root / "killed", random.Random(seed))
    digests["killed and resumed"] = _digests(root / "killed")
    return Same(digests, kills)


def _start(out: Path, *options: str) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-c", RUN, "score", str(SAMPLES), "--out", str(out), "--quiet"]
    return subprocess.Popen(
        [*command, "--register", str(SAMPLES / "jars.csv"), *options],
        stdout=subprocess.DEVNULL,
        start_new_session=True,
    )


def _run(out: Path, *options: str) -> None:
    code = _start(out, *options).wait()
    if code:
        raise RuntimeError(f"the run into {out.name} ended with {code}")


def _on_cluster(out: Path) -> dict[str, str]:
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        _run(out, "--scheduler", cluster.scheduler_address)
    return _digests(out)


def _killed(out: Path, chance: random.Random) -> int:
    """Kill the whole run at random moments, then let it come to its end."""
    kills = 0
    for _ in range(KILLS):
        process = _start(out, "--jobs", "2")
        time.sleep(chance.uniform(*KILL_AFTER_S))
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            kills += 1
        process.wait()
    _run(out, "--jobs", "2")
    return kills


def _unlink_tables(out: Path) -> None:
    """What the next run does not write must be missed."""
    for name in TABLES:
        (out / name).unlink()


def _digests(out: Path) -> dict[str, str]:
    return {name: hashlib.sha256((out / name).read_bytes()).hexdigest()[:12] for name in TABLES}
