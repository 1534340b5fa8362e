"""Which jar, day and view a photo shows, told from its name alone.

Rules, in order of trust:

- jar: a jar tag (read elsewhere), else what the grower has told of this photo, else the name of the
  photo's folder when that is not the scored folder, else the file name up to its first ``_`` or
  its date; a name as cameras give it (``IMG_0001``) names no jar;
- day: the photo's own time (read elsewhere), else a date in the file name, else in a folder's name;
- view: a last name part ``_a`` to ``_d``, or ``_top`` for one from above; without one, the front.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Final, cast

from jarvision.base.text import safe_name, with_digest

if TYPE_CHECKING:  # its arrays would load numpy, which help does not need
    from jarvision.records import View


PHOTO_SUFFIXES: Final = frozenset(
    {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"}
)


_YEAR_FIRST: Final = re.compile(
    r"(?<!\d)(20\d\d)([-._ ]?)(0[1-9]|1[0-2])\2(0[1-9]|[12]\d|3[01])(?!\d)"
)
_DAY_FIRST: Final = re.compile(
    r"(?<![\d.])(0?[1-9]|[12]\d|3[01])\.(0?[1-9]|1[0-2])\.(20\d\d)(?!\d)"
)
_CLOCK: Final = re.compile(r"[\W_]*(at|um|T)?[\W_]*[0-2]\d([-._: h]?)[0-5]\d(\2[0-5]\d)?(?!\d)")
"""A time of day behind a date: no person writes one into a name."""

_VIEW: Final = re.compile(r"_([a-d]|top)$", re.IGNORECASE)
_LETTER_AT_END: Final = re.compile(r"(?:[-_ .(]|(?<=\d))[a-z]\)?$", re.IGNORECASE)


CAMERA_WORDS: Final = frozenset(
    {
        "img", "imgp", "cimg", "mvimg", "image", "images", "dsc", "dscn", "dscf", "dcim", "pict",
        "pxl", "pic", "picture", "pictures", "photo", "photos", "foto", "fotos", "bild", "bilder",
        "scan", "snapshot", "screenshot", "bildschirmfoto", "thumbnail", "received", "camera",
        "kamera", "fullsizerender",
    }
)  # fmt: skip
"""What phones, cameras and messengers call a photo, before its number (from memory)."""

_CAMERA_FOLDER: Final = re.compile(r"[1-9]\d\d[A-Z0-9_]{5}")  # as cameras number theirs: 100ABCDE
_CAMERA_NUMBER: Final = re.compile(r"P\d{7}|\d{9,}")

_FIRST_WORD: Final = re.compile(r"[\W\d_]*[^\W\d_]*")


_NUMBER: Final = re.compile(r"\d+")


@dataclass(frozen=True)
class NameParts:
    """What a photo's name says.

    Attributes
    ----------
    jar
        Empty where the name is one that a camera gives.
    day
        None when there is no valid date in it.
    odd_view
        An ending that looks like a mark of the view and is none, such as ``-b``; else empty.
    """

    jar: str
    view: View
    day: date | None
    odd_view: str = ""


@dataclass(frozen=True)
class _Dated:
    """A date in a text: where it stands."""

    day: date
    start: int
    end: int


@lru_cache(maxsize=16384)  # asked for many times in a run
def read_name(name: str, told: str = "") -> NameParts:
    """Read jar, view and day from a photo's name.

    Parameters
    ----------
    name
        Path relative to the scored folder, with forward slashes. The jar is the name of the
        innermost folder, or the file name up to its first ``_`` or its date for a photo without a
        folder. Folders that only a camera or a day gives its name are passed over.
    told
        The jar that the grower has told for this photo; it goes before its name.
    """
    path = PurePosixPath(name)
    head, day = _head_and_day(path.stem)
    return NameParts(
        jar=told or _jar_of(path, head),
        view=view_of(name),
        day=day.day if day else _day_of_folders(path),
        odd_view=_odd_view(path.stem, head),
    )


def tells_jar(name: str, told: str = "") -> bool:
    """Whether a photo's name says which jar it shows; a camera's counter or a date does not.

    Where it does not, the jar's tag will.
    """
    jar = read_name(name, told).jar
    return bool(told) or (day_of(jar) is None and any(char.isdigit() for char in jar))


def view_of(name: str) -> View:
    """View named by the last part of the file name: ``_a`` to ``_d``, ``_top``, else ``front``."""
    match = _VIEW.search(PurePosixPath(name).stem)
    return cast("View", match[1].lower()) if match else "front"


def day_of(text: str) -> date | None:
    """First valid date in a text: ``2026-01-31``, ``20260131``, ``31.01.2026``."""
    return next((dated.day for dated in _dates_in(text)), None)


def _dates_in(text: str) -> list[_Dated]:
    """All valid dates of a text, in its order."""
    found = []
    for pattern, places in ((_YEAR_FIRST, (1, 3, 4)), (_DAY_FIRST, (3, 2, 1))):
        for match in pattern.finditer(text):
            year, month, day = (int(match[place]) for place in places)
            try:
                found.append(_Dated(date(year, month, day), match.start(), match.end()))
            except ValueError:  # 31 February and the like
                continue
    return sorted(found, key=lambda dated: dated.start)


def _head_and_day(stem: str) -> tuple[str, _Dated | None]:
    """What stands before the first ``_`` or the date, and the date that counts.

    A jar may be named after the day it was started: with a date behind the first ``_``, one before
    it is part of the jar's name.
    """
    head, dates = stem.split("_", 1)[0], _dates_in(stem)
    behind = [dated for dated in dates if dated.start >= len(head)]
    if behind or not dates:
        return head, next(iter(behind), None)
    return stem[: dates[0].start], dates[0]


def _jar_of(path: PurePosixPath, head: str) -> str:
    """The jar that a path names; empty for none."""
    folders = [part for part in reversed(path.parent.parts) if part != ".."]
    plain = [folder for folder in folders if not _is_nobodys(folder)]
    if folders and folders[0] in plain:
        return folders[0].strip()
    own = head.strip(" -.,(") or ("" if _dates_in(path.stem) else path.stem)
    if _is_camera_name(path.stem, own):
        own = ""
    return own or (plain[0].strip() if plain else "")


def _is_nobodys(folder: str) -> bool:
    """Whether a folder bears a camera's name, or nothing but a day."""
    for dated in _dates_in(folder)[:1]:
        if not (folder[: dated.start] + folder[dated.end :]).strip(" -_."):
            return True
    return folder.casefold() in CAMERA_WORDS or bool(_CAMERA_FOLDER.fullmatch(folder))


