"""Whole folders: memory, more workers, running again, and how the cost grows with the folder."""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import psutil

from jarvision.api import publisher
from jarvision.base.files import write_whole
from jarvision.records import Reading
from jarvision.register.photo_names import picture_name
from jarvision.run.jobs import Job, read_one
from jarvision.run.score import read_shelf, score_shelf
from jarvision.run.shelf import open_shelf
from tests.benchmarks.photos import linked

MB = 1e6
LOOK_S = 0.2


def alone(work: Any, *args: Any) -> Any:
    """Result of a function in a fresh process, which owns its memory and its libraries."""
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(1, mp_context=context) as pool:
        return pool.submit(work, *args).result()


# --------------------------------------------------------------------------- memory
@dataclass(frozen=True)
class Memory:
    """Largest resident memory, MB, of any worker and of the parent; early: the first fifth."""

    photos: int
    worker_mb: float
    parent_mb: float
    worker_early_mb: float
    parent_early_mb: float


def measure_memory(photos: Sequence[Path], root: Path, *, count: int) -> Memory:
    """Read ``count`` links to photos with two workers and look at the memory meanwhile."""
    folder, out = root / "photos", root / "out"
    linked(folder, photos, count)
    process = multiprocessing.get_context("spawn").Process(target=_read, args=(folder, out, 2))
    process.start()
    seen: list[tuple[int, float, float]] = []  # photos done, worker's and parent's MB
    while process.is_alive():
        time.sleep(LOOK_S)
        done = sum(1 for _ in (out / "overlays").glob("*.jpg")) if out.is_dir() else 0
        seen.append((done, *_resident(process.pid)))
    if process.exitcode:
        raise RuntimeError(f"the run ended with {process.exitcode}")
    early = [look for look in seen if look[0] <= count / 5]
    return Memory(
        photos=count,
        worker_mb=max(look[1] for look in seen),
        parent_mb=max(look[2] for look in seen),
        worker_early_mb=max(look[1] for look in early),
        parent_early_mb=max(look[2] for look in early),
    )


def _resident(pid: int | None) -> tuple[float, float]:
    try:
        parent = psutil.Process(pid)
        workers = [child.memory_info().rss for child in parent.children(recursive=True)]
        return max(workers, default=0) / MB, parent.memory_info().rss / MB
    except psutil.Error:
        return 0.0, 0.0


# --------------------------------------------------------------------------- workers
@dataclass(frozen=True)
class Scaling:
    """Photos read a second, by the clock, with one worker and with two: the best of some turns."""

    photos: int
    one: float
    two: float


def measure_scaling(photos: Sequence[Path], root: Path, *, count: int, turns: int = 3) -> Scaling:
    """Read ``count`` links to photos with one worker and with two, in turns."""
    folder = root / "photos"
    linked(folder, photos, count)
    paces = [
        [float(alone(_pace, folder, root / f"out-{turn}-{jobs}", jobs, count)) for jobs in (1, 2)]
        for turn in range(turns)
    ]
    one, two = (max(found) for found in zip(*paces, strict=True))
    return Scaling(count, one, two)


def _read(folder: Path, out: Path, jobs: int) -> None:
    read_shelf(open_shelf(folder), out=out, jobs=jobs)


def _pace(folder: Path, out: Path, jobs: int, count: int) -> float:
    import cv2

    cv2.setNumThreads(1)
    start = time.perf_counter()
    _read(folder, out, jobs)
    return count / (time.perf_counter() - start)


# --------------------------------------------------------------------------- growth
@dataclass(frozen=True)
class Growth:
    """Processor time a photo, ms, of a folder: all but the reading, and when run again.

    ``again_ms`` tells what is known and writes nothing; ``report_ms`` is all stories and the
    report, which every run writes anew. ``parent_mb`` is the largest resident memory.
    """

    photos: int
    keep_ms: float
    report_ms: float
    again_ms: float
    parent_mb: float


def measure_growth(samples: Sequence[Path], root: Path, *, count: int) -> Growth:
    """Score ``count`` links to samples whose readings are remembered, then run again.

    Reading one photo costs the same in every folder, so it is left out: each sample is read once,
    and its reading and pictures are given for every link.
    """
    linked(root / "photos", samples, count)
    known = alone(_remembered, list(samples), root / "samples")
    grown: Growth = alone(_grow, root / "photos", root / "out", count, known)
    return grown


@dataclass(frozen=True)
class _Known:
    """Reading of a sample, its overlay and its wall picture."""

    reading: Reading
    overlay: bytes
    wall: bytes


def _remembered(samples: list[Path], out: Path) -> dict[str, _Known]:
    """Readings by the name of the sample."""
    found = {}
    for sample in samples:
        reading = read_one(Job(path=sample, root=sample.parent, out=out))
        pictures = (out / path for path in (reading.overlay, reading.wall_picture))
        found[sample.name] = _Known(reading, *(path.read_bytes() for path in pictures))
    return found


def _grow(folder: Path, out: Path, count: int, known: dict[str, _Known]) -> Growth:
    def remember(job: Job) -> Reading:
        """Reading of the sample that a photo is a link to, under the photo's own name and jar."""
        jar, rest = job.path.name.split("_", 1)
        sample = known[f"{jar.split('x')[0]}_{rest}"]
        name = picture_name(job.name)
        paths = [f"overlays/{name}", f"walls/{name}"]
        for path, picture in zip(paths, (sample.overlay, sample.wall), strict=True):
            write_whole(out / path, picture)
        return replace(
            sample.reading, photo=job.name, jar=jar, overlay=paths[0], wall_picture=paths[1]
        )

    shelf = open_shelf(folder)
    times = [time.process_time()]
    read_shelf(shelf, out=out, read=remember)
    times.append(time.process_time())
    read_shelf(shelf, out=out, read=remember)
    times.append(time.process_time())
    score_shelf(shelf, out=out, read=remember, publish=publisher(shelf, out))
    times.append(time.process_time())
    keep, again, whole = (1e3 * (b - a) / count for a, b in pairwise(times))
    return Growth(count, keep, whole - again, again, _peak_mb())


def _peak_mb() -> float:
    """Largest resident memory of this process; where that is not told, the memory now."""
    status = Path("/proc/self/status")  # the kernel's other counter holds the parent's, too
    if status.is_file():
        (line,) = (row for row in status.read_text().splitlines() if row.startswith("VmHWM"))
        return float(line.split()[1]) * 1024 / MB
    return float(psutil.Process().memory_info().rss) / MB
