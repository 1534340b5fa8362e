"""What the page shows of each jar, gathered into small frozen records; templates lay them out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

from markupsafe import Markup

from jarvision.base.text import printable
from jarvision.records import (
    HALF_VIEW_DEG,
    EndingWord,
    FinishedJar,
    JarDay,
    JarStory,
    Patch,
    Reading,
    VerdictWord,
)
from jarvision.records.photo_reasons import PHOTO_REASONS
from jarvision.records.wording import tell_place
from jarvision.register.jars import Register
from jarvision.register.lineage import Kinship, near_kin
from jarvision.report import svg
from jarvision.report.fruiting import FruitingPart, build_fruiting, last_top
from jarvision.report.pictures import (
    FRAME_PX,
    REFUSAL_PX,
    STRIP_PX,
    THUMB_PX,
    Detail,
    Picture,
    inline,
    middle_square,
    without_advice,
    without_caption,
)
from jarvision.report.sides import (
    are_many,
    in_turn,
    shown_reading,
    side_shown,
    tell_seen,
    tell_view,
)
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
from jarvision.vision.overlay.draw import STRIP_PX_PER_MM

MOST_PATCHES = 8
TAG_GAP_PERCENT = 5  # between a patch on the wall and the middle of its name, of the height
TAGS_APART = (42.0, 9.0)  # percent of the picture's width and height, where one wall is shown
SMALL_TAGS_APART = (66.0, 15.0)  # where several walls stand side by side
_ROLES: Final[Mapping[Kinship, str]] = {
    "parent": "spawn from",
    "ancestor": "and before that from",
    "sibling": "same spawn",
    "child": "went into",
}
SMALLEST_LABEL_CM2 = 0.5  # smaller areas are outlined on the wall, and told in the list only


@dataclass(frozen=True)
class Frame:
    """One day in the film strip."""

    day: str
    percent: str
    picture: Picture | None


@dataclass(frozen=True)
class Tag:
    """Words on the wall strip; places in percent of its width and height."""

    text: str
    kind: str
    left: float
    top: float


@dataclass(frozen=True)
class Strip:
    """The unrolled wall of one view; ``view`` is empty where a day has no other."""

    view: str
    picture: Picture
    tags: tuple[Tag, ...]


@dataclass(frozen=True)
class Refusal:
    """A photo that gave no reading, and how to take it better.

    ``again`` is True when the jar has no usable photo of that day and the day is today.
    """

    photo: str
    jar: str
    day: str
    meaning: str
    detail: str
    remedy: str
    again: bool


@dataclass(frozen=True)
class RefusedPhoto(Refusal):
    """The same with its picture."""

    picture: Picture | None


@dataclass(frozen=True)
class Relative:
    """A jar of the same family; ``anchor`` and ``verdict`` are empty for one without photos."""

    role: str
    jar: str
    anchor: str
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
    """A jar's name on the page, its verdict, and the day of its last usable photo."""

    anchor: str
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
class Surroundings:
    """What a card needs to know beside its own story."""

    out: Path
    today: date
    detail: Detail
    register: Register
    anchors: Mapping[str, str]
    verdicts: Mapping[str, VerdictWord]
    endings: Mapping[str, EndingWord]


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
    return JarHead(**_head(story, around))


def build_line(story: JarStory, around: Surroundings) -> JarLine:
    """Gather what today's list shows of one jar."""
    cover, days = story.verdict.coverage, story.history.days
    wall = shown_reading(days[-1], side_shown(story)).wall_picture if days else last_top(story)
    return JarLine(
        **_head(story, around),
        why=short_why(story),
        percent=f"{cover.in_words()} %" if cover else "",
        thumb=inline(around.out, wall, (THUMB_PX, THUMB_PX), "", crop=middle_square),
    )


def build_card(story: JarStory, curve: str, around: Surroundings) -> JarCard:
    """Gather what the page shows of one jar; ``curve`` is its chart as SVG text."""
    verdict, entry, days = story.verdict, story.history.entry, story.history.days
    jar, words = printable(verdict.jar), VERDICT_WORDS[verdict.verdict]
    last, side = days[-1] if days else None, side_shown(story)
    shown = shown_reading(last, side) if last else None
    ready = tell_ready(story.growth) if verdict.verdict != "no-go" else ""  # nothing to wait for
    started = f"started {tell_day(entry.started)}" if entry.started else ""
    about = (entry.kind, entry.species, entry.substrate, started)
    finding = f"{jar}: {words.short}, covered {tell_coverage(verdict.coverage)}"
    finding = f"Curve of {finding}" + (f", ready {ready}" if ready else "")
    box, shows = around.detail.overlay_px, around.detail.shows(verdict.verdict)
    photo = shown.overlay if shown and shows else ""
    return JarCard(
        **_head(story, around),
        about=printable(" · ".join(part for part in about if part)),
        notes=printable(entry.notes),
        side=tell_view(shown) if last and shown and are_many(last) else "",
        coverage=tell_coverage(verdict.coverage) + tell_as_read(last),
        together=tell_coverage(last.together) if last and len(days) > 1 else "",
        seen=tell_seen(last) if last else "",
        bare=tell_reference(shown, days[0].day) if shown else "",
        ready=ready,
        told=tell_diary(story.history.diary),
        reasons=reasons_of(story),
        overlay=inline(around.out, photo, box, tell_picture(last, jar), crop=without_caption),
        strips=_strips(last if shows else None, side, around.out, jar),
        frames=_film(story, side, around),
        curve=svg.in_page(curve, finding=finding, css_class="curve") if curve else Markup(""),
        patches=tell_patches(last),
        relatives=_relatives(verdict.jar, around),
        refusals=tuple(build_refusal(r, story, around) for r in story.history.refused),
        top=build_fruiting(story, around.out),
    )


