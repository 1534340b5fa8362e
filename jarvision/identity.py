"""Which jar, day and view a photo shows, told from its name alone; and which files are photos.

Nothing here opens a photo. Rules, in order of trust:

- jar: a jar tag (read elsewhere), else the name of the photo's folder when that is not the scored
  folder, else the file name up to its first ``_``;
- day: the photo's own time (read elsewhere), else an ISO date in the file name;
- view: a last name part ``_a`` to ``_d``; without one, the front.
"""

from __future__ import annotations

import hashlib
import os
import re
import unicodedata
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Final, cast

if TYPE_CHECKING:  # its arrays would load numpy, which help does not need
    from jarvision.records import View

PHOTO_SUFFIXES: Final = frozenset(
    {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"}
)

STORE_NAME: Final = "jarvision.sqlite"
"""The file in an output folder that keeps what was read."""

# A folder that holds all of one set was written by an earlier run: its pictures are no photos.
_OUTPUT_MARKS: Final = (frozenset({"readings.csv", "report.html"}), frozenset({STORE_NAME}))

_ISO_DATE: Final = re.compile(r"(?<!\d)(20\d\d)(-?)(0[1-9]|1[0-2])\2(0[1-9]|[12]\d|3[01])(?!\d)")
_VIEW: Final = re.compile(r"_([a-d])$", re.IGNORECASE)
_NUMBER: Final = re.compile(r"\d+")

# Device names that Windows keeps for itself, whatever the suffix.
_RESERVED: Final = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?$", re.IGNORECASE)
_MAX_NAME_CHARS: Final = 56  # at four bytes a letter, with digest and suffix: under 255 bytes


@dataclass(frozen=True)
class NameParts:
    """What a photo's name says. ``day`` is None when there is no valid ISO date in it."""

    jar: str
    view: View
    day: date | None


def read_name(name: str) -> NameParts:
    """Read jar, view and day from a photo's name.

    Parameters
    ----------
    name
        Path relative to the scored folder, with forward slashes. The jar is the name of the
        innermost folder, or the file name up to its first ``_`` for a photo without a folder.
    """
    path = PurePosixPath(name)
    folder = path.parent.name
    jar = folder or path.stem.split("_", 1)[0]
    return NameParts(jar=jar.strip() or path.stem, view=view_of(name), day=day_of(name))


def view_of(name: str) -> View:
    """View named by the last part of the file name: ``_a`` to ``_d``, else ``front``."""
    match = _VIEW.search(PurePosixPath(name).stem)
    return cast("View", match[1].lower()) if match else "front"


def day_of(name: str) -> date | None:
    """First valid ISO 8601 calendar date in the file name, ``2026-01-31`` or ``20260131``."""
    for year, _, month, day in _ISO_DATE.findall(PurePosixPath(name).stem):
        try:
            return date(int(year), int(month), int(day))
        except ValueError:  # 31 February and the like
            continue
    return None


def tag_agrees(jar: str, tag: int) -> bool:
    """Tell whether a jar's name and the number of its tag can be the same jar.

    The last number in the name counts (``B2-07`` carries 7). A name without a number claims no
    tag, so that it cannot disagree with one.
    """
    numbers = _NUMBER.findall(jar)
    return not numbers or int(numbers[-1]) == tag


def find_photos(
    folder: Path,
    *,
    out: Path | None = None,
    on_error: Callable[[OSError], None] | None = None,
) -> list[Path]:
    """Find all photos under ``folder``, sorted by their relative path.

    Hidden files and folders, ``out`` and the folders of earlier runs are skipped; each real
    folder is entered once, so that symbolic links cannot lead round in circles. A link that leads
    nowhere is listed (it will be told as unreadable); pipes and devices are not.

    Parameters
    ----------
    out
        Output folder. Skipped where it lies strictly inside ``folder``.
    on_error
        Called with the error for each folder that cannot be listed.
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
            entries = sorted(os.scandir(place), key=lambda entry: entry.name)
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


def safe_name(text: str) -> str:
    """Turn any text into a file name that stays in its folder on every file system.

    Letters, digits, ``-``, ``_`` and inner dots stay; everything else becomes ``-``. A name that
    had to be changed ends in eight hex digits of its SHA-256, so that two names never meet.
    """
    plain = unicodedata.normalize("NFC", text)
    kept = "".join(c if c.isalnum() or c in "-_." else "-" for c in plain)
    kept = kept.strip(".-")[:_MAX_NAME_CHARS]
    if kept and kept == text and not _RESERVED.match(kept):
        return kept
    return _with_digest("jar" if not kept or _RESERVED.match(kept) else kept, text)


def picture_name(photo: str) -> str:
    """Name of the JPEG that belongs to a photo, e.g. ``J01_2026-03-01.jpg``; always one level deep.

    ``photo`` is the path relative to the scored folder. Folder and file are joined by ``--``; a
    name that another photo could come to as well gets a digest of the full path.
    """
    path = PurePosixPath(photo)
    name = safe_name("--".join(path.parts))
    if "--" in photo or PurePosixPath(path.stem).suffix.lower() in PHOTO_SUFFIXES:
        name = _with_digest(name, photo)
    return name if name.lower().endswith(".jpg") else f"{name}.jpg"


def _with_digest(name: str, source: str) -> str:
    return f"{name}-{hashlib.sha256(source.encode('utf-8', 'surrogatepass')).hexdigest()[:8]}"


def printable(text: str) -> str:
    """Text that any terminal, CSV file or page can hold: bytes that are no text are spelt out."""
    spelt = text.encode("utf-8", "backslashreplace").decode("utf-8")
    spaced = "".join(" " if c.isspace() else c for c in spelt)
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in spaced)
