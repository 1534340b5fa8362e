"""A folder of photos -> readings (in worker processes) -> the story of every jar.

One small picklable job goes to a worker, one reading comes back; the parent alone owns progress
and the output folder's tables. A photo that breaks its worker costs that photo, never the run.
"""

from __future__ import annotations

import multiprocessing
import signal
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from datetime import date, datetime, time
from functools import partial
from pathlib import Path

from jarvision.card.value_files import FOLDER_NAME, load_card_values
from jarvision.card.values import CardValues
from jarvision.day import read_jar_photo
from jarvision.errors import NothingToScoreError, NotWritableError, UsageError
from jarvision.growth import fit_growth
from jarvision.identity import find_photos, printable, read_name
from jarvision.jar.profiles import load_profiles, shapes_for_photo, shapes_of
from jarvision.photo_settings import PhotoSettings
from jarvision.records import JarHistory, JarShape, JarStory, Reading, ShelfResult
from jarvision.register import Register, read_register, siblings
from jarvision.settings import Settings
from jarvision.settings_file import changes, find_settings
from jarvision.species import SpeciesBook, load_species
from jarvision.tracking import build_histories
from jarvision.verdict import decide

REGISTER_NAME = "jars.csv"


@dataclass(frozen=True)
class Job:
    """One photo to read. ``out`` takes its overlay and wall picture; None draws nothing.

    The reading depends on the photo, on ``values`` and on ``shapes``: what the grower says of the
    glass of the jars that this photo can be of, by jar.
    """

    path: Path
    root: Path
    out: Path | None
    values: CardValues | None = None
    shapes: Mapping[str, JarShape] = field(default_factory=dict)
    settings: PhotoSettings = field(default_factory=PhotoSettings)

    @property
    def name(self) -> str:
        """Path relative to the scored folder, with forward slashes."""
        return self.path.relative_to(self.root).as_posix()


PhotoReader = Callable[[Job], Reading]
Progress = Callable[[int, int, Reading], None]
"""Called in the parent with photos done, photos in all and the newest reading."""


def score_folder(
    folder: Path,
    *,
    out: Path,
    register: Path | None = None,
    jobs: int = 1,
    progress: Progress | None = None,
    today: date | None = None,
    settings: Settings | None = None,
    read: PhotoReader | None = None,
) -> ShelfResult:
    """Score every photo under ``folder`` and tell the story of every jar.

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
    """
    _check_folders(folder, out)
    chosen = settings or find_settings(folder)
    species = load_species(folder)
    known = find_register(folder, register, species=species)
    warnings = [*known.warnings, *_settings_warnings(chosen)]
    paths = find_photos(
        folder,
        out=out,
        on_error=lambda error: warnings.append(f"folder not read: {error.filename}"),
    )
    paths = [path for path in paths if path.relative_to(folder).parts[0] != FOLDER_NAME]
    if not paths:
        raise NothingToScoreError(
            f"No photo found in {printable(str(folder))}",
            "Put JPEG, PNG, TIFF, WebP or HEIC photos there, one folder or name per jar.",
        )
    _check_writable(out)
    values = load_card_values(folder)
    shapes, odd = shapes_of(known.values(), load_profiles(folder))
    warnings.extend(odd)
    names = [path.relative_to(folder).as_posix() for path in paths]
    queue = [
        Job(path, folder, out, values, shapes_for_photo(name, shapes), chosen.photo)
        for path, name in zip(paths, names, strict=True)
    ]
    readings = read_photos(queue, jobs=jobs, progress=progress, read=read or read_one)
    day = today or _newest_day(readings)
    histories = build_histories(readings, known, settings=chosen)
    unseen = sorted(set(known) - {history.entry.jar for history in histories})
    if unseen:
        warnings.append(f"in the register but without a photo: {', '.join(unseen)}")
    return ShelfResult(
        folder=folder.resolve().name,
        scored_on=day,
        readings=readings,
        stories=tuple(
            _tell(history, known, today=day, settings=chosen, species=species)
            for history in histories
        ),
        warnings=tuple(printable(warning) for warning in warnings),
        settings_digest=chosen.digest(),
    )


def read_one(job: Job) -> Reading:
    """Read one photo with the package's own reader."""
    return read_jar_photo(
        job.path,
        root=job.root,
        out=job.out,
        settings=job.settings,
        values=job.values,
        shapes=job.shapes,
    )


def read_photos(
    queue: Sequence[Job], *, jobs: int, progress: Progress | None, read: PhotoReader
) -> tuple[Reading, ...]:
    """Read all photos; the readings come back in the order of the jobs, one for each."""
    workers = max(1, min(jobs, len(queue)))
    guarded = partial(_read_guarded, read)
    done: dict[int, Reading] = {}
    source = _read_here(queue, guarded) if workers == 1 else _read_pooled(queue, guarded, workers)
    for index, reading in source:
        done[index] = reading
        if progress is not None:
            progress(len(done), len(queue), reading)
    return tuple(done[index] for index in range(len(queue)))


