"""A planned fruiting jar and its truth on each day: what stands on it, and its true stage."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from jarvision.records import MOISTURES, Moisture, SpeciesProfile, Stage
from jarvision.register.species import find_profile

from .laws import Law

FIRST_DAY: Final = date(2026, 3, 1)
SPECIES: Final = ("oyster", "golden-oyster", "king-oyster", "pioppino", "shiitake", "chestnut")
COVERED_BELOW: Final = 3.0
"""A surface is covered so far below its species' ready share: the glass leaves a ragged rim."""

PIN_MM, CAP_MM = 3.0, 10.0
_STAGE_OF: Final[dict[Moisture, Stage]] = {
    "dry": "dry",
    "moist": "moist",
    "wet": "wet",
    "standing water": "wet",
}


@dataclass(frozen=True)
class Flush:
    """Days are counted from the jar's first; the largest cap is a pin of 3 mm on ``pin_day``.

    ``flat_day`` is when its edge begins to flatten, ``cut_day`` when the grower cuts.
    """

    law_name: str
    law: Law
    pin_day: float
    flat_day: float
    cut_day: int
    flat_mm: float
    share: float
    bodies: int
    early_mm_per_day: float
    cut_before_photo: bool

    def width_mm(self, day: float) -> float:
        """Width of the largest body on a day; below 3 mm while it is a knot, 0 when cut."""
        if day > self.cut_day or (self.cut_before_photo and day == self.cut_day):
            return 0.0
        if day < self.pin_day:
            return max(PIN_MM - self.early_mm_per_day * (self.pin_day - day), 0.0)
        u = (day - self.pin_day) / (self.flat_day - self.pin_day)
        first = PIN_MM / self.flat_mm
        wide = float(self.law(np.array([u]), first, self.share)[0])
        return self.flat_mm * min(wide, 1.0 / self.share)

    @property
    def last_day_to_cut(self) -> int:
        """The last day whose photo still shows an edge that has not begun to flatten."""
        return math.floor(self.flat_day)


@dataclass(frozen=True)
class FruitingJar:
    """A jar that recovers, goes into fruiting conditions and gives flushes."""

    seed: int
    species: str
    recovery: str
    half_day: float
    pace_days: float
    plateau: float
    begun_day: int
    moisture: tuple[Moisture, ...]
    flushes: tuple[Flush, ...]
    last_day: int
    tells_diary: bool
    tells_harvest: bool
    hooded_share: float
    photo_days: tuple[int, ...]
    mould_day: float | None

    @property
    def profile(self) -> SpeciesProfile:
        return find_profile(self.species)

    def coverage(self, day: float) -> float:
        """True share of the surface that is covered, percent."""
        u = (day - self.half_day) / self.pace_days
        if self.recovery == "logistic":
            return self.plateau / (1.0 + math.exp(-min(max(u, -50), 50)))
        if self.recovery == "gompertz":
            return self.plateau * math.exp(-math.log(2) * math.exp(-min(max(u, -5), 50)))
        return self.plateau * min(max(0.5 + u / 4, 0.0), 1.0)

    @property
    def covered_day(self) -> int:
        needed = self.profile.ready_percent - COVERED_BELOW
        return next(day for day in range(200) if self.coverage(day) >= needed)

    def flush_on(self, day: int) -> Flush | None:
        """The flush of which something stands there."""
        return next((f for f in self.flushes if f.pin_day - 1.5 <= day <= f.cut_day), None)

    def mould_cm2(self, day: float) -> float:
        """A disc of mould that grows 3 mm a day."""
        if self.mould_day is None or day <= self.mould_day:
            return 0.0
        return math.pi * (0.3 * (day - self.mould_day)) ** 2

    def stage(self, day: int) -> Stage:
        """The true stage, by the definitions of the stages and exact values.

        ``growing`` up to the day before the last one to cut: that a harvest is near is a forecast.
        """
        flush = self.flush_on(day)
        width = flush.width_mm(day) if flush else 0.0
        if flush is not None and width >= CAP_MM:
            return "harvest-today" if flush.last_day_to_cut <= day else "growing"
        if flush is not None and width >= PIN_MM:
            return "pinning" if flush.width_mm(day - 1) < PIN_MM else "hood-off"
        if any(f.cut_day <= day for f in self.flushes):
            return "resting"
        if day >= self.begun_day:
            return _STAGE_OF[self.moisture[day]]
        rested = day - self.covered_day >= self.profile.consolidation_days
        return "ready" if rested else "recovering"


