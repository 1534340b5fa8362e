"""What the page shows of each jar, gathered into small frozen records; templates lay them out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any, Final

from markupsafe import Markup

from jarvision.base.text import printable
from jarvision.records import EndingWord, FinishedJar, JarDay, JarStory, VerdictWord
from jarvision.records.wording import tell_place
from jarvision.register.jars import Register
from jarvision.register.lineage import Kinship, near_kin
from jarvision.report import svg
from jarvision.report.fruiting import FruitingPart, build_fruiting, last_top
from jarvision.report.pictures import (
    FRAME_PX,
    Detail,
    Picture,
    inline,
    middle_square,
    without_caption,
)
from jarvision.report.refusals import Refusal, build_refusal
from jarvision.report.sides import are_many, shown_reading, side_shown, tell_seen, tell_view
from jarvision.report.walls import Strip, strips_of
from jarvision.report.why import Reason, reasons_of, short_why
from jarvision.report.words import (
    PAGE,
    VERDICT_WORDS,
    VerdictWords,
    tell_as_read,
    tell_coverage,
    tell_day,
    tell_diary,
    tell_ready,
    tell_reference,
    tell_short_day,
)

MOST_PATCHES = 8
_ROLES: Final[Mapping[Kinship, str]] = {
    "parent": "spawn from",
    "ancestor": "and before that from",
    "sibling": "same spawn",
    "child": "went into",
}


@dataclass(frozen=True)
class Frame:
    """One day in the film strip."""

    day: str
    percent: str
    picture: Picture | None


@dataclass(frozen=True)
class Relative:
    """A jar of the same family; ``link`` and ``verdict`` are empty for one without photos."""

    role: str
    jar: str
    link: str
    verdict: str
    short: str


@dataclass(frozen=True)
class FinishedLine:
    """A jar whose story is over: how it ended, and its last usable photo."""

    jar: str
    ending: str
    last_day: str
    percent: str


@dataclass(frozen=True)
class Cell:
    """One day of the shelf's table: ``photo``, ``refused`` or ``none``; the share is 0 to 1."""

    state: str
    text: str
    share: float


@dataclass(frozen=True)
class JarHead:
    """A jar's name on the page, its verdict, and the day of its last usable photo.

    ``anchor`` is the id of what the page says of it, ``link`` leads to its card.
    """

    anchor: str
    link: str
    jar: str
    verdict: VerdictWord
    words: VerdictWords
    last_day: str
    photo_today: bool


@dataclass(frozen=True)
class JarLine(JarHead):
    """A jar in the list of what to do now."""

    why: str
    percent: str
    thumb: Picture | None


@dataclass(frozen=True)
class JarCard(JarHead):
    """All that the page shows of one jar; with its pictures some hundred kilobytes."""

    about: str
    notes: str
    side: str
    coverage: str
    together: str
    seen: str
    bare: str
    ready: str
    told: tuple[str, ...]
    reasons: tuple[Reason, ...]
    overlay: Picture | None
    strips: tuple[Strip, ...]
    frames: tuple[Frame, ...]
    curve: Markup
    patches: tuple[str, ...]
    relatives: tuple[Relative, ...]
    refusals: tuple[Refusal, ...]
    top: FruitingPart | None = None


@dataclass(frozen=True)
class Near:
    """What the card of a jar is made from beside its own story.

    Of one code, equal stories and equal ones of these make equal cards: together they are the key
    of whoever keeps what was made.
    """

    anchor: str
    link: str
    photo_today: bool
    relatives: tuple[Relative, ...]
    detail: Detail


@dataclass(frozen=True)
class Surroundings:
    """The shelf that the jars of a page stand on.

    ``pages`` says where the card of a jar lies that is not on this page.
    """

    out: Path
    today: date
    detail: Detail
    register: Register
    anchors: Mapping[str, str]
    verdicts: Mapping[str, VerdictWord]
    endings: Mapping[str, EndingWord]
    pages: Mapping[str, str] = field(default_factory=dict)

    def link(self, jar: str) -> str:
        """The way to a jar's card; empty for a jar without one."""
        anchor = self.anchors.get(jar, "")
        return self.pages.get(jar) or (f"#{anchor}" if anchor else "")


def wants_photo(head: JarHead) -> bool:
    """Whether a jar is to be photographed again; one that must go out of the room is not."""
    return not head.photo_today and head.verdict != "no-go"


def build_finished(done: FinishedJar) -> FinishedLine:
    """Gather what the page shows of a jar whose story is over."""
    days, cover = done.story.history.days, done.story.verdict.coverage
    return FinishedLine(
        jar=printable(done.jar),
        ending=printable(done.ending.tell(PAGE)),
        last_day=tell_day(days[-1].day) if days else "",
        percent=f"{cover.in_words()} %" if cover else "",
    )


def build_head(story: JarStory, around: Surroundings) -> JarHead:
    """Gather what stands wherever a jar is named."""
    return JarHead(**_head(story, near_of(story, around)))


def build_line(story: JarStory, around: Surroundings) -> JarLine:
    """Gather what today's list shows of one jar."""
    cover, days, detail = story.verdict.coverage, story.history.days, around.detail
    shows = detail.waiting_thumbs or story.verdict.verdict != "wait"
    wall = shown_reading(days[-1], side_shown(story)).wall_picture if days else last_top(story)
    return JarLine(
        **_head(story, near_of(story, around)),
        why=short_why(story),
        percent=f"{cover.in_words()} %" if cover else "",
        thumb=inline(
            around.out, wall if shows else "", (detail.thumb_px,) * 2, "", crop=middle_square
        ),
    )


