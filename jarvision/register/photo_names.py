"""Which jar, day and view a photo shows, told from its name alone.

Rules, in order of trust:

- jar: a jar tag (read elsewhere), else the name of the photo's folder when that is not the scored
  folder, else the file name up to its first ``_``;
- day: the photo's own time (read elsewhere), else an ISO date in the file name;
- view: a last name part ``_a`` to ``_d``; without one, the front.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Final, cast

from jarvision.base.text import safe_name, with_digest

if TYPE_CHECKING:  # its arrays would load numpy, which help does not need
    from jarvision.records import View


PHOTO_SUFFIXES: Final = frozenset(
    {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"}
)


_ISO_DATE: Final = re.compile(r"(?<!\d)(20\d\d)(-?)(0[1-9]|1[0-2])\2(0[1-9]|[12]\d|3[01])(?!\d)")


_VIEW: Final = re.compile(r"_([a-d])$", re.IGNORECASE)


_FIRST_WORD: Final = re.compile(r"[\W\d_]*[^\W\d_]*")


_NUMBER: Final = re.compile(r"\d+")


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


def tells_jar(name: str) -> bool:
    """Whether a photo's name says which jar it shows; a camera's counter or a date does not.

    Where it does not, the jar's tag will.
    """
    jar = read_name(name).jar
    return day_of(jar) is None and any(char.isdigit() for char in jar)


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