def _is_camera_name(stem: str, jar: str) -> bool:
    """Whether what stands where a jar's name would is a camera's word, counter or clock."""
    if _CAMERA_NUMBER.fullmatch(jar.strip("_ ")):
        return True
    words = {word.casefold() for word in re.findall(r"[^\W\d_]+", jar)}
    if words and words <= CAMERA_WORDS:
        return True
    dated = next(iter(_dates_in(stem)), None)
    if dated is None or dated.start > len(stem.split("_", 1)[0]) or _NUMBER.search(jar):
        return False
    return bool(words & CAMERA_WORDS) or bool(_CLOCK.match(stem, dated.end))


def _day_of_folders(path: PurePosixPath) -> date | None:
    """The day of the innermost folder that is named after nothing else."""
    folders = (folder for folder in reversed(path.parent.parts) if _is_nobodys(folder))
    return next((day for folder in folders if (day := day_of(folder))), None)


def _odd_view(stem: str, head: str) -> str:
    """A single letter at the end, behind the jar's name, that is no view's mark."""
    found = _LETTER_AT_END.search(stem)
    if found is None or _VIEW.search(stem) or found.start() < len(head) or head == stem:
        return ""
    return found[0]


def tag_agrees(jar: str, tag: int) -> bool:
    """Tell whether a jar's name and the number of its tag can be the same jar.

    The last number in the name counts (``B2-07`` carries 7). A name without a number claims no
    tag, so that it cannot disagree with one.
    """
    numbers = _NUMBER.findall(jar)
    return not numbers or int(numbers[-1]) == tag


def picture_name(photo: str) -> str:
    """Name of the JPEG that belongs to a photo, e.g. ``J01_2026-03-01.jpg``; always one level deep.

    ``photo`` is the path relative to the scored folder. Folder and file are joined by ``--``; a
    name that another photo could come to as well, on file systems that do not tell capitals apart
    too, gets a digest of the full path.
    """
    path = PurePosixPath(photo)
    joined = "--".join(path.parts)
    name = safe_name(joined)
    twice = "--" in photo or PurePosixPath(path.stem).suffix.lower() in PHOTO_SUFFIXES
    if twice or joined != _usual_case(joined):
        name = with_digest(name, photo)
    return name if name.lower().endswith(".jpg") else f"{name}.jpg"


def _usual_case(name: str) -> str:
    """The one spelling of a name that is its own picture's: ``SL01_2026-03-05-dark.jpg``."""
    found = _FIRST_WORD.match(name)
    end = found.end() if found else 0
    return name[:end].casefold().upper() + name[end:].casefold()
