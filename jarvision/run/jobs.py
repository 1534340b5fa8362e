"""One photo in, one result out: the function that every worker runs, wherever it is.

Jobs and results are small and picklable. A worker that does not see the folder of photos gets a
parcel with its job, and sends the pictures back in its result.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, time
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from jarvision.base.days import EARLIEST
from jarvision.base.errors import NotWritableError, UsageError
from jarvision.base.text import printable
from jarvision.records import JarShape, KnownLook, NothingGrown, Reading, TimeSource
from jarvision.register.photo_names import NameParts, read_name
from jarvision.run.stamps import Stamp, content_of, stamp_of
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.calibration.values import CardValues
from jarvision.vision.photo import time_without_exif
from jarvision.vision.photo.read import MAX_BYTES
from jarvision.vision.read import read_jar_photo

if TYPE_CHECKING:
    from threadpoolctl import ThreadpoolController

KEPT_BYTES: Final = 30 * 2**20
"""The largest block of a photo is its pixels, 9 MB; glibc minds blocks of up to 32 MB."""


@dataclass(frozen=True)
class Parcel:
    """A photo for a worker that does not see its folder: the content, or where to fetch it.

    Attributes
    ----------
    stamp
        What the folder said of the file.
    mtime_ns
        The file's own time, given to the worker's copy.
    content
        The file; None: fetch it from ``url``.
    url
        Address that fsspec understands.
    """

    stamp: Stamp
    mtime_ns: int
    content: bytes | None = None
    url: str = ""

    def open(self) -> bytes:
        """Content of the photo. Raises whatever the file system behind the address raises."""
        if self.content is not None:
            return self.content
        if self.stamp.size > MAX_BYTES:
            raise ValueError(f"a file of over {MAX_BYTES // 10**6} MB")
        import fsspec

        with fsspec.open(self.url, "rb") as file:
            content: bytes = file.read()
        return content


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
    references
        What the contents of the jars that this photo can be of look like bare, by jar.
    nothing_grown
        When the grower says that nothing has grown in the jars that this photo can be of, by jar.
    told_jar
        The jar that the grower has told for this photo; empty: its name or its tag tells.
    known
        SHA-256 of contents that need no reading: of such a photo only the content is told.
    parcel
        For a worker that does not see ``path``; its pictures then come back in the result.
    """

    path: Path
    root: Path
    out: Path | None
    values: CardValues | None = None
    settings: PhotoSettings | None = None
    shapes: Mapping[str, JarShape] = field(default_factory=dict)
    references: Mapping[str, KnownLook] = field(default_factory=dict)
    nothing_grown: Mapping[str, NothingGrown] = field(default_factory=dict)
    told_jar: str = ""
    known: frozenset[str] = frozenset()
    parcel: Parcel | None = None

    @property
    def name(self) -> str:
        """Path relative to the scored folder, with forward slashes."""
        return self.path.relative_to(self.root).as_posix()

    @property
    def parts(self) -> NameParts:
        """What the photo's name says, and the grower of it."""
        return read_name(self.name, self.told_jar)

    @property
    def told_of_jar(self) -> str:
        """What the grower says that this reading depends on, as text; a change reads it again."""
        shapes = repr(sorted(self.shapes.items())) if self.shapes else ""
        return f"{self.told_jar}: {shapes}" if self.told_jar else shapes


@dataclass(frozen=True)
class JobResult:
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
Fleet = Callable[[Iterable[Job], PhotoReader], Iterator[JobResult]]
"""Reads jobs somewhere and yields their results as they come, in any order."""


@cache
def keep_freed_memory() -> None:
    """Have the C library keep what one photo frees for the next one.

    glibc gives memory back to the system from twice the largest block freed so far (mallopt(3),
    dynamic threshold): one large block, never touched, raises that. To fetch the pages anew would
    take a twentieth of a photo's time. Other C libraries take no notice.
    """
    np.empty(KEPT_BYTES, dtype=np.uint8)


