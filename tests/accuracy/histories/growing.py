"""The true wall of a planned jar on each day, and the truths that the package is held to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jarvision.records import ByteArray, FloatArray, JarEntry, TissueClass
from jarvision.register.species import find_profile
from tests.scenes.growth_field import Front, arrival_days, scatter_nuclei
from tests.scenes.wall_paint import WallGrid

from .laws import arrival_by_law
from .plans import Plan

FRONT_DEG = 60.0
THICKEN_DAYS = 1.2  # from first threads to hidden; half hidden in the middle of it
SHAKE_NUCLEI = 8.0  # a shake multiplies the places that growth starts from
SHAKE_KEEPS = 0.25  # share of the white that a shake leaves on the glass


@dataclass(frozen=True)
class TrueWall:
    """One day of the whole wall, ``(rows, 360)``: a column is a degree, row 0 the top."""

    opacity: FloatArray
    classes: ByteArray


@dataclass(frozen=True)
class Jar:
    """A planned jar, grown: when growth reaches each place, before and after a shake."""

    plan: Plan
    grid: WallGrid
    arrival: FloatArray
    rearrival: FloatArray | None
    shake_day: int | None
    stain: FloatArray
    tone: FloatArray

    def wall(self, day: float) -> TrueWall:
        """Return the wall as it stands on a day (days may have a fraction)."""
        age = self._age(day)
        opacity = np.clip(age / THICKEN_DAYS + 0.5, 0.0, 1.0)
        classes = np.where(opacity >= 0.5, TissueClass.MYCELIUM, TissueClass.BARE).astype(np.uint8)
        plan = self.plan
        if plan.stain_day is not None and day > plan.stain_day:
            wide = min((day - plan.stain_day) * 0.05, 0.25)
            stained = (self.stain > np.quantile(self.stain, 1 - wide)) & (opacity >= 0.5)
            classes[stained] = TissueClass.STAIN
        if plan.wet_mm:
            wet = (self.grid.heights_mm[:, None] < plan.wet_mm) & (day > plan.lag_days + 2)
            classes[np.broadcast_to(wet, classes.shape)] = TissueClass.WET
            opacity = np.where(classes == TissueClass.WET, 0.0, opacity)
        if plan.mould is not None:
            since = day - self._mould_arrival()
            white, green = since > 0, since > plan.mould.white_days
            opacity = np.where(white, np.maximum(opacity, np.clip(since / 0.6, 0, 1)), opacity)
            classes[(classes == TissueClass.BARE) & (opacity >= 0.5)] = TissueClass.MYCELIUM
            classes[green] = TissueClass.GREEN
            opacity = np.where(green, 0.0, opacity)
        return TrueWall(opacity, classes)

    def front(self, field: FloatArray | ByteArray, turn_deg: float = 0.0) -> FloatArray:
        """Cut out the 120 degrees that face the camera when the jar is turned."""
        first = round(180 - FRONT_DEG - turn_deg)
        return np.asarray(field)[:, np.arange(first, first + round(2 * FRONT_DEG)) % 360]

    def side_deg(self, day: float) -> float:
        """Return how far the jar has been turned to another side by a day."""
        turned = self.plan.turned
        return 0.0 if turned is None or day < turned[0] else turned[1]

    def coverage(self, day: float, turn_deg: float = 0.0) -> float:
        """Return the true coverage of the wall in view, percent."""
        shown = self.front(self.wall(day).classes, turn_deg)
        return 100.0 * float(np.mean(np.isin(shown, (TissueClass.MYCELIUM, TissueClass.STAIN))))

    def area_cm2(self, day: float, tissue: TissueClass) -> float:
        """Return the true area of a class in view."""
        cell = self.grid.step_mm[0] * self.grid.step_mm[1] / 100.0
        return float(np.count_nonzero(self.front(self.wall(day).classes) == tissue)) * cell

    def fault_shown(self, day: float, turn_deg: float) -> bool:
        """Say whether a photo of that day and side can show what is wrong with the jar.

        White mould cannot be told from mycelium in one photo: it is shown from 0.3 cm2 of green on.
        """
        plan, cell = self.plan, self.grid.step_mm[0] * self.grid.step_mm[1] / 100.0
        shown = self.front(self.wall(day).classes, turn_deg)
        if plan.mould is not None:
            return bool(np.count_nonzero(shown == TissueClass.GREEN) * cell >= 0.3)
        if plan.dead_cm2:
            bare = np.count_nonzero(shown == TissueClass.BARE) * cell
            if plan.law != "nuclei":  # gaps of a thin species are bare, too
                return self.island_shown(day, turn_deg)
            return bool(1.0 <= bare <= 1.5 * plan.dead_cm2)
        return plan.stall_day is not None or plan.wet_mm > 0

    def island_shown(self, day: float, turn_deg: float = 0.0) -> bool:
        """Say whether the dead patch lies in view and the rest of the wall is nine tenths white."""
        along, up = self.grid.offsets_mm(*self.plan.place)
        island = np.hypot(along, up) < 10 * np.sqrt(self.plan.dead_cm2 / np.pi)
        inside = self.front(island, turn_deg) > 0
        grown = self.front(self.wall(day).classes, turn_deg) == TissueClass.MYCELIUM
        cell = self.grid.step_mm[0] * self.grid.step_mm[1] / 100.0
        return inside.sum() * cell >= 1.0 and float(grown[~inside].mean()) >= 0.9

    def _age(self, day: float) -> FloatArray:
        before = _stretched(day, self.plan) - self.arrival
        if self.shake_day is None or self.rearrival is None or day <= self.shake_day:
            return before
        at_shake = _stretched(self.shake_day, self.plan)
        kept = (self.tone < np.quantile(self.tone, SHAKE_KEEPS)) & (at_shake > self.arrival)
        fresh = _stretched(day, self.plan) - at_shake - self.rearrival
        return np.where(kept, np.maximum(fresh, 1.0), fresh)

    def _mould_arrival(self) -> FloatArray:
        mould = self.plan.mould
        assert mould is not None
        along, up = self.grid.offsets_mm(mould.angle_deg, mould.height_mm)
        away = np.hypot(along, up) * np.exp(0.06 * self.tone)
        late = mould.lands_day + 0.5 + away / mould.speed_mm_per_day
        return np.where(away < mould.largest_mm, late, np.inf)


@dataclass(frozen=True)
class Truth:
    """What really happened, in days from the start.

    Attributes
    ----------
    percents
        True coverage in view at each day's photo.
    ready_day
        First photo day with a true coverage of the species' ready level; None: never.
    fault_day
        From when the jar is bad: growth has stopped, the first 1 cm2 of mould (white or not)
        stands in view, the rest has closed round a dead patch, the bottom is wet.
    green_day
        First day with 1 cm2 of green in view.
    """

    percents: FloatArray
    ready_day: int | None
    fault_day: int | None
    green_day: int | None


def grow_jar(plan: Plan) -> Jar:
    """Grow a planned jar."""
    rng = np.random.default_rng([plan.seed, 5])
    girth = 2 * np.pi * plan.radius_mm
    grid = WallGrid(plan.radius_mm, plan.fill_mm, girth / 360.0)
    front = Front(plan.speed_mm_per_day, speed_spread=0.15, rough_mm=1.6)

    def arrivals(per_cm2: float, lag: float) -> FloatArray:
        nuclei = scatter_nuclei(
            grid, rng=rng, per_cm2=per_cm2, first_day=lag, spread_days=plan.spread_days
        )
        return arrival_days(nuclei, front, grid, rng=rng).astype(np.float64)

    if plan.law == "nuclei":
        arrival = arrivals(plan.nuclei_per_cm2, plan.lag_days)
    else:
        arrival = arrival_by_law(plan, grid)
    arrival = _with_faults(arrival, plan, grid)
    noise = np.random.default_rng([plan.seed, 6]).standard_normal((2, *grid.shape))
    import cv2

    stain, tone = (cv2.GaussianBlur(n, (0, 0), s) for n, s in zip(noise, (7.0, 2.0), strict=True))
    jar = Jar(plan, grid, arrival, None, None, stain, tone / tone.std())
    if plan.shake_percent is None:
        return jar
    shaken = next(d for d in range(plan.last_day) if jar.coverage(d) >= plan.shake_percent)
    again = arrivals(SHAKE_NUCLEI * plan.nuclei_per_cm2, 0.8)
    return Jar(plan, grid, arrival, again, shaken, stain, tone / tone.std())


def _with_faults(arrival: FloatArray, plan: Plan, grid: WallGrid) -> FloatArray:
    """Keep growth out of a dead patch, and stop it at a stall."""
    if plan.dead_cm2:
        along, up = grid.offsets_mm(*plan.place)
        radius = 10 * np.sqrt(plan.dead_cm2 / np.pi)
        arrival = np.where(np.hypot(along, up) < radius, np.inf, arrival)
    if plan.stall_day is not None and plan.law == "nuclei":  # else its days stand still
        arrival = np.where(arrival > _stretched(plan.stall_day, plan), np.inf, arrival)
    return arrival


def _stretched(day: float, plan: Plan) -> float:
    """Return how much growing time has passed by a day: warm days count more."""
    whole = int(day)
    factors = plan.day_factors
    return float(sum(factors[:whole]) + (day - whole) * factors[min(whole, len(factors) - 1)])


def truth_of(jar: Jar, entry: JarEntry) -> Truth:
    """Work out the truths of a grown jar; ready is what the species of its entry asks for."""
    plan = jar.plan
    days = range(plan.last_day + 1)
    percents = np.array([jar.coverage(d, jar.side_deg(d)) for d in days])
    profile = find_profile(entry.species)
    reached = np.flatnonzero(percents >= profile.ready_percent)
    steady = [d for d in reached if (percents[d:] >= profile.ready_percent - 2).all()]
    return Truth(
        percents=percents,
        ready_day=int(steady[0]) if steady else None,
        fault_day=_fault_day(jar, percents),
        green_day=_first(days, lambda d: jar.area_cm2(d, TissueClass.GREEN) >= 1.0),
    )


def _fault_day(jar: Jar, percents: FloatArray) -> int | None:
    plan = jar.plan
    days = range(plan.last_day + 1)
    if plan.stall_day is not None:
        ready = find_profile(plan.entry.species).ready_percent
        if plan.law != "nuclei" and percents[-1] >= ready - 2.0:  # it was as good as full
            return None
        return int(np.ceil(plan.stall_day))
    if plan.mould is not None:
        cell = jar.grid.step_mm[0] * jar.grid.step_mm[1] / 100.0
        landed = jar.front(jar._mould_arrival())
        return _first(days, lambda d: np.count_nonzero(landed <= d) * cell >= 1.0)
    if plan.dead_cm2 and plan.law != "nuclei":
        return _first(days, jar.island_shown)
    if plan.dead_cm2:
        return _first(days, lambda d: percents[d] >= percents[-1] - 1.0)
    if plan.wet_mm:
        return int(np.ceil(plan.lag_days + 2))
    return None


def _first(days: range, holds: object) -> int | None:
    return next((d for d in days if holds(d)), None)  # type: ignore[operator]
