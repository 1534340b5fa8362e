"""A folder of photos -> readings (by way of the store) -> the story of every jar.

The parent alone owns the store, the progress and the tables in the output folder.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from jarvision.base.errors import NothingToScoreError, NotWritableError, UsageError
from jarvision.base.files import sweep_parts
from jarvision.base.text import printable
from jarvision.history.build import build_histories
from jarvision.records import JarShape, Reading, ShelfResult
from jarvision.register.jar_shapes import load_jar_shapes, shapes_for_photo, shapes_of
from jarvision.register.jars import REGISTER_NAME, Register, read_register
from jarvision.register.species import SpeciesBook, load_species
from jarvision.run.jobs import Fleet, Job, PhotoReader, read_one
from jarvision.run.lock import only_run
from jarvision.run.provenance import made_with
from jarvision.run.sources import NearFolder, PhotoFolder
from jarvision.run.store import Store
from jarvision.run.update import Intake, Progress
from jarvision.run.workers import local_fleet, refuse_in_a_starting_worker
from jarvision.settings.groups import Settings
from jarvision.settings.toml import changes, find_settings
from jarvision.verdict.assess import tell_stories
from jarvision.vision.calibration.value_files import load_card_values
from jarvision.vision.calibration.values import CardValues

Tell = Callable[[str], None]
"""Takes a sentence for the user; it goes to no file."""


def score_folder(
    folder: Path | PhotoFolder,
    *,
    out: Path,
    register: Path | None = None,
    jobs: int = 1,
    progress: Progress | None = None,
    today: date | None = None,
    settings: Settings | None = None,
    read: PhotoReader | None = None,
    fleet: Fleet | None = None,
    skip: Collection[Path] = (),
    publish: Callable[[ShelfResult], None] | None = None,
    tell: Tell | None = None,
) -> ShelfResult:
    """Score every photo under ``folder`` and tell the story of every jar.

    What an earlier run has read into ``out`` is not read again (:mod:`jarvision.run.update`).

    Parameters
    ----------
    out
        Output folder; made when missing. Photos inside it are not scored.
    register
        ``jars.csv``; None takes the one in ``folder`` when there is one.
    jobs
        Worker processes. 1 reads in this process, where a decoder's crash would end the run.
    today
        Day that the verdicts are for. None: the day of the newest usable photo, so that the same
        folder gives the same verdicts on every later day.
    settings
        None: those of ``jarvision.toml`` in ``folder``, or the defaults.
    read
        Reads one photo; None is the package's own reader. Must be picklable when ``jobs`` > 1.
    fleet
        Where photos are read; None: ``jobs`` processes on this machine.
    skip
        Photos to leave out this time.
    publish
        Called with the result while no other run may write into ``out``: writes the report.
    tell
        Takes sentences about waiting, and about photos that changed, moved or went.

    Raises
    ------
    UsageError
        ``folder`` is no folder, or ``out`` is the same one.
    NothingToScoreError
        No photo under ``folder``.
    NotWritableError
        ``out`` cannot be written.
    RegisterError
        The register has a wrong line.
    SettingsError
        The settings, or a species profile of the grower's own, are wrong.
    WorkersError
        A script calls this outside of ``if __name__ == "__main__":``: its workers would, too.
    """
    refuse_in_a_starting_worker()
    ground = _prepare(folder, out=out, register=register, settings=settings, skip=skip)
    chosen, known, warnings = ground.settings, ground.known, [*ground.warnings]
    with _open_intake(ground, fleet or local_fleet(jobs), read or read_one, tell) as intake:
        readings = intake.take(ground.paths, progress=progress, tell=tell)
        if not readings:
            raise NothingToScoreError("All photos went away while they were read", "Try again.")
        day = today or _newest_day(readings)
        histories = build_histories(readings, known, settings=chosen)
        unseen = sorted(set(known) - {history.entry.jar for history in histories})
        if unseen:
            warnings.append(f"in the register but without a photo: {', '.join(unseen)}")
        result = ShelfResult(
            folder=ground.source.label,
            scored_on=day,
            readings=readings,
            stories=tell_stories(
                histories, known, today=day, settings=chosen, species=ground.species
            ),
            warnings=tuple(printable(warning) for warning in warnings),
            settings_digest=chosen.digest(),
        )
        if publish is not None:
            publish(result)
    return result


def read_folder(
    folder: Path | PhotoFolder,
    *,
    out: Path,
    register: Path | None = None,
    jobs: int = 1,
    settings: Settings | None = None,
    read: PhotoReader | None = None,
    fleet: Fleet | None = None,
    skip: Collection[Path] = (),
    tell: Tell | None = None,
) -> None:
    """Read what is new under ``folder`` and keep it in ``out``; tell no story yet.

    Parameters and errors are those of :func:`score_folder`.
    """
    ground = _prepare(folder, out=out, register=register, settings=settings, skip=skip)
    with _open_intake(ground, fleet or local_fleet(jobs), read or read_one, tell) as intake:
        intake.update(ground.paths, tell=tell)


@dataclass(frozen=True)
class _Ground:
    """What a run stands on: the folder, what lies beside the photos, the photos."""

    source: PhotoFolder
    out: Path
    settings: Settings
    species: SpeciesBook
    known: Register
    values: CardValues
    shapes: Mapping[str, JarShape]
    paths: Sequence[Path]
    warnings: Sequence[str]

    def job(self, path: Path) -> Job:
        """Job of a photo."""
        root = self.source.root
        shapes = shapes_for_photo(path.relative_to(root).as_posix(), self.shapes)
        return Job(path, root, self.out, self.values, self.settings.photo, shapes)


def _prepare(
    folder: Path | PhotoFolder,
    *,
    out: Path,
    register: Path | None,
    settings: Settings | None,
    skip: Collection[Path],
) -> _Ground:
    """Read all that is small, and find the photos, before the first one is opened."""
    source = NearFolder(folder) if isinstance(folder, Path) else folder
    root = source.root
    _check_apart(root, out)
    chosen = settings or find_settings(root)
    species = load_species(root)
    known = find_register(root, register, species=species)
    warnings = [*known.warnings, *_settings_warnings(chosen)]
    paths = [path for path in source.photos(out=out, warn=warnings.append) if path not in skip]
    if not paths:
        raise NothingToScoreError(
            f"No photo found in {printable(source.label)}",
            "Put JPEG, PNG, TIFF, WebP or HEIC photos there, one folder or name per jar.",
        )
    _check_writable(out)
    shapes, odd = shapes_of(known.values(), load_jar_shapes(root))
    return _Ground(
        source=source,
        out=out,
        settings=chosen,
        species=species,
        known=known,
        values=load_card_values(root),
        shapes=shapes,
        paths=paths,
        warnings=(*warnings, *odd),
    )


@contextmanager
def _open_intake(
    ground: _Ground, fleet: Fleet, read: PhotoReader, tell: Tell | None
) -> Iterator[Intake]:
    """Hold the output folder and open its store."""
    say = tell or _say_nothing
    with only_run(ground.out, tell=say), Store(ground.out, tell=say) as store:
        sweep_parts(ground.out)
        yield Intake(
            store=store,
            folder=ground.source,
            out=ground.out,
            job_of=ground.job,
            made_with=made_with(ground.values, ground.settings.photo),
            fleet=fleet,
            read=read,
        )


def _say_nothing(_: str) -> None:
    pass


# --------------------------------------------------------------------------- what is told beside
def _settings_warnings(settings: Settings) -> list[str]:
    """One line that names what differs from the defaults, for which alone figures are stated."""
    changed = changes(settings)
    if not changed:
        return []
    told = "; ".join(map(str, changed))
    return [f"settings of your own, for which no accuracy was measured: {told}"]


def _file_notes(readings: Iterable[Reading]) -> list[str]:
    """One line for each note on how files of usable photos were read, with the first of them."""
    found: dict[str, list[str]] = {}
    for reading in readings:
        for note in filter(None, reading.detail.split("; ") if reading.status == "ok" else ()):
            found.setdefault(note, []).append(reading.photo)
    return [
        f"{names[0]}{f' and {len(names) - 1} more' if len(names) > 1 else ''}: {note}"
        for note, names in found.items()
    ]


def _newest_day(readings: Iterable[Reading]) -> date:
    """Day of the newest usable photo; of the newest photo when none is usable."""
    return max((r.status == "ok", r.taken_at.date()) for r in readings)[1]


# --------------------------------------------------------------------------- folders
def find_register(
    folder: Path, register: Path | None, *, species: SpeciesBook | None = None
) -> Register:
    """Read the register that was named, else ``jars.csv`` in ``folder``; empty without either.

    A jar of a species that ``species`` does not know gives a warning; None: not asked.

    Raises
    ------
    RegisterError
        The register has a wrong line.
    """
    path = register or folder / REGISTER_NAME
    if register is None and not path.is_file():
        return Register()
    return read_register(path, is_known_species=species.knows if species else None)


def _check_apart(folder: Path, out: Path) -> None:
    if out.resolve() == folder.resolve():
        raise UsageError(
            "The output folder is the photo folder", "Give another one, such as --out report."
        )


def _check_writable(out: Path) -> None:
    """Make the output folder and try it before any photo is read."""
    try:
        out.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=out):
            pass
    except OSError as error:
        raise NotWritableError(
            f"The output folder {printable(str(out))} cannot be written ({error.strerror})",
            "Choose another folder with --out, or free some space.",
        ) from error
