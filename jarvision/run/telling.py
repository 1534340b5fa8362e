"""Readings -> the story of every jar, jar by jar: no story is told twice.

Two parts of each jar are kept (:mod:`jarvision.run.kept_parts`): what its photos say (its history,
the days on which it was seen, what does not fit together), made of its readings and of what the
grower says of it; and its story, made of that, of what its batch mates' photos say, and of the day.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from jarvision.growth.priors import Sibling, batch_of, fit_siblings
from jarvision.history.build import build_history
from jarvision.records import JarEntry, JarHistory, JarStory, Reading
from jarvision.run.doubts import (
    PhotoDoubts,
    StartDoubts,
    doubt_photos,
    doubt_start,
)
from jarvision.run.kept_parts import kept_part, part_digest
from jarvision.run.long_histories import (
    lean_history,
    pack_history,
    unpack_history,
    whole_history,
)
from jarvision.run.packing import pack_pieces, pack_record, unpack_pieces, unpack_record
from jarvision.run.photo_rows import PhotoRows
from jarvision.run.results import Told, as_story
from jarvision.run.shelf import Shelf
from jarvision.run.shelf_day import DatedPhoto, dated
from jarvision.run.store import Store
from jarvision.verdict.assess import tell_with_taught

PHOTOS_PART: Final = "photos"
STORY_PART: Final = "story"


@dataclass(frozen=True)
class FileNote:
    """A note on how files were read, its first photo, and how many there are."""

    note: str
    photo: str
    photos: int


@dataclass(frozen=True)
class JarPhotos:
    """What the photos of one jar say beside its history; jar empty: those of no jar.

    ``photos``: how many there are; ``dated`` holds each kind once.
    """

    jar: str
    photos: int
    dated: tuple[DatedPhoto, ...]
    notes: tuple[FileNote, ...]
    doubts: PhotoDoubts


@dataclass(frozen=True)
class SeenJar:
    """The same with the history, where the jar has one, and the digest of what it is made of."""

    said: JarPhotos
    history: JarHistory | None
    made_of: bytes


@dataclass(frozen=True)
class ToldJar:
    """A story, what does not fit together in it, and the digest of what it is made of."""

    story: JarStory
    doubts: StartDoubts
    made_of: bytes


@dataclass(frozen=True)
class _KeptStory:
    told: Told
    doubts: StartDoubts


def look_at_photos(shelf: Shelf, store: Store, rows: PhotoRows) -> list[SeenJar]:
    """What the photos of every jar say, in the order of the photos.

    Raises
    ------
    DamagedRowsError
        Photos must be read again.
    """
    return [_seen(shelf, store, rows, jar) for jar in rows.jars]


def _seen(shelf: Shelf, store: Store, rows: PhotoRows, jar: str) -> SeenJar:
    entry = shelf.register.get(jar) or JarEntry(jar, registered=False)
    diary = tuple(shelf.diary.get(jar, ()))
    grows = bool(jar) and jar not in shelf.past.removed and entry.kind != "bare"
    digest = part_digest(
        PHOTOS_PART, jar, rows.jars[jar].digest, entry, diary, grows, shelf.settings.digest()
    )

    def make() -> tuple[JarPhotos, JarHistory | None]:
        readings = rows.whole(jar)
        said = _said(jar, readings)
        if not grows:
            return said, None
        history = build_history(readings, entry, settings=shelf.settings, diary=diary)
        return said, lean_history(history)

    said, history = kept_part(
        store, (PHOTOS_PART, jar), digest, make, pack=_pack_seen, unpack=_unpack_seen
    )
    return SeenJar(said, history, digest)


def _pack_seen(seen: tuple[JarPhotos, JarHistory | None]) -> bytes:
    said, history = seen
    return pack_pieces([pack_record(said), *([pack_history(history)] if history else [])])


def _unpack_seen(packed: bytes) -> tuple[JarPhotos, JarHistory | None]:
    said, *history = unpack_pieces(packed)
    return unpack_record(JarPhotos, said), unpack_history(history[0]) if history else None


def _said(jar: str, readings: Sequence[Reading]) -> JarPhotos:
    notes: dict[str, list[str]] = {}
    for reading in readings:
        for note in reading.notes:
            notes.setdefault(note, []).append(reading.photo)
    return JarPhotos(
        jar=jar,
        photos=len(readings),
        dated=tuple(sorted({dated(reading) for reading in readings})),
        notes=tuple(FileNote(note, names[0], len(names)) for note, names in notes.items()),
        doubts=doubt_photos(readings),
    )


# --------------------------------------------------------------------------- stories
def tell_jars(shelf: Shelf, store: Store, seen: Sequence[SeenJar], *, today: date) -> list[ToldJar]:
    """The story of every jar that has a history, by name."""
    growing = {jar.said.jar: jar for jar in seen if jar.history is not None}
    return _Teller(shelf, store, growing, today).tell()


class _Teller:
    """Tells the stories of some jars, each with what its batch mates teach."""

    def __init__(
        self, shelf: Shelf, store: Store, jars: Mapping[str, SeenJar], today: date
    ) -> None:
        self.shelf, self.store, self.today = shelf, store, today
        self.jars = jars
        self.histories = {jar: s.history for jar, s in jars.items() if s.history is not None}
        self.alike: dict[tuple[object, ...], list[JarEntry]] = {}
        for history in self.histories.values():
            for key in _batch_keys(history.entry):
                self.alike.setdefault(key, []).append(history.entry)
        self.taught: dict[str, Sibling | None] = {}

    def tell(self) -> list[ToldJar]:
        return [self._told(jar) for jar in sorted(self.jars)]

    def _told(self, jar: str) -> ToldJar:
        shelf, history = self.shelf, self.histories[jar]
        near = [e for key in _batch_keys(history.entry) for e in self.alike[key]]
        mates = batch_of(history.entry, {entry.jar: entry for entry in near}.values())
        looks, siblings = shelf.looks.get(jar, ()), shelf.register.siblings(jar)
        digest = part_digest(
            STORY_PART,
            self.jars[jar].made_of,
            [(mate, self.jars[mate].made_of) for mate in mates],
            self.today,
            shelf.settings.digest(),
            [shelf.species.find(name) for name in self._species(jar, mates)],
            looks,
            siblings,
        )

        def make() -> _KeptStory:
            story = tell_with_taught(
                whole_history(history),
                shelf.register,
                batch_mates=[t for mate in mates if (t := self._teaches(mate)) is not None],
                today=self.today,
                settings=shelf.settings,
                species=shelf.species,
                looks=looks,
            )
            told = Told(story.growth, story.verdict, story.flags, story.profile)
            return _KeptStory(told, doubt_start(story, shelf.settings.growth))

        kept = kept_part(
            self.store, (STORY_PART, jar), digest, make, pack=pack_record, unpack=_unpack_story
        )
        return ToldJar(as_story(kept.told, history), kept.doubts, digest)

    def _species(self, jar: str, mates: Sequence[str]) -> list[str]:
        """Names of the species of a jar and its mates; capitals may differ."""
        return list(dict.fromkeys(self.histories[name].entry.species for name in (jar, *mates)))

    def _teaches(self, jar: str) -> Sibling | None:
        """What a jar teaches its mates; fitted once, and only where a mate's story is told anew."""
        if jar not in self.taught:
            found = fit_siblings(
                [whole_history(self.histories[jar])],
                today=self.today,
                profile_of=self.shelf.species.find,
                settings=self.shelf.settings,
            )
            self.taught[jar] = found.get(jar)
        return self.taught[jar]


def _batch_keys(entry: JarEntry) -> Iterator[tuple[object, ...]]:
    """What jars of one batch have in common: one of these; others need not be compared."""
    if entry.parent:
        yield "fed from", entry.parent
    yield "filled with", entry.contents, entry.started


def _unpack_story(packed: bytes) -> _KeptStory:
    return unpack_record(_KeptStory, packed)


def file_notes(seen: Sequence[SeenJar]) -> list[str]:
    """One line for each note on how files were read, with the first photo that it holds for."""
    found: dict[str, tuple[str, int]] = {}
    for jar in seen:
        for note in jar.said.notes:
            first, photos = found.get(note.note, (note.photo, 0))
            found[note.note] = (first, photos + note.photos)
    return [
        f"{first}{f' and {photos - 1} more' if photos > 1 else ''}: {note}"
        for note, (first, photos) in found.items()
    ]
