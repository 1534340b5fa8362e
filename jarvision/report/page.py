"""``report.html``: one self-contained page, without scripts and without a single request.

The numbers are gathered into small frozen records; the templates only lay them out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

from markupsafe import Markup

from jarvision.base.days import days_after
from jarvision.base.files import write_pieces
from jarvision.base.text import printable
from jarvision.base.version import __version__
from jarvision.records import JarEntry, JarStory, Reading, ShelfResult
from jarvision.records.flags import CAUTIONS
from jarvision.records.parts import MadeAnew, Parts
from jarvision.register.jars import Register
from jarvision.report import svg
from jarvision.report.cards import (
    Cell,
    JarCard,
    JarHead,
    JarLine,
    Surroundings,
    build_card,
    build_finished,
    build_head,
    build_line,
    wants_photo,
)
from jarvision.report.charts import describe_shelf, draw_curve, draw_shelf
from jarvision.report.each import Each
from jarvision.report.kept import WHOLE_SHELF, card_made_of, judged
from jarvision.report.legend import legend_samples
from jarvision.report.many import MOST_LINES, Bundle, bundled, indexed, rows_shown
from jarvision.report.pictures import Detail, detail_for
from jarvision.report.plan_days import next_days
from jarvision.report.refusals import Refusal, RefusedPhoto, build_refusal, with_picture
from jarvision.report.templating import template
from jarvision.report.words import VERDICT_WORDS, VerdictWords, by_urgency, tell_age, tell_day
from jarvision.verdict.plan import Plan

TABLE_DAYS: Final = 8  # a week and a day fit a phone


@dataclass(frozen=True)
class Group:
    """The jars of one verdict; ``bundles``: the same put together, where they are many."""

    words: VerdictWords
    verdict: str
    jars: Each[JarLine]
    bundles: list[Bundle]


@dataclass(frozen=True)
class DayRow:
    """One jar in the shelf's table of days."""

    jar: JarHead
    cells: tuple[Cell, ...]


def write_page(
    result: ShelfResult,
    out: Path,
    *,
    plan: Plan | None = None,
    register: Mapping[str, JarEntry] | None = None,
    curves: Mapping[str, Path] | None = None,
) -> Path:
    """Write ``report.html`` into ``out``, piece by piece: of its pictures one jar's are held.

    Parameters are those of :func:`render_page`.

    Raises
    ------
    NotWritableError
        When the page cannot be written.
    """
    page = _pieces(result, out, plan=plan, register=register, curves=curves)
    return write_pieces(out / "report.html", (piece.encode("utf-8") for piece in page))


def render_page(
    result: ShelfResult,
    out: Path,
    *,
    plan: Plan | None = None,
    register: Mapping[str, JarEntry] | None = None,
    curves: Mapping[str, Path] | None = None,
) -> str:
    """Return the page as HTML; every text in it is escaped by the template engine.

    Parameters
    ----------
    out
        Folder that the paths of the pictures are relative to.
    register
        All jars that the grower knows of; None: those with photos.
    curves
        Where the chart of each jar lies that has one, as SVG; None: drawn here.
    """
    return "".join(_pieces(result, out, plan=plan, register=register, curves=curves))


def _pieces(
    result: ShelfResult,
    out: Path,
    *,
    plan: Plan | None,
    register: Mapping[str, JarEntry] | None,
    curves: Mapping[str, Path] | None,
) -> Iterator[str]:
    """The page in order, in pieces of at most one jar."""
    stories = by_urgency(result.stories)
    around = surroundings_of(result, stories, out, register)
    heads = [build_head(story, around) for story in stories]
    again, passed = sorted_refusals(result, around)
    shown = rows_shown(stories)
    return template("report.html.j2").generate(
        **frame(result, plan),
        groups=verdict_groups(stories, around, result.parts),
        jars=Each(
            [*enumerate(stories, 1)],
            lambda told: _card(told[0], told[1], around, curves, result.parts),
        ),
        unseen=[head for head in heads if wants_photo(head)],
        again=_with_pictures(again, around),
        without_jar=[photo for _, photo in again if not photo.jar],
        passed=_with_pictures(passed, around),
        shelf=_shelf_chart(stories, result.scored_on, result.parts),
        table_days=[f"{day.day} {day:%b}" for day in _table_days(result.scored_on, stories)],
        rows=_rows(shown, [build_head(story, around) for story in shown], result.scored_on),
        rows_left=len(stories) - len(shown),
        index=indexed(heads),
        photos=sum(reading.jar not in around.endings for reading in result.readings),
    )


def frame(result: ShelfResult, plan: Plan | None) -> dict[str, Any]:
    """What stands on every page of a shelf: its head, the next days, the words at its end."""
    return {
        "title": printable(result.folder),
        "today": tell_day(result.scored_on, year=True),
        "age": tell_age(result),
        "next": next_days(plan),
        "finished": [build_finished(done) for done in result.finished],
        "warnings": [printable(warning) for warning in result.warnings],
        "cautions": CAUTIONS,
        "legend": legend_samples(),
        "card_values": _card_values(result),
        "version": __version__,
    }


