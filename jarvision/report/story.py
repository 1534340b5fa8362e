"""The story of one jar in plain sentences: from its start to what to do next."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Final

from jarvision.history.shakes import shaken_on
from jarvision.records import (
    Coverage,
    DiaryLine,
    DiaryWord,
    Ending,
    JarDay,
    JarEntry,
    JarHistory,
    JarStory,
    SpeciesProfile,
    TrackedPatch,
)
from jarvision.records.flags import CAUTIONS, FLAGS
from jarvision.records.photo_reasons import PHOTO_REASONS
from jarvision.records.settling import what_settles
from jarvision.records.wording import tell_place
from jarvision.register.jars import Register
from jarvision.register.lineage import JarState, near_kin
from jarvision.register.outcomes import JarOutcome
from jarvision.report.fruiting import tell_fruiting
from jarvision.report.sides import tell_seen
from jarvision.report.words import VERDICT_WORDS, tell_as_read, tell_day, tell_span
from jarvision.settings.growth import GrowthSettings

MOST_AREAS: Final = 6
_SETTLED: Final = ("found_fine", "kin_fine", "kin_clean")
"""Flags that tell what is no doubt any more."""
_KINDS: Final[Mapping[str, str]] = {
    "bare": "bare area",
    "wet": "wet area",
    "stain": "stained area",
    "pins": "group of what looks like pins",
}
_TRENDS: Final[Mapping[str, str]] = {
    "new": "seen for the first time",
    "closing": "closing",
    "still": "standing still",
    "growing": "growing",
}


@dataclass(frozen=True)
class Chapter:
    """A part of the story: its heading and its sentences."""

    heading: str
    sentences: tuple[str, ...]


def tell_story(
    story: JarStory,
    *,
    scored_on: date,
    register: Mapping[str, JarEntry] | None = None,
    outcome: JarOutcome | None = None,
    ending: Ending | None = None,
    diary: Sequence[DiaryLine] | None = None,
    settings: GrowthSettings | None = None,
) -> tuple[Chapter, ...]:
    """Tell a jar's story.

    Parameters
    ----------
    scored_on
        Day that the verdict is for.
    register
        Tells which other jars were fed from the same spawn.
    outcome
        What was recorded of the jar, if anything: a chapter of its own.
    ending
        How its story ended: it has no verdict then, and nothing is to be done.
    diary
        What was told of the jar, as it stands now; None: what the scoring knew.
    settings
        Tell a shake from a bad reading; None: as they are by default.
    """
    known = Register.of(register or {})
    told = story.history.diary if diary is None else diary
    chapters = (
        ("Start", _start(story.history.entry, story.profile, known)),
        ("Photos", _photos(story.history)),
        ("Growth", _growth(story, settings or GrowthSettings())),
        *([("Diary", _diary(told, story, scored_on, ending))] if told else []),
        ("Areas", _areas(story.history)),
        *([("From above", tell_fruiting(story))] if story.fruiting else []),
        ("Verdict", [_over(story, ending, outcome)] if ending else _verdict(story, scored_on)),
        *([("Outcome", _outcome(outcome))] if outcome else []),
        ("What to do", _afterwards(story, known, ending) if ending else _what_to_do(story, known)),
        ("Caution", _caution(story)),
    )
    return tuple(Chapter(heading, tuple(sentences)) for heading, sentences in chapters)


# --------------------------------------------------------------------------- start
def _start(entry: JarEntry, profile: SpeciesProfile, register: Register) -> Iterable[str]:
    if not entry.registered:
        yield f"{entry.jar} is not in the register, so that its age and parent are not known."
    kind = "spawn" if entry.kind == "spawn" else "fruiting"
    species = entry.species or "a species that was not given"
    latin = f" ({profile.latin})" if profile.latin else ""
    on = f" on {entry.substrate}" if entry.substrate else ""
    started = f", started on {tell_day(entry.started, year=True)}" if entry.started else ""
    if entry.registered:
        yield f"{entry.jar} is a {kind} jar of {species}{latin}{on}{started}."
        if not entry.started:
            yield "Its start is not in the register, so that its age is not known."
    if not profile.latin:
        yield "There is no profile of its species, so that it is judged cautiously."
    if entry.notes:
        yield _sentence(f"Your note: {entry.notes}")
    if entry.once:
        yield f"It was called {_listed(entry.once)} before."
    if entry.parent:
        others = register.siblings(entry.jar)
        also = f", which also feeds {_listed(others)}" if others else ""
        yield f"It was fed from {entry.parent}{also}."
    fed = register.children(entry.jar)
    if fed:
        yield f"It feeds {_listed(fed)}."


# --------------------------------------------------------------------------- photos
def _photos(history: JarHistory) -> Iterable[str]:
    days, refused = history.days, history.refused
    if not days:
        what = "its wall" if history.tops else "it"
        yield f"No photo of {what} could be used."
    else:
        photos = sum(day.views for day in days)
        span = f"on {tell_day(days[0].day)}"
        if len(days) > 1:
            span = f"on {len(days)} days from {tell_day(days[0].day)} to {tell_day(days[-1].day)}"
        yield f"{_count(photos, 'photo')} {span} could be used."
        if math.isfinite(days[-1].coverage.seen_percent):
            yield f"On the last day {tell_seen(days[-1])} could be judged."
        if told := tell_as_read(days[-1]):
            yield f"What you counted puts readings right: the last day{told}."
    for reading in refused:
        reason = PHOTO_REASONS.get(reading.reason)
        meaning = reason.meaning if reason else reading.reason
        yield f"{reading.photo} could not be used: {meaning}."


# --------------------------------------------------------------------------- growth
def _growth(story: JarStory, settings: GrowthSettings) -> Iterable[str]:
    days, growth, profile = story.history.days, story.growth, story.profile
    if not days:
        yield "Nothing can be said about its growth."
        return
    first, last = days[0], days[-1]
    if len(days) == 1:
        yield f"On {tell_day(last.day)} it was covered {_cover(last.coverage)}."
    else:
        yield (
            f"Coverage went from {_cover(first.coverage)} on {tell_day(first.day)} to "
            f"{_cover(last.coverage)} on {tell_day(last.day)}."
        )
        if last.together is not None:
            yield f"Read together with the days before, the last day says {_cover(last.together)}."
    yield from _turns(days, settings)
    rate = growth.rate_percent_per_day
    if rate is not None:
        yield f"Over the last days it gained {rate:z.1f} points a day."
    if growth.stalled:
        yield f"It has stalled: {_sentence(growth.stall_reason)}"
    whose = profile.latin or "An unknown species"
    yield f"{whose} counts as ready from {profile.ready_percent:.0f} %."
    if story.verdict.verdict != "no-go":  # no date to look forward to for a jar that must go
        yield _ready(story, last.day)


def _turns(days: Sequence[JarDay], settings: GrowthSettings) -> Iterable[str]:
    """Tell the day past half, and the drops that shaking explains."""
    passed = [b.day for a, b in pairwise(days) if a.coverage.percent < 50 <= b.coverage.percent]
    if passed:
        yield f"It passed half on {tell_day(passed[0])}."
    shaken = shaken_on(days, settings)
    for a, b in pairwise(days):
        if b.day in shaken:
            fall = a.coverage.percent - b.coverage.percent
            span = f"{tell_day(a.day)} to {tell_day(b.day)}"
            if not b.told_shaken:
                yield f"From {span} it fell by {fall:.0f} points, as if shaken."
            elif fall > 0:
                yield f"From {span} it fell by {fall:.0f} points: it was shaken."
            yield f"Its growth is fitted from {tell_day(b.day)} on."


def _ready(story: JarStory, last: date) -> str:
    growth = story.growth
    if growth.ready_date is None:
        return "No ready date can be told."
    span = tell_span(growth.ready_low, growth.ready_high)
    wide = f" (80 % interval {span})" if span and growth.ready_low != growth.ready_high else ""
    if growth.ready_date <= last:
        return f"It has been ready since {tell_day(growth.ready_date)}{wide}."
    return f"It is expected to be ready on {tell_day(growth.ready_date)}{wide}."


# --------------------------------------------------------------------------- diary
_TOLD: Final[Mapping[DiaryWord, str]] = {
    "shaken": "it was shaken",
    "opened": "it was opened",
    "moved": "it was moved",
    "temperature": "it stood at",
    "note": "you noted",
    "fruiting": "it was put into fruiting conditions",
    "sprayed": "it was moistened",
    "unhooded": "its hood was taken off",
}


def _diary(
    told: Iterable[DiaryLine], story: JarStory, scored_on: date, ending: Ending | None
) -> Iterable[str]:
    """Tell what the grower has told, and what of it the verdict does not know yet."""
    for line in told:
        warm = f" {line.celsius:g} C" if line.celsius is not None else ""
        text = f": {line.text}" if line.text else ""
        yield _sentence(f"On {tell_day(line.day)} {_TOLD[line.what]}{warm}{text}")
    known = tuple(line for line in story.history.diary if line.day <= scored_on)
    if not ending and known != tuple(line for line in told if line.day <= scored_on):
        yield "The verdict does not know all of this yet: score the photos again."


# --------------------------------------------------------------------------- areas
def _areas(history: JarHistory) -> Iterable[str]:
    """Tell each area's history: those still there first, the largest first."""
    sightings: dict[str, list[tuple[date, TrackedPatch]]] = {}
    for day in history.days:
        for patch in day.patches:
            sightings.setdefault(patch.patch, []).append((day.day, patch))
    if not history.days:
        yield "Nothing can be said about its wall."
        return
    if not sightings:
        yield "No bare, wet or discoloured area was seen on the wall that could be judged."
        return
    last = history.days[-1].day
    seen = sorted(
        sightings.values(),
        key=lambda s: (s[-1][0] != last, -max(patch.area_cm2 for _, patch in s)),
    )
    for sighting in seen[:MOST_AREAS]:
        yield _area(sighting, last)
    if len(seen) > MOST_AREAS:
        yield f"Besides, {_count(len(seen) - MOST_AREAS, 'smaller area')}; see patches.csv."


