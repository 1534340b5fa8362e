"""What photos from above would say of a simulated jar: readings with stated errors.

The errors are those that the vision stages are asked to keep: coverage within two points, nine of
ten pins of 3 mm and more found, a false one on one photo in twenty, the largest cap within a
millimetre at the median, droplets' class right on 95 of 100 photos.
"""

from __future__ import annotations

from datetime import datetime, time

import numpy as np

from jarvision.history.tops import top_days
from jarvision.records import (
    MOISTURES,
    Coverage,
    DiaryLine,
    Droplets,
    FruitBody,
    JarEntry,
    JarHistory,
    Measured,
    Reading,
    SurfacePatch,
    Top,
)

from .jars import CAP_MM, PIN_MM, Flush, FruitingJar, date_of

COVERAGE_SD, COVERAGE_BIAS_SD = 2.0, 1.0
WIDTH_SD_MM, WIDTH_SD_SHARE = 0.8, 0.025
MISSED_SHARE, FALSE_PIN_SHARE, MISREAD_MOISTURE, FALSE_MOULD = 0.08, 0.05, 0.05, 0.01
EDGE_DAYS, EDGE_NOISE = 0.4, 1.0
SURFACE_CM2 = 44.0


def history_of(jar: FruitingJar) -> JarHistory:
    """The jar's history as its photos and its grower tell it."""
    readings = readings_of(jar)
    entry = JarEntry(name_of(jar), "fruiting", jar.species, started=date_of(0))
    return JarHistory(entry, (), (), diary_of(jar), top_days(readings))


def name_of(jar: FruitingJar) -> str:
    return f"F{jar.seed}"


def diary_of(jar: FruitingJar) -> tuple[DiaryLine, ...]:
    """What the grower has told, if he tells anything."""
    begun = DiaryLine(name_of(jar), "fruiting", date_of(jar.begun_day))
    return (begun,) if jar.tells_diary else ()


def readings_of(jar: FruitingJar) -> list[Reading]:
    """One reading for each day with a photo."""
    rng = np.random.default_rng([22, jar.seed])
    bias, name = rng.normal(0, COVERAGE_BIAS_SD), name_of(jar)
    return [
        Reading(
            photo=f"{name}_{date_of(day)}_top.jpg",
            jar=name,
            view="top",
            taken_at=datetime.combine(date_of(day), time(12)),
            time_source="exif",
            status="ok",
            top=_see(jar, day, bias, rng),
        )
        for day in jar.photo_days
    ]


def harvests_of(jar: FruitingJar, day: int) -> tuple[int, ...]:
    """Days on which the jar was cut, as far as its grower has told at a day's photo."""
    if not jar.tells_harvest:
        return ()
    return tuple(f.cut_day for f in jar.flushes if f.cut_day + (not f.cut_before_photo) <= day)


def _see(jar: FruitingJar, day: int, bias: float, rng: np.random.Generator) -> Top:
    percent = float(np.clip(jar.coverage(day) + bias + rng.normal(0, COVERAGE_SD), 0, 100))
    half = 2 * float(np.hypot(COVERAGE_SD, COVERAGE_BIAS_SD))
    bodies = [*_bodies(jar.flush_on(day), day, rng), *_false_pins(rng)]
    pins = [b for b in bodies if b.kind == "pin"]
    caps = [b for b in bodies if b.kind == "cap"]
    cap = max(caps, key=lambda b: b.diameter_mm.value, default=None)
    pin = max(pins, key=lambda b: b.diameter_mm.value, default=None)
    return Top(
        mouth_mm=Measured(75.0, 74.0, 76.0),
        surface_cm2=SURFACE_CM2,
        seen_cm2=SURFACE_CM2 * float(rng.uniform(0.8, 1.0)),
        coverage=Coverage(percent, max(percent - half, 0), min(percent + half, 100), percent, 95.0),
        patches=_patches(jar, day, rng),
        droplets=_droplets(jar, day, rng),
        pins=_count(len(pins)),
        caps=_count(len(caps)),
        largest_pin_mm=pin.diameter_mm if pin else None,
        largest_cap_mm=cap.diameter_mm if cap else None,
        flat_chance=cap.flat_chance if cap else None,
        fruit=tuple(bodies),
        hood_chance=_hood(jar, day, rng),
    )


