"""Which jar a photo shows where its name does not say so: photo_jars.csv beside the photos."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Final

from jarvision.base.csv_text import read_table, to_csv, to_lines
from jarvision.base.errors import UsageError
from jarvision.base.files import write_whole
from jarvision.base.text import printable
from jarvision.base.text_files import read_text_file

PHOTO_JARS_NAME: Final = "photo_jars.csv"
_COLUMNS: Final = ("photo", "jar")


def read_photo_jars(folder: Path) -> dict[str, str]:
    """Jar by photo, a path under the folder with forward slashes; the last line of a photo counts.

    Raises
    ------
    UsageError
        The file cannot be read as it stands, or a line names no photo or no jar.
    """
    path = folder / PHOTO_JARS_NAME
    if not path.is_file():
        return {}
    found = {}
    for line, cells in read_table(path, _COLUMNS).rows:
        if not cells["photo"] or not cells["jar"]:
            raise UsageError(
                f"{path.name}, line {line}: the photo or the jar has no name", "Correct this line."
            )
        found[cells["photo"].replace("\\", "/")] = cells["jar"]
    return found


def add_photo_jars(folder: Path, told: Mapping[str, str]) -> Path:
    """Add what was told of photos to the file, whole or not at all; older lines are never touched.

    Raises
    ------
    UsageError
        The file cannot be read as it stands.
    NotWritableError
        It cannot be written.
    """
    path = folder / PHOTO_JARS_NAME
    if not path.is_file():
        return write_whole(path, to_csv(_COLUMNS, told.items()).encode())
    table, file = read_table(path, _COLUMNS), read_text_file(path)
    rows = ({"photo": photo, "jar": jar} for photo, jar in told.items())
    lines = to_lines(
        ([row.get(name, "") for name in table.columns] for row in rows), table.delimiter
    )
    gap = "" if file.text.endswith(("\n", "\r")) else "\n"
    try:
        return write_whole(path, path.read_bytes() + file.encode(gap + lines))
    except UnicodeEncodeError:
        raise UsageError(
            f"{printable(path.name)} is not saved as UTF-8 and cannot hold these names",
            "Nothing was written; save it as CSV, UTF-8.",
        ) from None
