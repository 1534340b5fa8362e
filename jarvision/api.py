"""jarvision from Python: one photo, or a folder with everything that comes out of it.

The names here are importable from the package itself: ``from jarvision import score_photo``.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import date
from pathlib import Path

from jarvision.base.days import EARLIEST
from jarvision.base.errors import UsageError
from jarvision.base.text import printable
from jarvision.records import Reading, ShelfResult
from jarvision.report import write_report
from jarvision.run.one import ScoredOne, held, no_photo_yet
from jarvision.run.score import score_shelf
from jarvision.run.shelf import Shelf, home_of, open_shelf, placed
from jarvision.run.update import Progress
from jarvision.run.workers import local_fleet
from jarvision.settings.groups import Settings
from jarvision.verdict.plan import make_plan
from jarvision.vision.read import read_jar_photo

AnyPath = str | os.PathLike[str]


def score_photo(
    photo: AnyPath,
    *,
    folder: AnyPath | None = None,
    out: AnyPath | None = None,
    settings: Settings | None = None,
) -> Reading:
    """Read one photo: how much of the wall is covered, and what else is on it.

    Parameters
    ----------
    photo
        JPEG, PNG, TIFF, WebP or HEIC file.
    folder
        The folder of photos that it belongs to; its ``calibration``, ``jarvision.toml``,
        ``jars.csv`` and ``jar_profiles.toml`` are used. None: the photo's own folder, or the one
        above it when card values, settings or shapes of jars lie there.
    out
        Folder for the pictures of what was seen; None draws nothing.
    settings
        None: those of ``jarvision.toml`` in ``folder``, or the defaults.

    Returns
    -------
    Reading
        With ``status`` ``"ok"``, and ``coverage`` in percent with its 95 % interval and patches in
        cm2; or ``"unusable"``, with ``reason`` (a word of
        ``jarvision.records.photo_reasons.PHOTO_REASONS``) and no numbers. A photo that cannot be
        read is a reading, too, never an exception.

    Raises
    ------
    UsageError
        The photo is not under ``folder``, or a file there is wrong as it stands.
    """
    path = placed(Path(photo))
    root = Path(folder).resolve() if folder is not None else home_of(path)
    if not path.is_relative_to(root):
        raise _not_in(photo, folder)
    shelf = open_shelf(root, settings=settings)
    name = path.relative_to(root).as_posix()
    reading = read_jar_photo(
        path,
        root=root,
        out=Path(out) if out is not None else None,
        settings=shelf.settings.photo,
        values=shelf.values,
        shapes=shelf.shapes_for(name),
        told_jar=shelf.photo_jars.get(name, ""),
    )
    return shelf.under_todays_name(reading)


def score_folder(
    folder: AnyPath,
    out: AnyPath,
    *,
    register: AnyPath | None = None,
    jobs: int = 1,
    today: date | None = None,
    settings: Settings | None = None,
    progress: Progress | None = None,
    tell: Callable[[str], None] | None = None,
) -> ShelfResult:
    """Score a folder of photos and write all tables, pictures and the report into ``out``.

    What an earlier run has read into ``out`` is not read again.

    Parameters
    ----------
    folder, out
        The photos; where the results go, made when missing.
    register
        The jar register; None: ``jars.csv`` in ``folder``, when there is one.
    jobs
        Worker processes. With more than one, call this from under ``if __name__ == "__main__":``,
        since a worker imports the calling script.
    today
        Day that the verdicts are for; None: the day of the newest photo.
    settings
        None: those of ``jarvision.toml`` in ``folder``, or the defaults.
    progress
        Called with photos done, photos in all and the newest reading.
    tell
        Takes sentences for the user, about photos that changed, moved or went.

    Returns
    -------
    ShelfResult
        ``readings`` (one per photo), ``stories`` (one per jar on the shelf, each with its
        ``verdict``, ``growth``, ``history`` and ``flags``), ``finished`` (the jars whose story is
        over) and ``warnings``.

    Raises
    ------
    UsageError
        A folder, the register, the settings or a species profile is wrong.
    NothingToScoreError
        No photo there.
    FolderLostError
        The folder went away while it was read; ``out`` is left as it was.
    NotWritableError
        ``out`` cannot be written.
    """
    written = Path(out)
    shelf = open_shelf(
        Path(folder), register=Path(register) if register is not None else None, settings=settings
    )
    return score_shelf(
        shelf,
        out=written,
        jobs=jobs,
        progress=progress,
        today=today,
        publish=publisher(shelf, written),
        tell=tell,
    )


def score_one(
    photo: AnyPath,
    out: AnyPath,
    *,
    folder: AnyPath | None = None,
    register: AnyPath | None = None,
    today: date | None = None,
    settings: Settings | None = None,
    tell: Callable[[str], None] | None = None,
) -> ScoredOne:
    """Read one photo that came into a scored folder, and tell the story of its jar.

    What ``out`` keeps of the last scoring is gone on from; the folder is not read again. The new
    reading and the jar's story are kept there; tables and report stay as they were until the next
    :func:`score_folder`. Other photos that came meanwhile are left to it.

    Parameters
    ----------
    photo, out
        The photo, which lies in the folder; where the folder's results are.
    folder
        None: the photo's own folder, or the one above it (as for :func:`score_photo`).
    register, settings
        As for :func:`score_folder`.
    today
        Day that the verdict is for; None: the day of the newest photo.
    tell
        Takes sentences about waiting for another run.

    Returns
    -------
    ScoredOne
        ``reading`` and ``story``; the story is None when the photo tells no jar.

    Raises
    ------
    UsageError
        The photo is not under ``folder``, or a file there is wrong as it stands.
    NotWritableError
        ``out`` cannot be written.
    """
    path, kept = placed(Path(photo)), Path(out)
    root = Path(folder).resolve() if folder is not None else home_of(path)
    if not path.is_relative_to(root):
        raise _not_in(photo, folder)
    shelf = open_shelf(
        root, register=Path(register) if register is not None else None, settings=settings
    )
    with held(shelf, kept, tell=tell or (lambda _: None)) as opened:
        before = opened.last()
        so_far = before or no_photo_yet(shelf, EARLIEST)
        scored = opened.add(path, so_far, fleet=local_fleet(1), today=today)
        if before is not None or not opened.holds_others(scored.reading.photo):
            opened.keep(scored.by_photos)
    return scored


def _not_in(photo: AnyPath, folder: AnyPath | None) -> UsageError:
    return UsageError(
        f"{printable(str(photo))} is not in {printable(str(folder))}",
        "Give the folder that the photo is in, or leave folder out.",
    )


def publisher(shelf: Shelf, out: Path) -> Callable[[ShelfResult], None]:
    """Return what writes the tables, the plan and the report of a scoring."""

    def publish(result: ShelfResult) -> None:
        plan = make_plan(result, settings=shelf.settings.plan)
        limit = shelf.settings.page.one_file_jars
        write_report(result, out, plan=plan, register=shelf.register, one_file_jars=limit)

    return publish