def _head(story: JarStory, around: Surroundings) -> dict[str, Any]:
    verdict, last = story.verdict, story.history.last_day
    return {
        "anchor": around.anchors[verdict.jar],
        "jar": printable(verdict.jar),
        "verdict": verdict.verdict,
        "words": VERDICT_WORDS[verdict.verdict],
        "last_day": tell_day(last) if last else "",
        "photo_today": last is not None and last >= around.today,
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


def build_refusal(reading: Reading, story: JarStory | None, around: Surroundings) -> Refusal:
    """Tell what was wrong with a photo and what to do."""
    reason = PHOTO_REASONS.get(reading.reason)
    day = reading.taken_at.date()
    seen = {d.day for d in story.history.days} if story else set()
    meaning = reason.meaning if reason else printable(reading.reason)
    return Refusal(
        photo=printable(reading.photo),
        jar=printable(reading.jar),
        day=tell_short_day(day),
        meaning=meaning,
        detail=printable(reading.detail),
        remedy=reason.remedy if reason else "Take the photo again.",
        again=day >= around.today and day not in seen and reading.jar not in around.endings,
    )


def with_picture(refusal: Refusal, reading: Reading, around: Surroundings) -> RefusedPhoto:
    """Add the picture of a refused photo."""
    alt, box = f"Photo not used: {refusal.meaning}", REFUSAL_PX
    picture = inline(around.out, reading.overlay, box, alt, crop=without_advice)
    return RefusedPhoto(**vars(refusal), picture=picture)


def _strips(day: JarDay | None, side: int, out: Path, jar: str) -> tuple[Strip, ...]:
    """Show the walls of a day: the side that gave the reason first, then as the jar was turned."""
    if day is None:
        return ()
    found, many = [], are_many(day)
    for reading in in_turn(day, side):
        view = tell_view(reading) if many else ""
        alt = f"The wall of {jar} laid flat{', ' + view if view else ''}; patches are outlined"
        picture = inline(out, reading.wall_picture, STRIP_PX, alt)
        if picture is not None:
            apart = SMALL_TAGS_APART if many else TAGS_APART
            tags = _tags(reading.patches, out / reading.wall_picture, apart)
            found.append(Strip(view, picture, tags))
    return tuple(found)


def _tags(patches: Sequence[Patch], path: Path, apart: tuple[float, float]) -> tuple[Tag, ...]:
    """Name the patches on a wall strip at their places, the largest first, none over another."""
    from PIL import Image

    with Image.open(path) as image:
        height_mm = image.height / STRIP_PX_PER_MM
    tags: list[Tag] = []
    for patch in sorted(patches, key=lambda p: -p.area_cm2):
        seen = abs(patch.angle_deg) <= HALF_VIEW_DEG
        if patch.area_cm2 < SMALLEST_LABEL_CM2 or not seen:
            continue
        tag = _tag(patch, height_mm, apart)
        if all(abs(tag.left - t.left) > apart[0] or abs(tag.top - t.top) > apart[1] for t in tags):
            tags.append(tag)
    return tuple(tags)


def _tag(patch: Patch, height_mm: float, room: tuple[float, float]) -> Tag:
    heights = [height for _, height in patch.outline] or [patch.height_mm]
    below, above = (100 - 100 * h / height_mm for h in (min(heights), max(heights)))
    top = below + TAG_GAP_PERCENT if below < 100 - 2 * TAG_GAP_PERCENT else above - TAG_GAP_PERCENT
    ends = ((50 + 50 * patch.angle_deg / HALF_VIEW_DEG, room[0] / 2), (top, 6))
    kept = (min(max(value, low), 100 - low) for value, low in ends)
    return Tag(f"{patch.kind} {patch.area_cm2:.1f} cm²", patch.kind, *kept)


def _film(story: JarStory, side: int, around: Surroundings) -> tuple[Frame, ...]:
    """Show the wall day by day, newest first; empty where the shelf is too large for it."""
    if not around.detail.film_of_all and story.verdict.verdict == "wait":
        return ()
    frames = []
    for day in story.history.days[: -around.detail.frames - 1 : -1]:
        percent, when = f"{day.coverage.in_words()} %", tell_short_day(day.day)
        alt = f"{printable(day.jar)} on {when}: covered {percent}"
        wall = shown_reading(day, side).wall_picture
        frames.append(Frame(when, percent, inline(around.out, wall, FRAME_PX, alt)))
    return tuple(frames)


def _relatives(jar: str, around: Surroundings) -> tuple[Relative, ...]:
    found = []
    for name, kinship in near_kin(around.register, jar).items():
        role, verdict = _ROLES[kinship], around.verdicts.get(name)
        anchor, ending = around.anchors.get(name, ""), around.endings.get(name, "no photo")
        short = VERDICT_WORDS[verdict].short if verdict else ending
        found.append(Relative(role, printable(name), anchor, verdict or "", short))
    return tuple(found)
