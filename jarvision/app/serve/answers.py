"""What a photo gave, as a part of the page: the check's words, the reading, the jar's verdict."""

from __future__ import annotations

import asyncio
from base64 import b64encode
from dataclasses import dataclass
from typing import Final

from starlette.requests import Request

from jarvision.app.serve.arrivals import Arrival
from jarvision.app.serve.keeper import Keeper, ShelfNow
from jarvision.app.serve.pages import lay_out, office_of
from jarvision.base.text import counted, printable
from jarvision.records import Coverage, Reading
from jarvision.records.photo_reasons import PHOTO_REASONS
from jarvision.report.pictures import Picture, inline
from jarvision.report.why import Reason, reasons_of
from jarvision.report.words import VERDICT_WORDS, VerdictWords, tell_coverage, tell_day, tell_ready

PICTURE_PX: Final = (560, 620)


@dataclass(frozen=True)
class Check:
    """Whether a photo is good, in the words of ``jarvision check``."""

    good: bool
    meaning: str = ""
    detail: str = ""
    remedy: str = ""


@dataclass(frozen=True)
class ToldVerdict:
    """A jar's verdict and its reasons; ``verdict`` is the word."""

    verdict: str
    words: VerdictWords
    reasons: tuple[Reason, ...]
    ready: str


@dataclass(frozen=True)
class PhotoAnswer:
    """All that the page says of a photo.

    Attributes
    ----------
    jar
        Empty where it is asked for.
    asks
        Why the jar is asked for, or what went wrong; empty for neither.
    choices
        Jars to pick from, the likeliest first, then the shelf's order.
    small
        The photo as the address of a picture, while its jar is asked for; empty for none.
    told
        None for a jar without a verdict.
    """

    sha: str
    state: str
    jar: str
    asks: str
    choices: tuple[str, ...]
    check: Check | None
    day: str
    coverage: str
    told: ToldVerdict | None
    over: str
    picture: Picture | None
    small: str
    next_jar: str
    left: str


def _cover(reading: Reading | None) -> Coverage | None:
    """Coverage of the wall, or of the surface on a photo from above; None where there is none."""
    if reading is None:
        return None
    return reading.top.coverage if reading.top else reading.coverage


async def answer_part(request: Request, arrival: Arrival) -> str:
    """The part of the page."""
    if arrival.state in ("came", "no_picture", "aside"):
        return lay_out(request, "kept.html.j2", arrival=arrival)
    office = office_of(request)
    now = office.keeper.shown or await office.shelf_now()
    # pictures take their time, and the loop has others to answer
    answer = await asyncio.to_thread(photo_answer, arrival, now, office.keeper)
    return lay_out(request, "answer.html.j2", answer=answer)


def photo_answer(arrival: Arrival, now: ShelfNow, keeper: Keeper) -> PhotoAnswer:
    """Gather what is told of a photo."""
    reading, story, walk = arrival.reading, arrival.story, now.walk
    jar = reading.jar if reading and reading.jar else arrival.jar
    ending = next((f.ending.tell() for f in now.alive.finished if f.jar == jar), "")
    following, cover = walk.next_after(jar), _cover(reading)
    return PhotoAnswer(
        sha=arrival.sha,
        state=arrival.state,
        jar=printable(jar) if arrival.state == "placed" else "",
        asks=arrival.words,
        choices=_choices(arrival, now),
        check=_check(reading) if reading else None,
        day=tell_day(reading.taken_at.date()) if reading else "",
        coverage=tell_coverage(cover) if cover else "",
        told=ToldVerdict(
            story.verdict.verdict,
            VERDICT_WORDS[story.verdict.verdict],
            reasons_of(story),
            tell_ready(story.growth) if story.verdict.verdict != "no-go" else "",
        )
        if story and not ending
        else None,
        over=ending,
        picture=inline(keeper.out, reading.overlay, PICTURE_PX, "What was seen in the photo")
        if reading
        else None,
        small=_address_of(arrival.small),
        next_jar=following,
        left=counted(len(walk.left), "jar"),
    )


def _address_of(jpeg: bytes) -> str:
    return f"data:image/jpeg;base64,{b64encode(jpeg).decode()}" if jpeg else ""


def _check(reading: Reading) -> Check:
    if reading.status == "ok":
        return Check(good=True, detail=printable(reading.detail))
    reason = PHOTO_REASONS.get(reading.reason)
    return Check(
        good=False,
        meaning=reason.meaning if reason else printable(reading.reason),
        detail=printable(reading.detail),
        remedy=reason.remedy if reason else "Take the photo again.",
    )


def _choices(arrival: Arrival, now: ShelfNow) -> tuple[str, ...]:
    """Jars for the buttons: the one of the tag and the one that was told first."""
    if arrival.state != "asks":
        return ()
    first = [jar for jar in (arrival.tag, arrival.jar) if jar and now.is_jar(jar)]
    return tuple(dict.fromkeys((*first, *now.walk.left, *now.walk.jars)))
