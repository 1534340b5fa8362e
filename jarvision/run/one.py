"""One photo more: its jar's story is told anew, and the folder is not read again.

What the store and the last scoring have is taken as it is. The photo is read as
:mod:`jarvision.run.update` would read it, and the jar's story told from all readings of this jar
and its batch: as a scoring of the whole folder would, unless the photo is older than others and
teaches them another bare look. The next scoring reads those again.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from pathlib import Path

from jarvision.base.days import clock_day
from jarvision.base.errors import UsageError
from jarvision.base.text import printable
from jarvision.growth.priors import batch_of
from jarvision.history.build import build_history
from jarvision.history.repeats import refuse_repeats
from jarvision.records import JarEntry, JarHistory, JarStory, Reading, ShelfResult
from jarvision.register.photo_names import read_name
from jarvision.run.counting import put_right, shelf_counts
from jarvision.run.jobs import Fleet, PhotoReader, read_one
from jarvision.run.lock import only_run
from jarvision.run.provenance import made_with
from jarvision.run.results import keep_result, result_in
from jarvision.run.score import check_apart, check_writable, job_of_photo
from jarvision.run.shelf import Shelf
from jarvision.run.shelf_day import shelf_day
from jarvision.run.sources import NearFolder
from jarvision.run.store import Store
from jarvision.run.update import Intake, Tell
from jarvision.truth.adjust import Adjustment
from jarvision.verdict.assess import tell_story_of
from jarvision.verdict.lives import with_lives


@dataclass(frozen=True)
class ScoredOne:
    """What came of one photo.

    Attributes
    ----------
    reading
        Of the photo; with ``reason`` and without numbers when it could not be used.
    story
        Of its jar, with its ``verdict``; None when the photo tells no jar, or one without a usable
        photo, or one that was taken out of the register.
    by_photos
        The shelf with this photo, by its photos alone: what the next one goes on from.
    """

    reading: Reading
    story: JarStory | None
    by_photos: ShelfResult


@dataclass(frozen=True)
class OpenShelf:
    """A shelf with its output folder held and its store open, for one photo or one jar."""

    shelf: Shelf
    out: Path
    store: Store

    def add(
        self, path: Path, before: ShelfResult, *, fleet: Fleet, read: PhotoReader | None = None,
        today: date | None = None,
    ) -> ScoredOne:  # fmt: skip
        """Read a photo of the folder, keep it, and tell its jar's story.

        ``before`` is the shelf so far, by its photos alone.

        Raises
        ------
        UsageError
            The photo went away meanwhile.
        NotWritableError
        """
        intake = self._intake(fleet, read or read_one)
        taken = intake.take([path])
        if not taken:
            raise UsageError(
                f"{printable(path.name)} is not there any more", "Take the photo again."
            )
        (reading,) = put_right([self.shelf.under_todays_name(taken[0])], self._counted)
        result = _with_reading(before, reading)
        return self._scored(reading, self.retell(reading.jar, result, today=today))

    def drop(self, photo: str, before: ShelfResult, *, today: date | None = None) -> ShelfResult:
        """A shelf without a photo that has left the folder; its jar's story is told anew.

        What was read of it is kept, as of every photo that may come back.
        """
        self.store.mark([photo], here=False)
        jar = next((r.jar for r in before.readings if r.photo == photo), "")
        readings = tuple(r for r in before.readings if r.photo != photo)
        return self.retell(jar, replace(before, readings=readings), today=today)

    def caught_up(self, result: ShelfResult) -> ShelfResult:
        """A shelf with the readings that the store has beyond it, as a watch leaves them."""
        told = {reading.photo for reading in result.readings}
        missing = [name for name in self.store.jars_shown() if name not in told]
        kept = [r for name in missing if (r := self.store.reading(name)) is not None]
        named = [self.shelf.under_todays_name(reading) for reading in kept]
        fresh = put_right(named, self._counted)
        for reading in fresh:
            result = _with_reading(result, reading)
        for jar in sorted({reading.jar for reading in fresh}):
            result = self.retell(jar, result)
        return result

    def retell(self, jar: str, before: ShelfResult, *, today: date | None = None) -> ShelfResult:
        """Tell a jar's story anew from its readings and what the register says now."""
        shelf = self.shelf
        counting = [r for r in before.readings if r.jar not in shelf.past.removed]
        day = today or max(shelf_day(counting or before.readings), before.scored_on)
        result = replace(before, scored_on=day, made_on=clock_day())
        others = [story for story in before.stories if story.verdict.jar != jar]
        entry = shelf.register.get(jar) or JarEntry(jar, registered=False)
        if not jar or jar in shelf.past.removed or entry.kind == "bare":
            return replace(result, stories=tuple(others))
        mates = self._mates(entry, others)
        photos = self._photos_of({jar, *(mate.entry.jar for mate in mates)})
        history = self._history(entry, photos[jar])
        if history is None:
            return replace(result, stories=tuple(others))
        story = tell_story_of(
            history,
            [self._as_kept(mate, photos[mate.entry.jar]) for mate in mates],
            shelf.register,
            today=day,
            settings=shelf.settings,
            species=shelf.species,
            looks=shelf.looks.get(jar, ()),
        )
        told = sorted((*others, story), key=lambda s: s.verdict.jar)
        return replace(result, stories=tuple(told))

    def last(self) -> ShelfResult | None:
        """The last scoring that is kept, by its photos alone; None when there is none."""
        return result_in(self.store, self.shelf)

    def holds_others(self, photo: str) -> bool:
        """Whether readings of other photos are kept, too."""
        return any(name != photo for name in self.store.jars_shown())

    def keep(self, by_photos: ShelfResult) -> None:
        """Keep the shelf as its last scoring; tables and report stay as they were."""
        keep_result(self.store, by_photos)

    @cached_property
    def _counted(self) -> Adjustment | None:
        """How the grower's counts put readings right."""
        return shelf_counts(self.shelf, self.store).adjustment

    def _scored(self, reading: Reading, result: ShelfResult) -> ScoredOne:
        alive = lives_of(result, self.shelf)
        story = next((s for s in alive.all_stories if s.verdict.jar == reading.jar), None)
        return ScoredOne(reading, story, result)

    def _intake(self, fleet: Fleet, read: PhotoReader) -> Intake:
        shelf = self.shelf
        return Intake(
            store=self.store,
            folder=NearFolder(shelf.folder),
            out=self.out,
            job_of=lambda path: job_of_photo(shelf, path, root=shelf.folder, out=self.out),
            made_with=made_with(shelf.values, shelf.settings.photo),
            fleet=fleet,
            read=read,
            register=shelf.by_photo_names,
            photo_jars=shelf.photo_jars,
            names=shelf.past.names,
            only=True,
        )

    # ----------------------------------------------------------------------- readings of jars
    def _photos_of(self, jars: Collection[str]) -> dict[str, list[str]]:
        """Names of the photos of some jars that the store knows in the folder."""
        found: dict[str, list[str]] = {jar: [] for jar in jars}
        for name, shown in self.store.jars_shown().items():
            told = read_name(name, self.shelf.photo_jars.get(name, "")).jar
            jar = self.shelf.past.now(told if shown is None else shown)
            if jar in found:
                found[jar].append(name)
        return found

    def _history(self, entry: JarEntry, names: Sequence[str]) -> JarHistory | None:
        """History of a jar from its kept readings; None where no reading is of it."""
        kept = (self.store.reading(name) for name in sorted(names))
        readings = [self.shelf.under_todays_name(r) for r in kept if r is not None]
        own = [r for r in put_right(readings, self._counted) if r.jar == entry.jar]
        if not own:
            return None
        return build_history(
            refuse_repeats(own),
            entry,
            settings=self.shelf.settings,
            diary=self.shelf.diary.get(entry.jar, ()),
        )

    def _mates(self, entry: JarEntry, others: Sequence[JarStory]) -> list[JarHistory]:
        """Histories of the jars of the same batch, as they were told last."""
        told = {story.verdict.jar: story.history for story in others}
        entries = [history.entry for history in told.values()]
        return [told[jar] for jar in batch_of(entry, entries)]

    def _as_kept(self, mate: JarHistory, names: Sequence[str]) -> JarHistory:
        """A mate's history; made anew where photos came since it was told."""
        told = {r.photo for day in mate.days for r in day.readings} | {
            r.photo for r in mate.refused
        }
        told |= {photo for top in mate.tops for photo in top.photos}
        return mate if told == set(names) else self._history(mate.entry, names) or mate


