"""The page of a shelf of many jars: one list to search and to filter, each jar in its own file.

The page is written last, and whole: a run that is killed leaves the old page, whose jars have
their files still.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Final

from markupsafe import Markup

from jarvision.base.files import write_pieces
from jarvision.base.text import printable
from jarvision.records import JarEntry, JarStory, Reading, ShelfResult
from jarvision.report import svg
from jarvision.report.cards import (
    JarHead,
    JarLine,
    Surroundings,
    build_finished,
    build_head,
    build_line,
    wants_photo,
)
from jarvision.report.each import Each
from jarvision.report.farm_chart import describe_farm, draw_farm
from jarvision.report.file_names import file_names
from jarvision.report.jar_files import (
    JarPageMaker,
    jar_page,
    links_to,
    paths_to_jars,
    sweep_jar_files,
    write_jar_files,
    written_as,
)
from jarvision.report.kept import WHOLE_SHELF, card_made_of
from jarvision.report.many import stem_of
from jarvision.report.page import frame, sorted_refusals, surroundings_of
from jarvision.report.pictures import IN_LIST
from jarvision.report.places import place_of
from jarvision.report.plan_days import FEW_NAMES
from jarvision.report.plan_files import jars_told
from jarvision.report.refusals import Refusal
from jarvision.report.templating import source_of, template
from jarvision.report.words import VERDICT_WORDS, VerdictWords, by_urgency, tell_age
from jarvision.truth.groups import batch_name
from jarvision.verdict.plan import Plan

MOST_OPEN: Final = 30
"""Of more jars with one verdict the rest stand in a fold; those to be carried out never do."""

MOST_PHOTOS: Final = 40
"""The names of more refused photos are left to ``readings.csv``."""


@dataclass(frozen=True)
class ListRow:
    """A jar in the list, and what it is found by; ``spawn`` is the jar that it was fed from."""

    jar: JarLine
    species: str
    batch: str
    place: str
    spawn: str


@dataclass(frozen=True)
class Board:
    """The jars of one verdict: those in sight, and those in the fold below.

    ``stems`` are the beginnings of names in the fold, each with the anchor of its first jar.
    """

    words: VerdictWords
    verdict: str
    number: int
    rows: Each[ListRow]
    folded: Each[ListRow]
    stems: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Unseen:
    """Jars without a usable photo of the day, by the day of the last one, empty for none."""

    last_day: str
    jars: tuple[JarHead, ...]

    @property
    def told(self) -> str:
        """Their names."""
        return ", ".join(jar.jar for jar in self.jars)


@dataclass(frozen=True)
class AlikeRefused:
    """Refused photos with one fault; ``left`` are not named."""

    meaning: str
    remedy: str
    number: int
    photos: str
    left: int


def write_farm(
    result: ShelfResult,
    out: Path,
    *,
    plan: Plan | None = None,
    register: Mapping[str, JarEntry] | None = None,
    curves: Mapping[str, Path] | None = None,
    make: JarPageMaker = jar_page,
) -> Path:
    """Write ``jars/NAME.html`` for every jar, then ``report.html``, into ``out``.

    A page that is there is left while all that it is made of is as it was.

    Parameters
    ----------
    register
        All jars that the grower knows of; None: those with photos.
    curves
        Where the chart of each jar lies, as SVG; a jar that is not among them has none.
    make
        Makes the page of a jar.

    Raises
    ------
    NotWritableError
        When a file cannot be written.
    """
    stories = by_urgency(result.stories)
    around = _surroundings(result, stories, out, register)
    paths = paths_to_jars(around.anchors)
    drawn = curves or {}

    def curve_of(story: JarStory) -> str:
        path = drawn.get(story.verdict.jar)
        return path.read_bytes().decode("utf-8") if path else ""

    write_jar_files(
        stories, around, shelf=result.folder, paths=paths, curve_of=curve_of,
        parts=result.parts, make=make,
    )  # fmt: skip
    page = out / "report.html"

    def write() -> str:
        pieces = _pieces(result, stories, replace(around, pages=links_to(paths)), plan)
        return written_as(write_pieces(page, (piece.encode("utf-8") for piece in pieces)))

    made_of = _made_of(result, stories, around, plan)
    if result.parts.text("list", WHOLE_SHELF, made_of, write) != written_as(page):
        write()
    sweep_jar_files(out, set(paths.values()))
    return page


def _made_of(
    result: ShelfResult, stories: Sequence[JarStory], around: Surroundings, plan: Plan | None
) -> tuple[object, ...]:
    """What the page is made of beside all readings and the stories as they were told."""
    return (
        result.folder,
        result.scored_on,
        tell_age(result),
        plan,
        result.warnings,
        [(build_finished(done), done.ending.word) for done in result.finished],
        [card_made_of(story, around, "") for story in stories],
    )


def _surroundings(
    result: ShelfResult,
    stories: Sequence[JarStory],
    out: Path,
    register: Mapping[str, JarEntry] | None,
) -> Surroundings:
    """The shelf, its jars under ids that no other jar changes."""
    around = surroundings_of(result, stories, out, register, detail=IN_LIST)
    names = file_names(around.anchors)
    return replace(around, anchors={jar: f"jar-{name}" for jar, name in names.items()})


def _pieces(
    result: ShelfResult, stories: Sequence[JarStory], around: Surroundings, plan: Plan | None
) -> Iterator[str]:
    """The page in order; of the small pictures one jar's are held."""
    again, passed = sorted_refusals(result, around)
    script = source_of("farm.js")
    unseen = _unseen(stories, around)
    unseen_number = sum(len(some.jars) for some in unseen)
    return template("farm.html.j2").generate(
        **frame(result, plan),
        groups=_boards(stories, around),
        number=len(stories),
        unseen=unseen,
        unseen_number=unseen_number,
        missing=unseen_number + sum(not told.jar for _, told in again),
        most_open=MOST_OPEN,
        few_names=FEW_NAMES,
        again=_alike(again),
        again_number=len(again),
        passed=passed,
        refused=len(again) + len(passed),
        without_jar=_alike([photo for photo in passed if not photo[1].jar]),
        photos=sum(reading.jar not in around.endings for reading in result.readings),
        shelf=_chart(stories),
        script=Markup(script),  # noqa: S704 - a file of the package
        script_digest=_digest(script),
    )


