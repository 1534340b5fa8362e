"""Which files under a folder are photos. Nothing here opens one."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Collection, Iterator
from pathlib import Path, PurePosixPath
from typing import Final

from jarvision.register.photo_names import PHOTO_SUFFIXES

STORE_NAME: Final = "jarvision.sqlite"
"""The file in an output folder that keeps what was read."""

ASIDE_LIST: Final = "set_aside.csv"
"""The list in a folder of photos that the grower has taken away (:mod:`jarvision.run.aside`)."""

# A folder that holds all of one set was written by jarvision: its pictures are no photos.
_OUTPUT_MARKS: Final = (
    frozenset({"readings.csv", "report.html"}), frozenset({STORE_NAME}), frozenset({ASIDE_LIST})
)  # fmt: skip


def find_photos(
    folder: Path,
    *,
    out: Path | None = None,
    on_error: Callable[[OSError], None] | None = None,
) -> list[Path]:
    """Find all photos under ``folder``, sorted by their relative path.

    Hidden files and folders, ``out`` and the folders of earlier runs are skipped; each real
    folder is entered once, so that symbolic links cannot lead round in circles, and none above
    ``folder`` is, by a link that would take in all that lies around it. A link that leads nowhere
    is listed (it will be told as unreadable); pipes and devices are not.

    Parameters
    ----------
    out
        Output folder. Skipped where it lies strictly inside ``folder``.
    on_error
        Called with the error for each folder that cannot be listed, or lies above.
    """
    root = folder.resolve()
    skip = out.resolve() if out is not None else None
    found: list[Path] = []
    seen: set[str] = set()

    def walk(place: Path) -> None:
        real = place.resolve()
        if str(real) in seen or (real == skip and real != root):
            return
        seen.add(str(real))
        try:
            entries = _listed(place, above=real in root.parents)
        except OSError as error:
            if on_error is not None:
                on_error(error)
            return
        if real != root and is_output_folder({entry.name for entry in entries}):
            return
        for entry in _visible(entries):
            if _is_folder(entry):
                walk(place / entry.name)
            elif _is_photo(entry):
                found.append(place / entry.name)

    walk(folder)
    return sorted(found, key=lambda path: path.relative_to(folder).as_posix())


def _listed(place: Path, *, above: bool) -> list[os.DirEntry[str]]:
    """What lies in a folder, by name; a folder ``above`` the photos is not entered."""
    if above:
        raise OSError(errno.ELOOP, "a link to a folder above", str(place))
    return sorted(os.scandir(place), key=lambda entry: entry.name)


def is_output_folder(names: Collection[str]) -> bool:
    """Tell by the files in it whether a folder was written by an earlier run."""
    return any(marks <= set(names) for marks in _OUTPUT_MARKS)


def _visible(entries: list[os.DirEntry[str]]) -> Iterator[os.DirEntry[str]]:
    return (entry for entry in entries if not entry.name.startswith("."))


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:  # a link that leads to itself
        return False


def _is_photo(entry: os.DirEntry[str]) -> bool:
    suffix = PurePosixPath(entry.name).suffix.lower()
    return suffix in PHOTO_SUFFIXES and (entry.is_symlink() or entry.is_file())
