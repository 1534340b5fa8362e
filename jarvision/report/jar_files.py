"""A file for each jar, ``jars/NAME.html``, beside the page of a shelf of many.

:func:`jar_page` makes one from its :class:`JarFile` alone, its chart and its pictures: the date of
the page is not in it, nor any number that another jar changes. Whoever keeps what was made under a
digest of the record may give it back without making it again.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from heapq import nlargest
from pathlib import Path
from typing import Final, Protocol
from urllib.parse import quote

from jarvision.base.files import write_whole
from jarvision.base.text import printable
from jarvision.base.version import __version__
from jarvision.records import JarStory, Reading
from jarvision.records.flags import CAUTIONS
from jarvision.records.parts import Parts
from jarvision.report.cards import Near, Surroundings, card_of, near_of
from jarvision.report.each import Each
from jarvision.report.file_names import file_names
from jarvision.report.kept import page_made_of
from jarvision.report.pictures import IN_FILE
from jarvision.report.refusals import build_refusal, with_picture
from jarvision.report.templating import template

FOLDER: Final = "jars"

MOST_REFUSED: Final = 6
"""Of a jar's refused photos the newest are shown; all stand in ``readings.csv``."""

_OURS: Final = '<meta name="generator" content="jarvision, a jar">'
_HEAD_BYTES: Final = 1024


@dataclass(frozen=True)
class JarFile:
    """All that the file of a jar is made from, but for its chart and the files of its pictures.

    ``shelf`` is the name of the scored folder.
    """

    story: JarStory
    near: Near
    shelf: str


class JarPageMaker(Protocol):
    """What makes the page of a jar: :func:`jar_page`, or what gives back a kept one."""

    def __call__(self, told: JarFile, *, curve: str, out: Path) -> str:
        """Return the page as HTML; see :func:`jar_page`."""
        ...


def jar_page(told: JarFile, *, curve: str, out: Path) -> str:
    """Return the file of a jar as HTML; every text in it is escaped by the template engine.

    Parameters
    ----------
    curve
        Its chart as SVG text; empty for none.
    out
        Folder that the paths of its pictures are relative to.
    """
    refused = told.story.history.refused
    return template("jar_file.html.j2").render(
        ours=_OURS,
        shelf=printable(told.shelf),
        jar=card_of(told.story, curve, told.near, out=out),
        refused=Each(_shown(refused), lambda r: with_picture(build_refusal(r), r, out)),
        more_refused=max(len(refused) - MOST_REFUSED, 0),
        cautions=CAUTIONS,
        version=__version__,
    )


def _shown(refused: Iterable[Reading]) -> list[Reading]:
    """The newest of the photos without a reading."""
    return nlargest(MOST_REFUSED, refused, key=lambda reading: reading.taken_at)


def paths_to_jars(jars: Iterable[str]) -> dict[str, str]:
    """The path of every jar's file, from the folder of the page."""
    return {jar: f"{FOLDER}/{name}.html" for jar, name in file_names(jars).items()}


def links_to(paths: Mapping[str, str], *, beside: bool = False) -> dict[str, str]:
    """Links to the files of jars, from the page or, with ``beside``, from one another."""
    return {
        jar: quote(path.removeprefix(f"{FOLDER}/") if beside else path)
        for jar, path in paths.items()
    }


def write_jar_files(
    stories: Sequence[JarStory],
    around: Surroundings,
    *,
    shelf: str,
    paths: Mapping[str, str],
    curve_of: Callable[[JarStory], str],
    parts: Parts,
    make: JarPageMaker = jar_page,
) -> None:
    """Write the file of every jar; one that is there with the same words and pictures is left.

    What ``parts`` keep is not the page but how its file was written: while it is that file, and all
    that it was made of is as it was, it is not made again.

    Raises
    ------
    NotWritableError
        When a file cannot be written.
    """
    near = replace(around, detail=IN_FILE, pages=links_to(paths, beside=True))
    for story in stories:
        told = JarFile(story, near_of(story, near), shelf)
        path = around.out / paths[story.verdict.jar]
        curve = curve_of(story)
        write = partial(_written, told, path, curve, out=around.out, make=make)
        made_of = (
            told.near,
            shelf,
            curve,
            *page_made_of(story, _shown(story.history.refused), IN_FILE, around.out),
        )
        if parts.text("page", story.verdict.jar, made_of, write) != written_as(path):
            write()


def _written(told: JarFile, path: Path, curve: str, *, out: Path, make: JarPageMaker) -> str:
    """Make the file of a jar and write it, unless it is there like this; how it was written."""
    page = make(told, curve=curve, out=out).encode("utf-8")
    if not _holds(path, page):
        write_whole(path, page)
    return written_as(path)


def written_as(path: Path) -> str:
    """Size and time of a file that was written; empty for none."""
    try:
        found = path.stat()
    except OSError:
        return ""
    return f"{found.st_size} {found.st_mtime_ns}"


def sweep_jar_files(out: Path, kept: Collection[str]) -> None:
    """Take away the files of jars that are called otherwise now, or are no more.

    ``kept`` are paths from ``out``. A file that no scoring has written stays.
    """
    folder = out / FOLDER
    stale = [p for p in folder.glob("*.html") if f"{FOLDER}/{p.name}" not in kept and _is_ours(p)]
    with suppress(OSError):  # old, but in nobody's way
        for path in stale:
            path.unlink()
        if stale and not kept:
            folder.rmdir()  # unless it holds something else


def _holds(path: Path, content: bytes) -> bool:
    try:
        return path.stat().st_size == len(content) and path.read_bytes() == content
    except OSError:
        return False


def _is_ours(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return _OURS.encode() in file.read(_HEAD_BYTES)
    except OSError:
        return False