def verdict_groups(
    stories: Sequence[JarStory], around: Surroundings, parts: Parts | None = None
) -> list[Group]:
    """The jars by verdict, without the verdicts that no jar has."""
    keeper = parts or MadeAnew()

    def line(story: JarStory) -> JarLine:
        jar, made_of = story.verdict.jar, card_made_of(story, around, "")
        return keeper.record("line", jar, made_of, lambda: build_line(story, around), like=JarLine)

    found = []
    for verdict, words in VERDICT_WORDS.items():
        own = [story for story in stories if story.verdict.verdict == verdict]
        if own:
            many = verdict == "wait" and len(own) > MOST_LINES
            bundles = bundled(own, lambda story: build_head(story, around)) if many else []
            found.append(Group(words, verdict, Each(own, line), bundles))
    return found


def _card(
    number: int,
    story: JarStory,
    around: Surroundings,
    curves: Mapping[str, Path] | None,
    parts: Parts,
) -> JarCard:
    """Card of a jar, with its chart read from its file or drawn here."""
    jar, curve = story.verdict.jar, ""
    if around.detail.shows(story.verdict.verdict):
        if curves is None:
            percent = story.profile.ready_percent
            curve = draw_curve(story, ready_percent=percent, key=f"curve-{number}")
        elif path := curves.get(jar):
            curve = path.read_bytes().decode("utf-8")
    made_of = card_made_of(story, around, curve)
    return parts.record(
        "card", jar, made_of, lambda: build_card(story, curve, around), like=JarCard
    )


def surroundings_of(
    result: ShelfResult,
    stories: Sequence[JarStory],
    out: Path,
    register: Mapping[str, JarEntry] | None,
    *,
    detail: Detail | None = None,
) -> Surroundings:
    """What the cards of some stories need to know; parameters as for :func:`render_page`.

    ``detail``: how much is shown of a jar; None: as much as a page of so many jars can hold.
    """
    entries = {s.verdict.jar: s.history.entry for s in result.all_stories}
    # Without the register a parent is known by its name alone.
    parents = {e.parent: JarEntry(e.parent, registered=False) for e in entries.values() if e.parent}
    return Surroundings(
        out=out,
        today=result.scored_on,
        detail=detail or detail_for(len(stories)),
        register=Register({**parents, **entries, **(register or {})}),
        anchors={s.verdict.jar: f"jar-{n}" for n, s in enumerate(stories, 1)},
        verdicts={s.verdict.jar: s.verdict.verdict for s in stories},
        endings={done.jar: done.ending.word for done in result.finished},
    )


def sorted_refusals(
    result: ShelfResult, around: Surroundings
) -> tuple[list[tuple[Reading, Refusal]], list[tuple[Reading, Refusal]]]:
    """Photos that gave no reading, the newest first: those to take again, and the others.

    Those of jars whose story is over teach nobody any more.
    """
    seen = {story.verdict.jar: {d.day for d in story.history.days} for story in result.stories}

    def wanted(reading: Reading) -> bool:
        """Whether the jar has no usable photo of that day, and the day is today."""
        day = reading.taken_at.date()
        return day >= around.today and day not in seen.get(reading.jar, ())

    going = (reading for reading in result.readings if reading.jar not in around.endings)
    refused = [reading for reading in going if reading.status == "unusable"]
    refused.sort(key=lambda reading: reading.taken_at.date(), reverse=True)
    told = [(reading, build_refusal(reading, again=wanted(reading))) for reading in refused]
    return [t for t in told if t[1].again], [t for t in told if not t[1].again]


def _with_pictures(
    photos: Sequence[tuple[Reading, Refusal]], around: Surroundings
) -> Each[RefusedPhoto]:
    return Each(photos, lambda photo: with_picture(photo[1], photo[0], around.out))


def _card_values(result: ShelfResult) -> str:
    return ", ".join(sorted({r.card_values for r in result.readings if r.card_values}))


# --------------------------------------------------------------------------- the shelf
def _shelf_chart(stories: Sequence[JarStory], today: date, parts: Parts) -> Markup:
    made_of = (today, [(story.verdict.jar, judged(story)) for story in stories])
    chart = parts.text(
        "shelf", WHOLE_SHELF, made_of, lambda: draw_shelf(stories, key="shelf", today=today)
    )
    if not chart:
        return Markup("")
    return svg.in_page(chart, finding=describe_shelf(stories), css_class="curve")


def _table_days(today: date, stories: Sequence[JarStory]) -> list[date]:
    """The newest days, up to today, none before the first photo."""
    first = min((s.history.days[0].day for s in stories if s.history.days), default=today)
    days = min(TABLE_DAYS, (today - first).days + 1)
    return [days_after(today, -back) for back in reversed(range(max(days, 1)))]


def _rows(stories: Sequence[JarStory], jars: Sequence[JarHead], today: date) -> list[DayRow]:
    days = _table_days(today, stories)
    return [
        DayRow(jar, tuple(_cell(story, day) for day in days))
        for story, jar in zip(stories, jars, strict=True)
    ]


def _cell(story: JarStory, day: date) -> Cell:
    """Coverage of a day; a photo that could not be used is told, a day without photo is empty."""
    for seen in reversed(story.history.days):
        if seen.day < day:
            break
        if seen.day == day:
            cover = seen.coverage
            percent = min(max(cover.percent, 0.0), 100.0)
            return Cell("photo", f"{percent:.0f}" if cover.is_told else "?", percent / 100)
    if any(r.taken_at.date() == day for r in story.history.refused):
        return Cell("refused", "×", 0.0)
    return Cell("none", "", 0.0)
