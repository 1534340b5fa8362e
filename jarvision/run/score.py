"""A folder of photos -> readings (by way of the store) -> the story of every jar.

The parent alone owns the store, the progress and the tables in the output folder.
"""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Final

from jarvision.base.days import clock_day
from jarvision.base.errors import (
    FolderLostError,
    NothingToScoreError,
    NotWritableError,
    UsageError,
)
from jarvision.base.files import sweep_parts
from jarvision.base.text import counted, printable
from jarvision.records import Reading, ShelfResult
from jarvision.register.endings import ending_of
from jarvision.run.counting import put_right, shelf_counts, tell_counts
from jarvision.run.doubts import tell_afterlives, tell_doubts, tell_removed, tell_unnamed
from jarvision.run.jobs import Fleet, Job, PhotoReader, read_one
from jarvision.run.kept_parts import KeptParts, part_digest
from jarvision.run.lock import only_run
from jarvision.run.photo_rows import Amend, DamagedRowsError, PhotoRows
from jarvision.run.provenance import made_with
from jarvision.run.results import keep_result
from jarvision.run.shelf import Shelf
from jarvision.run.shelf_day import newest_day
from jarvision.run.sources import NearFolder, PhotoFolder
from jarvision.run.store import Store
from jarvision.run.telling import SeenJar, ToldJar, file_notes, look_at_photos, tell_jars
from jarvision.run.update import Intake, Progress, Tell
from jarvision.run.workers import local_fleet, refuse_in_a_starting_worker
from jarvision.truth.compare import ShelfCounts
from jarvision.verdict.lives import with_lives

MOST_TRIES: Final = 5
"""How often rows of the store that turn out to be damaged are read again in one run."""

MOST_VANISHED: Final = 3
"""So many photos may be moved or deleted while they are read; more, and the folder is going."""


def score_shelf(
    shelf: Shelf,
    *,
    out: Path,
    source: PhotoFolder | None = None,
    jobs: int = 1,
    progress: Progress | None = None,
    today: date | None = None,
    read: PhotoReader | None = None,
    fleet: Fleet | None = None,
    skip: Collection[Path] = (),
    publish: Callable[[ShelfResult], None] | None = None,
    tell: Tell | None = None,
) -> ShelfResult:
    """Score every photo of a shelf's folder and tell the story of every jar.

    What an earlier run has read into ``out`` is not read again (:mod:`jarvision.run.update`).

    Parameters
    ----------
    out
        Output folder; made when missing. Photos inside it are not scored.
    source
        Where the photos are; None: on this machine, in the shelf's folder.
    jobs
        Worker processes. 1 reads in this process, where a decoder's crash would end the run.
    today
        Day that the verdicts are for. None: the day of the newest photo of these jars
        (:mod:`jarvision.run.shelf_day`), so that the same folder gives the same verdicts on every
        later day.
    read
        Reads one photo; None is the package's own reader. Must be picklable when ``jobs`` > 1.
    fleet
        Where photos are read; None: ``jobs`` processes on this machine.
    skip
        Photos to leave out this time.
    publish
        Called with the result while no other run may write into ``out``: writes the report. The
        result is then kept in the store, too (:mod:`jarvision.run.results`).
    tell
        Takes sentences about waiting, and about photos that changed, moved or went.

    Raises
    ------
    UsageError
        The folder is none, or ``out`` is the same one; something beside the photos is wrong.
    NothingToScoreError
        No photo there.
    FolderLostError
        The folder, or more than a few photos, went away meanwhile: nothing is published.
    NotWritableError
        ``out`` cannot be written.
    WorkersError
        A script calls this outside of ``if __name__ == "__main__":``: its workers would, too.
    """
    refuse_in_a_starting_worker()
    ground = _prepare(shelf, source, out=out, skip=skip)
    with _open_intake(ground, fleet or local_fleet(jobs), read or read_one, tell) as intake:
        read_all = _read_all(ground, intake, progress=progress, tell=tell)
        day = today or _day_of(shelf, read_all.seen)
        jars = tell_jars(shelf, intake.store, read_all.seen, today=day)
        intake.store.forget_parts(["", *(jar.said.jar for jar in read_all.seen)])
        by_photos = _assess(ground, read_all, jars, today=day)
        result = with_lives(
            by_photos,
            shelf.register,
            shelf.outcomes,
            looks=shelf.looks,
            today=by_photos.made_on,
            limits=shelf.settings.verdict,
            fruiting=shelf.settings.fruiting,
        )
        result = replace(result, warnings=(*result.warnings, *tell_afterlives(result.finished)))
        if publish is not None:
            told_of = {jar.story.verdict.jar: jar.made_of for jar in jars}
            photos = [(jar.said.jar, jar.made_of) for jar in read_all.seen]
            told_of[""] = part_digest("shelf", sorted(told_of.items()), photos)
            keep_result(intake.store, by_photos, made_of=(told_of[""], photos))
            publish(replace(result, parts=KeptParts(intake.store, told_of)))
    return result


