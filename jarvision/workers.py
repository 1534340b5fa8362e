"""One photo in, one outcome out, in worker processes on this machine.

One small picklable job goes to a worker, one outcome comes back. No more jobs than workers are
ever in flight. A photo that breaks its worker costs that photo, never the run.
"""

from __future__ import annotations

import hashlib
import multiprocessing
import os
import signal
import stat
import sys
import threading
import time
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from functools import partial
from itertools import chain, islice
from pathlib import Path
from typing import Final

from jarvision.card.values import CardValues
from jarvision.day import read_jar_photo
from jarvision.errors import NotWritableError, UsageError
from jarvision.identity import printable, read_name
from jarvision.photo import time_without_exif
from jarvision.photo.read import MAX_BYTES
from jarvision.photo_settings import PhotoSettings
from jarvision.records import JarShape, Reading
from jarvision.store import UNSURE, Stamp

SURE_AFTER_S: Final = 2.0
"""A file changed within this of being read may change again without a new time: the coarsest file
systems in use (FAT) count two seconds."""

_MOST_WORKERS: Final = 61 if sys.platform == "win32" else 1024
"""Windows cannot wait for more processes at once."""


@dataclass(frozen=True)
class Job:
    """One photo to read.

    Attributes
    ----------
    out
        Takes its overlay and wall picture; None draws nothing.
    values, settings
        Colours of the user's card, and thresholds; None: the defaults.
    shapes
        What the grower says of the glass of the jars that this photo can be of, by jar.
    known
        SHA-256 of contents that need no reading: of such a photo only the content is told.
    """

    path: Path
    root: Path
    out: Path | None
    values: CardValues | None = None
    settings: PhotoSettings | None = None
    shapes: Mapping[str, JarShape] = field(default_factory=dict)
    known: frozenset[str] = frozenset()

    @property
    def name(self) -> str:
        """Path relative to the scored folder, with forward slashes."""
        return self.path.relative_to(self.root).as_posix()

    @property
    def told_of_jar(self) -> str:
        """What the register says that this reading depends on, as text; a change reads it again."""
        return repr(sorted(self.shapes.items())) if self.shapes else ""


@dataclass(frozen=True)
class Outcome:
    """What became of a job.

    Attributes
    ----------
    reading
        None when the content is known, or when the photo has gone away.
    content
        SHA-256 of the file; empty when the photo must be read again in the next run, because its
        reading failed for a reason that may pass.
    stamp
        What the file system said before the file was opened; None when there is no such file.
    pictures
        Paths under the output folder and contents, when the worker could not write there itself.
    """

    name: str
    reading: Reading | None
    content: str = ""
    stamp: Stamp | None = None
    pictures: tuple[tuple[str, bytes], ...] = ()


PhotoReader = Callable[[Job], Reading]
Fleet = Callable[[Iterable[Job], PhotoReader], Iterator[Outcome]]
"""Reads jobs somewhere and yields their outcomes as they come, in any order."""


def read_one(job: Job) -> Reading:
    """Read one photo with the package's own reader."""
    return read_jar_photo(
        job.path,
        root=job.root,
        out=job.out,
        values=job.values,
        settings=job.settings,
        shapes=job.shapes,
    )


def read_job(read: PhotoReader, job: Job) -> Outcome:
    """Read one photo, unless its content is known; what is wrong with it becomes its own row.

    Raises
    ------
    NotWritableError, UsageError, ImportError
        What no other photo can do without: the output folder, the settings, the installation.
    """
    stamp = stamp_of(job.path)
    content = content_of(job.path) if stamp is not None and stamp.size <= MAX_BYTES else ""
    if content and content in job.known:
        return Outcome(job.name, None, content, stamp)
    try:
        return Outcome(job.name, read(job), content, stamp)
    except (ImportError, NotWritableError, UsageError):
        raise
    except Exception as error:  # one odd photo must not cost the others: it becomes its own row
        return unread(job, f"{type(error).__name__}: {error}")


