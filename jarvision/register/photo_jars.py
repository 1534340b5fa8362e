"""Which jar a photo shows where its name does not say so: photo_jars.csv beside the photos."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Final

from jarvision.base.ledger import open_ledger

PHOTO_JARS_NAME: Final = "photo_jars.csv"
_COLUMNS: Final = ("photo", "jar")


def read_photo_jars(folder: Path) -> dict[str, str]:
    """Jar by photo, a path under the folder with forward slashes; the last line of a photo counts.

    Raises
    ------
    UsageError
        The file cannot be read as it stands, or a line names no photo or no jar.
    """
    return dict(open_ledger(folder / PHOTO_JARS_NAME, _COLUMNS).read(_jar_of_photo))


def add_photo_jars(folder: Path, told: Mapping[str, str]) -> Path:
    """Add what was told of photos to the file, whole or not at all; older lines are never touched.

    Raises
    ------
    UsageError
        The file cannot be read as it stands.
    NotWritableError
        It cannot be written.
    """
    ledger = open_ledger(folder / PHOTO_JARS_NAME, _COLUMNS)
    return ledger.add({"photo": photo, "jar": jar} for photo, jar in told.items())


def _jar_of_photo(cells: Mapping[str, str]) -> tuple[str, str]:
    if not cells["photo"] or not cells["jar"]:
        raise ValueError("the photo or the jar has no name")
    return cells["photo"].replace("\\", "/"), cells["jar"]