def _area(sighting: list[tuple[date, TrackedPatch]], last: date) -> str:
    (first_day, first), (last_day, now) = sighting[0], sighting[-1]
    kind = _KINDS.get(now.kind, f"{now.kind} area")
    where = tell_place(now.angle_deg, now.height_mm)
    sizes = f"{first.area_cm2:.1f} cm2 on {tell_day(first_day)}"
    if first_day != last_day:
        sizes += f", {now.area_cm2:.1f} cm2 on {tell_day(last_day)}"
    fate = "not seen since"
    if last_day == last:
        trend = "new" if first_day == last_day else now.trend
        fate = _TRENDS.get(trend, trend)
    return f"{now.patch}: {kind} {where}; {sizes}, {fate}."


# --------------------------------------------------------------------------- verdict and next
def _verdict(story: JarStory, scored_on: date) -> Iterable[str]:
    yield f"On {tell_day(scored_on, year=True)} the verdict is {story.verdict.verdict}."
    yield from map(_sentence, story.verdict.reasons)
    yield from (flag.message for flag in story.flags if flag.flag in _SETTLED)


def _outcome(outcome: JarOutcome) -> Iterable[str]:
    yield f"On {tell_day(outcome.day, year=True)} it was recorded as {outcome.outcome}."
    if outcome.verdict and outcome.verdict_date:
        yield f"The verdict had been {outcome.verdict}, on {tell_day(outcome.verdict_date)}."
    if outcome.fresh_grams is not None:
        flushes = _count(len(outcome.flushes), "flush", "flushes")
        yield f"It gave {outcome.fresh_grams:g} g in {flushes}."
    efficiency = outcome.biological_efficiency_percent
    if efficiency is not None:
        yield f"That is a biological efficiency of {efficiency:.0f} %."


