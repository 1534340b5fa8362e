"""Jars drawn at random: what is in them, what went wrong with them, and on which day they are seen.

``random_jar(seed)`` and :func:`tests.scenes.sampler.random_spec` together make one photo with
every nuisance on. Suites are ranges of seeds that never overlap: what is tuned or trained on one
is judged on another. Training jars show what goes wrong more often than it does on a shelf; jars of
the other look are filled with what no training jar holds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .anomalies import AmberStain, BarePatch, BrownSkin, Mould, Pins, Stall, StandingPins, WetBottom
from .contents import JarRecipe
from .events import Event

TUNING_SEEDS = range(1000, 1160)
TRAINING_SEEDS = range(10_000, 12_000)
HARD_SEEDS = range(12_000, 15_000)
HALF_GROWN_SEEDS = range(15_000, 18_000)
PIN_SEEDS = range(8000, 8060)
HELD_OUT_SEEDS = range(5000, 5120)
UNSEEN_SEEDS = range(6000, 6240)
OTHER_LOOK_SEEDS = range(7000, 7060)
LOOSE_PAGE_SEEDS = range(9000, 9060)

LEARNT_FROM = (TUNING_SEEDS, TRAINING_SEEDS, HARD_SEEDS, HALF_GROWN_SEEDS)
SUITE_RANGES = (*LEARNT_FROM, HELD_OUT_SEEDS, UNSEEN_SEEDS, OTHER_LOOK_SEEDS, PIN_SEEDS)

GRAINS = ("rye", "wheat", "oat", "millet", "sorghum", "rice")
FIBRES = ("wheat straw", "beech shavings")
OTHER_CONTENTS = ("maize", "hemp shives")
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


def training_jar(seed: int) -> JarOnADay:
    """A random jar; three times out of four with something in it that is seldom or hard."""
    jar = random_jar(seed)
    rng = np.random.default_rng([seed, 5])
    kind = str(
        rng.choice(
            ["as it is", "skin", "stain", "mould", "wet", "thin"],
            p=[0.26, 0.2, 0.14, 0.18, 0.1, 0.12],
        )
    )
    if kind == "as it is":
        return jar
    early = max(0.0, jar.day - float(rng.uniform(1.0, 9.0)))
    if kind == "thin":
        habit, tint = str(rng.choice(["wispy", "ropey"])), str(rng.choice(["cream", "greyish"]))
        return replace(jar, recipe=replace(jar.recipe, habit=habit, tint=tint))  # type: ignore[arg-type]
    day = jar.day
    if kind in ("skin", "stain"):  # they come late, on what is grown through
        day = max(day, float(rng.uniform(9.0, 26.0)))
        early = max(0.0, day - float(rng.uniform(1.0, 14.0)))
    events = _hard_events(kind, rng, early=early)
    return JarOnADay(replace(jar.recipe, events=events), day, kind)


def hard_jar(seed: int) -> JarOnADay:
    """A training jar of the kinds that are hardest to read, and jars with fruit bodies."""
    jar = training_jar(seed)
    rng = np.random.default_rng([seed, 8])
    kind = str(
        rng.choice(
            ["as it is", "pins", "pale", "thin", "stain", "wet", "mould"],
            p=[0.32, 0.2, 0.16, 0.1, 0.09, 0.06, 0.07],
        )
    )
    early = max(0.0, jar.day - float(rng.uniform(1.0, 9.0)))
    if kind == "as it is":
        return jar
    if kind == "pins":
        return _with_pins(jar, rng)
    if kind == "pale":
        return JarOnADay(_pale(jar.recipe, rng), jar.day, "pale")
    if kind == "thin":
        tint = str(rng.choice(["white", "cream", "greyish"]))
        recipe = replace(jar.recipe, habit="wispy", tint=tint)  # type: ignore[arg-type]
        return JarOnADay(recipe, jar.day, "thin")
    return JarOnADay(
        replace(jar.recipe, events=_hard_events(kind, rng, early=early)), jar.day, kind
    )


def _pale(recipe: JarRecipe, rng: np.random.Generator) -> JarRecipe:
    """The same jar with pale contents under growth of any habit, most often cream."""
    fibre, rice = str(rng.choice(FIBRES)), rng.random() < 0.25
    return replace(
        recipe,
        substrate="rice" if rice else fibre,
        spawn_share=0.0 if rice else float(rng.uniform(0.1, 0.3)),
        nuclei_per_cm2=float(rng.uniform(0.1, 0.9)),
        habit=str(rng.choice(["fluffy", "ropey", "wispy", "skin"])),  # type: ignore[arg-type]
        tint=str(rng.choice(["cream", "white", "greyish"], p=[0.6, 0.2, 0.2])),  # type: ignore[arg-type]
    )


def half_grown_jar(seed: int) -> JarOnADay:
    """A training jar with bare contents left beside what is hard to tell from them.

    Skin and stains on growth that is still on its way, thin and pale growth, and a share of
    jars as they are.
    """
    jar = random_jar(seed)
    rng = np.random.default_rng([seed, 11])
    kind = str(
        rng.choice(
            ["as it is", "skin", "stain", "thin", "pale", "mould", "wet", "pins"],
            p=[0.2, 0.18, 0.12, 0.2, 0.12, 0.07, 0.05, 0.06],
        )
    )
    if kind == "as it is":
        return jar
    if kind == "pins":
        return _with_pins(jar, rng)
    if kind == "pale":
        return JarOnADay(_pale(jar.recipe, rng), jar.day, kind)
    day = jar.day * float(rng.uniform(0.6, 1.1))
    if kind == "thin":
        tint = str(rng.choice(["white", "cream", "greyish"]))
        habit = str(rng.choice(["wispy", "ropey"], p=[0.7, 0.3]))
        recipe = replace(jar.recipe, habit=habit, tint=tint)  # type: ignore[arg-type]
        return JarOnADay(recipe, day, kind)
    early = max(0.0, day - float(rng.uniform(2.0, 9.0)))
    recipe = replace(jar.recipe, events=_hard_events(kind, rng, early=early))
    if kind == "skin" and rng.random() < 0.4:  # an island amid the skin stays bare
        island = BarePatch(
            angle_deg=float(rng.uniform(-45.0, 45.0)),
            height_mm=float(rng.uniform(15.0, 65.0)),
            size_mm=float(rng.uniform(9.0, 40.0)),
        )
        day = max(day, float(rng.uniform(9.0, 26.0)))
        recipe = replace(recipe, events=(island, *recipe.events))
    return JarOnADay(recipe, day, kind)


def pin_jar(seed: int) -> JarOnADay:
    """A jar that pins: at the glass, above the fill line, or both."""
    return _with_pins(random_jar(seed), np.random.default_rng([seed, 9]))


CAPS_LAB = ((66.0, 4.0, 13.0), (45.0, 7.0, 17.0), (30.0, 4.0, 8.0), (52.0, 0.0, 2.0),
            (36.0, 0.0, -4.0), (72.0, 16.0, 12.0), (78.0, 4.0, 42.0), (88.0, 1.0, 9.0))  # fmt: skip


def _with_pins(jar: JarOnADay, rng: np.random.Generator) -> JarOnADay:
    """Pins on a jar, most often on a late day; caps from brown over grey to pink and white."""
    day = jar.day * float(rng.choice([0.9, 1.3, 1.8]))
    lab = np.array(CAPS_LAB[rng.integers(len(CAPS_LAB))]) + rng.normal(0.0, [6.0, 1.5, 3.0])
    tone = (float(np.clip(lab[0], 22.0, 92.0)), float(lab[1]), float(lab[2]))
    small, span = float(rng.uniform(1.4, 3.0)), float(rng.uniform(1.2, 2.4))
    events: list[Event] = list(jar.recipe.events if rng.random() < 0.3 else ())
    where = str(rng.choice(["glass", "above", "both"], p=[0.55, 0.25, 0.2]))
    angle = float(rng.uniform(-48.0, 48.0))
    if where != "above":
        events.extend(
            Pins(
                from_day=day - float(rng.uniform(1.5, 6.0)),
                angle_deg=float(rng.uniform(-48.0, 48.0)),
                height_mm=float(rng.uniform(0.25, 0.97) * jar.recipe.fill_mm),
                spread_mm=float(rng.uniform(8.0, 26.0)),
                count=int(rng.integers(3, 13)),
                cap_lab=tone,
                cap_mm=(small, small * span),
            )
            for _ in range(int(rng.integers(1, 3)))
        )
    if where != "glass":
        events.append(
            StandingPins(
                angle_deg=angle,
                spread_deg=float(rng.uniform(5.0, 30.0)),
                count=int(rng.integers(2, 11)),
                tall_mm=(float(rng.uniform(4.0, 9.0)), float(rng.uniform(10.0, 24.0))),
                cap_mm=(small, small * span),
                back_mm=float(rng.uniform(1.0, 9.0)),
                cap_lab=tone,
            )
        )
    return JarOnADay(replace(jar.recipe, events=tuple(events)), day, "pins")


def other_look_jar(seed: int) -> JarOnADay:
    """A random jar with contents that no other suite holds."""
    jar = random_jar(seed)
    substrate = OTHER_CONTENTS[seed % len(OTHER_CONTENTS)]
    share = jar.recipe.spawn_share if substrate == "maize" else 0.2
    return replace(jar, recipe=replace(jar.recipe, substrate=substrate, spawn_share=share))


def _hard_events(kind: str, rng: np.random.Generator, *, early: float) -> tuple[Event, ...]:
    """What lies on a training jar's wall: sizes and colours from wider ranges than elsewhere."""
    spots = [
        {"angle_deg": float(rng.uniform(-52.0, 52.0)), "height_mm": float(rng.uniform(10.0, 70.0))}
        for _ in range(int(rng.integers(1, 4)))
    ]
    if kind == "skin":
        tone = (float(rng.uniform(27, 60)), float(rng.uniform(6, 13)), float(rng.uniform(12, 30)))
        return (BrownSkin(from_day=early, days=float(rng.uniform(4.0, 16.0)), lab=tone),)
    if kind == "stain":
        return tuple(
            AmberStain(from_day=early, size_mm=float(rng.uniform(10.0, 55.0)), **place)
            for place in spots
        )
    if kind == "mould":
        return tuple(
            Mould(
                kind=str(rng.choice(MOULD_KINDS)),  # type: ignore[arg-type]
                from_day=early,
                speed_mm_per_day=float(rng.uniform(2.0, 8.0)),
                size_mm=float(rng.uniform(10.0, 60.0)),
                **place,
            )
            for place in spots[:2]
        )
    height, slime = float(rng.uniform(5.0, 40.0)), float(rng.uniform(0.0, 0.6))
    return (WetBottom(height_mm=height, slime=slime),)


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
