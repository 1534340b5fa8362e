"""What comes out of scoring a folder: the jars on the shelf, and those whose story is over."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Final, Literal

from jarvision.records.history import JarStory, Reading, VerdictWord
from jarvision.records.parts import MadeAnew, Parts
from jarvision.records.wording import PLAIN, Fact, Voice, put_into_words

EndingWord = Literal["clean", "contaminated", "harvested", "discarded", "used up"]

ENDINGS: Final[Mapping[EndingWord, str]] = {
    "clean": "Opened and used on {day}[, for {jars}]; nothing was wrong with it.",
    "contaminated": "Recorded as contaminated on {day}.",
    "harvested": "Harvested, last on {day}[: {grams:g} g in all].",
    "discarded": "Thrown out on {day}.",
    "used up": "Used up: its spawn went into {jars}[ on {day}].",
}
"""How a jar's story can end, as templates of :mod:`jarvision.records.wording`."""


@dataclass(frozen=True)
class Ending:
    """What became of a jar that stands on the shelf no more.

    Attributes
    ----------
    word
        Its recorded outcome; ``used up`` where none is, but the register has a jar fed from it.
    day
        The day of it; None where the register does not tell.
    jars
        The jars that were fed from it.
    grams
        Fresh weight of all flushes, g; None when nothing was weighed.
    """

    word: EndingWord
    day: date | None = None
    jars: tuple[str, ...] = ()
    grams: float | None = None

    def tell(self, voice: Voice = PLAIN) -> str:
        """Tell it in one sentence."""
        facts: dict[str, Fact | None] = {
            "day": self.day,
            "jars": ", ".join(self.jars) or None,
            "grams": self.grams,
        }
        known = {name: fact for name, fact in facts.items() if fact is not None}
        return put_into_words(ENDINGS[self.word], known, voice)


@dataclass(frozen=True)
class FinishedJar:
    """A jar with photos whose story is over: on no list of things to do.

    Its ``story`` ends with its last photo; the verdict in it is no more to be acted on.
    """

    ending: Ending
    story: JarStory

    @property
    def jar(self) -> str:
        """The jar's name."""
        return self.story.verdict.jar


@dataclass(frozen=True)
class ShelfResult:
    """The outcome of scoring one folder.

    ``stories`` are those of the jars on the shelf, ``finished`` are the others (all are ``stories``
    until :func:`jarvision.verdict.lives.with_lives` has parted them). ``settings_digest`` changes
    with every single setting; see :meth:`jarvision.settings.groups.Settings.digest`. ``made_on`` is
    the day on which it was scored, by the machine's clock; None where that is not known.
    ``readings`` lack what only pictures need: thumbnails and outlines of patches. ``parts`` makes
    pieces of the report; it keeps them while a run has its store open.
    """

    folder: str
    scored_on: date
    readings: Sequence[Reading]
    stories: tuple[JarStory, ...]
    warnings: tuple[str, ...] = field(default=())
    settings_digest: str = ""
    made_on: date | None = None
    finished: tuple[FinishedJar, ...] = ()
    parts: Parts = field(default=MadeAnew(), compare=False, repr=False)

    @property
    def age_days(self) -> int:
        """How old the day of the verdicts was when they were made; 0 where that is not known."""
        return max((self.made_on - self.scored_on).days, 0) if self.made_on else 0

    @property
    def all_stories(self) -> tuple[JarStory, ...]:
        """Those of the jars on the shelf, then those that are over."""
        return (*self.stories, *(done.story for done in self.finished))

    def verdict_of(self, jar: str) -> VerdictWord | None:
        """What was said of a jar, before its story was over where it is; None when not scored."""
        said = (story.verdict for story in self.all_stories)
        return next((verdict.verdict for verdict in said if verdict.jar == jar), None)
