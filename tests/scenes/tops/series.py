"""A fruiting jar day by day: as numbers alone, and as scenes to render.

Every fruit body has its day of birth, its final width and its place; its width follows Gompertz's
law in the form of Zwietering and others 1990 (from memory), its edge flattens with its share of
the final width. The jar recovers, stands in fruiting conditions, pins, loses its hood, grows, is
cut before the caps flatten, rests, and flushes again (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from .grown import draw_caps
from .sampler import (
    draw_fruit,
    draw_ground,
    draw_held,
    draw_mouth,
    draw_place,
)
from .spec import Cap, Fruit, Ground, Mouth, Pin, Stain, TopSpec, Water

PIN_SEEN_MM = 3.0  # height from which a pin counts
CAP_MM = 10.0  # width from which a body is a cap
FLAT_FROM = 0.8  # flattening at which a cap should have been cut
ABORTED = 0.35  # share of the pins that stay pins
COVERED_ENOUGH = 0.95
REST_DAYS = 3  # covered, before fruiting conditions


@dataclass(frozen=True)
class Body:
    """One fruit body: the cap that it would become, its birth, its pace; ``aborts`` stays a pin."""

    adult: Cap
    born_day: float
    lag_days: float
    mm_per_day: float
    aborts: bool

    def width_mm(self, day: float) -> float:
        """Width of the cap, mm: 0 before it is born."""
        age = day - self.born_day
        if age <= 0.0:
            return 0.0
        final = self.adult.diameter_mm
        pace = self.mm_per_day * np.e / final
        width = float(final * np.exp(-np.exp(pace * (self.lag_days - age) + 1.0)))
        return min(width, 2.0) if self.aborts else width

    def height_mm(self, day: float) -> float:
        """Height while it is a pin, mm."""
        return min(2.2 * self.width_mm(day) + 0.8 * min(max(day - self.born_day, 0.0), 3.0), 10.0)

    def flattening(self, day: float) -> float:
        """As :class:`.spec.Cap` has it: 0.1 while young, 1 and more when old."""
        share = self.width_mm(day) / self.adult.diameter_mm
        return float(0.1 + 1.1 * share**3)


@dataclass(frozen=True)
class Flush:
    """One wave of fruit; all that stands is cut on ``cut_day``, before that day's photo or after.

    It ends without one where ``cut_day`` is beyond the series.
    """

    bodies: tuple[Body, ...]
    first_day: float
    cut_day: int

    def largest_mm(self, day: float) -> float:
        """Width of the largest body."""
        return max((body.width_mm(day) for body in self.bodies), default=0.0)

    def flattest(self, day: float) -> float:
        """Flattening of the largest body."""
        widest = max(self.bodies, key=lambda body: body.width_mm(day))
        return widest.flattening(day)


@dataclass(frozen=True)
class TopDay:
    """The truth of one day, as numbers. The hood is lifted for the photo; ``hood_on`` between."""

    day: int
    stage: str
    flush: int
    covered_share: float
    moisture: str
    pins: int
    largest_pin_mm: float
    caps: int
    largest_cap_mm: float
    flattening: float
    hood_on: bool
    mould_mm: float


@dataclass(frozen=True)
class FruitingSeries:
    """One jar; everything of a day follows from these."""

    seed: int
    mouth: Mouth
    ground: Ground
    colours: Fruit
    half_day: float
    pace_days: float
    begun_day: int
    moisture: tuple[str, ...]
    flushes: tuple[Flush, ...]
    last_day: int
    mould_day: float | None

    def covered(self, day: float) -> float:
        """Share of the surface that growth covers."""
        return float(1.0 / (1.0 + np.exp(-(day - self.half_day) / self.pace_days)))

    def flush_on(self, day: int) -> tuple[int, Flush | None]:
        """Number (from 1) and record of the flush that stands on a day."""
        for number, flush in enumerate(self.flushes, start=1):
            if flush.first_day <= day < flush.cut_day:
                return number, flush
        return sum(flush.cut_day <= day for flush in self.flushes), None

    @cached_property
    def days(self) -> tuple[TopDay, ...]:
        """Every day's truth."""
        return tuple(self._day(day) for day in range(self.last_day + 1))

    def _day(self, day: int) -> TopDay:
        number, flush = self.flush_on(day)
        fruit = self.fruit(day)
        largest = max((cap.diameter_mm for cap in fruit.caps), default=0.0)
        tallest = max((pin.height_mm for pin in fruit.pins), default=0.0)
        stage = self._stage(day, flush, largest, tallest)
        hooded = self.begun_day <= day and stage in ("dry", "moist", "wet", "pinning", "resting")
        return TopDay(
            day=day,
            stage=stage,
            flush=number,
            covered_share=self.covered(day),
            moisture=self.moisture[day],
            pins=sum(pin.height_mm >= PIN_SEEN_MM for pin in fruit.pins),
            largest_pin_mm=tallest,
            caps=len(fruit.caps),
            largest_cap_mm=largest,
            flattening=flush.flattest(day) if flush and fruit.caps else 0.0,
            hood_on=hooded,
            mould_mm=self.mould_mm(day),
        )

    def _stage(self, day: int, flush: Flush | None, largest: float, tallest: float) -> str:
        """The stage by exact values, in the package's words."""
        if flush and largest >= CAP_MM:
            due = flush.flattest(day + 1) >= FLAT_FROM
            return "harvest-today" if due else "growing"
        if flush and (tallest >= PIN_SEEN_MM or largest > 0.0):
            before = self.fruit(day - 1)
            new = max((pin.height_mm for pin in before.pins), default=0.0) < PIN_SEEN_MM
            return "pinning" if new and not before.caps else "hood-off"
        if any(done.cut_day <= day for done in self.flushes):
            return "resting"
        if day >= self.begun_day:
            return "wet" if self.moisture[day] == "standing water" else self.moisture[day]
        covered = next(d for d in range(400) if self.covered(d) >= COVERED_ENOUGH)
        return "ready" if day >= covered + REST_DAYS else "recovering"

    def fruit(self, day: int) -> Fruit:
        """What stands on the surface."""
        _, flush = self.flush_on(day)
        pins, caps = [], []
        for body in flush.bodies if flush else ():
            width = body.width_mm(day)
            if width <= 0.0:
                continue
            if width < 5.0:
                tall = max(body.height_mm(day), 1.0)
                pins.append(Pin(body.adult.foot_x_mm, body.adult.foot_y_mm, tall,
                                max(min(width, 0.6 * tall), 0.7), 0.3 * body.adult.tilt_deg,
                                body.adult.tilt_to_deg))  # fmt: skip
            else:
                caps.append(self._grown(body, day, width))
        return replace(self.colours, pins=tuple(pins), caps=tuple(caps))

    def _grown(self, body: Body, day: int, width: float) -> Cap:
        """The cap on its way from its foot to where the adult one is."""
        adult, share = body.adult, width / body.adult.diameter_mm
        foot_z = self.ground.depth_mm
        return replace(
            adult,
            x_mm=adult.foot_x_mm + share * (adult.x_mm - adult.foot_x_mm),
            y_mm=adult.foot_y_mm + share * (adult.y_mm - adult.foot_y_mm),
            z_mm=foot_z + share * (adult.z_mm - foot_z),
            diameter_mm=width,
            flattening=body.flattening(day),
            tilt_deg=share * adult.tilt_deg,
            wave=share * adult.wave,
        )

    def mould_mm(self, day: float) -> float:
        """Diameter of the mould, mm: it runs 3 mm a day."""
        return 0.0 if self.mould_day is None else max(0.0, 6.0 * (day - self.mould_day))

    def scene(self, day: int) -> TopSpec:
        """The photo of a day: the same jar, another kitchen moment."""
        rng = np.random.default_rng([self.seed, 111, day])
        held = draw_held(rng)
        size = self.mould_mm(day)
        stains = self.ground.stains
        if size > 1.0:
            stains = (*stains, Stain("green", 0.3 * self.mouth.radius_mm, -6.0, size))
        return TopSpec(
            seed=self.seed * 1000 + day,
            mouth=self.mouth,
            ground=replace(self.ground, covered=self.covered(day), stains=stains),
            water=_water(rng, self.moisture[day]),
            fruit=self.fruit(day),
            held=held,
            **draw_place(rng, held),
            taken_at=f"2026-{3 + day // 28:02d}-{1 + day % 28:02d}T{8 + day % 9:02d}:15:00",
        )


