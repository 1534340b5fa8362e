"""Worker processes on this machine.

No more jobs than workers are ever in flight. A photo that breaks its worker costs that photo,
never the run.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import partial
from itertools import chain, islice
from typing import Final, TypeVar

from jarvision.base.errors import PhotoRefusedError, WorkersError
from jarvision.run.jobs import (
    Fleet,
    Job,
    JobResult,
    PhotoReader,
    read_job,
    took_too_long,
    unread,
)

_Done = TypeVar("_Done")

_NICE: Final = 10
"""Of work that nobody waits for (nice(2)): with another program at work it gets a tenth."""

_MOST_WORKERS: Final = 61 if sys.platform == "win32" else 1024
"""Windows cannot wait for more processes at once."""

LONGEST_PHOTO_S: Final = 120.0
"""How long a photo may take, its worker's start included: the worst that are accepted take a tenth
of that. A file of a stalled share, or one that never ends, would hold the run up for ever."""

THREADS_OF: Final = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "BLIS_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
)
"""Where OpenMP and the libraries that NumPy and SciPy are built on look for their threads."""

_NO_START: Final = "Worker processes end as soon as they start, before they read a photo"
_NO_START_REMEDY: Final = (
    "A script must call score_folder under \"if __name__ == '__main__':\", since every worker runs "
    "the rest of it; or read with jobs=1"
)


def local_fleet(workers: int, *, apart: bool = False) -> Fleet:
    """Worker processes on this machine; 1 reads in this process.

    ``apart`` reads in a worker even then, so that no photo can end this process. A script must not
    ask for it outside of ``if __name__ == "__main__":``.
    """

    def read_all(jobs: Iterable[Job], read: PhotoReader) -> Iterator[JobResult]:
        one_job = partial(read_job, read)
        queue = iter(jobs)
        first = list(islice(queue, workers))  # no more workers than jobs
        waiting = chain(first, queue)
        if not first or (workers == 1 and not apart):
            return map(one_job, waiting)
        return _read_pooled(waiting, one_job, min(len(first), _MOST_WORKERS))

    return read_all


def _read_pooled(
    waiting: Iterator[Job], one_job: Callable[[Job], JobResult], workers: int
) -> Iterator[JobResult]:
    """Read in worker processes.

    A photo that takes too long is told, and its worker ended. The jobs in flight when a worker
    dies are suspects: they are read again one by one, each alone in a worker, so that the one that
    breaks its worker a second time is named.

    Raises
    ------
    WorkersError
        When workers end before they read anything.
    """
    suspects = yield from _read_until_broken(waiting, one_job, workers)
    if suspects:
        _check_that_workers_start()
    while suspects is not None:
        yield from _read_alone(suspects, one_job)
        suspects = yield from _read_until_broken(waiting, one_job, workers)


def _read_until_broken(
    waiting: Iterator[Job], one_job: Callable[[Job], JobResult], workers: int
) -> Generator[JobResult, None, list[Job] | None]:
    """Yield results; return the jobs in flight when a worker ended, None when all are done."""
    pool = _new_pool(workers)
    flying: dict[Future[JobResult], Job] = {}
    begun_s: dict[Future[JobResult], float] = {}
    broken = False
    try:
        while not broken:
            for job in islice(waiting, workers - len(flying)):
                try:
                    with _as_a_worker_starts():
                        future = pool.submit(one_job, job)
                except BrokenProcessPool:
                    future, broken = Future(), True
                flying[future], begun_s[future] = job, time.monotonic()
                if broken:
                    break
            if broken or not flying:
                break
            left_s = min(begun_s[future] for future in flying) + LONGEST_PHOTO_S - time.monotonic()
            done = wait(flying, timeout=max(left_s, 0.0), return_when=FIRST_COMPLETED).done
            for future in done:
                if isinstance(future.exception(), BrokenProcessPool):
                    broken = True
                else:
                    del flying[future]
                    yield future.result()
            if not done:
                broken = True
                _end_workers(pool)
                for future in [
                    f for f in flying if time.monotonic() - begun_s[f] >= LONGEST_PHOTO_S
                ]:
                    yield took_too_long(flying.pop(future), LONGEST_PHOTO_S)
    finally:
        pool.shutdown(wait=not broken, cancel_futures=True)
    return list(flying.values()) if broken else None


def _read_alone(jobs: list[Job], one_job: Callable[[Job], JobResult]) -> Iterator[JobResult]:
    for job in jobs:
        with _new_pool(1) as pool:
            try:
                with _as_a_worker_starts():
                    future = pool.submit(one_job, job)
                yield future.result(timeout=LONGEST_PHOTO_S)
            except TimeoutError:
                _end_workers(pool)
                yield took_too_long(job, LONGEST_PHOTO_S)
            except BrokenProcessPool:
                yield unread(job, "reading this photo ended its worker process, twice")


class _TooLongError(PhotoRefusedError):
    """Work on a photo that was ended because it took too long."""


class StandingWorker:
    """One worker that stays between photos, so that the next one need not wait for its start.

    What a photo does to it costs that photo: it is ended and made anew. For one thread at a time.
    """

    def __init__(self) -> None:
        self._pool: ProcessPoolExecutor | None = None

    def fleet(self, jobs: Iterable[Job], read: PhotoReader) -> Iterator[JobResult]:
        """Read jobs one by one: a :data:`jarvision.run.jobs.Fleet`.

        Raises
        ------
        WorkersError
            When workers end before they read anything.
        """
        one_job = partial(read_job, read)
        return (self._read(job, one_job) for job in jobs)

    def do(self, work: Callable[[], _Done]) -> _Done:
        """Have something done with a photo in the worker, and wait for it; both are picklable.

        Raises
        ------
        PhotoRefusedError
            It took too long, or ended its worker twice; the next photo gets another worker.
        WorkersError
            When workers end before they do anything.
        Exception
            What the work raises.
        """
        for _ in range(2):
            self._pool = self._pool or _new_pool(1)
            try:
                with _as_a_worker_starts():
                    future = self._pool.submit(work)
                return future.result(timeout=LONGEST_PHOTO_S)
            except TimeoutError:
                _end_workers(self._pool)
                self._pool = None
                raise _TooLongError(
                    "unreadable", f"it took longer than {LONGEST_PHOTO_S:.0f} s: given up"
                ) from None
            except BrokenProcessPool:
                self._pool = None
        _check_that_workers_start()
        raise PhotoRefusedError("unreadable", "reading this photo ended its worker process, twice")

    def start(self, work: Callable[[], None]) -> None:
        """Start the worker, and have something done in it before the first photo; nobody waits."""
        self._pool = self._pool or _new_pool(1)
        with _as_a_worker_starts():
            self._pool.submit(work)

    def close(self) -> None:
        """End the worker."""
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)
            self._pool = None

    def _read(self, job: Job, one_job: Callable[[Job], JobResult]) -> JobResult:
        try:
            return self.do(partial(one_job, job))
        except _TooLongError:
            return took_too_long(job, LONGEST_PHOTO_S)
        except PhotoRefusedError as refusal:
            return unread(job, refusal.detail)


class SideRun:
    """Work in a process of its own that may be ended at any moment, as if it had been killed.

    For what nobody waits for: it gives way to every other program.
    """

    def __init__(self, work: Callable[[], None]) -> None:
        context = multiprocessing.get_context("spawn")
        self._process = context.Process(target=_run_aside, args=(work,))
        with _as_a_worker_starts():
            self._process.start()

    def end(self) -> None:
        """End it now, unless it has ended; its own workers leave with it."""
        self._process.kill()
        self._process.join()

    def wait(self) -> bool:
        """Wait until it ends; whether it did its work."""
        self._process.join()
        return self._process.exitcode == 0


def _run_aside(work: Callable[[], None]) -> None:
    """Do something in a process of its own, after all others."""
    _start_worker()
    if hasattr(os, "nice"):
        os.nice(_NICE)
    work()


def _end_workers(pool: ProcessPoolExecutor) -> None:
    """End the workers of a pool, those too that hear no signal; Python offers it from 3.14 on."""
    for process in list((pool._processes or {}).values()):  # noqa: SLF001
        process.kill()


def _check_that_workers_start() -> None:
    """Raise :class:`WorkersError` when it is not the photos that end the workers."""
    try:
        with _new_pool(1) as pool:
            pool.submit(os.getpid).result()
    except BrokenProcessPool as error:
        raise WorkersError(_NO_START, _NO_START_REMEDY) from error


def refuse_in_a_starting_worker() -> None:
    """Raise :class:`WorkersError` in a process that is still being made into a worker.

    It runs the main script anew and must not begin the work, which waits for the worker.
    """
    if getattr(multiprocessing.current_process(), "_inheriting", False):
        raise WorkersError(_NO_START, _NO_START_REMEDY)


def _new_pool(workers: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(
        max_workers=workers,
        mp_context=multiprocessing.get_context("spawn"),  # the same on every system
        initializer=_start_worker,
    )


@contextmanager
def _as_a_worker_starts() -> Iterator[None]:
    """What a process must find when it begins, and this one must not keep."""
    with _deaf_to_ctrl_c(), _one_thread_told():
        yield


@contextmanager
def _deaf_to_ctrl_c() -> Iterator[None]:
    """Hold Ctrl-C back while processes start: they never hear it, even before their first line.

    A process begins with the signals of the thread that starts it blocked (POSIX, execve); here
    the signal arrives afterwards. Windows has no such mask.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextmanager
def _one_thread_told() -> Iterator[None]:
    """Tell processes that start to do linear algebra in one thread: photos share the cores already.

    Such libraries read it once, as they load, and a worker's load before its first line here. This
    process has its own loaded long since. Whatever the user has set stays.
    """
    own = [name for name in THREADS_OF if name not in os.environ]
    os.environ.update(dict.fromkeys(own, "1"))
    try:
        yield
    finally:
        for name in own:
            os.environ.pop(name, None)


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
