"""The same shot of a jar in two files: it counts once, whatever dates the files have."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Final

from jarvision.records import Reading, TimeSource

_TRUST: Final[tuple[TimeSource, ...]] = ("exif", "name", "file")
"""What tells the day best comes first: a copy has its own file time, and often no EXIF."""


_SHOWN: Final = 4


def refuse_repeats(readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """Refuse every reading of a shot that another reading of the same jar shows, in their order."""
    shots: dict[tuple[str, str], list[Reading]] = defaultdict(list)
    for reading in readings:
        if reading.status == "ok" and reading.picture:
            shots[reading.jar, reading.picture].append(reading)
    kept = {shot: min(same, key=_worth) for shot, same in shots.items()}

    def counted_once(reading: Reading) -> Reading:
        first = kept.get((reading.jar, reading.picture), reading)
        repeats = reading.status == "ok" and first.photo != reading.photo
        return _refused(reading, first) if repeats else reading

    return tuple(map(counted_once, readings))


def tell_shared_pictures(readings: Iterable[Reading]) -> list[str]:
    """One line for each shot that stands for several jars: all names but one are wrong."""
    shots: dict[str, dict[str, str]] = defaultdict(dict)
    for reading in readings:
        if reading.status == "ok" and reading.picture:
            shots[reading.picture].setdefault(reading.jar, reading.photo)
    return [
        f"the same picture stands for {len(photos)} jars, one of which it shows: "
        f"{', '.join(list(photos.values())[:_SHOWN])}"
        for photos in shots.values()
        if len(photos) > 1
    ]


def _worth(reading: Reading) -> tuple[int, datetime, str]:
    return _TRUST.index(reading.time_source), reading.taken_at, reading.photo


def _refused(reading: Reading, first: Reading) -> Reading:
    return Reading(
        photo=reading.photo,
        jar=reading.jar,
        view=reading.view,
        taken_at=reading.taken_at,
        time_source=reading.time_source,
        status="unusable",
        reason="repeated",
        detail="; ".join((f"the same picture as {first.photo}", *reading.notes)),
        overlay=reading.overlay,
        wall_picture=reading.wall_picture,
        notes=reading.notes,
        ignored_day=reading.ignored_day,
        picture=reading.picture,
    )