def _boards(stories: Sequence[JarStory], around: Surroundings) -> list[Board]:
    """The jars by verdict, without the verdicts that no jar has."""
    boards = []
    for verdict, words in VERDICT_WORDS.items():
        own = [story for story in stories if story.verdict.verdict == verdict]
        if not own:
            continue
        shown = len(own) if verdict == "no-go" else MOST_OPEN
        if verdict == "wait" and len(own) > MOST_OPEN:
            shown = 0  # nothing is to be done with them: the page stays short
        rest = own[shown:]
        if verdict == "wait":
            rest = sorted(rest, key=lambda story: _by_name(story.verdict.jar))
        firsts = _firsts([story.verdict.jar for story in rest]) if verdict == "wait" else {}
        boards.append(
            Board(
                words,
                verdict,
                len(own),
                _rows(own[:shown], around),
                _rows(rest, around),
                tuple((stem, around.anchors[jar]) for jar, stem in firsts.items()),
            )
        )
    return boards


def _rows(stories: Sequence[JarStory], around: Surroundings) -> Each[ListRow]:
    return Each(stories, lambda story: _row(story, around))


def _row(story: JarStory, around: Surroundings) -> ListRow:
    entry = story.history.entry
    return ListRow(
        build_line(story, around),
        species=printable(entry.species),
        batch=printable(batch_name(entry)),
        place=place_of(story),
        spawn=printable(entry.parent),
    )


def _by_name(jar: str) -> tuple[int, str]:
    return (len(jar), jar)


def _firsts(jars: Iterable[str]) -> dict[str, str]:
    """The first jar of each beginning of names, and that beginning; none where all begin alike."""
    firsts: dict[str, str] = {}
    for jar in jars:
        firsts.setdefault(stem_of(printable(jar)), jar)
    return {jar: stem for stem, jar in firsts.items()} if len(firsts) > 1 else {}


def _unseen(stories: Sequence[JarStory], around: Surroundings) -> list[Unseen]:
    """Jars without a usable photo of today by the day of the last one, the newest first."""
    heads: dict[date, list[JarHead]] = {}
    for story in stories:
        head, days = build_head(story, around), story.history.days
        if wants_photo(head):
            heads.setdefault(days[-1].day if days else date.min, []).append(head)
    return [Unseen(heads[day][0].last_day, tuple(heads[day])) for day in sorted(heads)[::-1]]


def _alike(photos: Sequence[tuple[Reading, Refusal]]) -> list[AlikeRefused]:
    """Refused photos by their fault, the commonest first."""
    found: dict[str, list[Refusal]] = {}
    for _, told in photos:
        found.setdefault(told.meaning, []).append(told)
    ranked = sorted(found.values(), key=len, reverse=True)
    return [
        AlikeRefused(
            own[0].meaning,
            own[0].remedy,
            len(own),
            jars_told(photo.photo for photo in own[:MOST_PHOTOS]),
            max(len(own) - MOST_PHOTOS, 0),
        )
        for own in ranked
    ]


def _chart(stories: Sequence[JarStory]) -> Markup:
    drawn = draw_farm(stories, key="farm")
    if not drawn:
        return Markup("")
    return svg.in_page(drawn, finding=describe_farm(stories), css_class="curve")


def _digest(script: str) -> str:
    """Base64 of the SHA-256 of a script, by which the page's policy lets it run (W3C CSP 3)."""
    return base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")
