"""Photos that the grower has taken away: in a folder beside the others, with a list of them.

Nothing is deleted. The list marks the folder as one whose pictures are no photos of the shelf
(:mod:`jarvision.run.photo_files`). It only ever grows; what lies in the folder is what is aside.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import Final

from jarvision.base.errors import NotWritableError, UsageError
from jarvision.base.files import stays_inside
from jarvision.base.ledger import open_ledger
from jarvision.base.text import printable
from jarvision.register.photo_names import PHOTO_SUFFIXES
from jarvision.run.moves import move_whole
from jarvision.run.photo_files import ASIDE_LIST
from jarvision.run.stamps import content_of

ASIDE_FOLDER: Final = "set-aside"
_COLUMNS: Final = ("file", "photo", "jar", "content", "set_aside_at")


@dataclass(frozen=True)
class AsidePhoto:
    """A photo that was taken away.

    Attributes
    ----------
    file
        Its name in the folder of such photos.
    photo, jar
        What it was called under the folder of photos, and the jar that it was of.
    content
        SHA-256 of the file, hex.
    """

    file: str
    photo: str
    jar: str
    content: str
    set_aside_at: str


def photos_aside(folder: Path) -> tuple[AsidePhoto, ...]:
    """The photos of a folder that are set aside now, the newest first.

    Raises
    ------
    UsageError
        The list cannot be read as it stands.
    """
    place = folder / ASIDE_FOLDER
    if not (place / ASIDE_LIST).is_file():
        return ()
    found: dict[str, AsidePhoto] = {}
    for _, cells in open_ledger(place / ASIDE_LIST, _COLUMNS).rows:
        one = AsidePhoto(**{name: cells[name] for name in _COLUMNS})
        found.pop(one.file, None)  # the last line of a file counts, and its place
        if _is_sound(one) and (place / one.file).is_file():
            found[one.file] = one
    return tuple(reversed(found.values()))


def take_away(folder: Path, photo: str, *, jar: str, content: str, now: datetime) -> AsidePhoto:
    """Move a photo, by its name under the folder, to those that are set aside.

    It is listed first: a photo that is listed and still in its place is one of the shelf.

    Raises
    ------
    UsageError
        It is not there any more, or not the one that was read.
    NotWritableError
        The folder cannot be written; the photo is then where it was.
    """
    source = folder / photo
    if not source.is_file() or content_of(source) != content:
        raise UsageError(f"{printable(photo)} is not there any more", "Open the jar's page anew.")
    if source.is_symlink():
        raise UsageError(f"{printable(photo)} is a link to a photo", "Take the link away by hand.")
    place, name = folder / ASIDE_FOLDER, PurePosixPath(photo).name
    if (place / name).exists():
        name = f"{content[:12]}-{name}"
    one = AsidePhoto(name, photo, jar, content, now.isoformat(timespec="seconds"))
    ledger = open_ledger(place / ASIDE_LIST, _COLUMNS)
    ledger.add([{column: getattr(one, column) for column in _COLUMNS}])
    move_whole(source, place / name)
    return one


def put_back(folder: Path, one: AsidePhoto) -> str:
    """Move a photo back to where it was; its name under the folder.

    Raises
    ------
    UsageError
        Another photo bears its name by now, or the file is another one than was set aside.
    NotWritableError
        The folder cannot be written.
    """
    source, goal = folder / ASIDE_FOLDER / one.file, folder / one.photo
    if content_of(source) != one.content:
        raise UsageError(
            f"{printable(one.file)} is not the photo that was set aside",
            f"Look into the folder {ASIDE_FOLDER}, and move it by hand.",
        )
    if goal.exists():
        raise UsageError(
            f"There is another photo called {printable(one.photo)} by now",
            f"Look into the folder {ASIDE_FOLDER}, and move it by hand.",
        )
    try:
        goal.parent.mkdir(parents=True, exist_ok=True)  # the jar's folder may have gone meanwhile
    except OSError as error:
        raise NotWritableError(
            f"{printable(goal.parent.name)} cannot be made ({error.strerror})",
            "Allow writing there; the photo is kept until then.",
        ) from error
    move_whole(source, goal)
    return one.photo


def _is_sound(one: AsidePhoto) -> bool:
    """Whether a line leads to no other place: people edit tables."""
    plain = "/" not in one.file and stays_inside(one.file) and stays_inside(one.photo)
    suffixes = {PurePosixPath(name).suffix.lower() for name in (one.file, one.photo)}
    return plain and suffixes <= PHOTO_SUFFIXES
