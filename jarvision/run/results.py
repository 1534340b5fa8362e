"""The last scoring, kept beside its readings: what ``explain``, ``plan`` and the others start from.

What only pictures need (thumbnails, outlines of patches) is left out: the readings have it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from jarvision.records import JarStory, Reading, ShelfResult
from jarvision.run.packing import PackingError, pack_record, unpack_record
from jarvision.run.photo_files import STORE_NAME
from jarvision.run.shelf import Shelf
from jarvision.run.store import Store, has_sound_paths, kept_result


@dataclass(frozen=True)
class _JarPhotos:
    """Names of the photos behind a story: of each of its days, and those that were refused."""

    days: tuple[tuple[str, ...], ...]
    refused: tuple[str, ...]


@dataclass(frozen=True)
class _Kept:
    """A result whose stories name their photos, so that no reading is kept twice."""

    result: ShelfResult
    photos: tuple[_JarPhotos, ...]


def keep_result(store: Store, result: ShelfResult) -> None:
    """Keep a result in the place of the one before it.

    Raises
    ------
    NotWritableError
    """
    stories = tuple(_without_readings(story) for story in result.stories)
    lean = replace(result, readings=tuple(map(_lean, result.readings)), stories=stories)
    store.keep_result(pack_record(_Kept(lean, tuple(map(_photos_of, result.stories)))))


def last_result(out: Path, shelf: Shelf) -> ShelfResult | None:
    """The last scoring that ``out`` keeps, each jar with its line in the register of today.

    None when there is none, as in a folder of an older version; when it cannot be unpacked; or
    while another run holds the store.
    """
    return _unpacked(kept_result(out / STORE_NAME), shelf)


def result_in(store: Store, shelf: Shelf) -> ShelfResult | None:
    """The last scoring that an open store keeps, as :func:`last_result` finds it."""
    return _unpacked(store.result(), shelf)


def _unpacked(packed: bytes | None, shelf: Shelf) -> ShelfResult | None:
    if packed is None:
        return None
    try:
        kept = unpack_record(_Kept, packed)
        if not all(map(has_sound_paths, kept.result.readings)):
            return None
        readings = {reading.photo: reading for reading in kept.result.readings}
        pairs = zip(kept.result.stories, kept.photos, strict=True)
        stories = [_with_readings(story, photos, readings) for story, photos in pairs]
    except (PackingError, KeyError, ValueError):
        return None
    return replace(kept.result, stories=tuple(_as_registered(s, shelf) for s in stories))


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


def _lean(reading: Reading) -> Reading:
    patches = tuple(replace(patch, outline=()) for patch in reading.patches)
    return replace(reading, thumbnail=None, patches=patches)


def _photos_of(story: JarStory) -> _JarPhotos:
    days = tuple(tuple(r.photo for r in day.readings) for day in story.history.days)
    return _JarPhotos(days, tuple(reading.photo for reading in story.history.refused))


def _without_readings(story: JarStory) -> JarStory:
    days = tuple(replace(day, readings=()) for day in story.history.days)
    return replace(story, history=replace(story.history, days=days, refused=()))


def _with_readings(
    story: JarStory, photos: _JarPhotos, readings: Mapping[str, Reading]
) -> JarStory:
    days = tuple(
        replace(day, readings=tuple(readings[name] for name in names))
        for day, names in zip(story.history.days, photos.days, strict=True)
    )
    refused = tuple(readings[name] for name in photos.refused)
    return replace(story, history=replace(story.history, days=days, refused=refused))