def near_of(story: JarStory, around: Surroundings) -> Near:
    """What the card of a jar takes from its surroundings."""
    jar, last = story.verdict.jar, story.history.last_day
    return Near(
        anchor=around.anchors[jar],
        link=around.link(jar),
        photo_today=last is not None and last >= around.today,
        relatives=_relatives(jar, around),
        detail=around.detail,
    )


def build_card(story: JarStory, curve: str, around: Surroundings) -> JarCard:
    """Gather what the page shows of one jar; ``curve`` is its chart as SVG text."""
    return card_of(story, curve, near_of(story, around), out=around.out)


def _tell_start(started: date | None, last: date | None) -> str:
    """The day on which a jar was started, with its year where that is not that of its photos."""
    if started is None:
        return ""
    return f"started {tell_day(started, year=last is None or started.year != last.year)}"


def card_of(story: JarStory, curve: str, near: Near, *, out: Path) -> JarCard:
    """The same from the jar's own story, and what is near it; its pictures lie in ``out``."""
    verdict, entry, days = story.verdict, story.history.entry, story.history.days
    tops = story.history.tops
    jar, words = printable(verdict.jar), VERDICT_WORDS[verdict.verdict]
    last, side = days[-1] if days else None, side_shown(story)
    shown = shown_reading(last, side) if last else None
    ready = tell_ready(story.growth) if verdict.verdict != "no-go" else ""  # nothing to wait for
    started = _tell_start(entry.started, days[-1].day if days else None)
    about = (entry.kind, entry.species, entry.substrate, started)
    finding = f"{jar}: {words.short}, covered {tell_coverage(verdict.coverage)}"
    finding = f"Curve of {finding}" + (f", ready {ready}" if ready else "")
    box, shows = near.detail.overlay_px, near.detail.shows(verdict.verdict)
    photo = shown.overlay if shown and shows else ""
    return JarCard(
        **_head(story, near),
        about=printable(" · ".join(part for part in about if part)),
        notes=printable(entry.notes),
        side=tell_view(shown) if last and shown and are_many(last) else "",
        # of a jar seen from above alone, what is told of the surface says it
        coverage=tell_coverage(verdict.coverage) + tell_as_read(last) if days or not tops else "",
        together=tell_coverage(last.together) if last and len(days) > 1 else "",
        seen=tell_seen(last) if last else "",
        bare=tell_reference(shown, days[0].day) if shown else "",
        ready=ready,
        told=tell_diary(story.history.diary),
        reasons=reasons_of(story),
        overlay=inline(out, photo, box, tell_picture(last, jar), crop=without_caption),
        strips=strips_of(last if shows else None, side, out, jar),
        frames=_film(story, side, near.detail, out),
        curve=svg.in_page(curve, finding=finding, css_class="curve") if curve else Markup(""),
        patches=tell_patches(last),
        relatives=near.relatives,
        refusals=tuple(build_refusal(r) for r in story.history.refused),
        top=build_fruiting(story, out),
    )


def _head(story: JarStory, near: Near) -> dict[str, Any]:
    verdict, last = story.verdict, story.history.last_day
    return {
        "anchor": near.anchor,
        "link": near.link,
        "jar": printable(verdict.jar),
        "verdict": verdict.verdict,
        "words": VERDICT_WORDS[verdict.verdict],
        "last_day": tell_day(last) if last else "",
        "photo_today": near.photo_today,
    }


def tell_picture(day: JarDay | None, jar: str) -> str:
    """Say in words what the overlay shows."""
    if day is None:
        return jar
    what = f"{jar} on {tell_day(day.day)}: covered {tell_coverage(day.coverage)}"
    lines = tell_patches(day)
    return f"{what}; {', '.join(lines)}" if lines else f"{what}; no patch"


def tell_patches(day: JarDay | None) -> tuple[str, ...]:
    """List the day's patches, the largest first: kind, area, place and trend."""
    if day is None:
        return ()
    ranked = sorted(day.patches, key=lambda patch: -patch.area_cm2)
    return tuple(
        f"{p.kind} {p.area_cm2:.1f} cm², {tell_place(p.angle_deg, p.height_mm)}, "
        f"{'standing still' if p.trend == 'still' else p.trend}"
        for p in ranked[:MOST_PATCHES]
    )


def _film(story: JarStory, side: int, detail: Detail, out: Path) -> tuple[Frame, ...]:
    """Show the wall day by day, newest first; empty where the shelf is too large for it."""
    if not detail.film_of_all and story.verdict.verdict == "wait":
        return ()
    frames = []
    for day in story.history.days[: -detail.frames - 1 : -1]:
        percent, when = f"{day.coverage.in_words()} %", tell_short_day(day.day)
        alt = f"{printable(day.jar)} on {when}: covered {percent}"
        wall = shown_reading(day, side).wall_picture
        frames.append(Frame(when, percent, inline(out, wall, FRAME_PX, alt)))
    return tuple(frames)


def _relatives(jar: str, around: Surroundings) -> tuple[Relative, ...]:
    found = []
    for name, kinship in near_kin(around.register, jar).items():
        role, verdict = _ROLES[kinship], around.verdicts.get(name)
        ending = around.endings.get(name, "no photo")
        short = VERDICT_WORDS[verdict].short if verdict else ending
        found.append(Relative(role, printable(name), around.link(name), verdict or "", short))
    return tuple(found)
