"""Write files whole or not at all, with one error for a folder that cannot be written."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from jarvision.errors import NotWritableError


def write_whole(path: Path, content: bytes) -> Path:
    """Write a file under a temporary name beside it, then rename: readers never see half of it.

    Raises
    ------
    NotWritableError
        When the folder or the file cannot be written.
    """
    temporary = ""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(
            dir=path.parent, prefix=".", suffix=".part", delete=False
        ) as file:
            temporary = file.name
            file.write(content)
        Path(temporary).chmod(0o666 & ~_umask())  # temporary files are private; reports are not
        os.replace(temporary, path)  # noqa: PTH105 - str in, Path out
    except OSError as error:
        if temporary:
            Path(temporary).unlink(missing_ok=True)
        raise NotWritableError(
            f"{path.name} cannot be written ({error.strerror})",
            "Close it in other programs, free some space, or choose another --out.",
        ) from error
    return path


def _umask() -> int:
    mask = os.umask(0)  # the only portable way to read it is to set it
    os.umask(mask)
    return mask
