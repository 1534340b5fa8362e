"""``report.html``: one self-contained page, without scripts and without a single request.

The numbers are gathered into small frozen records here; the template only lays them out.
"""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from markupsafe import Markup

from jarvision import __version__
from jarvision.files import write_whole
from jarvision.flags import CAUTIONS, FLAGS, PHOTO_REASONS
from jarvision.identity import printable
from jarvision.overlay import CAPTION_HEIGHT_PX, PICTURE_HEIGHT_PX
from jarvision.records import JarDay, JarStory, Reading, ShelfResult
from jarvision.report.charts import curve_svg
from jarvision.report.words import (
    VERDICT_WORDS,
    VerdictWords,
    by_urgency,
    tell_coverage,
    tell_day,
    tell_ready,
)

if TYPE_CHECKING:
    from jinja2 import Template

OVERLAY_PX: Final = (640, 760)  # inlined pictures are scaled down to fit these boxes
STRIP_PX: Final = (520, 220)
FRAME_PX: Final = (112, 134)
THUMBNAIL_SIDE_CUT: Final = 0.19  # the label margins are about a quarter of the width each
MOST_FRAMES: Final = 14  # film strip: the newest days, two weeks
INLINE_QUALITY: Final = 78


@dataclass(frozen=True)
class Picture:
    """An inlined picture with its text alternative."""

    uri: str
    alt: str
    width: int
    height: int


@dataclass(frozen=True)
class Frame:
    """One day in the film strip."""

    day: str
    percent: str
    picture: Picture | None


@dataclass(frozen=True)
class FlagLine:
    """A flag with what to do about it."""

    severity: str
    message: str
    meaning: str
    remedy: str


@dataclass(frozen=True)
class Refusal:
    """A photo that gave no reading, and how to take it better."""

    photo: str
    jar: str
    meaning: str
    detail: str
    remedy: str


@dataclass(frozen=True)
class JarCard:
    """All that the page shows of one jar."""

    anchor: str
    jar: str
    about: str
    verdict: str
    words: VerdictWords
    percent: float | None
    coverage: str
    seen: str
    ready: str
    reasons: tuple[str, ...]
    flags: tuple[FlagLine, ...]
    overlay: Picture | None
    strip: Picture | None
    frames: tuple[Frame, ...]
    curve: Markup
    patches: tuple[str, ...]
    refusals: tuple[Refusal, ...]
    last_day: str


@dataclass(frozen=True)
class Group:
    """The jars of one verdict."""

    words: VerdictWords
    verdict: str
    jars: tuple[JarCard, ...]


def write_page(result: ShelfResult, out: Path) -> Path:
    """Write ``report.html`` into ``out``; pictures are read from the paths in the readings.

    Raises
    ------
    NotWritableError
        When the page cannot be written.
    """
    return write_whole(out / "report.html", render_page(result, out).encode("utf-8"))


def render_page(result: ShelfResult, out: Path) -> str:
    """Return the page as HTML; every text in it is escaped by the template engine."""
    jars = tuple(
        _jar_card(story, out, anchor=f"jar-{number}")
        for number, story in enumerate(by_urgency(result.stories), 1)
    )
    groups = tuple(
        Group(words, verdict, tuple(jar for jar in jars if jar.verdict == verdict))
        for verdict, words in VERDICT_WORDS.items()
    )
    refused = tuple(_refusal(r) for r in result.readings if r.status == "unusable")
    usable = len(result.readings) - len(refused)
    return _template().render(
        title=printable(result.folder),
        today=tell_day(result.scored_on, year=True),
        groups=[group for group in groups if group.jars],
        jars=jars,
        usable=usable,
        refused=refused,
        warnings=[printable(warning) for warning in result.warnings],
        cautions=CAUTIONS,
        card_values=_card_values(result),
        version=__version__,
    )