def _water(rng: np.random.Generator, moisture: str) -> Water:
    from .sampler import draw_water

    return draw_water(rng, "standing" if moisture == "standing water" else moisture)


def fruiting_series(seed: int) -> FruitingSeries:
    """Draw a jar; deterministic in its seed."""
    rng = np.random.default_rng([seed, 110])
    mouth = draw_mouth(rng)
    ground = replace(draw_ground(rng, seed, mouth), stains=())
    half, pace = float(rng.uniform(2.0, 5.0)), float(rng.uniform(0.5, 1.3))
    covered = int(np.ceil(half + pace * np.log(COVERED_ENOUGH / (1.0 - COVERED_ENOUGH))))
    begun = covered + REST_DAYS + int(rng.integers(0, 3))
    flushes, after = [], float(begun)
    for number in range(int(rng.choice([1, 2], p=[0.3, 0.7]))):
        wait = rng.uniform(3.0, 9.0) if number == 0 else rng.uniform(7.0, 13.0)
        flushes.append(_flush(rng, mouth, ground, after + float(wait), smaller=number > 0))
        after = float(flushes[-1].cut_day)
    last = int(after + rng.integers(2, 7))
    mould = float(rng.uniform(begun, last)) if rng.random() < 0.15 else None
    return FruitingSeries(
        seed=seed,
        mouth=mouth,
        ground=ground,
        colours=replace(draw_fruit(rng, mouth, ground.depth_mm), pins=(), caps=()),
        half_day=half,
        pace_days=pace,
        begun_day=begun,
        moisture=_weather(rng, begun, last + 1),
        flushes=tuple(flushes),
        last_day=last,
        mould_day=mould,
    )