def unread(job: Job, detail: str) -> Outcome:
    """Outcome of a photo that could not be read this time; without a reading when it is gone."""
    if not os.path.lexists(job.path):
        return Outcome(job.name, None)
    parts = read_name(job.name)
    taken_at, source = time_without_exif(job.path, dated=parts.day)
    reading = Reading(
        photo=job.name,
        jar=parts.jar,
        view=parts.view,
        taken_at=taken_at,
        time_source=source,
        status="unusable",
        reason="unreadable",
        detail=printable(detail),
    )
    return Outcome(job.name, reading)


# --------------------------------------------------------------------------- files
def stamp_of(path: Path) -> Stamp | None:
    """Size, time and number of a regular file; None for anything else."""
    try:
        found = path.stat()
    except OSError:
        return None
    if not stat.S_ISREG(found.st_mode):
        return None
    sure = abs(time.time_ns() - found.st_mtime_ns) > SURE_AFTER_S * 1e9
    return Stamp(found.st_size, found.st_mtime_ns if sure else UNSURE, str(found.st_ino))


def content_of(path: Path) -> str:
    """SHA-256 of a file in hex; empty when it cannot be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


# --------------------------------------------------------------------------- processes
def local_fleet(workers: int) -> Fleet:
    """Worker processes on this machine; 1 reads in this process."""

    def read_all(jobs: Iterable[Job], read: PhotoReader) -> Iterator[Outcome]:
        one_job = partial(read_job, read)
        queue = iter(jobs)
        first = list(islice(queue, workers))  # no more workers than jobs
        waiting = chain(first, queue)
        if len(first) <= 1:
            return map(one_job, waiting)
        return _read_pooled(waiting, one_job, min(len(first), _MOST_WORKERS))

    return read_all


def _read_pooled(
    waiting: Iterator[Job], one_job: Callable[[Job], Outcome], workers: int
) -> Iterator[Outcome]:
    """Read in worker processes.

    The jobs in flight when a worker dies are suspects: they are read again one by one, each alone
    in a worker, so that the one that breaks its worker a second time is named.
    """
    suspects = yield from _read_until_broken(waiting, one_job, workers)
    while suspects:
        yield from _read_alone(suspects, one_job)
        suspects = yield from _read_until_broken(waiting, one_job, workers)


def _read_until_broken(
    waiting: Iterator[Job], one_job: Callable[[Job], Outcome], workers: int
) -> Generator[Outcome, None, list[Job]]:
    """Yield outcomes; return the jobs in flight when a worker died, none when all are done."""
    pool = _new_pool(workers)
    flying: dict[Future[Outcome], Job] = {}
    broken = False
    try:
        while not broken:
            for job in islice(waiting, workers - len(flying)):
                try:
                    flying[pool.submit(one_job, job)] = job
                except BrokenProcessPool:
                    flying[Future()] = job
                    broken = True
                    break
            if broken or not flying:
                break
            for future in wait(flying, return_when=FIRST_COMPLETED).done:
                if isinstance(future.exception(), BrokenProcessPool):
                    broken = True
                else:
                    del flying[future]
                    yield future.result()
    finally:
        pool.shutdown(wait=not broken, cancel_futures=True)
    return list(flying.values())


def _read_alone(jobs: list[Job], one_job: Callable[[Job], Outcome]) -> Iterator[Outcome]:
    for job in jobs:
        with _new_pool(1) as pool:
            try:
                yield pool.submit(one_job, job).result()
            except BrokenProcessPool:
                yield unread(job, "reading this photo ended its worker process, twice")


def _new_pool(workers: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(
        max_workers=workers,
        mp_context=multiprocessing.get_context("spawn"),  # the same on every system
        initializer=_start_worker,
    )


def _start_worker() -> None:
    """One OpenCV thread for each worker; Ctrl-C is the parent's to handle."""
    import cv2

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    cv2.setNumThreads(1)
    threading.Thread(target=_leave_with_parent, daemon=True).start()


def _leave_with_parent() -> None:
    """End this worker when the run has been killed: nobody waits for it, or may clean up."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
