"""The folder against the store: what must be read is read, and kept as it comes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath

from jarvision.base.files import write_whole
from jarvision.base.text import counted, printable
from jarvision.records import Reading
from jarvision.register.photo_names import picture_name, read_name
from jarvision.run.jobs import Fleet, Job, JobResult, PhotoReader
from jarvision.run.provenance import Provenance
from jarvision.run.sources import PhotoFolder
from jarvision.run.store import Known, Store

Progress = Callable[[int, int, Reading | None], None]
"""Called in the parent with photos done, photos to do and the newest reading (None: known)."""

Tell = Callable[[str], None]
"""Takes a sentence for the user; it goes to no file."""


@dataclass
class Tally:
    """What happened to the photos of a run, by name."""

    known: int = 0
    read: int = 0
    changed: list[str] = field(default_factory=list)
    outdated: list[str] = field(default_factory=list)
    moved: list[str] = field(default_factory=list)
    gone: list[str] = field(default_factory=list)

    def sentences(self) -> list[str]:
        """What a person should hear; nothing when every photo was new."""
        told = []
        if self.known:
            told.append(
                f"{counted(self.known, 'photo')} known from earlier runs, {self.read} read now."
            )
        for names, what in (
            (self.changed, "changed since the last run and read again"),
            (self.outdated, "read again: jarvision, its settings or the card's colours changed"),
            (self.moved, "moved or renamed"),
            (self.gone, "no longer in the folder and not counted; what was read of them is kept"),
        ):
            if names:
                more = " and others" if len(names) > 1 else ""
                told.append(f"{counted(len(names), 'photo')} {what}: {printable(names[0])}{more}.")
        return told


@dataclass(frozen=True)
class Intake:
    """Brings a store up to date with a folder.

    Attributes
    ----------
    folder, out
        The scored folder and the output folder.
    job_of
        Makes the job of a photo, but for its ``known`` and its ``parcel``.
    made_with
        What all readings of this run are made with; each job adds what is told of its jar.
    """

    store: Store
    folder: PhotoFolder
    out: Path
    job_of: Callable[[Path], Job]
    made_with: Provenance
    fleet: Fleet
    read: PhotoReader

    def update(
        self, paths: Sequence[Path], *, tell: Tell | None = None
    ) -> dict[Path, Reading | None]:
        """Read what the store does not know, and keep it.

        Returns what cannot be kept: readings that failed for a reason that may pass, None for a
        photo that went away meanwhile.

        Raises
        ------
        NotWritableError
        """
        return self._pass(paths, None, tell)

    def take(
        self,
        paths: Sequence[Path],
        *,
        progress: Progress | None = None,
        tell: Tell | None = None,
    ) -> tuple[Reading, ...]:
        """Read what the store does not know; return all readings in the order of ``paths``.

        Photos that go away meanwhile have no reading.

        Raises
        ------
        NotWritableError
        """
        loose = self._pass(paths, progress, tell)
        readings = self._collect(paths, loose)
        lost = [path for path in paths if readings.get(path) is None and path not in loose]
        if lost:  # rows whose bytes no longer hold together: those photos are read again, once
            for path in lost:
                self.store.forget(self.name(path))
            loose |= self._pass(paths, progress, None)
            readings = self._collect(paths, loose)
        found = (readings.get(path) for path in paths)
        return tuple(reading for reading in found if reading is not None)

    def _pass(
        self, paths: Sequence[Path], progress: Progress | None, tell: Tell | None
    ) -> dict[Path, Reading | None]:
        one = _Round(self, paths)
        loose = one.run(progress)
        if tell is not None:
            for sentence in one.tally.sentences():
                tell(sentence)
        return loose

    def name(self, path: Path) -> str:
        """Name of a photo under the folder, with forward slashes."""
        return path.relative_to(self.folder.root).as_posix()

    def provenance(self, path: Path) -> Provenance:
        """What the reading of a photo is made with in this run."""
        return self.made_with.with_jar(self.job_of(path).told_of_jar)

    def holds(self, known: Known, path: Path) -> bool:
        """Tell whether a reading was made as ``path`` would be read now, and has its pictures."""
        return known.made_with == self.provenance(path) and all(
            (self.out / relative).is_file() for relative in known.pictures
        )

    def _collect(
        self, paths: Sequence[Path], loose: dict[Path, Reading | None]
    ) -> dict[Path, Reading | None]:
        return {p: loose[p] if p in loose else self.store.reading(self.name(p)) for p in paths}


class _Round:
    """One pass over a folder: what is known, what is read, what has moved or gone."""

    def __init__(self, intake: Intake, paths: Sequence[Path]) -> None:
        self.intake, self.store = intake, intake.store
        self.names = {intake.name(path): path for path in paths}
        self.index = intake.store.index()
        self.away = {name: k for name, k in self.index.items() if name not in self.names}
        self.tally = Tally()
        self.moved_from: set[str] = set()
        self.loose: dict[Path, Reading | None] = {}  # not for keeping; None: gone meanwhile

    def run(self, progress: Progress | None) -> dict[Path, Reading | None]:
        """Read and keep; return what could not be kept."""
        intake = self.intake
        todo = list(self._to_do())
        queue = (
            replace(intake.job_of(path), known=known, parcel=intake.folder.parcel(path))
            for path, known in todo
        )
        for done, result in enumerate(intake.fleet(queue, intake.read), start=1):
            self._take(result)
            if progress is not None:
                progress(done, len(todo), result.reading)
        self._settle()
        return self.loose

    # ----------------------------------------------------------------------- before reading
    def _to_do(self) -> Iterator[tuple[Path, frozenset[str]]]:
        """Photos that the stamp does not tell, each with the contents that spare its reading."""
        away_by_size = defaultdict(list)
        for old, gone in self.away.items():
            away_by_size[gone.stamp.size].append((old, gone))
        for name, path in self.names.items():
            stamp, known = self.intake.folder.stamp(path), self.index.get(name)
            if known is None:
                alike = away_by_size[stamp.size] if stamp is not None else []
                contents = {k.content for old, k in alike if self._can_adopt(old, k, name)}
                yield path, frozenset(contents)
            elif not self.intake.holds(known, path):
                if known.made_with != self.intake.provenance(path):
                    self.tally.outdated.append(name)
                yield path, frozenset()
            elif stamp is not None and stamp.sure and stamp == known.stamp:
                self.tally.known += 1
            else:
                yield path, frozenset() if known.by_file_time else frozenset({known.content})

    def _can_adopt(self, old: str, known: Known, new: str) -> bool:
        """Tell whether a photo would be read the same under another name."""
        same = read_name(old) == read_name(new)
        return same and not known.by_file_time and self.intake.holds(known, self.names[new])

    # ----------------------------------------------------------------------- as photos come
    def _take(self, result: JobResult) -> None:
        name, reading, stamp = result.name, result.reading, result.stamp
        before = self.index.get(name)
        if stamp is None or not result.content:
            self.loose[self.names[name]] = reading
            self.tally.read += reading is not None
            return
        if reading is None and before is not None:
            self.store.restamp(name, stamp)
            self.tally.known += 1
            return
        if reading is None:
            reading = self._adopted(name, result.content)
            if reading is None:
                return  # the old row was damaged and is forgotten: the next round reads the photo
            self.tally.known += 1
        else:
            for relative, picture in result.pictures:
                write_whole(self.intake.out / relative, picture)
            self.tally.read += 1
        self.store.keep(
            reading,
            stamp=stamp,
            content=result.content,
            made_with=self.intake.provenance(self.names[name]),
        )
        if before is None:
            self._note_move(name, result.content)
        elif before.content != result.content:
            self.tally.changed.append(name)

    def _adopted(self, name: str, content: str) -> Reading | None:
        """Reading of a photo that moved, under its new name, with its pictures."""
        for old, known in self.away.items():
            if known.content == content and self._can_adopt(old, known, name):
                reading = self.store.reading(old)
                if reading is None:
                    self.store.forget(old)
                    return None
                return replace(
                    reading,
                    photo=name,
                    overlay=self._copied(reading.overlay, name),
                    wall_picture=self._copied(reading.wall_picture, name),
                )
        return None

    def _copied(self, relative: str, name: str) -> str:
        """Copy a picture to the name that belongs to a photo; empty for none."""
        if not relative:
            return ""
        fresh = (PurePosixPath(relative).parent / picture_name(name)).as_posix()
        write_whole(self.intake.out / fresh, (self.intake.out / relative).read_bytes())
        return fresh

    def _note_move(self, name: str, content: str) -> None:
        for old, known in self.away.items():
            if known.content == content:
                self.moved_from.add(old)
                self.tally.moved.append(f"{old} is now {name}")
                return

    # ----------------------------------------------------------------------- afterwards
    def _settle(self) -> None:
        """Forget the old names of what moved; mark what has left the folder or come back."""
        for old in self.moved_from:
            for relative in self.away[old].pictures:
                (self.intake.out / relative).unlink(missing_ok=True)
            self.store.forget(old)
        left = [n for n, k in self.away.items() if k.here and n not in self.moved_from]
        back = [n for n, k in self.index.items() if not k.here and n in self.names]
        self.store.mark(left, here=False)
        self.store.mark(back, here=True)
        self.tally.gone.extend(left)
