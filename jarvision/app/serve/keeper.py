"""What the desk does for the pages: photos find their place and are read, stories are told anew.

Every function here runs at the desk, one at a time, and holds the output folder while it writes.
What another run kept meanwhile is gone on from.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path
from typing import Final

from jarvision.api import publisher
from jarvision.app.serve.arrivals import Arrival, Inbox
from jarvision.app.serve.naming import photo_file_name
from jarvision.app.serve.walk import Walk, jar_by_tag, walk_of
from jarvision.base.days import EARLIEST
from jarvision.base.errors import NothingToScoreError, NotWritableError, UsageError
from jarvision.base.text import counted, did_you_mean, printable
from jarvision.records import JarStory, Reading, ShelfResult
from jarvision.register.endings import ending_of
from jarvision.register.photo_jars import add_photo_jars
from jarvision.register.photo_names import read_name, tag_agrees
from jarvision.run.aside import ASIDE_FOLDER, photos_aside
from jarvision.run.first_look import first_look
from jarvision.run.jobs import Fleet, Job, PhotoReader
from jarvision.run.moves import move_whole, sweep_moves
from jarvision.run.one import OpenShelf, ScoredOne, held, lives_of, no_photo_yet
from jarvision.run.score import score_shelf
from jarvision.run.shelf import Shelf, open_shelf
from jarvision.run.stamps import content_of
from jarvision.run.update import Progress, Tell

_TWIN: Final = "This photo was there already, and counts once."
_ASIDE: Final = f"You have taken this photo away: it lies in the folder {ASIDE_FOLDER}."


@dataclass(frozen=True)
class ShelfNow:
    """The shelf as the pages show it: what lies beside the photos, and what is told of each jar.

    ``contents`` are the digests of the photos, by name.
    """

    shelf: Shelf
    alive: ShelfResult
    walk: Walk
    contents: Mapping[str, str] = field(default_factory=dict)

    def story(self, jar: str) -> JarStory | None:
        """The story of a jar, over or not."""
        return next((s for s in self.alive.all_stories if s.verdict.jar == jar), None)

    def is_jar(self, jar: str) -> bool:
        """Whether the register or a photo knows a jar of this name."""
        return jar in self.shelf.register or self.story(jar) is not None


@dataclass
class Keeper:
    """Keeps a shelf; all of it belongs to the desk's thread.

    Attributes
    ----------
    by_photos
        The shelf by its photos alone, as it was told last; None until it is first asked for.
    shown
        The shelf for the pages, which may look at it while the desk works; None until the first
        :meth:`refresh`.
    contents
        Digests of the photos of the folder, by name.
    give_way
        Called before the output folder is waited for: what holds it for the server's own sake ends,
        and whether anything did.
    small_of
        Makes a small JPEG of a photo that asks for its jar; empty for none.
    """

    folder: Path
    out: Path
    fleet: Fleet
    arrivals: Inbox
    hear: Callable[[str], None]
    register: Path | None = None
    settings_file: Path | None = None
    read: PhotoReader | None = None
    today: Callable[[], date] = date.today
    by_photos: ShelfResult | None = None
    shown: ShelfNow | None = None
    contents: Mapping[str, str] = field(default_factory=dict)
    give_way: Callable[[], bool] = lambda: False
    small_of: Callable[[Path], bytes] = lambda _: b""
    _kept_at: str = ""
    _unkept: bool = False

    def refresh(self) -> ShelfNow:
        """The shelf as it stands, with what other runs and the grower wrote meanwhile."""
        shelf = self.open()
        with self.hold(shelf):
            pass
        return self._show(shelf)

    def open(self) -> Shelf:
        """What lies beside the photos, as it is now."""
        return open_shelf(self.folder, register=self.register, settings_file=self.settings_file)

    # ----------------------------------------------------------------------- photos
    def settle(self, sha: str) -> Arrival | None:
        """Find a photo its jar and its place, read it, and tell its jar's story.

        Raises
        ------
        JarvisionError
            Something beside the photos is wrong, or cannot be written; the photo stays where it is.
        """
        arrival = self.arrivals.get(sha)
        if arrival is None or not arrival.waits:
            return arrival
        shelf = self.open()
        with self.hold(shelf) as opened:
            twin = opened.store.photo_with(sha)
            if twin is not None and (self.folder / twin).is_file():
                return self._placed(opened, replace(arrival, words=_TWIN), twin)
            if any(one.content == sha for one in photos_aside(self.folder)):
                self.arrivals.drop(arrival)
                return self.arrivals.note(replace(arrival, state="aside", words=_ASIDE))
            looked = self._look(arrival)
            if looked.reason:
                self.arrivals.drop(arrival)
                return self.arrivals.note(
                    replace(arrival, state="no_picture", words=printable(looked.detail))
                )
            jar, words, tag = self._jar_of(arrival, looked.jar, shelf)
            if not jar:
                small = self.small_of(self.arrivals.path(arrival))
                return self.arrivals.note(
                    replace(arrival, state="asks", words=words, tag=tag, small=small)
                )
            named = replace(arrival, jar=jar, words="", small=b"")
            name = self._place(named, looked)
            # where the name could not tell the jar, photo_jars.csv does by now
            told = opened if read_name(name).jar == jar else replace(opened, shelf=self.open())
            return self._placed(told, named, name)

    def say_jar(self, sha: str, jar: str) -> Arrival | None:
        """Take the grower's word for the jar of a photo that asks for it."""
        arrival = self.arrivals.get(sha)
        if arrival is None or arrival.state != "asks":
            return arrival
        told = self.arrivals.note(replace(arrival, jar=jar, sure=True, state="came", words=""))
        self.arrivals.write_note(told)
        return self.settle(sha)

    def _look(self, arrival: Arrival) -> Reading:
        """The tag and the time of a photo, read in the worker."""
        path = self.arrivals.path(arrival)
        result = next(self.fleet([Job(path, path.parent, None)], first_look))
        if result.reading is None:
            raise NotWritableError("The photo went away from among the arrivals", "Send it again.")
        return result.reading

    def _jar_of(self, arrival: Arrival, tag: str, shelf: Shelf) -> tuple[str, str, str]:
        """The jar of a photo, or why it must be asked for; and the jar of its tag."""
        told, names = shelf.past.now(arrival.jar), self._show(shelf).walk.jars
        if not tag:
            why = "" if told else "No tag was read in this photo."
            return told, why, ""
        by_tag = jar_by_tag(tag, names, [jar for jar in names if _numbered(jar, int(tag))])
        if told and (arrival.sure or tag_agrees(told, int(tag))):
            return told, "", by_tag
        if told:
            return "", f"The tag says {tag}, you said {printable(told)}.", by_tag
        if by_tag:
            return by_tag, "", by_tag
        return "", f"The tag says {tag}, which several jars can be.", ""

    def _place(self, arrival: Arrival, looked: Reading) -> str:
        """Put a photo into the folder under a name of the server's own."""
        by_itself = looked.time_source == "exif"
        taken: datetime = looked.taken_at if by_itself else arrival.time_told()
        name, tells = photo_file_name(
            arrival.jar, taken, arrival.sha, arrival.suffix, view=arrival.view
        )
        goal, source = self.folder / name, self.arrivals.path(arrival)
        if not tells:  # first: a photo in the folder without its jar would be asked for by nobody
            add_photo_jars(self.folder, {name: arrival.jar})
        if not goal.exists() or content_of(goal) != arrival.sha:
            move_whole(source, goal)
        return name

    def _placed(self, opened: OpenShelf, arrival: Arrival, name: str) -> Arrival:
        """Read a photo that has its place."""
        scored = self.score(opened, name, arrival.sha)
        self.arrivals.drop(arrival)
        return self.arrivals.note(
            replace(arrival, state="placed", reading=scored.reading, story=scored.story)
        )

    def score(self, opened: OpenShelf, name: str, sha: str) -> ScoredOne:
        """Read a photo of the folder, and tell its jar's story."""
        assert self.by_photos is not None
        scored = opened.add(self.folder / name, self.by_photos, fleet=self.fleet, read=self.read)
        self.contents = {**self.contents, name: sha}
        self.told(opened.shelf, scored.by_photos)
        return scored

    def score_all(self, *, fleet: Fleet, tell: Tell, progress: Progress | None = None) -> None:
        """Score the whole folder and write its tables and its report, as the command line does.

        Nothing is done where there is no photo yet.
        """
        shelf = self.open()
        with suppress(NothingToScoreError):
            score_shelf(
                shelf,
                out=self.out,
                fleet=fleet,
                read=self.read,
                progress=progress,
                publish=publisher(shelf, self.out),
                tell=tell,
            )

    def sweep(self, tell: Tell) -> None:
        """Take away what a server that was killed left of photos it was moving, and say so."""
        swept = sweep_moves((self.folder, self.folder / ASIDE_FOLDER))
        if swept:
            tell(
                f"{counted(len(swept), 'half-written file')} of a move that broke off was taken "
                f"away; the photo itself is where it was: {', '.join(swept)}."
            )

    # ----------------------------------------------------------------------- stories
    def retell(self, jar: str) -> None:
        """Tell a jar's story anew, after what is written of it has changed."""
        shelf = self.open()
        with self.hold(shelf) as opened:
            assert self.by_photos is not None
            self.told(shelf, opened.retell(jar, self.by_photos))

    def told(self, shelf: Shelf, by_photos: ShelfResult) -> None:
        """Take the shelf as it was told anew; it is kept later."""
        self.by_photos, self._unkept = by_photos, True
        self._show(shelf)

    def keep(self) -> None:
        """Keep the shelf in the store as its last scoring, if anything has changed."""
        if not self._unkept:
            return
        with self.hold(self.open()) as opened:
            if self._unkept and self.by_photos is not None:
                opened.keep(self.by_photos)
                self._kept_at, self._unkept = opened.store.result_kept_at(), False

    @contextmanager
    def hold(self, shelf: Shelf) -> Iterator[OpenShelf]:
        """Hold the output folder; begin with what another run kept since."""
        broken_off = self.give_way()
        with held(shelf, self.out, tell=self.hear) as opened:
            self.hear("")
            kept_at = opened.store.result_kept_at()
            if broken_off and self.by_photos is not None:  # it began with what is known here
                self._kept_at = kept_at
            if self.by_photos is None or kept_at != self._kept_at:
                last = opened.last() or no_photo_yet(shelf, EARLIEST)
                self.by_photos = opened.caught_up(last)
                self.contents = opened.store.contents()
                self._kept_at, self._unkept, self.shown = kept_at, False, None
            yield opened

    def _show(self, shelf: Shelf) -> ShelfNow:
        """Show the pages the shelf as it is now."""
        assert self.by_photos is not None
        alive, today = lives_of(self.by_photos, shelf), self.today()
        over = {
            jar
            for jar in shelf.register
            if ending_of(jar, shelf.register, shelf.outcomes, today=today)
        }
        walk = walk_of(alive, shelf.register, over, today)
        self.shown = ShelfNow(shelf, alive, walk, self.contents)
        return self.shown


def check_jar_name(jar: str, now: ShelfNow) -> None:
    """Raise UsageError for a jar that neither the register nor a photo knows."""
    if not now.is_jar(now.shelf.past.now(jar)):
        known = {*now.shelf.register, *(s.verdict.jar for s in now.alive.all_stories)}
        raise UsageError(
            f"No jar is called '{printable(jar)}'",
            did_you_mean(jar, known) or "Write it into the register first, on the page Jars.",
        )


def _numbered(jar: str, tag: int) -> bool:
    """Whether a jar's own number is a tag's."""
    return any(char.isdigit() for char in jar) and tag_agrees(jar, tag)
