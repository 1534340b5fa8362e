"""The day that verdicts are for, when nobody says: that of the newest photo of the shelf's jars."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from jarvision.base.days import latest_day, machine_day
from jarvision.records import Reading, TimeSource


@dataclass(frozen=True, order=True)
class DatedPhoto:
    """What of a photo says which day it is; many photos of a jar are alike in it.

    ``usable``: it gave a reading of a jar. ``odd_exif``: a day in it cannot be right.
    """

    day: date
    source: TimeSource
    usable: bool
    odd_exif: bool


def dated(reading: Reading) -> DatedPhoto:
    """What of a photo says which day it is."""
    usable = reading.status == "ok" and bool(reading.jar)
    odd = reading.ignored_day is not None
    return DatedPhoto(reading.taken_at.date(), reading.time_source, usable, odd)


def shelf_day(readings: Iterable[Reading]) -> date:
    """Day of the newest photo, as :func:`newest_day` tells it."""
    photos: dict[str, set[DatedPhoto]] = defaultdict(set)
    for reading in readings:
        photos[reading.jar].add(dated(reading))
    return newest_day(photos)


def newest_day(photos: Mapping[str, Collection[DatedPhoto]]) -> date:
    """Day of the newest photo of a jar of the shelf, usable or not; ``photos``: by jar.

    An evening whose photos were all refused is a day of its own: what was seen the day before is
    not its answer. So that one odd photo does not make all others old, these do not count:

    - one dated later than it can be;
    - a refused one that has no day of its own, or of a jar without any usable photo;
    - the time of a file, which is that of a copy, unless at least half of the jars have nothing
      newer.

    Without a usable photo: the day of the newest photo, else the machine's.
    """
    latest = latest_day()
    known = {jar: [p for p in own if p.day <= latest] for jar, own in photos.items()}
    used = {jar: own for jar, own in known.items() if any(photo.usable for photo in own)}
    every = [photo for own in used.values() for photo in own if photo.source != "file"]
    newest = max((photo.day for photo in every), default=None)
    copied = {
        jar: days
        for jar, own in used.items()
        if (days := [p.day for p in own if _is_newer_copy(p, newest)])
    }
    if copied and 2 * len(copied) >= len(used):
        return max(day for days in copied.values() for day in days)
    if newest is not None:
        return newest
    left = (photo for own in known.values() for photo in own)
    own_days = (photo.day for photo in left if not photo.odd_exif or photo.source != "file")
    return max(own_days, default=machine_day())


def _is_newer_copy(photo: DatedPhoto, newest: date | None) -> bool:
    """Whether the time of a usable photo's file is later than all that tells a day of its own."""
    plain = photo.usable and photo.source == "file" and not photo.odd_exif
    return plain and (newest is None or photo.day > newest)