def _over(story: JarStory, ending: Ending, outcome: JarOutcome | None) -> str:
    told, days = f"It has none any more. {ending.tell()}", story.history.days
    if not days or (outcome and outcome.verdict):  # the outcome's chapter tells what was known
        return told
    return f"{told} The last one, for {tell_day(days[-1].day)}, was {story.verdict.verdict}."


def _afterwards(story: JarStory, register: Register, ending: Ending) -> Iterable[str]:
    jar = story.verdict.jar
    yield "Nothing: its story is over."
    if JarState.of(story.verdict.verdict, ending).bad and near_kin(register, jar):
        yield f"Its kin may share its fault: jarvision trace {jar} says in which order to look."


def _what_to_do(story: JarStory, register: Register) -> Iterable[str]:
    verdict, jar = story.verdict.verdict, story.verdict.jar
    words = VERDICT_WORDS[verdict]
    yield f"{words.heading}. {words.advice}"
    told = {flag.flag for flag in story.flags}
    for kind in FLAGS.values():  # in the order of the table, each once
        if kind.word in told and kind.severity in ("act", "look"):
            yield kind.remedy
    if verdict == "check":
        ways = (what_settles(finding, jar) for finding in story.verdict.findings)
        yield from dict.fromkeys(filter(None, ways))
    related = register.siblings(jar) or register.children(jar)
    if verdict in ("no-go", "check") and related:
        yield f"Other jars share its spawn: jarvision trace {jar} says in which order to look."


def _caution(story: JarStory) -> Iterable[str]:
    """The photo's limit always; eating and breathing where something may be wrong."""
    yield CAUTIONS[0]
    if story.verdict.verdict in ("no-go", "check"):
        yield from CAUTIONS[1:3]


# --------------------------------------------------------------------------- words
def _sentence(text: str) -> str:
    return f"{text.rstrip('.')}."


def _cover(cover: Coverage) -> str:
    if not cover.is_told:
        return f"{cover.in_words(1)} % (95 % interval: nothing closer is known)"
    return f"{cover.percent:.1f} % (95 % interval {cover.low:.1f} to {cover.high:.1f} %)"


def _count(number: int, thing: str, things: str = "") -> str:
    return f"1 {thing}" if number == 1 else f"{number} {things or f'{thing}s'}"


def _listed(names: Iterable[str]) -> str:
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last
