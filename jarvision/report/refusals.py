"""Photos that gave no reading: what was wrong with each, and how to take it better."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from jarvision.base.text import printable
from jarvision.records import Reading
from jarvision.records.photo_reasons import PHOTO_REASONS
from jarvision.report.pictures import REFUSAL_PX, Picture, inline, without_advice
from jarvision.report.words import tell_short_day


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


def build_refusal(reading: Reading, *, again: bool = False) -> Refusal:
    """Tell what was wrong with a photo and what to do."""
    reason = PHOTO_REASONS.get(reading.reason)
    return Refusal(
        photo=printable(reading.photo),
        jar=printable(reading.jar),
        day=tell_short_day(reading.taken_at.date()),
        meaning=reason.meaning if reason else printable(reading.reason),
        detail=printable(reading.detail),
        remedy=reason.remedy if reason else "Take the photo again.",
        again=again,
    )


def with_picture(refusal: Refusal, reading: Reading, out: Path) -> RefusedPhoto:
    """Add the picture of a refused photo, which lies in ``out``."""
    alt = f"Photo not used: {refusal.meaning}"
    picture = inline(out, reading.overlay, REFUSAL_PX, alt, crop=without_advice)
    return RefusedPhoto(**vars(refusal), picture=picture)
