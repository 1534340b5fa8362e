"""What does not fit together: names, days, views, photos of one side, a jar's start.

Each finding is a sentence for the grower; none of them touches a reading or a verdict.
"""

from __future__ import annotations

import re
import shlex
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import combinations, groupby, takewhile
from statistics import median
from typing import Final

import numpy as np

from jarvision.base.text import alike, counted, did_you_mean, printable
from jarvision.growth.stall import leap_off_days
from jarvision.records import FinishedJar, JarStory, Reading
from jarvision.register.jars import Register
from jarvision.register.name_ranges import gathered
from jarvision.register.photo_names import read_name
from jarvision.settings.growth import GrowthSettings

MIDNIGHT_DAYS: Final = 1
"""A name and a photo may differ by so much: an evening that went on past midnight."""

LEAST_DIFFERENCE_POINTS: Final = 10.0
"""Two photos of one side whose intervals do not meet are told when they differ by as much."""

OTHER_GLASS_SHARE: Final = 0.12
"""A photo whose jar is so much wider or narrower than the same jar's others shows another one.
Radii of one jar have a standard uncertainty of 2 %: no two differ by as much by chance. (Jars of
one shape cannot be told apart so, nor by how high they are filled: that is misread too often.)"""

FEWEST_GLASSES: Final = 3
JARS_NAMED: Final = 3

AHEAD_POINTS: Final = 15.0
"""A curve that runs so far ahead of a jar's first days began too early. With their true starts no
curve does, of the sample jars (6 points at most) nor of 94 simulated ones, shaken and standing
still among them; of those with starts 30 days too early 7 do: the others' curves fit all the
same."""

AHEAD_DAYS: Final = 2

BARE_PERCENT: Final = 10.0
"""A wall on which surely no more than this is covered has not begun to grow over ..."""

GROWN_PERCENT: Final = 50.0
"""... and one on which surely this much is covered later was alive all the time ..."""

GROWN_SHARE: Final = 0.6
"""... and no slow jar, where that took at most this share of its species' longest run. Of 26
simulated jars with their true starts none was bare within 5 days of the latest day on which its
species shows growth; with starts 10 days too early 21 are told. Chosen on these jars."""


@dataclass(frozen=True)
class PhotoDoubts:
    """What does not fit together among the photos of one jar.

    Attributes
    ----------
    odd_views
        Photo and the ending of its name that was meant as a mark of the view.
    other_days, sides, glass
        Sentences: names against days, photos of one side, photos of another glass.
    """

    odd_views: tuple[tuple[str, str], ...] = ()
    other_days: tuple[str, ...] = ()
    sides: tuple[str, ...] = ()
    glass: tuple[str, ...] = ()


@dataclass(frozen=True)
class StartDoubts:
    """What does not fit together between a jar's growth and its start: sentences, or empty."""

    ahead: str = ""
    bare: str = ""


def doubt_photos(readings: Sequence[Reading]) -> PhotoDoubts:
    """Look through the photos of one jar; also through those of no jar."""
    return PhotoDoubts(
        odd_views=tuple((r.photo, odd) for r in readings if (odd := read_name(r.photo).odd_view)),
        other_days=tuple(_other_days(readings)),
        sides=tuple(_differing_sides(readings)),
        glass=tuple(_other_glass(readings)),
    )


def doubt_start(story: JarStory, limits: GrowthSettings) -> StartDoubts:
    """Hold a jar's growth against its start."""
    return StartDoubts(_odd_start(story), _bare_for_too_long(story, limits))


def tell_doubts(
    photos: Mapping[str, PhotoDoubts],
    starts: Iterable[StartDoubts],
    register: Register,
) -> list[str]:
    """Everything that does not fit together, one sentence each without a full stop.

    ``photos``: by jar, in the order of the photos; ``starts``: jar by jar.
    """
    told = tuple(photos.values())
    odd = (view for doubts in told for view in doubts.odd_views)
    by_start = tuple(starts)
    return [
        *_odd_views(odd),
        *(sentence for doubts in told for sentence in doubts.other_days),
        *(sentence for jar in sorted(photos) for sentence in photos[jar].sides),
        *(sentence for doubts in told for sentence in doubts.glass),
        *_unregistered(photos, register),
        *_alike_jars(photos),
        *(doubts.ahead for doubts in by_start if doubts.ahead),
        *(doubts.bare for doubts in by_start if doubts.bare),
    ]


