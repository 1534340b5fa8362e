"""Why a jar has its verdict: one short line for the list, and each reason with what to do."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from jarvision.base.text import printable
from jarvision.records import OFF_COLOUR_KINDS, Flag, JarDay, JarStory
from jarvision.records.flags import FLAGS
from jarvision.report.words import in_plain_words, tell_day, tell_short_day

MOST_LETTERS: Final = 64  # two lines on a narrow phone


@dataclass(frozen=True)
class Reason:
    """One reason or note in plain words, and what to do about it.

    ``decides`` is True for what the verdict stands on, False for what is good to know.
    """

    text: str
    remedy: str
    decides: bool


def short_why(story: JarStory) -> str:
    """Say in one short line why the jar has its verdict, with the number that matters most."""
    days, verdict = story.history.days, story.verdict
    if not days:
        return "no photo could be used"
    flag = _deciding_flag(story)
    tell = _SHORT.get(flag.flag) if flag else None
    if flag and tell and (line := tell(story, flag)):
        return printable(line)
    if verdict.verdict in ("go", "wait"):
        return _outlook(story)
    return _shortened(in_plain_words(printable(verdict.reasons[0] if verdict.reasons else "")))


def reasons_of(story: JarStory) -> tuple[Reason, ...]:
    """Every reason once, hardest first, then the flags that only tell.

    What to do stands behind the last reason that asks for it. A jar that must leave the room has
    one thing to be done, which its verdict says; a refused photo stands in the page with its
    picture.
    """
    flags = {flag.message: flag for flag in story.flags}
    out = story.verdict.verdict == "no-go"
    told = []
    for text in story.verdict.reasons:
        kind = FLAGS[flags[text].flag] if text in flags else None
        remedy = kind.remedy if kind and not out else ""
        told.append(Reason(in_plain_words(printable(text)), remedy, decides=True))
    for flag in story.flags:
        if flag.message in story.verdict.reasons or flag.flag == "photo_refused":
            continue
        kind = FLAGS[flag.flag]
        text = in_plain_words(printable(flag.message or kind.meaning))
        told.append(Reason(text, "" if flag.flag == "stain" else kind.remedy, decides=False))
    later = [reason.remedy for reason in told]
    return tuple(
        replace(reason, remedy="") if reason.remedy in later[place + 1 :] else reason
        for place, reason in enumerate(told)
    )


def _deciding_flag(story: JarStory) -> Flag | None:
    """Return the flag that says the first, hardest reason."""
    first = story.verdict.reasons[:1]
    return next((flag for flag in story.flags if (flag.message,) == first), None)


# --------------------------------------------------------------------------- by flag
def _off_colour(story: JarStory, flag: Flag) -> str:
    day = _day_of(story, flag)
    normal = story.profile.normal_kinds
    odd = tuple(kind for kind in OFF_COLOUR_KINDS if kind not in normal)
    largest = (_largest(day, odd) or _largest(day, ("stain",))) if day else None
    if day is None or largest is None:
        return ""
    kind, area = largest
    what = "odd staining" if kind == "stain" else f"{kind} growth"
    when = "" if day is story.history.days[-1] else f" on {tell_short_day(day.day)}"
    perhaps = "perhaps " if story.verdict.verdict == "check" else ""
    return f"{perhaps}{what}, {area:.1f} cm²{when}"


def _wet(story: JarStory, flag: Flag) -> str:
    day = _day_of(story, flag) or story.history.days[-1]
    return f"wet at the glass, {_area(day, ('wet',)):.1f} cm²"


def _dead_patch(story: JarStory, _: Flag) -> str:
    patches = story.history.days[-1].patches
    still = [p.area_cm2 for p in patches if p.kind == "bare" and p.trend in ("still", "growing")]
    return f"bare area stays open, {max(still):.1f} cm²" if still else ""


def _stall(story: JarStory, _: Flag) -> str:
    cover, days = story.verdict.coverage, story.growth.stalled_days
    lasting = f" for {days} days" if days > 1 else ""
    return f"stands still at {cover.percent:.0f} %{lasting}" if cover else ""


def _overdue(story: JarStory, _: Flag) -> str:
    ready = story.growth.ready_date
    return f"ready since {tell_short_day(ready)}, does not keep longer" if ready else ""


def _old_photo(story: JarStory, _: Flag) -> str:
    return f"last usable photo on {tell_day(story.history.days[-1].day)}"


def _pins(story: JarStory, _: Flag) -> str:
    return "what looks like pins"


def _fast_front(story: JarStory, _: Flag) -> str:
    return "white front runs too fast: may be young mould"


_SHORT: Final[Mapping[str, Callable[[JarStory, Flag], str]]] = {
    "off_colour": _off_colour,
    "wet": _wet,
    "pins": _pins,
    "dead_patch": _dead_patch,
    "stall": _stall,
    "overdue": _overdue,
    "old_photo": _old_photo,
    "fast_front": _fast_front,
}


def _outlook(story: JarStory) -> str:
    """Say of a jar that does well when it is, or was, ready."""
    ready, last = story.growth.ready_date, story.history.days[-1].day
    if ready is None:
        return "growing; too early for a date"
    if ready > last:
        return f"growing, ready about {tell_day(ready)}"
    since = tell_short_day(max(ready, story.history.days[0].day))
    covered = f"covered since {since}"
    return f"{covered}, rested" if story.verdict.verdict == "go" else f"{covered}, resting"


def _day_of(story: JarStory, flag: Flag) -> JarDay | None:
    return next((day for day in story.history.days if day.day == flag.day), None)


def _area(day: JarDay, kinds: tuple[str, ...]) -> float:
    return sum(p.area_cm2 for p in day.patches if p.kind in kinds)


def _largest(day: JarDay, kinds: tuple[str, ...]) -> tuple[str, float] | None:
    """Return the kind with the largest summed area on a day."""
    areas = [(_area(day, (kind,)), kind) for kind in kinds]
    area, kind = max(areas)
    return (kind, area) if area > 0 else None


def _shortened(text: str) -> str:
    """Cut a sentence at its first natural stop, or at a word."""
    for stop in (". ", ": ", "; ", " ("):
        head = text.split(stop, 1)[0].rstrip(".")
        if len(head) <= MOST_LETTERS:
            return head
    return text[:MOST_LETTERS].rsplit(" ", 1)[0] + " …"


def first_seen(story: JarStory, kinds: tuple[str, ...]) -> date | None:
    """Day on which a patch of one of the kinds was seen first."""
    days = (d.day for d in story.history.days if any(p.kind in kinds for p in d.patches))
    return next(days, None)
