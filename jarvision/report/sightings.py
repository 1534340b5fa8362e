"""What was seen first on a jar, on which day, and where its curve has room for the words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from jarvision.records import OFF_COLOUR_KINDS, JarStory

LATE_SHARE: Final = 0.65  # of the days shown: after it there is no room for words at the right
HIGH_PERCENT: Final = 75  # from here on words above would run into the level of ready


@dataclass(frozen=True)
class SeenFirst:
    """Words on what was seen first on a day, ``at`` so many percent.

    They begin (``side`` is ``left``) or end (``right``) at ``x``, days; their ``foot`` is in
    percent.
    """

    day: float
    at: float
    text: str
    x: float
    foot: float
    side: str


def first_sightings(story: JarStory, origin: date) -> Iterator[tuple[float, str]]:
    """Tell on which day odd colours, and wet, that the verdict complains of were seen first."""
    flags = {flag.flag for flag in story.flags}
    normal = story.profile.normal_kinds
    odd = [kind for kind in OFF_COLOUR_KINDS if kind not in normal and "off_colour" in flags]
    seen = [(day, kind) for kind in odd if (day := _first_seen(story, kind))]
    begin = min((day for day, _ in seen), default=None)
    firsts = [(day, kind) for day, kind in seen if day == begin]
    if "wet" in flags and (day := _first_seen(story, "wet")):
        firsts.append((day, "wet"))
    for day, kind in firsts:
        yield float((day - origin).days), kind


def place_sightings(
    sightings: Sequence[tuple[float, str]],
    points: Sequence[tuple[float, float, float, float]],
    *,
    last_day: float,
) -> Iterator[SeenFirst]:
    """Find a place for the words of each day, on the chart that :class:`Curve` describes."""
    by_day = {day: (percent, low) for day, percent, low, _ in points}
    told: dict[float, list[str]] = {}
    for when, word in sightings:
        told.setdefault(when, []).append(word)
    room = 100.0
    for when, words in sorted(told.items()):
        at, bottom = by_day[when]
        # Curves rise, so there is room at the lower right; each later word stands lower still.
        late = when > LATE_SHARE * last_day
        if late and at < HIGH_PERCENT:  # no room at the right, but above what has grown before
            room = at + 7
        else:
            room = min(room - 10, bottom - 12) if at > 25 else min(at + 8, room - 10)
        side, x = ("right", when) if late else ("left", when + 0.02 * last_day)
        yield SeenFirst(when, at, f"{', '.join(words)} seen", x, room, side)


def _first_seen(story: JarStory, kind: str) -> date | None:
    """Return the day on which a patch of a kind was seen first."""
    days = (d.day for d in story.history.days if any(p.kind == kind for p in d.patches))
    return next(days, None)