def read_shelf(
    shelf: Shelf,
    *,
    out: Path,
    source: PhotoFolder | None = None,
    jobs: int = 1,
    read: PhotoReader | None = None,
    fleet: Fleet | None = None,
    skip: Collection[Path] = (),
    tell: Tell | None = None,
) -> None:
    """Read what is new in a shelf's folder and keep it in ``out``; tell no story yet.

    Parameters and errors are those of :func:`score_shelf`.
    """
    ground = _prepare(shelf, source, out=out, skip=skip)
    with _open_intake(ground, fleet or local_fleet(jobs), read or read_one, tell) as intake:
        intake.update(ground.paths, tell=tell)


@dataclass(frozen=True)
class _Ground:
    """What a run stands on: the photos, what lies beside them, where the results go."""

    shelf: Shelf
    source: PhotoFolder
    out: Path
    paths: Sequence[Path]
    warnings: Sequence[str]

    def job(self, path: Path) -> Job:
        """Job of a photo."""
        return job_of_photo(self.shelf, path, root=self.source.root, out=self.out)


def job_of_photo(shelf: Shelf, path: Path, *, root: Path, out: Path | None) -> Job:
    """Job of a photo under ``root``, with what the grower says; None draws no pictures."""
    name = path.relative_to(root).as_posix()
    return Job(
        path,
        root,
        out,
        shelf.values,
        shelf.settings.photo,
        shelf.shapes_for(name),
        told_jar=shelf.photo_jars.get(name, ""),
    )


def _prepare(
    shelf: Shelf, source: PhotoFolder | None, *, out: Path, skip: Collection[Path]
) -> _Ground:
    """Read all that is small, and find the photos, before the first one is opened."""
    source = source or NearFolder(shelf.folder)
    check_apart(source.root, out)
    missed: list[str] = []
    paths = [path for path in source.photos(out=out, warn=missed.append) if path not in skip]
    if not paths:
        raise NothingToScoreError(
            f"No photo found in {printable(source.label)}",
            "Put JPEG, PNG, TIFF, WebP or HEIC photos there, one folder or name per jar.",
        )
    check_writable(out)
    ground = _Ground(shelf, source, out, paths, warnings=(*shelf.warnings, *missed))
    ground.job(paths[0])  # a wrong file beside the photos is told now, not half-way
    return ground


@contextmanager
def _open_intake(
    ground: _Ground, fleet: Fleet, read: PhotoReader, tell: Tell | None
) -> Iterator[Intake]:
    """Hold the output folder and open its store."""
    say = tell or _say_nothing
    shelf = ground.shelf
    with only_run(ground.out, tell=say), Store(ground.out, tell=say) as store:
        sweep_parts(ground.out)
        yield Intake(
            store=store,
            folder=ground.source,
            out=ground.out,
            job_of=ground.job,
            made_with=made_with(shelf.values, shelf.settings.photo),
            fleet=fleet,
            read=read,
            register=shelf.by_photo_names,
            photo_jars=shelf.photo_jars,
            names=shelf.past.names,
        )


@dataclass(frozen=True)
class _ReadAll:
    """All readings, put right by ``counts``, and what the photos of every jar say."""

    rows: PhotoRows
    counts: ShelfCounts
    seen: Sequence[SeenJar]


def _read_all(
    ground: _Ground, intake: Intake, *, progress: Progress | None, tell: Tell | None
) -> _ReadAll:
    """Read what is new; rows of the store that are damaged are read again."""
    broken: Counter[str] = Counter()
    for again in range(MOST_TRIES):
        loose = intake.update(ground.paths, progress=progress, tell=None if again else tell)
        given = {intake.name(path): reading for path, reading in loose.items()}
        names = [name for name in map(intake.name, ground.paths) if given.get(name, name)]
        names = [name for name in names if broken[name] < 2]  # read again, and in vain
        _check_still_there(ground, lost=len(ground.paths) - len(names))
        kept = {name: reading for name, reading in given.items() if reading is not None}
        counts = shelf_counts(ground.shelf, intake.store)
        try:
            rows = PhotoRows(intake.store, names, kept, _amend(ground.shelf, counts))
            return _ReadAll(rows, counts, look_at_photos(ground.shelf, intake.store, rows))
        except DamagedRowsError as damage:
            broken.update(damage.photos)
            for photo in damage.photos:
                intake.store.forget(photo)
    raise NotWritableError(
        "What was read cannot be read back from the output folder",
        "Look whether its disk is sound, or choose another folder with --out.",
    )


