"""Photos that arrive one by one: wait until each is whole, read it, refresh the report in a pause.

The folder is looked at again and again, which works on network shares and phone syncs too, where
nobody tells of a change. Times are those of a clock that nobody can set.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from jarvision.base.errors import FolderLostError, NothingToScoreError, UsageError
from jarvision.run.lock import only_run
from jarvision.run.photo_files import STORE_NAME
from jarvision.run.score import check_apart, check_writable
from jarvision.run.sources import BESIDE_SUFFIXES, MAX_BESIDE_BYTES, PhotoFolder
from jarvision.run.stamps import Stamp, content_of, stamp_of
from jarvision.run.store import Store
from jarvision.vision.photo.read import is_whole

PATIENCE_S = 300.0
"""A photo that has not grown for so long is read as it is: its copy broke off, or it is damaged."""

_Change = Literal["none", "came", "ready"]

Pass = Callable[[PhotoFolder, Collection[Path]], None]
"""Works on a folder; the second argument names the photos that are not ready yet."""


@dataclass(frozen=True)
class Work:
    """What to do with a folder: read what is ready; tell the stories and write the report."""

    read: Pass
    refresh: Pass
    tell: Callable[[str], None]


@dataclass(frozen=True)
class Rhythm:
    """How often to look, and how long nothing must have come before the report is refreshed, s."""

    interval_s: float
    pause_s: float
    sleep: Callable[[float], None] = time.sleep
    clock: Callable[[], float] = time.monotonic


@dataclass(frozen=True)
class Look:
    """What a look at the folder found: photos that became ready; any that came, changed or went."""

    fresh: bool
    moved: bool


@dataclass
class Arrivals:
    """Which photos are ready, from one look at the folder to the next.

    A photo is ready when two looks in a row found the same stamp and ``whole`` says so, or when it
    has been waited for long enough. One that later changes is waited for again.

    Attributes
    ----------
    ready
        Stamp of every photo that is ready; None for what is no regular file.
    """

    ready: dict[Path, Stamp | None]
    whole: Callable[[Path], bool]
    _waiting: dict[Path, tuple[Stamp, float]] = field(default_factory=dict)

    def look(self, stamps: Mapping[Path, Stamp | None], now_s: float) -> Look:
        """Take a look."""
        gone = any(path not in stamps for path in self.ready)
        self.ready = {path: stamp for path, stamp in self.ready.items() if path in stamps}
        self._waiting = {path: seen for path, seen in self._waiting.items() if path in stamps}
        changes = {self._see(path, stamp, now_s) for path, stamp in stamps.items()}
        return Look(fresh="ready" in changes, moved=gone or bool(changes - {"none"}))

    @property
    def waiting(self) -> frozenset[Path]:
        """Photos that are not ready yet."""
        return frozenset(self._waiting)

    def _see(self, path: Path, stamp: Stamp | None, now_s: float) -> _Change:
        """Take a photo from those that came to those that wait, from there to those ready."""
        if path in self.ready and self.ready[path] == stamp:
            return "none"
        before = self._waiting.get(path)
        if stamp is not None and (before is None or before[0] != stamp or not stamp.sure):
            self._waiting[path] = (stamp, now_s)
            self.ready.pop(path, None)
            return "came"
        if stamp is None or self._is_ready(path, before, now_s):
            self._waiting.pop(path, None)
            self.ready[path] = stamp
            return "ready"
        return "none"

    def _is_ready(self, path: Path, before: tuple[Stamp, float] | None, now_s: float) -> bool:
        patient = before is not None and now_s - before[1] >= PATIENCE_S
        return patient or self.whole(path)


def watch_folder(
    open_source: Callable[[], AbstractContextManager[PhotoFolder]],
    *,
    out: Path,
    work: Work,
    rhythm: Rhythm,
) -> None:
    """Watch until interrupted.

    A folder that goes away, such as a share, is waited for; so is a register that is being edited
    and cannot be read.

    Raises
    ------
    UsageError
        No such folder at the start, or ``out`` is the same one; later it is only told.
    NotWritableError
        ``out`` cannot be written.
    """
    # what came while nobody watched is told, too
    watch = _Watch(out, work, rhythm, due_since=rhythm.clock())
    while True:
        watch.look(open_source)
        rhythm.sleep(rhythm.interval_s)


@dataclass
class _Watch:
    """What a watch remembers from one look to the next.

    ``beside`` holds the contents of what lies beside the photos, ``due_since`` when the report
    began to lack something, ``lost`` whether the folder was away or wrong at the last look.
    """

    out: Path
    work: Work
    rhythm: Rhythm
    due_since: float | None
    arrivals: Arrivals | None = None
    beside: Mapping[str, str] = field(default_factory=dict)
    lost: bool = False

    def look(self, open_source: Callable[[], AbstractContextManager[PhotoFolder]]) -> None:
        """Look once, and do what there is to do."""
        try:
            with open_source() as source:
                self._work_on(source)
                if self.lost:
                    self.work.tell("That is settled: going on.")
                self.lost = False
        except NothingToScoreError:  # not yet
            pass
        except (UsageError, FolderLostError) as error:
            if self.arrivals is None:
                raise
            if not self.lost:
                self.work.tell(f"{error} Waiting.")
            self.lost = True

    def _work_on(self, source: PhotoFolder) -> None:
        """Read what is ready; refresh the report when nothing has come for a while."""
        if self.arrivals is None:
            self.arrivals = _begin(source, self.out, self.work.tell)
        stamps = _stamps(source, self.out)
        now_s = self.rhythm.clock()
        seen = self.arrivals.look(stamps, now_s)
        beside = _beside(source.root, self.out)
        if seen.moved or beside != self.beside:
            self.due_since, self.beside = now_s, beside
        if seen.fresh:
            self.work.read(source, self.arrivals.waiting)
            self.due_since = self.rhythm.clock()
        due = self.due_since
        if due is not None and self.rhythm.clock() - due >= self.rhythm.pause_s:
            self.work.refresh(source, self.arrivals.waiting)
            self.due_since = None


def _begin(source: PhotoFolder, out: Path, tell: Callable[[str], None]) -> Arrivals:
    """Begin with the photos that an earlier run has read: they are known to be whole.

    What no run could do is told at once, not when the first photo comes.
    """
    check_apart(source.root, out)
    check_writable(out)

    def whole(path: Path) -> bool:
        # a photo behind an address appears there when all of it is there
        return not path.exists() or is_whole(path)

    known: dict[Path, Stamp | None] = {}
    if (out / STORE_NAME).is_file():
        with only_run(out, tell=tell), Store(out, tell=tell) as store:
            known = {source.root / name: row.stamp for name, row in store.index().items()}
    return Arrivals(ready=known, whole=whole)


def _stamps(source: PhotoFolder, out: Path) -> dict[Path, Stamp | None]:
    return {path: source.stamp(path) for path in source.photos(out=out, warn=_say_nothing)}


def _beside(root: Path, out: Path) -> dict[str, str]:
    """Contents of what lies beside the photos: a change of the register refreshes the report."""
    places = [root, *(path for path in root.iterdir() if path.is_dir())]
    files = (path for place in places if place.resolve() != out.resolve() for path in _small(place))
    return {path.relative_to(root).as_posix(): content_of(path) for path in files}


def _small(place: Path) -> Iterator[Path]:
    for path in place.glob("*"):
        stamp = stamp_of(path) if path.suffix.lower() in BESIDE_SUFFIXES else None
        if stamp is not None and stamp.size <= MAX_BESIDE_BYTES:
            yield path


def _say_nothing(_: str) -> None:
    pass