def tell_afterlives(finished: Iterable[FinishedJar]) -> list[str]:
    """Jars that were photographed after their story was over, unless they go on fruiting."""
    found = []
    for done in finished:
        day, days = done.ending.day, done.story.history.days
        fine = done.ending.word == "harvested" and done.story.verdict.verdict != "no-go"
        if days and day and days[-1].day > day and not fine:
            found.append(
                f"{done.jar} was photographed on {days[-1].day}, but its story is over, so that it "
                f"has no verdict: {done.ending.tell()[:1].lower()}{done.ending.tell()[1:-1]}"
            )
    return found


def tell_removed(photos: Mapping[str, int], removed: Collection[str]) -> list[str]:
    """What is left out because the grower has taken its jar out of the register.

    ``photos``: how many there are of each jar.
    """
    return [
        f"{jar} was taken out of the register: {counted(number, 'photo')} of it left out; "
        f"jarvision jars add {jar} brings it back"
        for jar, number in sorted(photos.items())
        if jar in removed
    ]


# --------------------------------------------------------------------------- names against photos
def _odd_views(odd_views: Iterable[tuple[str, str]]) -> Iterator[str]:
    """Endings that were meant as a mark of the view."""
    yield from _grouped(
        odd_views,
        lambda odd: (
            f"'{odd}' at the end of the name marks no view, so that the photo counts as the front; "
            "views end in _a, _b, _c or _d"
        ),
    )


def _other_days(readings: Iterable[Reading]) -> Iterator[str]:
    """Photos whose names say another day than their own time, which counts."""
    for reading in readings:
        named, taken = read_name(reading.photo).day, reading.taken_at.date()
        if reading.time_source != "exif" or named is None:
            continue
        if abs(named - taken) > timedelta(days=MIDNIGHT_DAYS):
            yield (
                f"{reading.photo}: the name says {named}, the photo itself {taken}, which counts: "
                "correct the name, or the clock of the phone"
            )


def _differing_sides(readings: Iterable[Reading]) -> Iterator[str]:
    """Photos of one side of a jar on one day whose intervals do not meet."""
    usable = [r for r in readings if r.status == "ok" and r.jar and r.coverage]

    def side(reading: Reading) -> tuple[str, str, str]:
        view = "a" if reading.view == "front" else reading.view
        return reading.jar, reading.taken_at.date().isoformat(), view

    for (jar, day, _), group in groupby(sorted(usable, key=side), key=side):
        for one, two in combinations(group, 2):
            if _differ(one, two):
                yield (
                    f"{jar}, {day}: {one.photo} and {two.photo} show the same side by their names, "
                    f"but {_percent(one)} and {_percent(two)} covered: does one of them show "
                    "another jar, or another side?"
                )
                break


def _other_glass(readings: Iterable[Reading]) -> Iterator[str]:
    """Photos that show a jar of another width than the same jar's others: jars mixed up."""
    widths: dict[str, list[tuple[str, float]]] = defaultdict(list)
    for reading in readings:
        if reading.status == "ok" and reading.jar and reading.radius_mm is not None:
            widths[reading.jar].append((reading.photo, 2.0 * reading.radius_mm))
    for jar, shown in widths.items():
        usual = median(width for _, width in shown)
        if len(shown) < FEWEST_GLASSES:
            continue
        for photo, width in shown:
            if abs(width / usual - 1.0) > OTHER_GLASS_SHARE:
                yield (
                    f"{photo}: a glass {width:.0f} mm wide inside, where other photos of {jar} "
                    f"show {usual:.0f} mm: does it show another jar, or stood it too near to the "
                    "card"
                )


def _differ(one: Reading, two: Reading) -> bool:
    if one.coverage is None or two.coverage is None:
        return False
    low, high = sorted((one.coverage, two.coverage), key=lambda cover: cover.percent)
    return low.high < high.low and high.percent - low.percent >= LEAST_DIFFERENCE_POINTS


def _percent(reading: Reading) -> str:
    return f"{reading.coverage.percent:.0f} %" if reading.coverage else ""


# --------------------------------------------------------------------------- jars
def _unregistered(jars: Iterable[str], register: Register) -> Iterator[str]:
    """Jars with photos that the register lacks, where there is one."""
    shown = set(filter(None, jars))
    unknown = sorted(shown - set(register)) if register else []
    hints = {jar: _meant(jar, register, shown) for jar in unknown}
    plain = [jar for jar, hint in hints.items() if not hint]
    for jar, hint in hints.items():
        if hint:
            yield f"{jar} has photos but is not in the register. {hint}"
    if plain:
        yield f"with photos but not in the register: {', '.join(plain)}"


