"""Write files whole or not at all, with one error for a folder that cannot be written."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from jarvision.base.errors import NotWritableError

PART_PREFIX: Final = ".jarvision-"
PART_SUFFIX: Final = ".part"


_LEAVES: Final = re.compile(r"[\\:\0]|^/|(?:^|/)\.\.(?:/|\Z)")


def write_whole(path: Path, content: bytes) -> Path:
    """Write a file under a temporary name beside it, then rename: readers never see half of it.

    The content is on the disk before the name is, so that a power cut leaves the old file or the
    new one. A killed process may leave a part behind; :func:`sweep_parts` takes it away.

    Raises
    ------
    NotWritableError
        When the folder or the file cannot be written.
    """
    return write_pieces(path, (content,))


def write_pieces(path: Path, pieces: Iterable[bytes]) -> Path:
    """Write a file as :func:`write_whole` does, from pieces that are made while it is written.

    Raises
    ------
    NotWritableError
        When the folder or the file cannot be written.
    Exception
        Whatever making a piece raises; the file is then as it was.
    """
    temporary = ""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(
            dir=path.parent, prefix=PART_PREFIX, suffix=PART_SUFFIX, delete=False
        ) as file:
            temporary = file.name
            file.writelines(pieces)
            file.flush()
            os.fsync(file.fileno())
        Path(temporary).chmod(_mode(path))  # temporary files are private; reports are not
        os.replace(temporary, path)  # noqa: PTH105 - str in, Path out
        temporary = ""
        _sync_folder(path.parent)
    except OSError as error:
        raise NotWritableError(
            f"{path.name} cannot be written ({error.strerror})",
            "Close it in other programs, free some space, or choose another folder.",
        ) from error
    finally:
        if temporary:
            Path(temporary).unlink(missing_ok=True)
    return path


def stays_inside(relative: str) -> bool:
    """Tell a path that leads to no place outside of the folder that it is taken in, anywhere."""
    return not _LEAVES.search(relative)


def sweep_parts(folder: Path) -> None:
    """Take away what killed runs left half-written in ``folder`` and the folders right under it.

    Only for the one run that may write there.
    """
    for depth in ("", "*/"):
        for part in folder.glob(f"{depth}{PART_PREFIX}*{PART_SUFFIX}"):
            part.unlink(missing_ok=True)


def _sync_folder(folder: Path) -> None:
    """Make the new name last, where folders can be synchronised (not on Windows)."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    try:
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    except OSError:  # a folder that may be written but not read
        return
    try:
        os.fsync(handle)
    except OSError:  # some network shares cannot; the file itself is safe
        pass
    finally:
        os.close(handle)


def _mode(path: Path) -> int:
    """Permissions of the file that is replaced, else those of any new file."""
    return path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask()


def _umask() -> int:
    mask = os.umask(0)  # the only portable way to read it is to set it
    os.umask(mask)
    return mask
