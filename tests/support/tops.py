"""Photos from above, made up: what each says is given, the rest is a jar in which all is well."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

from jarvision.history.tops import top_days
from jarvision.records import (
    MOISTURES,
    Coverage,
    DiaryLine,
    DiaryWord,
    Droplets,
    FruitBody,
    JarEntry,
    JarHistory,
    Measured,
    Moisture,
    Reading,
    SurfacePatch,
    Top,
)

FIRST = date(2026, 3, 1)


def day(number: int) -> date:
    return FIRST + timedelta(days=number)


def about(value: float, half: float = 1.0) -> Measured:
    return Measured(value, max(value - half, 0.0), value + half)


def droplets(moisture: Moisture, chance: float = 0.91) -> Droplets:
    chances = [(1 - chance) / 3] * 4
    chances[MOISTURES.index(moisture)] = chance
    return Droplets(30.0, 0.3, (chances[0], chances[1], chances[2], chances[3]))


def top(
    percent: float = 99.0,
    *,
    moisture: Moisture | None = "moist",
    pins: Sequence[float] = (),
    cap: float | None = None,
    flat: float = 0.02,
    chance: float = 0.95,
    green: float = 0.0,
    confidence: float = 0.9,
    hood: float | None = 0.02,
    seen: float = 42.0,
) -> Top:
    """``pins`` are their widths, mm, ``cap`` is that of the largest cap, ``green`` a mould, cm2."""
    bodies = [FruitBody("pin", 0.0, 0.0, about(mm), chance) for mm in pins]
    if cap is not None:
        bodies.append(FruitBody("cap", 5.0, 0.0, about(cap), chance, flat))
    mould = (SurfacePatch("green", green, 3.0, 3.0, confidence),) if green else ()
    return Top(
        mouth_mm=about(75.0),
        surface_cm2=44.0,
        seen_cm2=seen,
        coverage=Coverage(percent, max(percent - 4, 0), min(percent + 4, 100), percent, 95.0),
        patches=mould,
        droplets=droplets(moisture) if moisture else None,
        pins=about(len(pins)) if pins else Measured(0.0, 0.0, 0.4),
        caps=about(1.0) if cap else Measured(0.0, 0.0, 0.4),
        largest_pin_mm=about(max(pins)) if pins else None,
        largest_cap_mm=about(cap) if cap else None,
        flat_chance=flat if cap else None,
        fruit=tuple(bodies),
        hood_chance=hood,
        untold={} if moisture else {"droplets": "a lamp is mirrored on the surface"},
    )


def top_reading(number: int, told: Top, *, jar: str = "F01", hour: int = 12) -> Reading:
    return Reading(
        photo=f"{jar}_{day(number)}_{hour}_top.jpg",
        jar=jar,
        view="top",
        taken_at=datetime.combine(day(number), time(hour)),
        time_source="exif",
        status="ok",
        top=told,
    )


def fruiting_jar(
    tops: Mapping[int, Top], *, diary: Mapping[int, DiaryWord] | None = None, **entry: Any
) -> JarHistory:
    """A jar of oyster on straw, photographed from above on some days."""
    told = tuple(DiaryLine("F01", what, day(n)) for n, what in (diary or {}).items())
    line = JarEntry("F01", **{"kind": "fruiting", "species": "oyster", "started": FIRST, **entry})
    readings = [top_reading(number, seen) for number, seen in tops.items()]
    return JarHistory(line, (), (), told, top_days(readings))


def a_fruiting_run() -> dict[int, Top]:
    """From a covered surface on day 3 to a cap that is flat on day 18."""
    tops = {n: top(20.0 + 25.0 * n, moisture="dry") for n in range(1, 4)}
    tops |= {n: top() for n in range(4, 12)}
    tops |= {12: top(pins=[3.0, 3.5, 3.2]), 13: top(pins=[5.0, 4.5, 4.0])}
    widths = {14: 11.0, 15: 20.0, 16: 31.0, 17: 40.0}
    tops |= {n: top(pins=[5.0], cap=mm) for n, mm in widths.items()}
    return tops | {18: top(cap=45.0, flat=0.9)}