# --------------------------------------------------------------------------- workers
def _read_guarded(read: PhotoReader, job: Job) -> Reading:
    """Read one photo; whatever goes wrong becomes an unusable reading."""
    try:
        return read(job)
    except ImportError:  # the installation is broken, not the photo
        raise
    except Exception as error:  # one odd photo must not cost the others: it becomes its own row
        return _unread(job, f"{type(error).__name__}: {error}")


def _unread(job: Job, detail: str) -> Reading:
    parts = read_name(job.name)
    if parts.day is not None:
        taken_at = datetime.combine(parts.day, time(12))
    else:
        try:
            taken_at = datetime.fromtimestamp(job.path.stat().st_mtime).replace(microsecond=0)
        except OSError:  # a link that leads nowhere
            taken_at = datetime.fromtimestamp(job.path.lstat().st_mtime).replace(microsecond=0)
    return Reading(
        photo=job.name,
        jar=parts.jar,
        view=parts.view,
        taken_at=taken_at,
        time_source="file" if parts.day is None else "name",
        status="unusable",
        reason="unreadable",
        detail=printable(detail),
    )


def _read_here(
    queue: Sequence[Job], read: Callable[[Job], Reading]
) -> Iterator[tuple[int, Reading]]:
    return ((index, read(job)) for index, job in enumerate(queue))


def _read_pooled(
    queue: Sequence[Job], read: Callable[[Job], Reading], workers: int
) -> Iterator[tuple[int, Reading]]:
    """Read in worker processes.

    No more jobs than workers are in flight, so that a broken pool leaves few suspects. They are
    read again one by one, each alone in a worker: the one that breaks it a second time is named.
    """
    waiting = list(enumerate(queue))[::-1]
    while waiting:
        pool = _new_pool(workers)
        flying: dict[Future[Reading], tuple[int, Job]] = {}
        broken = False
        try:
            while (waiting and not broken) or flying:
                while waiting and not broken and len(flying) < workers:
                    entry = waiting.pop()
                    try:
                        flying[pool.submit(read, entry[1])] = entry
                    except BrokenProcessPool:
                        waiting.append(entry)
                        broken = True
                if broken:
                    break
                for future in wait(flying, return_when=FIRST_COMPLETED).done:
                    if isinstance(future.exception(), BrokenProcessPool):
                        broken = True
                    else:
                        index, _ = flying.pop(future)
                        yield index, future.result()
        finally:
            pool.shutdown(wait=not broken, cancel_futures=True)
        yield from _read_suspects(sorted(flying.values(), key=lambda entry: entry[0]), read)


def _read_suspects(
    suspects: Iterable[tuple[int, Job]], read: Callable[[Job], Reading]
) -> Iterator[tuple[int, Reading]]:
    for index, job in suspects:
        with _new_pool(1) as pool:
            try:
                yield index, pool.submit(read, job).result()
            except BrokenProcessPool:
                yield index, _unread(job, "reading this photo ended its worker process")


def _new_pool(workers: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(
        max_workers=workers,
        mp_context=multiprocessing.get_context("spawn"),
        initializer=_start_worker,
    )


def _start_worker() -> None:
    """One OpenCV thread for each worker; Ctrl-C is the parent's to handle."""
    import cv2

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    cv2.setNumThreads(1)


# --------------------------------------------------------------------------- jars
def _tell(
    history: JarHistory, known: Register, *, today: date, settings: Settings, species: SpeciesBook
) -> JarStory:
    """Curve, verdict and flags of one jar."""
    profile = species.find(history.entry.species)
    growth = fit_growth(history, profile, today=today, settings=settings)
    verdict, flags = decide(
        history,
        growth,
        profile,
        today=today,
        settings=settings,
        siblings=siblings(known, history.entry.jar),
    )
    return JarStory(
        history=history,
        growth=growth,
        verdict=verdict,
        flags=flags,
        profile=profile,
    )


def _settings_warnings(settings: Settings) -> list[str]:
    """One line that names what differs from the defaults, for which alone figures are stated."""
    changed = changes(settings)
    if not changed:
        return []
    told = "; ".join(map(str, changed))
    return [f"settings of your own, for which no accuracy was measured: {told}"]


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


def _check_folders(folder: Path, out: Path) -> None:
    if not folder.is_dir():
        raise UsageError(f"{printable(str(folder))} is no folder", "Give the folder of the photos.")
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
