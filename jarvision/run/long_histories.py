"""Readings and histories as a large shelf holds them: lean, and packed but for the newest days."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from jarvision.base.files import stays_inside
from jarvision.base.long import LongSequence, chunked
from jarvision.records import JarDay, JarHistory, Reading
from jarvision.run.packing import (
    PackingError,
    pack_joined,
    pack_pieces,
    pack_record,
    unpack_pieces,
    unpack_record,
)

DAYS_HELD: Final = 9
"""Days of a jar that are held: what the table of days and today's list look at, and one more."""

DAYS_PACKED: Final = 40
READINGS_PACKED: Final = 64
"""Items of a chunk: the more, the smaller and the slower to get one of them."""


@dataclass(frozen=True)
class _Days:
    items: tuple[JarDay, ...]


@dataclass(frozen=True)
class _Readings:
    items: tuple[Reading, ...]


@dataclass(frozen=True)
class _Head:
    """A history without days and refused photos but for those that are held."""

    history: JarHistory
    first: tuple[JarDay, ...]
    last: tuple[JarDay, ...]
    refused: tuple[Reading, ...]
    count: int


# --------------------------------------------------------------------------- readings
def lean(reading: Reading) -> Reading:
    """A reading without what only pictures and the telling of its jar's story need."""
    patches = tuple(replace(patch, outline=()) for patch in reading.patches)
    return replace(reading, thumbnail=None, patches=patches)


def has_sound_paths(reading: Reading) -> bool:
    """Tell whether the pictures of a kept reading lie under OUT: a store may come from anywhere."""
    return all(map(stays_inside, (reading.overlay, reading.wall_picture)))


def long_readings(chunks: Sequence[bytes], count: int) -> LongSequence[Reading]:
    """Readings of chunks that :func:`reading_chunks` or :func:`join_readings` packed."""
    return LongSequence(chunks, size=READINGS_PACKED, count=count, unpack=unpack_readings)


def join_readings(packed: Sequence[bytes]) -> bytes:
    """A chunk of packed readings.

    Raises
    ------
    PackingError
    """
    return pack_joined(packed, field="items")


def reading_chunks(readings: Sequence[Reading]) -> Iterator[bytes]:
    """Pack readings, lean, chunk by chunk; those that are packed are taken as they are."""
    if isinstance(readings, LongSequence):
        yield from readings.chunks
        return
    for chunk in chunked(readings, READINGS_PACKED):
        yield pack_record(_Readings(tuple(map(lean, chunk))))


def unpack_readings(chunk: bytes) -> tuple[Reading, ...]:
    """Readings of a chunk; a path that leaves the output folder is none.

    Raises
    ------
    PackingError
    """
    return tuple(map(_sound, unpack_record(_Readings, chunk).items))


def _sound(reading: Reading) -> Reading:
    return reading if has_sound_paths(reading) else replace(reading, overlay="", wall_picture="")


# --------------------------------------------------------------------------- histories
def lean_history(history: JarHistory) -> JarHistory:
    """A history with lean readings; those of the last day keep the outlines that the page shows."""
    if isinstance(history.days, LongSequence):
        return history
    days = [replace(day, readings=tuple(map(lean, day.readings))) for day in history.days[:-1]]
    days += [replace(day, readings=tuple(map(_shown, day.readings))) for day in history.days[-1:]]
    return replace(history, days=tuple(days), refused=tuple(map(lean, history.refused)))


def pack_history(history: JarHistory) -> bytes:
    """Pack a lean history."""
    days, refused = history.days, history.refused
    if isinstance(days, LongSequence):
        chunks = list(days.chunks)
    else:
        chunks = [pack_record(_Days(tuple(some))) for some in chunked(days, DAYS_PACKED)]
    head = _Head(
        history=replace(history, days=(), refused=()),
        first=tuple(days[:1]),
        last=tuple(days[-DAYS_HELD:]),
        refused=tuple(refused),
        count=len(days),
    )
    return pack_pieces([pack_record(head), *chunks])


def unpack_history(packed: bytes) -> JarHistory:
    """The history that :func:`pack_history` packed; of its days the newest are held.

    Raises
    ------
    PackingError
    """
    first, *chunks = unpack_pieces(packed)
    head = unpack_record(_Head, first)
    if len(chunks) != -(-head.count // DAYS_PACKED):
        raise PackingError("days are missing")
    last = tuple(map(_sound_day, head.last))
    days: Sequence[JarDay] = last
    if len(last) < head.count:
        days = LongSequence(
            chunks,
            size=DAYS_PACKED,
            count=head.count,
            unpack=unpack_days,
            first=tuple(map(_sound_day, head.first)),
            last=last,
        )
    return replace(head.history, days=days, refused=tuple(map(_sound, head.refused)))


def unpack_days(chunk: bytes) -> tuple[JarDay, ...]:
    """Days of a chunk.

    Raises
    ------
    PackingError
    """
    return tuple(map(_sound_day, unpack_record(_Days, chunk).items))


def whole_history(history: JarHistory) -> JarHistory:
    """A history with all days held, to be looked at again and again."""
    return replace(history, days=tuple(history.days))


def _sound_day(day: JarDay) -> JarDay:
    readings = tuple(map(_sound, day.readings))
    return day if readings == day.readings else replace(day, readings=readings)


def _shown(reading: Reading) -> Reading:
    return replace(reading, thumbnail=None)
