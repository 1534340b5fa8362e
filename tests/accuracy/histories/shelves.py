"""Shelves of jars that grow by other laws, of any species, photographed and read less well.

Ranges are common practice without a source, as in :mod:`.plans`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from jarvision.records import JarEntry
from jarvision.register.species import find_profile

from .plans import FIRST_DAY, JARS_OF_A_BATCH, Mould, Plan

SPECIES = (
    "oyster", "king-oyster", "pink-oyster", "golden-oyster", "phoenix-oyster", "enoki", "reishi",
    "chestnut", "nameko", "pioppino", "turkey-tail", "shiitake", "lions-mane", "wine-cap",
)  # fmt: skip
THIN = ("lions-mane", "wine-cap")
FATES: dict[str, float] = {
    "healthy": 0.36, "shaken": 0.07, "turned": 0.06, "overdue": 0.07, "wrong date": 0.06,
    "stalled": 0.07, "slowed": 0.06, "dead patch": 0.12, "white mould": 0.06, "slow mould": 0.04,
    "wet": 0.03,
}  # fmt: skip
DEAD_TURNED = 0.15
"""Share of the dead patches that are turned out of sight when the rest is about full."""
MOULD_TURNED = 0.15
"""Share of the moulds that are turned out of sight within a week of their first colour."""
DENSER = {"two phase": 6.0, "richards": 2.0}
"""Laws that run fast for a part of the time: more nuclei, so that no front outruns its species."""
LONGEST = 90
"""No record is longer, days."""


def plan_shelf(seed: int, laws: Sequence[str]) -> tuple[Plan, ...]:
    """Draw a shelf: jars of one species and start; they share a law on every other shelf."""
    rng = np.random.default_rng([seed, 917])
    species = str(rng.choice(SPECIES))
    if rng.random() < 0.12:
        species = str(rng.choice(THIN))
    warm = _day_factors(rng)
    laws = [str(rng.choice(laws))] if rng.random() < 0.5 else list(laws)
    reader = str(rng.choice(["seen", "never seen"]))
    weekends = bool(rng.random() < 0.5)
    run = np.exp(rng.normal(0.0, 0.08))
    plans = []
    for number in range(JARS_OF_A_BATCH):
        entry = JarEntry(
            jar=f"H{seed:04d}-{number + 1}",
            species=species,
            substrate="rye",
            started=FIRST_DAY,
            parent=f"P{seed:04d}",
        )
        law = laws[number % len(laws)]
        base = _grown(entry, law, seed * 1000 + number, run, rng)
        base = replace(
            base,
            day_factors=warm,
            reader=reader,
            narrow=bool(rng.random() < 1 / 3),
            most_photos=int(rng.integers(1, 4)),
            weekends=weekends,
        )
        fate = str(rng.choice(list(FATES), p=list(FATES.values())))
        plans.append(_fated(base, fate, rng))
    return tuple(plans)


def _grown(entry: JarEntry, law: str, seed: int, run: float, rng: np.random.Generator) -> Plan:
    """Draw how a jar grows by its law, within what its species can do."""
    profile = find_profile(entry.species)
    low, high = profile.spawn_run_days
    run_days = float(run * rng.uniform(low, high) * np.exp(rng.normal(0.0, 0.08)))
    lag = run_days * rng.uniform(0.06, 0.28)
    fill = rng.uniform(75.0, 105.0)
    top = profile.front_mm_per_day[1]
    if law == "top":  # a low jar, so that the front gets down in about the species' time
        fill *= 0.75
        run_days = max(run_days, lag + fill / (0.95 * top))
    if law == "layers":
        run_days *= rng.uniform(0.5, 0.85)
        lag = run_days * rng.uniform(0.03, 0.12)
    speed = rng.uniform(profile.front_mm_per_day[0], 0.8 * top)
    # so many nuclei that the wall is full after the run (Kolmogorov: 1 - exp(-pi N v2 t2))
    needed = DENSER.get(law, 1.0) * 3.0 / (np.pi * (speed / 10 * (run_days - lag)) ** 2)
    return Plan(
        entry=entry,
        story="healthy",
        seed=seed,
        radius_mm=rng.uniform(40.0, 48.0),
        fill_mm=fill,
        speed_mm_per_day=speed,
        nuclei_per_cm2=float(np.clip(needed, 0.02, 1.0)),
        lag_days=lag,
        spread_days=rng.uniform(0.3, 1.2),
        day_factors=(),
        last_day=min(round(1.25 * run_days) + round(profile.consolidation_days) + 6, LONGEST),
        law=law,
        run_days=run_days,
        ready_share=profile.ready_percent / 100.0,
        shape=_shape(law, rng),
        gaps_share=rng.uniform(0.02, 0.08) if entry.species in THIN else 0.0,
    )


def _shape(law: str, rng: np.random.Generator) -> float:
    """Draw a law's own number: starts, skew, or the share that is white when packed."""
    match law:
        case "few":
            return float(rng.integers(2, 7))
        case "richards":
            return float(np.exp(rng.uniform(np.log(0.15), np.log(4.0))))
        case "layers":
            return float(rng.uniform(0.3, 0.5))
    return 0.0


