"""Photos moved whole or not at all, to another disk too; what a killed move left is swept."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from jarvision.base.errors import NotWritableError
from jarvision.base.files import PART_PREFIX, PART_SUFFIX

OLD_S: Final = 3600.0
"""A part that nothing has touched for so long is nobody's: the slowest card takes minutes."""

_PART: Final = re.compile(
    re.escape(PART_PREFIX) + r"move-[0-9a-f]{16}" + re.escape(PART_SUFFIX)
    + r"|\..+_\d{4}-\d\d-\d\d-\d{6}-\d{12}(_[a-d])?\.(jpg|png|tif|webp|heic)\.part"  # former ones
)  # fmt: skip


def move_whole(source: Path, goal: Path) -> None:
    """Move a file; its time is kept, and nobody ever sees half of it.

    Raises
    ------
    NotWritableError
        The goal's folder cannot be written; the file is then where it was.
    """
    part = _part_of(goal)
    try:
        try:
            source.replace(goal)
        except FileNotFoundError:
            raise
        except OSError:  # another disk
            shutil.copy2(source, part)
            with part.open("rb") as file:
                os.fsync(file.fileno())
            os.replace(part, goal)  # noqa: PTH105
            source.unlink(missing_ok=True)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise NotWritableError(
            f"{goal.name} cannot be written into {goal.parent.name} ({error.strerror})",
            "Free some space, or allow writing there; the photo is kept until then.",
        ) from error


def sweep_moves(places: Iterable[Path], *, now_s: float | None = None) -> list[str]:
    """Take away what killed moves left half-written in some folders; names of what went.

    Only files of the server's own pattern go, and only those that nothing has touched for
    :data:`OLD_S`: another server may move a photo just now. The photo itself still lies where it
    was to be moved from.
    """
    now, swept = time.time() if now_s is None else now_s, []
    for place in places:
        for path in sorted(place.glob(".*.part")):
            if _PART.fullmatch(path.name) and path.is_file() and not path.is_symlink():
                touched = path.stat()
                if now - max(touched.st_mtime, touched.st_ctime) > OLD_S:
                    path.unlink(missing_ok=True)
                    swept.append(path.name)
    return swept


def _part_of(goal: Path) -> Path:
    digest = hashlib.sha256(goal.name.encode("utf-8", "surrogatepass")).hexdigest()[:16]
    return goal.with_name(f"{PART_PREFIX}move-{digest}{PART_SUFFIX}")
