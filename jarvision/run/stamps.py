"""Whether a file is still the one that was read: what the file system says, and the content."""

from __future__ import annotations

import hashlib
import stat
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final

SURE_AFTER_S: Final = 2.0
"""A file changed within this of being read may change again without a new time: the coarsest file
systems in use (FAT) count two seconds."""


UNSURE: Final = -1


@dataclass(frozen=True, slots=True)
class Stamp:
    """What a file system says of a file without opening it; equal stamps mean the same content.

    ``mtime_ns`` is :data:`UNSURE` for a file that was changed in the moment it was read.
    """

    size: int
    mtime_ns: int
    inode: str

    @property
    def sure(self) -> bool:
        """False when only the content can tell whether the file is the same."""
        return self.mtime_ns != UNSURE


def stamp_of(path: Path) -> Stamp | None:
    """Size, time and number of a regular file; None for anything else."""
    try:
        found = path.stat()
    except OSError:
        return None
    if not stat.S_ISREG(found.st_mode):
        return None
    sure = abs(time.time_ns() - found.st_mtime_ns) > SURE_AFTER_S * 1e9
    return Stamp(found.st_size, found.st_mtime_ns if sure else UNSURE, str(found.st_ino))


def content_of(path: Path) -> str:
    """SHA-256 of a file in hex; empty when it cannot be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""
