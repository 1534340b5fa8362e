"""Jars with a known story, as readings: the truth that the tests of the later stages stand on."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

import numpy as np

from jarvision.records import Coverage, DiaryLine, DiaryWord, JarEntry, Patch, Reading

START = date(2026, 3, 1)


def day(number: float) -> date:
    return START + timedelta(days=int(number))


def reading(
    number: int,
    percent: float,
    *,
    half_width: float = 2.0,
    seen: float = 90.0,
    view: str = "front",
    patches: Iterable[Patch] = (),
    jar: str = "J1",
    **more: object,
) -> Reading:
    cover = Coverage(
        percent, max(percent - half_width, 0.0), min(percent + half_width, 100.0), percent, seen
    )
    fields: dict[str, object] = {
        "photo": f"{jar}_{day(number)}_{view}.jpg",
        "jar": jar,
        "view": view,
        "taken_at": datetime.combine(day(number), time(9)),
        "time_source": "exif",
        "status": "ok",
        "coverage": cover,
        "patches": tuple(patches),
        "fill_height_mm": 110.0,
        "colour_de00_median": 1.0,
    }
    return Reading(**{**fields, **more})  # type: ignore[arg-type]


def told(what: DiaryWord, number: int, celsius: float | None = None, text: str = "") -> DiaryLine:
    """A line of the diary."""
    return DiaryLine("J1", what, day(number), celsius, text)


def refused(number: int, reason: str = "blurred", jar: str = "J1") -> Reading:
    return reading(number, 0.0, jar=jar, status="unusable", reason=reason, coverage=None)


def oval(area_cm2: float, long: float, angle_deg: float = 0.0) -> Patch:
    """A bare oval, ``long`` times as high as it is wide, on a wall of 45 mm radius."""
    wide_mm = 10.0 * np.sqrt(area_cm2 / np.pi / long)
    around = np.linspace(0.0, 2 * np.pi, 60, endpoint=False)
    outline = tuple(
        (
            angle_deg + float(np.rad2deg(wide_mm * np.sin(t) / 45.0)),
            50.0 + long * wide_mm * np.cos(t),
        )
        for t in around
    )
    return Patch("bare", area_cm2, angle_deg, 50.0, 0.9, outline)


def patch(
    kind: str, area_cm2: float, angle_deg: float = 0.0, height_mm: float = 50.0, sure: float = 0.9
) -> Patch:
    return Patch(kind, area_cm2, angle_deg, height_mm, sure)


def kjma(t: np.ndarray, *, lag: float = 2.0, t95: float = 9.0, n: float = 2.0) -> np.ndarray:
    """Nucleation and growth, percent: 95 % is reached ``t95`` days after the lag."""
    x = np.clip(np.asarray(t, dtype=float) - lag, 0.0, None) / t95
    return 100.0 * -np.expm1(-np.log(20.0) * x**n)


@dataclass
class Story:
    """A jar's true coverage by day, read with noise; patches are added by the teller."""

    percents: np.ndarray
    seed: int = 0
    noise: float = 0.8
    patches: dict[int, Sequence[Patch]] = field(default_factory=dict)
    skip: tuple[int, ...] = ()

    def readings(self) -> list[Reading]:
        rng = np.random.default_rng(self.seed)
        read = np.clip(self.percents + rng.normal(0, self.noise, len(self.percents)), 0, 100)
        return [
            reading(i, float(p), half_width=1.96 * self.noise, patches=self.patches.get(i, ()))
            for i, p in enumerate(read)
            if i not in self.skip
        ]


def oyster(**more: object) -> JarEntry:
    fields: dict[str, object] = {"jar": "J1", "species": "oyster", "started": START, **more}
    return JarEntry(**fields)  # type: ignore[arg-type]