def _count(number: int) -> Measured:
    return Measured(float(number), max(number - 1.0 - 0.2 * number, 0.0), number * 1.3 + 0.5)


def _bodies(flush: Flush | None, day: int, rng: np.random.Generator) -> list[FruitBody]:
    """The bodies that are found: the largest as it is, the others smaller; some are missed."""
    if flush is None:
        return []
    largest, found = flush.width_mm(day), []
    if largest == 0.0:
        return []
    shares = np.concatenate([[1.0], rng.uniform(0.2, 0.95, flush.bodies - 1)])
    for width in largest * shares:
        seen = 1.0 - MISSED_SHARE if width >= PIN_MM else 0.5 * max(width / PIN_MM, 0) ** 3
        if rng.random() >= seen:
            continue
        sd = float(np.hypot(WIDTH_SD_MM, WIDTH_SD_SHARE * width))
        read = max(width + float(rng.normal(0, sd)), 0.5)
        kind = "cap" if read >= CAP_MM else "pin"
        edge = _edge(day - flush.flat_day, rng) if kind == "cap" else None
        place = rng.uniform(-30, 30, 2)
        found.append(
            FruitBody(
                kind, float(place[0]), float(place[1]),
                Measured(read, max(read - 2 * sd, 0), read + 2 * sd),
                float(rng.beta(9, 2)), edge,
            )
        )  # fmt: skip
    return found


def _edge(late_days: float, rng: np.random.Generator) -> float:
    """Chance that an edge is said to have begun to flatten."""
    z = late_days / EDGE_DAYS + float(rng.normal(0, EDGE_NOISE))
    return float(np.clip(1.0 / (1.0 + np.exp(-z)), 0.02, 0.98))


def _false_pins(rng: np.random.Generator) -> list[FruitBody]:
    if rng.random() >= FALSE_PIN_SHARE:
        return []
    width = float(rng.uniform(2.0, 5.0))
    return [
        FruitBody("pin", 0.0, 0.0, Measured(width, width - 1, width + 1), float(rng.beta(4, 3)))
    ]


def _droplets(jar: FruitingJar, day: int, rng: np.random.Generator) -> Droplets | None:
    if rng.random() < 0.02:
        return None
    true = MOISTURES.index(jar.moisture[day])
    said = true
    if rng.random() < MISREAD_MOISTURE:
        said = int(np.clip(true + rng.choice([-1, 1]), 0, 3))
        said = said if said != true else 1
    sure = float(rng.uniform(0.75, 0.97) if said == true else rng.uniform(0.45, 0.8))
    chances = np.full(4, 0.0)
    chances[said] = sure
    near = [place for place in (said - 1, said + 1) if 0 <= place < 4]
    chances[near] += (1 - sure) / len(near)
    each = {0: (0.0, None), 1: (40.0, 0.3), 2: (25.0, 1.2), 3: (6.0, 4.0)}[said]
    return Droplets(each[0], each[1], tuple(float(c) for c in chances))  # type: ignore[arg-type]


def _hood(jar: FruitingJar, day: int, rng: np.random.Generator) -> float:
    """The hood is there from fruiting conditions to a day after pins, and often in the photo."""
    first = jar.flushes[0]
    on = jar.begun_day <= day <= first.pin_day + 1
    shown = on and rng.random() < jar.hooded_share
    return float(rng.beta(14, 1) if shown else rng.beta(1, 14))


def _patches(jar: FruitingJar, day: int, rng: np.random.Generator) -> tuple[SurfacePatch, ...]:
    area = jar.mould_cm2(day) * float(rng.normal(1, 0.1))
    if area >= 0.05:
        return (SurfacePatch("green", area, 5.0, 5.0, float(rng.uniform(0.7, 0.99))),)
    if rng.random() < FALSE_MOULD:
        wide = float(rng.uniform(0.05, 0.5))
        return (SurfacePatch("green", wide, 0.0, 0.0, float(rng.uniform(0.3, 0.75))),)
    return ()