def _with_reading(result: ShelfResult, reading: Reading) -> ShelfResult:
    others = (r for r in result.readings if r.photo != reading.photo)
    return replace(result, readings=tuple(sorted((*others, reading), key=lambda r: r.photo)))


@contextmanager
def held(shelf: Shelf, out: Path, *, tell: Tell) -> Iterator[OpenShelf]:
    """Hold the output folder and open its store; another run is waited for, and told.

    Raises
    ------
    UsageError
        ``out`` is the folder of photos.
    NotWritableError
        ``out`` cannot be written.
    """
    check_apart(shelf.folder, out)
    check_writable(out)
    with only_run(out, tell=tell), Store(out, tell=tell) as store:
        yield OpenShelf(shelf, out, store)


def lives_of(by_photos: ShelfResult, shelf: Shelf) -> ShelfResult:
    """A shelf with what is known of its jars beside their photos."""
    return with_lives(
        by_photos,
        shelf.register,
        shelf.outcomes,
        looks=shelf.looks,
        today=by_photos.made_on,
        fruiting=shelf.settings.fruiting,
    )


def no_photo_yet(shelf: Shelf, day: date) -> ShelfResult:
    """A shelf before its first photo."""
    return ShelfResult(
        folder=shelf.folder.resolve().name,
        scored_on=day,
        readings=(),
        stories=(),
        settings_digest=shelf.settings.digest(),
        made_on=clock_day(),
    )
