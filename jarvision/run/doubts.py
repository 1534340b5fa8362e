"""What does not fit together: names, days, views, photos of one side, a jar's start.

Each finding is a sentence for the grower; none of them touches a reading or a verdict.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, timedelta
from itertools import combinations, groupby
from statistics import median
from typing import Final

import numpy as np

from jarvision.base.text import alike, counted, did_you_mean, printable
from jarvision.history.shakes import shaken_on
from jarvision.records import JarStory, Reading
from jarvision.register.jars import Register
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

MISFIT_POINTS: Final = 20.0
"""A curve so far off its days does not follow them. On the sample photos with their true starts no
day is off by more than 10; with starts 10 to 40 days too early 8 of 24 curves are off by 20 on two
days (they chose the limit)."""

MISFIT_DAYS: Final = 2


def tell_doubts(
    readings: Sequence[Reading],
    stories: Sequence[JarStory],
    register: Register,
    *,
    settings: GrowthSettings,
) -> list[str]:
    """Everything that does not fit together, one sentence each without a full stop.

    ``settings`` tell a shake, after which the curve begins anew.
    """
    return [
        *_odd_views(readings),
        *_other_days(readings),
        *_differing_sides(readings),
        *_other_glass(readings),
        *_unregistered(readings, register),
        *_alike_jars(readings),
        *_odd_starts(stories, settings),
    ]


# --------------------------------------------------------------------------- names against photos
def _odd_views(readings: Iterable[Reading]) -> Iterator[str]:
    """Endings that were meant as a mark of the view."""
    yield from _grouped(
        ((r.photo, odd) for r in readings if (odd := read_name(r.photo).odd_view)),
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
                    "another jar, or another side"
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
def _unregistered(readings: Iterable[Reading], register: Register) -> Iterator[str]:
    """Jars with photos that the register lacks, where there is one."""
    unknown = sorted({r.jar for r in readings if r.jar} - set(register)) if register else []
    plain = [jar for jar in unknown if not did_you_mean(jar, register)]
    for jar in unknown:
        if jar not in plain:
            yield f"{jar} has photos but is not in the register. {did_you_mean(jar, register)}"
    if plain:
        yield f"with photos but not in the register: {', '.join(plain)}"


def _alike_jars(readings: Iterable[Reading]) -> Iterator[str]:
    """Jars whose names differ only in capitals and spaces."""
    found: dict[str, set[str]] = defaultdict(set)
    for reading in readings:
        found[alike(reading.jar)].add(reading.jar)
    for jars in found.values():
        if len(jars) > 1:
            yield f"photos name {' and '.join(sorted(jars))}, which count as {len(jars)} jars"


# --------------------------------------------------------------------------- starts
def _odd_starts(stories: Iterable[JarStory], settings: GrowthSettings) -> Iterator[str]:
    """Jars whose curve cannot follow their photos from the start that the register gives."""
    for story in stories:
        started, off = story.history.entry.started, _misfits(story, settings)
        if started is not None and len(off) >= MISFIT_DAYS:
            yield (
                f"{story.verdict.jar}: no curve from its start on {started} fits its photos (it is "
                f"up to {max(off):.0f} points off): look whether 'started' is right"
            )


def _misfits(story: JarStory, settings: GrowthSettings) -> list[float]:
    """How far the curve is off, in points, on days where it is far off; since the last shake."""
    growth, days = story.growth, story.history.days
    if growth.origin is None or not growth.day_numbers:
        return []
    shaken = max(shaken_on(days, settings), default=date.min)  # the curve begins anew
    days = tuple(day for day in days if day.day >= shaken)
    times = [float((day.day - growth.origin).days) for day in days]
    curve = np.interp(times, growth.day_numbers, growth.curve_percent)
    seen = [day.coverage.percent for day in days]
    inside = [growth.day_numbers[0] <= time <= growth.day_numbers[-1] for time in times]
    off = [abs(p - c) for p, c, within in zip(seen, curve, inside, strict=True) if within]
    return [points for points in off if points >= MISFIT_POINTS]


# --------------------------------------------------------------------------- words
def _grouped(found: Iterable[tuple[str, str]], say: Callable[[str], str]) -> Iterator[str]:
    """One sentence for each thing that was found, with the first photo that it holds for."""
    photos: dict[str, list[str]] = defaultdict(list)
    for photo, what in found:
        photos[what].append(photo)
    for what, names in photos.items():
        more = f" and {counted(len(names) - 1, 'photo')} more" if len(names) > 1 else ""
        yield printable(f"{names[0]}{more}: {say(what)}")