def _fated(plan: Plan, fate: str, rng: np.random.Generator) -> Plan:
    """Give the jar its fate."""
    place = (float(rng.uniform(-38, 38)), float(rng.uniform(18, plan.fill_mm - 18)))
    plan = replace(plan, story=fate, place=place)  # type: ignore[arg-type]
    profile = find_profile(plan.entry.species)
    rest = round(profile.consolidation_days + profile.keeps_days)
    middle = plan.lag_days + (plan.run_days - plan.lag_days) * rng.uniform(0.3, 0.85)
    match fate:
        case "shaken":
            return replace(plan, shake_percent=float(rng.uniform(20, 45)))
        case "turned":
            side = float(rng.uniform(90, 270))
            return replace(plan, turned=(int(rng.integers(3, plan.last_day)), side))
        case "overdue":
            return replace(plan, last_day=min(plan.last_day + rest, LONGEST + 10))
        case "wrong date":
            off = int(rng.choice([-365, -30, -3, -1, 1, 2, 30, 365]))
            return replace(plan, wrong_clock=(int(rng.integers(3, plan.last_day)), off))
        case "stalled" | "slowed":
            fades = 3 if fate == "slowed" else 0
            stop = round(middle)
            ramp = [1 - (i + 1) / (fades + 1) for i in range(fades)]
            still = [0.0] * (len(plan.day_factors) - stop - fades)
            warm = plan.day_factors
            slowing = [w * r for w, r in zip(warm[stop:], ramp, strict=False)]
            factors = (*warm[:stop], *slowing, *still)
            last = min(plan.last_day, stop + 22)
            return replace(plan, stall_day=float(stop), day_factors=factors, last_day=last)
        case "dead patch":
            own = np.random.default_rng([plan.seed, 18])
            turned = None
            if own.random() < DEAD_TURNED:
                turned = (round(plan.run_days) + int(own.integers(0, 8)), own.uniform(90, 270))
            return replace(plan, dead_cm2=float(rng.uniform(1.6, 6.0)), turned=turned)
        case "wet":
            return replace(plan, wet_mm=float(rng.uniform(6, 14)))
        case "white mould" | "slow mould":
            return _moulded(plan, middle, fast=fate == "white mould", rng=rng)
    return plan


def _moulded(plan: Plan, middle: float, *, fast: bool, rng: np.random.Generator) -> Plan:
    """Let a mould land in the middle of the run; some are turned out of sight soon after."""
    mould = Mould(
        lands_day=middle * rng.uniform(0.6, 1.3),
        angle_deg=plan.place[0],
        height_mm=plan.place[1],
        speed_mm_per_day=rng.uniform(10.0, 16.0) if fast else rng.uniform(2.0, 4.0),
        white_days=rng.uniform(2.0, 4.0) if fast else rng.uniform(0.8, 2.0),
    )
    own = np.random.default_rng([plan.seed, 19])
    turned = None
    if own.random() < MOULD_TURNED:
        coloured = round(mould.lands_day + mould.white_days)
        turned = (coloured + int(own.integers(0, 8)), own.uniform(90, 270))
    last = min(plan.last_day, round(2 * middle + 12))
    return replace(plan, mould=mould, turned=turned, last_day=last)


def _day_factors(rng: np.random.Generator) -> tuple[float, ...]:
    """Draw how warm each day is: three shelves of four have waves or a cold snap."""
    days = np.arange(LONGEST + 15)
    factors = np.exp(rng.normal(0.0, 0.08, len(days)))
    kind = rng.random()
    if kind < 0.5:
        swing, period = rng.uniform(0.2, 0.45), rng.uniform(5.0, 12.0)
        factors *= 1 + swing * np.sin(2 * np.pi * (days / period + rng.random()))
    elif kind < 0.75:
        start = int(rng.integers(3, 25))
        factors[start : start + int(rng.integers(3, 6))] *= 0.4
    return tuple(factors.tolist())
