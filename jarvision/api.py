"""jarvision from Python: one photo, or a folder with everything that comes out of it.

The names here are importable from the package itself: ``from jarvision import score_photo``.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import date
from pathlib import Path

from jarvision.base.errors import UsageError
from jarvision.base.text import printable
from jarvision.records import Reading, ShelfResult
from jarvision.report import write_report
from jarvision.run.score import score_shelf
from jarvision.run.shelf import Shelf, home_of, open_shelf, placed
from jarvision.run.update import Progress
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
        raise UsageError(
            f"{printable(str(photo))} is not in {printable(str(folder))}",
            "Give the folder that the photo is in, or leave folder out.",
        )
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


def publisher(shelf: Shelf, out: Path) -> Callable[[ShelfResult], None]:
    """Return what writes the tables, the plan and the report of a scoring."""

    def publish(result: ShelfResult) -> None:
        plan = make_plan(result, settings=shelf.settings.plan)
        write_report(result, out, plan=plan, register=shelf.register)

    return publish