@cache
def _template() -> Template:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("jarvision.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("report.html.j2")


def _jar_card(story: JarStory, out: Path, *, anchor: str) -> JarCard:
    verdict, entry, days = story.verdict, story.history.entry, story.history.days
    jar = printable(verdict.jar)
    last = days[-1] if days else None
    cover = verdict.coverage
    reading = _shown(last) if last is not None else None
    finding = f"{jar}: {VERDICT_WORDS[verdict.verdict].short}, covered {tell_coverage(cover)}"
    # A date to look forward to has no place on a jar that must leave the room.
    ready = tell_ready(story.growth) if verdict.verdict != "no-go" else ""
    curve_alt = f"Curve of {finding}" + (f", ready {ready}" if ready else "")
    about = (entry.species, entry.substrate, _started(entry.started))
    return JarCard(
        anchor=anchor,
        jar=jar,
        about=printable(" · ".join(part for part in about if part)),
        verdict=verdict.verdict,
        words=VERDICT_WORDS[verdict.verdict],
        percent=None if cover is None else min(100.0, max(0.0, cover.percent)),
        coverage=tell_coverage(cover),
        seen=f"{cover.seen_percent:.0f} %" if cover is not None else "",
        ready=ready,
        reasons=tuple(printable(reason) for reason in verdict.reasons),
        flags=tuple(
            FlagLine(
                FLAGS[flag.flag].severity,
                printable(flag.message),
                FLAGS[flag.flag].meaning,
                FLAGS[flag.flag].remedy,
            )
            for flag in story.flags
        ),
        overlay=_picture(out, reading.overlay if reading else "", OVERLAY_PX, _told(last, jar)),
        strip=_picture(out, reading.wall_picture if reading else "", STRIP_PX, _wall_alt(jar)),
        frames=tuple(_frame(day, out, jar) for day in days[-MOST_FRAMES:]),
        curve=curve_svg(
            story,
            ready_percent=story.profile.ready_percent,
            finding=curve_alt,
        ),
        patches=_patch_lines(last),
        refusals=tuple(_refusal(reading) for reading in story.history.refused),
        last_day=tell_day(last.day) if last is not None else "",
    )


def _shown(day: JarDay) -> Reading:
    """Pick the day's photo for the page: the front view if there is one."""
    front = [r for r in day.readings if r.view in ("front", "a")]
    return (front or list(day.readings))[-1]


def _frame(day: JarDay, out: Path, jar: str) -> Frame:
    percent = f"{day.coverage.percent:.0f} %"
    when = f"{day.day.day} {day.day:%b}"
    alt = f"{jar} on {when}: covered {percent}"
    picture = _picture(out, _shown(day).overlay, FRAME_PX, alt, middle=True)
    return Frame(when, percent, picture)


def _told(day: JarDay | None, jar: str) -> str:
    """Say in words what the overlay shows."""
    if day is None:
        return jar
    what = f"{jar} on {tell_day(day.day)}: covered {tell_coverage(day.coverage)}"
    lines = _patch_lines(day)
    return f"{what}; {', '.join(lines)}" if lines else f"{what}; no patch"


def _wall_alt(jar: str) -> str:
    return f"The wall of {jar}, unrolled flat; patches are outlined"


def _patch_lines(day: JarDay | None) -> tuple[str, ...]:
    if day is None:
        return ()
    ranked = sorted(day.patches, key=lambda patch: -patch.area_cm2)
    return tuple(
        f"{p.kind} {p.area_cm2:.1f} cm², {p.height_mm:.0f} mm up, {_side(p.angle_deg)}, {p.trend}"
        for p in ranked[:8]
    )


def _side(angle_deg: float) -> str:
    if abs(angle_deg) < 0.5:
        return "in front"
    return f"{abs(angle_deg):.0f}° to the {'right' if angle_deg > 0 else 'left'}"


def _started(started: date | None) -> str:
    return f"started {tell_day(started)}" if started else ""


def _refusal(reading: Reading) -> Refusal:
    reason = PHOTO_REASONS.get(reading.reason)
    return Refusal(
        photo=printable(reading.photo),
        jar=printable(reading.jar),
        meaning=reason.meaning if reason else printable(reading.reason),
        detail=printable(reading.detail),
        remedy=reason.remedy if reason else "Take the photo again.",
    )


def _card_values(result: ShelfResult) -> str:
    return ", ".join(sorted({r.card_values for r in result.readings if r.card_values}))


def _picture(
    out: Path, relative: str, box: tuple[int, int], alt: str, *, middle: bool = False
) -> Picture | None:
    """Inline a picture of the output folder, scaled into ``box``; None when it is not there.

    ``middle`` keeps the jar alone, without caption and labels, which are too small in a thumbnail.
    """
    from PIL import Image

    if not relative:
        return None
    try:
        with Image.open(out / relative) as image:
            image.draft("RGB", (box[0] * 2, box[1] * 2))
            shown = image.crop(_jar_box(image.size)) if middle else image
            shown.thumbnail(box, Image.Resampling.LANCZOS)
            data = io.BytesIO()
            shown.convert("RGB").save(data, "JPEG", quality=INLINE_QUALITY, optimize=True)
            width, height = shown.size
    except (OSError, ValueError):  # a picture that went missing must not cost the page
        return None
    uri = "data:image/jpeg;base64," + base64.b64encode(data.getvalue()).decode("ascii")
    return Picture(uri, alt, width, height)


def _jar_box(size: tuple[int, int]) -> tuple[int, int, int, int]:
    """Where the jar is in an overlay of this size: between the label margins, over the caption."""
    width, height = size
    side = round(width * THUMBNAIL_SIDE_CUT)
    return side, 0, width - side, round(height * (1 - CAPTION_HEIGHT_PX / PICTURE_HEIGHT_PX))
