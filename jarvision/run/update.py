"""The folder against the store: what must be read is read, and kept as it comes."""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import Final

from jarvision.base.files import write_whole
from jarvision.records import BareLook, JarEntry, KnownLook, Reading
from jarvision.register.jars import nothing_grown
from jarvision.register.photo_names import NameParts, picture_name, read_name, tells_jar
from jarvision.run.jobs import Fleet, Job, JobResult, PhotoReader
from jarvision.run.provenance import Provenance
from jarvision.run.references import References, Sighting
from jarvision.run.sources import PhotoFolder
from jarvision.run.store import Known, Store, known_of
from jarvision.run.tally import Tally

Progress = Callable[[int, int, Reading | None], None]
"""Called in the parent with photos done, photos to do and the newest reading (None: known)."""

MORE_ROUNDS: Final = 3
"""How often photos are read again in one run because more became known of their bare looks: once
where a first photo could not be used, or a name or file time said another day than the photo."""

_NONE: Final[Mapping[str, KnownLook]] = {}  # one for all
Tell = Callable[[str], None]
"""Takes a sentence for the user; it goes to no file."""


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
    register
        Tells which jars were filled alike.
    photo_jars
        What the grower has told: the jars of photos whose names do not say them.
    names
        Names of today by the former ones, which photos may still bear; the register has both.
    only
        The photos given are not the whole folder: all others are as the store has them.
    """

    store: Store
    folder: PhotoFolder
    out: Path
    job_of: Callable[[Path], Job]
    made_with: Provenance
    fleet: Fleet
    read: PhotoReader
    register: Mapping[str, JarEntry] = field(default_factory=dict)
    photo_jars: Mapping[str, str] = field(default_factory=dict)
    names: Mapping[str, str] = field(default_factory=dict)
    only: bool = False

    def update(
        self,
        paths: Sequence[Path],
        *,
        progress: Progress | None = None,
        tell: Tell | None = None,
    ) -> dict[Path, Reading | None]:
        """Read what the store does not know, and keep it.

        Returns what cannot be kept: readings that failed for a reason that may pass, None for a
        photo that went away meanwhile.

        Raises
        ------
        NotWritableError
        """
        one = _Round(self, paths)
        loose = one.run(progress)
        if tell is not None:
            one.tally.tell(tell)
        return loose

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
        loose = self.update(paths, progress=progress, tell=tell)
        readings = self._collect(paths, loose)
        lost = [path for path in paths if readings.get(path) is None and path not in loose]
        if lost:  # rows whose bytes no longer hold together: those photos are read again, once
            for path in lost:
                self.store.forget(self.name(path))
            loose |= self.update(paths, progress=progress)
            readings = self._collect(paths, loose)
        found = (readings.get(path) for path in paths)
        return tuple(reading for reading in found if reading is not None)

    def name(self, path: Path) -> str:
        """Name of a photo under the folder, with forward slashes."""
        return path.relative_to(self.folder.root).as_posix()

    def parts(self, name: str) -> NameParts:
        """What a photo's name says, and the grower of it."""
        return read_name(name, self.photo_jars.get(name, ""))

    def tells_jar(self, name: str) -> bool:
        """Whether its name, or the grower, says which jar a photo shows."""
        return tells_jar(name, self.photo_jars.get(name, ""))

    def provenance(
        self, path: Path, look: BareLook | None, *, nothing_grown: bool = False
    ) -> Provenance:
        """What the reading of a photo is made with in this run.

        Held against ``look``; or read on its own, with what the grower says of its contents.
        """
        made_with = self.made_with.with_jar(self.job_of(path).told_of_jar)
        if look is None and nothing_grown:
            return made_with.with_nothing_grown()
        return made_with.with_reference(look)

    def has_pictures(self, known: Known) -> bool:
        """Tell whether the pictures of a reading are there."""
        return all((self.out / relative).is_file() for relative in known.pictures)

    def _collect(
        self, paths: Sequence[Path], loose: dict[Path, Reading | None]
    ) -> dict[Path, Reading | None]:
        return {p: loose[p] if p in loose else self.store.reading(self.name(p)) for p in paths}


