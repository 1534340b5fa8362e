"""What a photo's EXIF says: which way up, when, and how far the lens zooms.

EXIF is written by phones, editors and senders, and is often damaged. A tag that makes no sense
counts as absent: it never costs the photo.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any, TypeVar, cast

import numpy as np
from PIL import Image
from PIL.ExifTags import IFD, Base

from jarvision.base.days import can_be
from jarvision.records import TimeSource

Samples = TypeVar("Samples", bound=np.ndarray[Any, Any])

_OFFSET = re.compile(r"([+-])(\d{2}):(\d{2})")

_ORIENTATIONS = range(1, 9)
"""Ways in which a picture may be stored (EXIF 2.32, tag 0x0112); 1 is upright."""


@dataclass(frozen=True)
class ExifFacts:
    """The tags that are used, each None (or 1 for the orientation) when absent or senseless.

    Attributes
    ----------
    taken_at
        Wall clock time where the photo was taken.
    utc_offset
        What that clock was ahead of UTC.
    focal_35mm
        Focal length for a 36 x 24 mm frame, mm.
    ignored_day
        The day of a time that cannot be right, which then counts as absent.
    """

    orientation: int = 1
    taken_at: datetime | None = None
    utc_offset: timedelta | None = None
    focal_35mm: float | None = None
    ignored_day: date | None = None


def read_exif(image: Image.Image) -> ExifFacts:
    """Facts of a *loaded* picture.

    Loaded, because some decoders turn the picture themselves while loading and then take the
    orientation tag away.
    """
    try:
        exif = image.getexif()
        details = dict(exif.get_ifd(IFD.Exif))
        orientation = exif.get(Base.Orientation, 1)
    except Exception:  # noqa: BLE001 - Pillow meets damaged tags with errors of many kinds
        return ExifFacts()
    said = _time(details.get(Base.DateTimeOriginal))
    sensible = said is None or can_be(said.date())
    return ExifFacts(
        orientation=orientation if orientation in _ORIENTATIONS else 1,
        taken_at=said if sensible else None,
        ignored_day=None if said is None or sensible else said.date(),
        utc_offset=_offset(details.get(Base.OffsetTimeOriginal)),
        focal_35mm=_positive(details.get(Base.FocalLengthIn35mmFilm)),
    )


def turn_upright(samples: Samples, orientation: int) -> Samples:
    """Turn ``(rows, cols, channels)`` as stored upright; ``orientation`` is 1 to 8."""
    import cv2

    turned: Any = samples
    if orientation in (5, 7):  # mirrored and turned
        turned = cv2.transpose(turned)
    if orientation in (2, 4):
        turned = cv2.flip(turned, 1 if orientation == 2 else 0)
    turns = {
        3: cv2.ROTATE_180,
        6: cv2.ROTATE_90_CLOCKWISE,
        7: cv2.ROTATE_180,
        8: cv2.ROTATE_90_COUNTERCLOCKWISE,
    }
    if orientation in turns:
        turned = cv2.rotate(turned, turns[orientation])
    return cast(Samples, np.ascontiguousarray(turned).reshape(*turned.shape[:2], -1))


def when(facts: ExifFacts, *, dated: date | None, path: Path) -> tuple[datetime, TimeSource]:
    """EXIF's time, else the name's date at noon, else the file's own time."""
    if facts.taken_at is not None:
        return facts.taken_at, "exif"
    return time_without_exif(path, dated=dated)


def time_without_exif(path: Path, *, dated: date | None) -> tuple[datetime, TimeSource]:
    """The name's date at noon, else the file's own time; never fails."""
    if dated is not None:
        return datetime.combine(dated, time(12)), "name"
    return _file_time(path), "file"


def _file_time(path: Path) -> datetime:
    """Time of a file, or of a link that leads nowhere; 1970 for one that makes no sense."""
    for look in (path.stat, path.lstat):
        try:
            return datetime.fromtimestamp(look().st_mtime).replace(microsecond=0)
        except (OSError, OverflowError, ValueError):
            continue
    return datetime(1970, 1, 1)


def _text(value: Any) -> str:
    return str(value).strip().rstrip("\x00").strip()


def _time(value: Any) -> datetime | None:
    try:
        return datetime.strptime(_text(value), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None


def _offset(value: Any) -> timedelta | None:
    """``+02:00`` and the like; EXIF writes blanks when the zone is not known."""
    found = _OFFSET.fullmatch(_text(value))
    if found is None:
        return None
    size = timedelta(hours=int(found[2]), minutes=int(found[3]))
    return -size if found[1] == "-" else size


def _positive(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None