def _flush(
    rng: np.random.Generator, mouth: Mouth, ground: Ground, first: float, *, smaller: bool
) -> Flush:
    middle = float(np.exp(rng.uniform(np.log(16.0), np.log(50.0)))) * (0.75 if smaller else 1.0)
    adults: tuple[Cap, ...] = ()
    while not adults:
        adults = draw_caps(rng, mouth, ground.depth_mm, middle_mm=middle, flattening=1.0)
    lag = float(rng.uniform(1.5, 3.5))
    bodies = []
    for number, adult in enumerate(adults):
        bodies.append(Body(
            adult=adult,
            born_day=first + float(rng.exponential(0.8)) * (number > 0),
            lag_days=lag * float(rng.uniform(0.9, 1.15)),
            mm_per_day=adult.diameter_mm / float(rng.uniform(3.5, 7.0)),
            aborts=bool(number > 0 and rng.random() < ABORTED),
        ))  # fmt: skip
    due = int(np.ceil(first))
    trial = Flush(tuple(bodies), first, 10**6)
    while trial.flattest(due + 1) < FLAT_FROM:
        due += 1
    late = int(rng.choice([0, 1, 2], p=[0.25, 0.55, 0.2]))
    return Flush(tuple(bodies), first, due + late)


def _weather(rng: np.random.Generator, begun: int, days: int) -> tuple[str, ...]:
    """How wet the surface is: dry while it recovers, then as hood, air and sprayer have it."""
    chances = {"dry": (0.5, 0.45, 0.05, 0.0), "moist": (0.12, 0.8, 0.07, 0.01),
               "wet": (0.02, 0.4, 0.5, 0.08), "standing water": (0.0, 0.2, 0.4, 0.4)}  # fmt: skip
    told, now = [], "dry"
    for day in range(days):
        if day >= begun:
            now = str(rng.choice(list(chances), p=chances[now]))
        told.append(now)
    return tuple(told)