class _Round:
    """One pass over a folder: what is known, what is read, what has moved or gone.

    Photos of a jar's first day are read before its others, which are held against them.
    """

    def __init__(self, intake: Intake, paths: Sequence[Path]) -> None:
        self.intake, self.store = intake, intake.store
        self.names = {intake.name(path): path for path in paths}
        self.index = intake.store.index()
        others = {name: k for name, k in self.index.items() if name not in self.names}
        self.away, stay = ({}, others) if intake.only else (others, {})
        fresh = (name for name in self.names if name not in self.index)
        self.fresh_names = {intake.parts(name) for name in fresh} if self.away else set()
        self.tally = Tally()
        self.moved_from: set[str] = set()
        self.loose: dict[Path, Reading | None] = {}  # not for keeping; None: gone meanwhile
        self.given: dict[str, Mapping[str, KnownLook]] = {}  # the looks that photos were read with
        self.references = References(intake.register)
        self.bare_days = nothing_grown(intake.register.values())
        for name, known in self.index.items():
            if name in self.names or self._may_have_moved(name) or (name in stay and known.here):
                self.references.note(name, self._of_today(known.sighting))

    def run(self, progress: Progress | None) -> dict[Path, Reading | None]:
        """Read and keep; return what could not be kept."""
        todo = dict(self._to_do())
        for name in todo:
            if name not in self.index:
                self.references.note(name, self._of_today(self._foreseen(name)))
        first = {name for name in todo if self.references.is_first(name)}
        count = len(todo)
        alone = {n: k for n, k in todo.items() if n in first}
        done = self._read(alone, progress, 0, count, alone=True)
        done = self._read({n: k for n, k in todo.items() if n not in first}, progress, done, count)
        for name in self.away:  # one that has not moved after all teaches no longer
            self.references.note(name, None)
        for _ in range(MORE_ROUNDS if todo else 0):
            again = self._held_against_others()
            count += len(again)
            done = self._read(dict.fromkeys(again, frozenset()), progress, done, count)
        self._settle()
        return self.loose

    def _read(
        self,
        wave: Mapping[str, frozenset[str]],
        progress: Progress | None,
        done: int,
        count: int,
        *,
        alone: bool = False,
    ) -> int:
        """Read some photos, each with the contents that spare its reading; how many are done.

        ``alone``: held against nothing, so that they can teach.
        """
        if not wave:
            return done
        self.given |= {name: _NONE if alone else self._references_for(name) for name in wave}
        jobs = (self._job(name, known) for name, known in wave.items())
        for result in self.intake.fleet(jobs, self.intake.read):
            self._take(result)
            done += 1
            if progress is not None:
                progress(done, count, result.reading)
        return done

    def _job(self, name: str, known: frozenset[str]) -> Job:
        job = self.intake.job_of(self.names[name])
        parcel = self.intake.folder.parcel(self.names[name])
        said = {jar: self.bare_days[jar] for jar in self._jars_of(name) if jar in self.bare_days}
        return replace(
            job, known=known, references=self.given[name], nothing_grown=said, parcel=parcel
        )

    def _foreseen(self, name: str) -> Sighting | None:
        """What a photo that was never read shows, as its name and its file's time say."""
        if not self.intake.tells_jar(name):
            return None
        parts, stamp = self.intake.parts(name), self.intake.folder.stamp(self.names[name])
        when = stamp.mtime_ns if stamp is not None and stamp.sure else time.time_ns()
        return Sighting(parts.jar, parts.day or datetime.fromtimestamp(when // 10**9).date())

    def _of_today(self, sighting: Sighting | None) -> Sighting | None:
        """A sighting under the name that its jar has now: one jar teaches as one."""
        names = self.intake.names
        if sighting is None or sighting.jar not in names:
            return sighting
        return replace(sighting, jar=names[sighting.jar])

    def _may_have_moved(self, old: str) -> bool:
        """Whether a photo that has left may be one that is new under another name."""
        return old in self.away and self.intake.parts(old) in self.fresh_names

    def _jars_of(self, name: str) -> Iterable[str]:
        """The jars that a photo may show: its own, or any where a tag will tell."""
        known = self.index.get(name)
        if known is None and not self.intake.tells_jar(name):
            return [jar for jar in self.intake.register if jar.isdigit()]
        return [known.sighting.jar if known and known.sighting else self.intake.parts(name).jar]

    def _references_for(self, name: str) -> Mapping[str, KnownLook]:
        """The looks that a photo may be held against: its jar's, or any where a tag will tell."""
        if name not in self.index and not self.intake.tells_jar(name):
            return {jar: r for jar, r in self.references.by_jar().items() if jar.isdigit()}
        reference = self.references.of(name)
        return _NONE if reference is None else dict.fromkeys(self._jars_of(name), reference)

    def _said_bare(self, known: Known | None) -> bool:
        """Whether the grower says that nothing had grown in what a photo shows."""
        if known is None or known.sighting is None:
            return False
        said = self.bare_days.get(known.sighting.jar)
        return said is not None and said.holds(known.sighting.day, sure=not known.by_file_time)

    def _provenance(self, name: str, *, at: str | None = None) -> Provenance:
        """What a photo's reading would be made with now; ``at`` its new name, where it moved."""
        reference = self.references.of(name)
        look = reference.look if reference else None
        said = self._said_bare(self.index.get(name))
        return self.intake.provenance(self.names[at or name], look, nothing_grown=said)

    def _holds(self, known: Known, name: str) -> bool:
        """Tell whether a reading was made as a photo would be read now, and has its pictures."""
        return known.made_with == self._provenance(name) and self.intake.has_pictures(known)

    def _held_against_others(self) -> list[str]:
        """Photos for which another look is known now than they were read with."""
        found = []
        for name in self.names:
            known = self.index.get(name)
            if known is None or known.sighting is None:
                continue
            if known.made_with.reference != self._provenance(name).reference:
                found.append(name)
                if name not in self.given:  # it was thought to be known
                    self.tally.known -= 1
                    self.tally.referenced.append(name)
        return found

    def _to_do(self) -> Iterator[tuple[str, frozenset[str]]]:
        """Photos that the stamp does not tell, each with the contents that spare its reading."""
        away_by_size = defaultdict(list)
        for old, gone in self.away.items():
            away_by_size[gone.stamp.size].append((old, gone))
        for name, path in self.names.items():
            stamp, known = self.intake.folder.stamp(path), self.index.get(name)
            if known is None:
                alike = away_by_size[stamp.size] if stamp is not None else []
                contents = {k.content for old, k in alike if self._can_adopt(old, k, name)}
                yield name, frozenset(contents)
            elif not self._holds(known, name):
                self._note_outdated(known, name)
                yield name, frozenset()
            elif stamp is not None and stamp.sure and stamp == known.stamp:
                self.tally.known += 1
            else:
                yield name, frozenset() if known.by_file_time else frozenset({known.content})

    def _note_outdated(self, known: Known, name: str) -> None:
        """Note why a known photo is read again, unless only its pictures are missing."""
        wanted = self._provenance(name)
        if replace(known.made_with, reference=wanted.reference) != wanted:
            self.tally.outdated.append(name)
        elif known.made_with != wanted:
            self.tally.referenced.append(name)

    def _can_adopt(self, old: str, known: Known, new: str) -> bool:
        """Tell whether a photo would be read the same under another name."""
        if self.intake.parts(old) != self.intake.parts(new) or known.by_file_time:
            return False
        return known.made_with == self._provenance(old, at=new) and self.intake.has_pictures(known)

    def _take(self, result: JobResult) -> None:
        name, reading, stamp = result.name, result.reading, result.stamp
        before = self.index.get(name)
        if stamp is None or not result.content:
            self.loose[self.names[name]] = reading
            self.references.note(name, None)
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
        used = self.given[name].get(reading.jar) if reading.status == "ok" else None
        path, look = self.names[name], used.look if used else None
        known = known_of(reading, stamp, result.content, self.intake.provenance(path, look))
        made_with = self.intake.provenance(path, look, nothing_grown=self._said_bare(known))
        self.store.keep(reading, stamp=stamp, content=result.content, made_with=made_with)
        self.index[name] = replace(known, made_with=made_with)
        self.references.note(name, self._of_today(self.index[name].sighting))
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

    def _settle(self) -> None:
        """Forget the old names of what moved; mark what has left the folder or come back."""
        for old in self.moved_from:
            for relative in self.away[old].pictures:
                (self.intake.out / relative).unlink(missing_ok=True)
            self.store.forget(old)
        left = [n for n, k in self.away.items() if k.here and n not in self.moved_from]
        there = {name for name, path in self.names.items() if self.loose.get(path, path)}
        self.store.mark(left, here=False)
        self.store.mark((n for n in there if n in self.index and not self.index[n].here), here=True)
        self.tally.gone.extend(left)