def _amend(shelf: Shelf, counts: ShelfCounts) -> Amend:
    """How readings are put right: names of today, and what the grower has counted."""

    def right(reading: Reading) -> Reading:
        (found,) = put_right([shelf.under_todays_name(reading)], counts.adjustment)
        return found

    return Amend(
        now=shelf.past.now,
        right=right,
        made_of=repr((sorted(shelf.past.names.items()), counts.adjustment)),
        plain=not shelf.past.names and counts.adjustment is None,
    )


def _assess(
    ground: _Ground, read_all: _ReadAll, jars: Sequence[ToldJar], *, today: date
) -> ShelfResult:
    """Put the stories of all jars together, and what else the grower should hear."""
    shelf, readings = ground.shelf, read_all.rows.readings
    stories = tuple(jar.story for jar in jars)
    shown = {jar.said.jar: jar.said for jar in read_all.seen}
    kept = {jar: said for jar, said in shown.items() if jar not in shelf.past.removed}
    over = _over(shelf, today)
    warnings = [
        *ground.warnings,
        *tell_counts(read_all.counts, readings),
        *file_notes(read_all.seen),
        *read_all.rows.shared,
        *tell_doubts(
            {jar: said.doubts for jar, said in kept.items()},
            (jar.doubts for jar in jars),
            shelf.register,
        ),
        *tell_unnamed(
            [story for story in stories if story.verdict.jar not in over],
            with_register=shelf.register_path.is_file(),
        ),
        *tell_removed({jar: said.photos for jar, said in shown.items()}, shelf.past.removed),
    ]
    unseen = sorted(set(shelf.register) - over - set(shown))
    if unseen:
        warnings.append(f"in the register but without a photo: {', '.join(unseen)}")
    return ShelfResult(
        folder=ground.source.label,
        scored_on=today,
        readings=readings,
        stories=stories,
        warnings=tuple(printable(warning) for warning in warnings),
        settings_digest=shelf.settings.digest(),
        made_on=clock_day(),
    )


def _over(shelf: Shelf, today: date) -> set[str]:
    """The jars of the register whose story is over."""
    register, now = shelf.register, max(clock_day() or today, today)
    return {jar for jar in register if ending_of(jar, register, shelf.outcomes, today=now)}


def _day_of(shelf: Shelf, seen: Sequence[SeenJar]) -> date:
    """The day of the newest photo of a jar that was not taken out of the register."""
    every = {jar.said.jar: jar.said.dated for jar in seen}
    kept = {jar: photos for jar, photos in every.items() if jar not in shelf.past.removed}
    return newest_day(kept or every)


def _say_nothing(_: str) -> None:
    pass


# --------------------------------------------------------------------------- folders
def check_apart(folder: Path, out: Path) -> None:
    """Raise UsageError when the output folder is the folder of photos itself."""
    if out.resolve() == folder.resolve():
        raise UsageError(
            "The output folder is the photo folder", "Give another one, such as --out report."
        )


def _check_still_there(ground: _Ground, *, lost: int) -> None:
    """Raise when what was read is no longer the folder: verdicts of the rest would be wrong."""
    few = lost <= MOST_VANISHED and lost < len(ground.paths)
    if not lost or (few and ground.source.root.is_dir()):
        return
    raise FolderLostError(
        f"{counted(lost, 'photo')} of {printable(ground.source.label)} went away while being read",
        "The results of before are left as they are. Connect the folder again: what has been read "
        "is kept, and the same command goes on from there.",
    )


def check_writable(out: Path) -> None:
    """Make the output folder and try it before any photo is read.

    Raises
    ------
    NotWritableError
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=out):
            pass
    except OSError as error:
        raise NotWritableError(
            f"The output folder {printable(str(out))} cannot be written ({error.strerror})",
            "Choose another folder with --out, or free some space.",
        ) from error
