"""A Dask cluster in place of worker processes: the same function, photo by photo.

Workers need this version of jarvision and nothing else: a photo of a folder on this machine travels
with its job, one behind an address is fetched by the worker, pictures come back in the result.
"""

from __future__ import annotations

import pickle
import threading
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from itertools import islice
from typing import Any, Final, TypeAlias

from jarvision.base.errors import JarvisionError, UsageError
from jarvision.base.text import printable
from jarvision.run.jobs import Fleet, Job, JobResult, Parcel, PhotoReader, read_job, unread
from jarvision.run.provenance import code_version
from jarvision.run.stamps import stamp_of
from jarvision.vision.photo.read import MAX_BYTES

Client: TypeAlias = Any  # distributed has no types of its own
Future: TypeAlias = Any

CONNECT_S: Final = 10.0
LOOK_S: Final = 5.0
"""How often to look whether the cluster is still there while no photo comes back."""

PATIENCE_LOOKS: Final = 12
"""How many such looks to wait for workers to come (again): a minute."""

COUNT_S: Final = 1.0
"""How long the number of workers is taken to be what it was: to ask costs more than a photo."""

_ONE_PHOTO = threading.Lock()  # a photo limits linear algebra to one thread, for all of a process


@contextmanager
def cluster_fleet(address: str) -> Iterator[Fleet]:
    """Connect to a Dask scheduler, such as ``tcp://192.168.1.20:8786``.

    Raises
    ------
    UsageError
        No scheduler there, or ``distributed`` is not installed.
    """
    try:
        import dask
        import distributed
    except ImportError as error:
        raise UsageError(
            f"--scheduler needs a package that is not installed ({error})",
            "Install it: pip install 'jarvision[cluster]'.",
        ) from error
    quiet = {"distributed.admin.large-graph-warning-threshold": "1 TB"}  # photos travel with jobs
    with dask.config.set(quiet):
        try:
            connect: Any = distributed.Client
            client: Client = connect(address, timeout=CONNECT_S, set_as_default=False)
        except (OSError, ValueError) as error:
            raise UsageError(
                f"No Dask scheduler answers at {printable(address)} ({error})",
                "Check the address: 'dask scheduler' prints it when it starts.",
            ) from error
        with client:
            yield lambda jobs, read: _read_all(client, jobs, read)


def _read_all(client: Client, jobs: Iterable[Job], read: PhotoReader) -> Iterator[JobResult]:
    """Yield results as they come; twice as many photos as threads are under way."""
    import distributed

    wait: Any = distributed.wait
    waiting = iter(jobs)
    flying: dict[Future, Job] = {}
    looks, hands = 0, _Hands(client)
    try:
        while True:
            room = max(0, 2 * max(1, hands.count()) - len(flying))  # workers come and go
            for job in islice(waiting, room):
                packed = _packed(read, job)
                if packed is None:
                    yield read_job(read, job)  # no file that could be sent: told from here
                else:
                    future = client.submit(_read_packed, packed, pure=False)
                    light = None if job.parcel is None else replace(job.parcel, content=b"")
                    flying[future] = replace(job, parcel=light)
            if not flying:
                return
            try:
                with client.as_current():
                    done = wait(list(flying), timeout=LOOK_S, return_when="FIRST_COMPLETED").done
            except TimeoutError:
                looks = 0 if _threads(client) else looks + 1
                if looks > PATIENCE_LOOKS or client.status != "running":
                    raise _lost(client) from None
                continue
            except distributed.CancelledError:
                raise _lost(client) from None
            looks = 0
            for future in done:
                yield _result(client, future, flying.pop(future))
                future.release()
    finally:
        if flying and client.status == "running":
            client.cancel(list(flying))


def _packed(read: PhotoReader, job: Job) -> bytes | None:
    """Job with its photo, as bytes that the cluster need not look into; None: no file to send."""
    if job.parcel is None:
        stamp = stamp_of(job.path)
        if stamp is None or stamp.size > MAX_BYTES:
            return None
        try:
            content, mtime_ns = job.path.read_bytes(), job.path.stat().st_mtime_ns
        except OSError:
            return None
        job = replace(job, parcel=Parcel(stamp, mtime_ns, content))
    return pickle.dumps((code_version(), read, job))


def _read_packed(packed: bytes) -> JobResult:
    """Read one photo; runs in a worker of the cluster."""
    import cv2

    wanted, read, job = pickle.loads(packed)  # noqa: S301 - whoever reaches a cluster is trusted
    if wanted != code_version():
        raise UsageError(
            f"A worker of the cluster runs jarvision {code_version()}, this is {wanted}",
            "Install the same version on all machines.",
        )
    with _ONE_PHOTO:
        cv2.setNumThreads(1)
        return read_job(read, job)


def _result(client: Client, future: Future, job: Job) -> JobResult:
    from distributed import CancelledError, KilledWorker

    try:
        result: JobResult = future.result()
        return result
    except KilledWorker:
        return unread(job, "reading this photo ended several workers of the cluster")
    except CancelledError:
        raise _lost(client) from None
    except ModuleNotFoundError as error:
        raise UsageError(
            f"A worker of the cluster lacks a package ({error})",
            "Install the same version of jarvision on all machines.",
        ) from error


class _Hands:
    """How many threads the cluster has; asked for now and then, since to ask is dear."""

    def __init__(self, client: Client) -> None:
        self._client = client
        self._known, self._until = 0, 0.0

    def count(self) -> int:
        """Threads of all workers, as they were a moment ago."""
        now = time.monotonic()
        if now >= self._until:
            self._known, self._until = _threads(self._client), now + COUNT_S
        return self._known


def _threads(client: Client) -> int:
    workers: dict[str, Any] = client.scheduler_info(n_workers=-1)["workers"]
    return sum(worker["nthreads"] for worker in workers.values())


def _lost(client: Client) -> JarvisionError:
    where = client.scheduler.address if client.scheduler else "its address"
    return JarvisionError(
        f"The Dask cluster at {printable(str(where))} has gone, or has no worker",
        "What has been read is kept: the same command goes on from there.",
    )