def _meant(jar: str, register: Register, shown: Collection[str]) -> str:
    """Ask for the jar that was meant.

    K08 is no slip for K07 but the next jar; K88 may be one, as long as no photo shows it.
    """
    digits = re.findall(r"\d+", jar)
    likely = [
        other
        for other in register
        if list(map(int, found := re.findall(r"\d+", other))) == list(map(int, digits))
        or (other not in shown and list(map(len, found)) != list(map(len, digits)))
    ]
    return did_you_mean(jar, likely)


def tell_unnamed(stories: Sequence[JarStory], *, with_register: bool) -> list[str]:
    """Ask once for kind and species of the jars of which nobody has told them: much hangs on it.

    ``with_register``: whether there is a register to write them into.
    """
    unnamed = [s.history.entry for s in stories if not s.history.entry.species]
    new = "" if with_register else "jarvision jars new; "
    found = []
    for registered, what, how in (
        (False, "kind and species are", f"{new}jarvision jars add {{}} --kind spawn"),
        (True, "the species is", "jarvision jars set {}"),
    ):
        jars = [entry.jar for entry in unnamed if entry.registered == registered]
        if not jars:
            continue
        more = f" and {len(jars) - JARS_NAMED} more" if len(jars) > JARS_NAMED else ""
        every = " ".join(map(shlex.quote, gathered(jars)))
        found.append(
            f"{what} not known of {', '.join(jars[:JARS_NAMED])}{more}: dates and colours are "
            f"judged cautiously until they are told, once: {how.format(every)} --species oyster"
        )
    return found


def _alike_jars(jars: Iterable[str]) -> Iterator[str]:
    """Jars whose names differ only in capitals and spaces."""
    found: dict[str, set[str]] = defaultdict(set)
    for jar in jars:
        found[alike(jar)].add(jar)
    for same in found.values():
        if len(same) > 1:
            yield f"photos name {' and '.join(sorted(same))}, which count as {len(same)} jars"


# --------------------------------------------------------------------------- starts
def _odd_start(story: JarStory) -> str:
    """A curve that runs ahead of a jar's first photos: it begins where the register says."""
    started, ahead = story.history.entry.started, _ahead(story)[:AHEAD_DAYS]
    if started is None or len(ahead) < AHEAD_DAYS or min(ahead) < AHEAD_POINTS:
        return ""
    return (
        f"{story.verdict.jar}: a curve from its start on {started} lies {max(ahead):.0f} "
        "points above its first photos: look whether 'started' is right"
    )


def _bare_for_too_long(story: JarStory, limits: GrowthSettings) -> str:
    """A jar that began far too late by its start, and then grew as fast as its species does.

    A jar that is slow is slow all along.
    """
    days, started = story.history.days, story.history.entry.started
    bare = list(takewhile(lambda day: day.coverage.high <= BARE_PERCENT, days))
    half = next((day.day for day in days if day.coverage.low >= GROWN_PERCENT), None)
    if started is None or not bare or half is None:
        return ""
    last, longest = bare[-1].day, story.profile.spawn_run_days[1]
    age, grew_for = (last - started).days, (half - last).days
    latest = leap_off_days(story.profile, limits)
    if age < latest or grew_for > GROWN_SHARE * longest:
        return ""
    return (
        f"{story.verdict.jar} was still bare on {last}, {age} days after its start on {started}, "
        f"and half grown {counted(grew_for, 'day')} later; its species shows growth by day "
        f"{latest} and takes up to {longest:.0f} days in all: look whether 'started' is right"
    )


def _ahead(story: JarStory) -> list[float]:
    """How far the curve lies above each day of a jar, in points, from the first day on."""
    growth = story.growth
    if growth.origin is None or not growth.day_numbers:
        return []
    first, last = growth.day_numbers[0], growth.day_numbers[-1]
    times = [float((day.day - growth.origin).days) for day in story.history.days]
    curve = np.interp(times, growth.day_numbers, growth.curve_percent)
    return [
        float(level) - day.coverage.percent
        for day, time, level in zip(story.history.days, times, curve, strict=True)
        if first <= time <= last
    ]


# --------------------------------------------------------------------------- words
def _grouped(found: Iterable[tuple[str, str]], say: Callable[[str], str]) -> Iterator[str]:
    """One sentence for each thing that was found, with the first photo that it holds for."""
    photos: dict[str, list[str]] = defaultdict(list)
    for photo, what in found:
        photos[what].append(photo)
    for what, names in photos.items():
        more = f" and {counted(len(names) - 1, 'photo')} more" if len(names) > 1 else ""
        yield printable(f"{names[0]}{more}: {say(what)}")
