"""A farm of simulated jars: hundreds of stories of every age and fate, with pictures.

The walls grow by the laws of :mod:`tests.accuracy.histories`; the pictures are those of the sample
shelf, each reading's that of the sample whose coverage is nearest.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Final

import numpy as np

from jarvision.history.build import build_history
from jarvision.records import JarEntry, Reading, ShelfResult
from jarvision.register.jars import Register
from jarvision.register.species import SpeciesBook, load_profiles
from jarvision.settings.groups import Settings
from jarvision.verdict.assess import tell_stories
from jarvision.verdict.lives import with_lives
from jarvision.verdict.plan import Plan, make_plan
from tests.accuracy.histories.growing import grow_jar
from tests.accuracy.histories.laws import JUDGED_ON, TUNED_ON
from tests.accuracy.histories.plans import FIRST_DAY
from tests.accuracy.histories.reading import read_jar
from tests.accuracy.histories.shelves import plan_shelf

TODAY: Final = date(2026, 6, 1)
FIRST_SEED: Final = 7000
"""Of the shelves drawn; nothing of the page was chosen by their verdicts."""

JARS_A_RACK: Final = 48
REFUSED: Final = 0.03
"""Share of the photos that could not be used."""


@dataclass(frozen=True)
class Farm:
    """What a report is written from."""

    result: ShelfResult
    plan: Plan
    register: Register


def simulate_farm(jars: int) -> Farm:
    """Grow, photograph and score so many jars; batches of six, each as old as chance has it."""
    entries: dict[str, JarEntry] = {}
    readings: dict[str, list[Reading]] = {}
    for entry, photos in _drawn(jars):
        entries[entry.jar] = entry
        readings[entry.jar] = photos
    register = Register(entries)
    histories = [build_history(photos, entries[jar]) for jar, photos in readings.items()]
    stories = tell_stories(
        histories,
        register,
        today=TODAY,
        settings=Settings(),
        species=SpeciesBook(load_profiles()),
    )
    taken = tuple(reading for photos in readings.values() for reading in photos)
    result = with_lives(ShelfResult("farm", TODAY, taken, stories), register, {})
    return Farm(result, make_plan(result), register)


def _drawn(jars: int) -> Iterator[tuple[JarEntry, list[Reading]]]:
    number = 0
    for seed in range(FIRST_SEED, FIRST_SEED + jars):
        rng = np.random.default_rng([seed, 5])
        plans = plan_shelf(seed, (*TUNED_ON, *JUDGED_ON))
        age = int(rng.integers(2, max(plan.last_day for plan in plans) + 1))
        for plan in plans:
            number += 1
            if number > jars:
                return
            back = timedelta(days=(TODAY - FIRST_DAY).days - age)
            entry = replace(
                plan.entry,
                jar=f"K{number:03d}",
                parent=f"G{seed - FIRST_SEED + 1:02d}",
                started=FIRST_DAY + back,
            )
            photos = [_moved(r, entry, back) for r in read_jar(grow_jar(plan)).readings]
            due = [photo for photo in photos if photo.taken_at.date() <= TODAY]
            yield entry, [_refused(r) if rng.random() < REFUSED else r for r in due]


def _moved(reading: Reading, entry: JarEntry, back: timedelta) -> Reading:
    """The photo of another jar on another day, in the folder of a rack."""
    rack = 1 + int(entry.jar[1:]) // JARS_A_RACK
    taken_at = reading.taken_at + back
    photo = f"rack {rack}/{entry.jar}/{entry.jar}_{taken_at:%Y-%m-%d_%H}.jpg"
    return replace(reading, photo=photo, jar=entry.jar, taken_at=taken_at)


def _refused(reading: Reading) -> Reading:
    return Reading(
        reading.photo,
        reading.jar,
        reading.view,
        reading.taken_at,
        reading.time_source,
        "unusable",
        "blurred",
    )


def with_sample_pictures(
    result: ShelfResult, samples: Sequence[Reading], *, scored: Path, out: Path
) -> ShelfResult:
    """Give every usable reading the pictures of the sample that is covered as much.

    ``scored`` is the output folder of the samples; their pictures are copied into ``out``.
    """
    usable = [r for r in samples if r.status == "ok" and r.coverage and r.wall_picture]
    for folder in ("overlays", "walls"):
        shutil.copytree(scored / folder, out / folder, dirs_exist_ok=True)
    percents = np.array([r.coverage.percent for r in usable if r.coverage])

    def shown(reading: Reading) -> Reading:
        if reading.coverage is None:
            return reading
        near = usable[int(np.argmin(np.abs(percents - reading.coverage.percent)))]
        return replace(reading, overlay=near.overlay, wall_picture=near.wall_picture)

    return _with_readings(result, {r.photo: shown(r) for r in result.readings})


def _with_readings(result: ShelfResult, drawn: Mapping[str, Reading]) -> ShelfResult:
    stories = []
    for story in result.stories:
        days = tuple(
            replace(day, readings=tuple(drawn[r.photo] for r in day.readings))
            for day in story.history.days
        )
        stories.append(replace(story, history=replace(story.history, days=days)))
    readings = tuple(drawn[r.photo] for r in result.readings)
    return replace(result, readings=readings, stories=tuple(stories))