def date_of(day: float) -> date:
    return FIRST_DAY + timedelta(days=math.floor(day))


def plan_jar(seed: int, laws: Mapping[str, Law]) -> FruitingJar:
    """Draw a jar; equal seeds and laws give equal jars."""
    rng = np.random.default_rng([21, seed])
    species = str(rng.choice(SPECIES))
    profile = find_profile(species)
    recovery = str(rng.choice(["logistic", "gompertz", "steady"]))
    half, pace = float(rng.uniform(3, 7)), float(rng.uniform(0.7, 1.6))
    bare = FruitingJar(
        seed, species, recovery, half, pace, float(rng.uniform(98, 100)), 0, (), (), 0,
        tells_diary=bool(rng.random() < 0.6),
        tells_harvest=bool(rng.random() < 0.8),
        hooded_share=float(rng.uniform(0.6, 0.95)),
        photo_days=(),
        mould_day=None,
    )  # fmt: skip
    covered = bare.covered_day
    begun = covered + profile.consolidation_days + int(rng.integers(0, 4))
    flushes, after = [], float(begun)
    for number in range(int(rng.choice([1, 2], p=[0.25, 0.75]))):
        wait = rng.uniform(3, 10) if number == 0 else rng.uniform(7, 14)
        flushes.append(_plan_flush(rng, laws, after + float(wait), smaller=number > 0))
        after = float(flushes[-1].cut_day)
    last = int(after + rng.integers(2, 8))
    days = _photo_days(rng, last)
    mould = float(rng.uniform(begun, last - 3)) if rng.random() < 0.15 else None
    values = {**vars(bare), "begun_day": begun, "flushes": tuple(flushes), "last_day": last}
    values |= {"moisture": _weather(rng, last + 1), "photo_days": days, "mould_day": mould}
    return FruitingJar(**values)


def _plan_flush(
    rng: np.random.Generator, laws: Mapping[str, Law], pin_day: float, *, smaller: bool
) -> Flush:
    name = str(rng.choice(list(laws)))
    flat = pin_day + float(rng.uniform(3.5, 8.5))
    width = math.exp(rng.uniform(math.log(25), math.log(80))) * (0.8 if smaller else 1.0)
    late = int(rng.choice([-1, 0, 1], p=[0.25, 0.55, 0.2]))
    return Flush(
        law_name=name,
        law=laws[name],
        pin_day=pin_day,
        flat_day=flat,
        cut_day=max(math.floor(flat) + late, math.ceil(pin_day) + 2),
        flat_mm=width,
        share=float(np.clip(rng.normal(0.85, 0.05), 0.7, 0.95)),
        bodies=int(rng.integers(3, 25)),
        early_mm_per_day=float(rng.uniform(1.0, 2.5)),
        cut_before_photo=bool(rng.random() < 0.5),
    )


def _weather(rng: np.random.Generator, days: int) -> tuple[Moisture, ...]:
    """How wet the surface is each day: it stays as it was, dries, or is sprayed too much."""
    chances = {
        "dry": (0.55, 0.4, 0.05, 0.0),
        "moist": (0.12, 0.8, 0.07, 0.01),
        "wet": (0.02, 0.4, 0.5, 0.08),
        "standing water": (0.0, 0.2, 0.4, 0.4),
    }
    now, told = "moist", []
    for _ in range(days):
        now = str(rng.choice(MOISTURES, p=chances[now]))
        told.append(now)
    return tuple(told)  # type: ignore[arg-type]


def _photo_days(rng: np.random.Generator, last: int) -> tuple[int, ...]:
    """Most days have a photo; some are missed, one jar in four misses two or three in a row."""
    missed = set(np.flatnonzero(rng.random(last + 1) < rng.uniform(0.0, 0.2)).tolist())
    if rng.random() < 0.25:
        first = int(rng.integers(2, last - 3))
        missed |= set(range(first, first + int(rng.integers(2, 4))))
    return tuple(day for day in range(1, last + 1) if day not in missed)
