"""The last scoring, kept beside its readings: what ``explain``, ``plan`` and the others start from.

What only pictures need (thumbnails, outlines of patches) is left out: the readings have it. Stories
and readings are packed in rows of their own, so that a large shelf is never packed in one piece.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from jarvision.records import (
    Flag,
    Growth,
    JarHistory,
    JarStory,
    Reading,
    ShelfResult,
    SpeciesProfile,
    Verdict,
)
from jarvision.run.kept_parts import part_digest
from jarvision.run.long_histories import (
    has_sound_paths,
    lean_history,
    long_readings,
    pack_history,
    reading_chunks,
    unpack_history,
)
from jarvision.run.packing import (
    PackingError,
    pack_pieces,
    pack_record,
    unpack_pieces,
    unpack_record,
)
from jarvision.run.photo_files import STORE_NAME
from jarvision.run.shelf import Shelf
from jarvision.run.store import KeptScoring, Store, kept_result

_STORY: Final = "story"
_READINGS: Final = "readings"
_ROWS: Final = "last rows"
"""A part without content: its digest says what the rows of the last scoring are made of."""


@dataclass(frozen=True)
class _JarPhotos:
    """Names of the photos behind a story: of each of its days, and those that were refused."""

    days: tuple[tuple[str, ...], ...]
    refused: tuple[str, ...]


@dataclass(frozen=True)
class _Kept:
    """A result without what has rows of its own; versions without rows kept all of it here.

    ``photos``: theirs, by story. ``count``: of the readings in rows.
    """

    result: ShelfResult
    photos: tuple[_JarPhotos, ...] = ()
    count: int = 0


@dataclass(frozen=True)
class Told:
    """A story without its history."""

    growth: Growth
    verdict: Verdict
    flags: tuple[Flag, ...]
    profile: SpeciesProfile


def as_story(told: Told, history: JarHistory) -> JarStory:
    """A story from its parts."""
    return JarStory(history, told.growth, told.verdict, told.flags, told.profile)


def keep_result(
    store: Store, result: ShelfResult, *, made_of: tuple[object, ...] | None = None
) -> None:
    """Keep a result in the place of the one before it.

    ``made_of`` is what its stories and readings are made of, where that is known: rows that were
    made of the same are left as they are.

    Raises
    ------
    NotWritableError
    """
    head = _Kept(replace(result, readings=(), stories=()), count=len(result.readings))
    digest = part_digest(_ROWS, made_of, len(result.readings)) if made_of is not None else b""
    kept = store.part(_ROWS, "")
    if digest and kept is not None and kept[0] == digest:
        store.keep_result(pack_record(head), None)
        return
    rows = {
        _STORY: map(_pack_story, result.stories),
        _READINGS: reading_chunks(result.readings),
    }
    store.forget_part(_ROWS, "")  # before the rows are others: a killed run leaves nothing wrong
    store.keep_result(pack_record(head), rows)
    if digest:
        store.keep_part(_ROWS, "", digest=digest, made=b"")


def last_result(out: Path, shelf: Shelf) -> ShelfResult | None:
    """The last scoring that ``out`` keeps, each jar with its line in the register of today.

    None when there is none, as in a folder of an older version; when it cannot be unpacked; or
    while another run holds the store.
    """
    return _unpacked(kept_result(out / STORE_NAME), shelf)


def result_in(store: Store, shelf: Shelf) -> ShelfResult | None:
    """The last scoring that an open store keeps, as :func:`last_result` finds it."""
    return _unpacked(store.result(), shelf)


def _unpacked(scoring: KeptScoring | None, shelf: Shelf) -> ShelfResult | None:
    if scoring is None:
        return None
    try:
        kept = unpack_record(_Kept, scoring.result)
        whole = kept.photos or kept.result.readings
        result = _of_one_piece(kept) if whole else _of_rows(kept, scoring.rows)
        if not all(map(has_sound_paths, result.readings)):
            return None
    except (PackingError, KeyError, ValueError):
        return None
    return replace(result, stories=tuple(_as_registered(s, shelf) for s in result.stories))


def _of_one_piece(kept: _Kept) -> ShelfResult:
    """The result that an older version kept."""
    readings = {reading.photo: reading for reading in kept.result.readings}
    pairs = zip(kept.result.stories, kept.photos, strict=True)
    stories = [_with_readings(story, photos, readings) for story, photos in pairs]
    return replace(kept.result, readings=tuple(kept.result.readings), stories=tuple(stories))


def _with_readings(
    story: JarStory, photos: _JarPhotos, readings: Mapping[str, Reading]
) -> JarStory:
    days = tuple(
        replace(day, readings=tuple(readings[name] for name in names))
        for day, names in zip(story.history.days, photos.days, strict=True)
    )
    refused = tuple(readings[name] for name in photos.refused)
    return replace(story, history=replace(story.history, days=days, refused=refused))


def _of_rows(kept: _Kept, rows: Mapping[str, Sequence[bytes]]) -> ShelfResult:
    stories = tuple(map(_unpack_story, rows.get(_STORY, ())))
    readings = long_readings(rows.get(_READINGS, ()), kept.count)
    if sum(1 for _ in readings) != kept.count:
        raise PackingError("readings are missing")
    return replace(kept.result, readings=readings, stories=stories)


def _pack_story(story: JarStory) -> bytes:
    told = Told(story.growth, story.verdict, story.flags, story.profile)
    return pack_pieces([pack_record(told), pack_history(lean_history(story.history))])


def _unpack_story(packed: bytes) -> JarStory:
    told, history = unpack_pieces(packed)
    return as_story(unpack_record(Told, told), unpack_history(history))


def _as_registered(story: JarStory, shelf: Shelf) -> JarStory:
    """The story with what the register says now: the jar may have been added since, or moved on."""
    before = story.history.entry
    entry = shelf.by_photo_names.get(before.jar, before)
    same = entry.species == before.species
    return replace(
        story,
        history=replace(story.history, entry=entry),
        profile=story.profile if same else shelf.species.find(entry.species),
    )