@cache
def _linear_algebra() -> ThreadpoolController:
    """The libraries that NumPy and SciPy are built on.

    Two threads add up in another order than one: a photo would be read a ten-thousandth of a point
    differently here and in a worker, or on a machine with more cores.
    """
    import scipy.linalg  # noqa: F401 - else its own library is not loaded, and not found
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()


def read_one(job: Job) -> Reading:
    """Read one photo with the package's own reader."""
    return read_jar_photo(
        job.path,
        root=job.root,
        out=job.out,
        values=job.values,
        settings=job.settings,
        shapes=job.shapes,
        references=job.references,
        nothing_grown=job.nothing_grown,
        told_jar=job.told_jar,
        jar_needed=True,
    )


def read_job(read: PhotoReader, job: Job) -> JobResult:
    """Read one photo, unless its content is known; what is wrong with it becomes its own row.

    Raises
    ------
    NotWritableError, UsageError, ImportError
        What no other photo can do without: the output folder, the settings, the installation.
    """
    keep_freed_memory()
    if job.parcel is not None:
        return _read_parcel(read, job, job.parcel)
    stamp = stamp_of(job.path)
    content = content_of(job.path) if stamp is not None and stamp.size <= MAX_BYTES else ""
    if content and content in job.known:
        return JobResult(job.name, None, content, stamp)
    try:
        with _linear_algebra().limit(limits=1, user_api="blas"):
            reading = read(job)
        if reading.status != "ok" and not os.path.lexists(job.path):
            return JobResult(job.name, None)
        return JobResult(job.name, reading, content, stamp)
    except (ImportError, NotWritableError, UsageError):
        raise
    except Exception as error:  # noqa: BLE001 - one odd photo must not cost the others: its own row
        return unread(job, f"{type(error).__name__}: {error}")


def _read_parcel(read: PhotoReader, job: Job, parcel: Parcel) -> JobResult:
    """Read a photo in a folder of its own, laid out like the scored one."""
    with tempfile.TemporaryDirectory(prefix="jarvision-", ignore_cleanup_errors=True) as place:
        root, out = Path(place) / "photos", Path(place) / "out"
        here = replace(job, path=root / job.name, root=root, out=out, parcel=None)
        here.path.parent.mkdir(parents=True)
        fault = ""
        try:
            here.path.write_bytes(parcel.open())
        except FileNotFoundError:
            return JobResult(job.name, None)
        except Exception as error:  # noqa: BLE001 - file systems elsewhere have errors of their own
            here.path.touch()
            fault = f"cannot fetch the file: {error}"
        os.utime(here.path, ns=(parcel.mtime_ns, parcel.mtime_ns))
        if fault:
            return unread(here, fault)
        result = read_job(read, here)
        found = sorted(path for path in out.rglob("*") if path.is_file())
        pictures = tuple((path.relative_to(out).as_posix(), path.read_bytes()) for path in found)
        return replace(result, stamp=parcel.stamp, pictures=pictures)


def unread(job: Job, detail: str) -> JobResult:
    """Result of a photo that could not be read this time; without a reading when it is gone."""
    if job.parcel is None and not os.path.lexists(job.path):
        return JobResult(job.name, None)
    taken_at, source = time_without_exif(job.path, dated=job.parts.day)
    if source == "file" and job.parcel is not None:
        taken_at = datetime.fromtimestamp(job.parcel.mtime_ns // 10**9)
    return _unread(job, (taken_at, source), detail)


def took_too_long(job: Job, seconds: float) -> JobResult:
    """Result of a photo whose reading was ended; the file, which may never answer, is let be."""
    day = job.parts.day
    source: TimeSource = "name" if day else "file"
    taken = datetime.combine(day or EARLIEST, time(12)), source
    return _unread(job, taken, f"reading this photo took longer than {seconds:.0f} s: given up")


def _unread(job: Job, taken: tuple[datetime, TimeSource], detail: str) -> JobResult:
    parts = job.parts
    reading = Reading(
        photo=job.name,
        jar=parts.jar,
        view=parts.view,
        taken_at=taken[0],
        time_source=taken[1],
        status="unusable",
        reason="unreadable",
        detail=printable(detail),
    )
    return JobResult(job.name, reading)
