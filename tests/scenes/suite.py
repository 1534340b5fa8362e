"""Jars drawn at random: what is in them, what went wrong with them, and on which day they are seen.

``random_jar(seed)`` and :func:`tests.scenes.sampler.random_spec` together make one photo with
every nuisance on. Suites are ranges of seeds that never overlap: what is tuned or trained on one
is judged on another.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .anomalies import AmberStain, BarePatch, BrownSkin, Mould, Pins, Stall, WetBottom
from .contents import JarRecipe
from .events import Event

TUNING_SEEDS = range(1000, 1160)
HELD_OUT_SEEDS = range(5000, 5120)

GRAINS = ("rye", "wheat", "oat", "millet", "sorghum", "rice")
FIBRES = ("wheat straw", "beech shavings")
MOULD_KINDS = ("green", "blue-green", "black", "pink", "yellow")


@dataclass(frozen=True)
class JarOnADay:
    """A jar, the day it is photographed on, and what was wrong with it (``healthy`` if nothing)."""

    recipe: JarRecipe
    day: float
    fault: str


def random_jar(seed: int) -> JarOnADay:
    """One jar at one time of its run, every coverage about equally often."""
    rng = np.random.default_rng([seed, 2])
    fibrous = rng.random() < 0.3
    speed = float(rng.uniform(1.8, 4.0))
    lag = float(rng.uniform(1.0, 3.0))
    nuclei = float(rng.uniform(0.08, 0.35)) if not fibrous else float(rng.uniform(0.3, 0.9))
    span = lag + 2.0 + 1.9 / (speed / 10.0 * np.sqrt(nuclei))  # about full coverage
    day = float(rng.uniform(0.1, 1.15) * span)
    fault, events = _fault(rng, day=day)
    tint = str(rng.choice(["white", "cream", "greyish"], p=[0.65, 0.25, 0.1]))
    habit = str(rng.choice(["fluffy", "ropey", "wispy", "skin"], p=[0.45, 0.25, 0.15, 0.15]))
    height = float(rng.uniform(95.0, 135.0))
    recipe = JarRecipe(
        seed=seed,
        substrate=str(rng.choice(FIBRES if fibrous else GRAINS)),
        habit=habit,  # type: ignore[arg-type]
        tint=tint,  # type: ignore[arg-type]
        speed_mm_per_day=speed,
        nuclei_per_cm2=nuclei,
        lag_days=lag,
        spawn_share=float(rng.uniform(0.1, 0.3)) if fibrous else 0.0,
        husks=float(rng.uniform(0.0, 0.08)),
        dust_per_cm2=float(rng.choice([0.0, 0.0, 2.0, 8.0])),
        events=events,
        radius_mm=float(rng.uniform(33.0, 47.0)),
        height_mm=height,
        fill_mm=float(rng.uniform(0.62, 0.82) * height),
    )
    return JarOnADay(recipe, day, fault)


def _fault(rng: np.random.Generator, *, day: float) -> tuple[str, tuple[Event, ...]]:
    fault = str(
        rng.choice(
            ["healthy", "bare", "stall", "mould", "wet", "stain", "skin", "pins"],
            p=[0.36, 0.12, 0.06, 0.20, 0.08, 0.08, 0.04, 0.06],
        )
    )
    angle, height = float(rng.uniform(-45.0, 45.0)), float(rng.uniform(18.0, 65.0))
    place = {"angle_deg": angle, "height_mm": height}
    early = float(max(0.0, day - rng.uniform(3.0, 7.0)))
    if fault == "bare":
        return fault, (BarePatch(size_mm=float(rng.uniform(9.0, 32.0)), **place),)
    if fault == "stall":
        return fault, (Stall(from_day=float(rng.uniform(0.4, 0.9) * day)),)
    if fault == "mould":
        mould = Mould(
            kind=str(rng.choice(MOULD_KINDS)),  # type: ignore[arg-type]
            from_day=early,
            speed_mm_per_day=float(rng.uniform(2.0, 7.0)),
            size_mm=float(rng.uniform(14.0, 50.0)),
            **place,
        )
        return fault, (mould,)
    if fault == "wet":
        return fault, (WetBottom(height_mm=float(rng.uniform(6.0, 28.0))),)
    if fault == "stain":
        return fault, (AmberStain(from_day=early, size_mm=float(rng.uniform(14.0, 45.0)), **place),)
    if fault == "skin":
        return fault, (BrownSkin(from_day=early),)
    if fault == "pins":
        return fault, (Pins(from_day=early, angle_deg=angle, height_mm=height),)
    return fault, ()
