"""Draws photos from above: every nuisance of a kitchen on, in ordinary proportions (no source)."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from tests.scenes import sampler
from tests.scenes.lights import ALL_SPECTRA
from tests.scenes.moulds import POWDERS
from tests.scenes.mycelium import HABITS, TINTS
from tests.scenes.spec import Lamp, Phone, Room
from tests.scenes.substrates import LOOKS
from tests.scenes.suite import CAPS_LAB

from .grown import draw_caps, draw_pins
from .spec import Fruit, Ground, Held, Hood, Mouth, Ring, Stain, TopSpec, Water

TRAINING_FROM, TUNING_FROM, JUDGING_FROM = 1_000_000, 2_000_000, 9_000_000
LEFT_OUT = ("hemp shives", "family:4")
"""Contents that no training or tuning photo shows; family 4 is crumbs and powders."""
COMMON = ("wheat straw", "beech shavings", "family:2", "family:3")
SELDOM = (*(name for name in LOOKS if name not in (*COMMON, *LEFT_OUT)), "family:0", "family:1")
FAULTS = ("blurred", "dark", "glare", "cut off", "hood", "oblique")
FAULTY = 0.24  # share of the photos with one of these
MOST_LEAN_DEG = 20.0


def random_top(seed: int, **changes: Any) -> TopSpec:
    """A photo from above drawn from ``seed``; ``changes`` replace whole fields of the result."""
    spec, rng = _drawn(seed, changes)
    if rng.random() < FAULTY:
        spec = spoiled(spec, str(rng.choice(FAULTS)), rng)
    return spec


def practice_top(seed: int) -> TopSpec:
    """A photo to learn from: none is spoiled, seldom contents, moulds and pins come oftener."""
    spec, _ = _drawn(seed, {})
    rng = np.random.default_rng([seed, 131])
    ground, fruit = spec.ground, spec.fruit
    if rng.random() < 0.5:
        ground = replace(ground, contents=str(rng.choice((*COMMON, *SELDOM))))
    if not ground.stains and rng.random() < 0.35:
        ground = replace(ground, stains=_stains(rng, spec.mouth))
    if not (fruit.pins or fruit.caps) and rng.random() < 0.3:
        pins = draw_pins(rng, spec.mouth, most_mm=float(rng.uniform(3.0, 10.0)))
        fruit = replace(fruit, pins=pins)
    return replace(spec, ground=ground, fruit=fruit)


def _drawn(seed: int, changes: dict[str, Any]) -> tuple[TopSpec, np.random.Generator]:
    """A photo before anything goes wrong, and the dice that say whether something does."""
    rng = np.random.default_rng([seed, 101])
    mouth = draw_mouth(rng)
    ground = draw_ground(rng, seed, mouth)
    held = draw_held(rng)
    fields: dict[str, Any] = {
        "seed": seed,
        "mouth": mouth,
        "ground": ground,
        "water": draw_water(rng, str(rng.choice(["dry", "moist", "wet", "standing"],
                                                p=[0.3, 0.3, 0.22, 0.18]))),
        "fruit": draw_fruit(rng, mouth, ground.depth_mm),
        "hood": Hood(dew=float(rng.uniform(0.1, 0.7)), lift_mm=float(rng.uniform(6.0, 24.0)),
                     crumple_mm=float(rng.uniform(1.0, 5.0))),
        "held": held,
        **draw_place(rng, held),
        "taken_at": f"2026-03-{1 + seed % 28:02d}T{7 + seed % 14:02d}:{seed % 60:02d}:00",
    }  # fmt: skip
    return TopSpec(**(fields | changes)), rng


def draw_place(rng: np.random.Generator, held: Held) -> dict[str, Any]:
    """What is about the jar and not of it: sheet, phone, lamps, room."""
    lamps, room = draw_light(rng, held)
    return {
        "ring": Ring(
            below_mm=float(rng.uniform(1.5, 5.0)),
            x_mm=float(rng.normal(0.0, 0.4)),
            y_mm=float(rng.normal(0.0, 0.4)),
            sag_mm=float(np.clip(rng.normal(0.6, 0.8), -0.8, 3.0)),
            roughness=float(rng.uniform(0.4, 0.75)),
        ),
        "phone": sampler._phone(rng),
        "lamps": lamps,
        "room": room,
    }


def draw_mouth(rng: np.random.Generator) -> Mouth:
    """A mouth of 60 to 86 mm; its outside goes through the widest hole of the sheet."""
    straight = rng.random() < 0.5
    return Mouth(
        inner_mm=float(rng.choice([60.0, 63.0, 66.0, 70.0, 75.0, 80.0, 85.0]) + rng.uniform(0, 1)),
        glass_mm=float(rng.uniform(2.4, 3.0)),
        shoulder_mm=float(rng.uniform(14.0, 24.0)),
        wider_mm=0.0 if straight else float(rng.uniform(2.0, 9.0)),
        tall_mm=float(rng.uniform(90.0, 190.0)),
    )


def draw_ground(rng: np.random.Generator, seed: int, mouth: Mouth) -> Ground:
    """Contents, how far they are grown over, what is off-colour on them."""
    judged = seed >= JUDGING_FROM
    where = rng.random()
    names = LEFT_OUT if judged and where < 0.25 else COMMON if where < 0.7 else SELDOM
    some = [0.0, rng.uniform(0.0, 0.4), rng.uniform(0.4, 0.97), rng.uniform(0.9, 1.0), 1.0]
    covered = float(rng.choice(some, p=[0.08, 0.2, 0.42, 0.2, 0.1]))
    return Ground(
        seed=seed,
        contents=str(rng.choice(names)),
        depth_mm=float(rng.uniform(5.0, 40.0)),
        lumps_mm=float(rng.uniform(0.3, 2.6)),
        bowl_mm=float(rng.normal(0.0, 1.8)),
        covered=covered,
        habit=str(rng.choice(list(HABITS))),
        tint=str(rng.choice(list(TINTS), p=[0.55, 0.3, 0.15])),
        stains=_stains(rng, mouth) if rng.random() < 0.35 else (),
    )


def _stains(rng: np.random.Generator, mouth: Mouth) -> tuple[Stain, ...]:
    kinds = [*POWDERS, "amber"]
    kind = str(rng.choice(kinds, p=[0.3, 0.12, 0.16, 0.12, 0.08, 0.22]))
    stains = []
    for _ in range(int(rng.choice([1, 1, 2, 3]))):
        far, turn = mouth.radius_mm * np.sqrt(rng.random()), rng.uniform(0.0, 2.0 * np.pi)
        size = float(np.exp(rng.uniform(np.log(4.0), np.log(26.0))))
        stains.append(Stain(kind, float(far * np.cos(turn)), float(far * np.sin(turn)), size))
    return tuple(stains)


def draw_water(rng: np.random.Generator, kind: str) -> Water:
    """Droplets of a kind: ``dry``, ``moist``, ``wet``, ``standing``."""
    if kind == "dry":
        few = float(rng.uniform(0.1, 0.8)) if rng.random() < 0.4 else 0.0
        return Water(per_cm2=few, middle_mm=float(rng.uniform(0.3, 0.6)), spread=0.3)
    fine = kind == "moist" or (kind == "standing" and rng.random() < 0.5)
    pool = float(rng.uniform(0.06, 0.4)) if kind == "standing" else 0.0
    if fine:
        return Water(per_cm2=float(rng.uniform(8.0, 40.0)), middle_mm=float(rng.uniform(0.3, 0.6)),
                     spread=float(rng.uniform(0.2, 0.4)), pool=pool)  # fmt: skip
    return Water(
        per_cm2=float(rng.uniform(4.0, 13.0)),
        middle_mm=float(rng.uniform(1.25, 2.0)),
        spread=float(rng.uniform(0.12, 0.25)),
        least_mm=0.8,
        most_mm=3.0,
        pool=pool,
    )


def draw_fruit(rng: np.random.Generator, mouth: Mouth, depth_mm: float) -> Fruit:
    """Nothing, pins, caps, or both, of one species' colours."""
    kind = str(rng.choice(["none", "pins", "both", "caps"], p=[0.4, 0.28, 0.17, 0.15]))
    lab = np.array(CAPS_LAB[rng.integers(len(CAPS_LAB))]) + rng.normal(0.0, [6.0, 1.5, 3.0])
    pins, caps = (), ()
    if kind in ("pins", "both"):
        pins = draw_pins(rng, mouth, most_mm=float(rng.uniform(2.0, 10.0)))
    if kind in ("caps", "both"):
        middle = float(np.exp(rng.uniform(np.log(6.0), np.log(42.0))))
        caps = draw_caps(rng, mouth, depth_mm, middle_mm=middle,
                         flattening=float(rng.uniform(0.05, 1.2)))  # fmt: skip
    return Fruit(
        pins=pins,
        caps=caps,
        cap_lab=(float(np.clip(lab[0], 22.0, 92.0)), float(lab[1]), float(lab[2])),
        stalk_lab=(float(rng.uniform(82.0, 92.0)), float(rng.uniform(-0.5, 1.5)),
                   float(rng.uniform(3.0, 12.0))),
    )  # fmt: skip


def draw_held(rng: np.random.Generator) -> Held:
    """A phone over the jar, 25 to 45 cm away, within 20 degrees of straight down."""
    return Held(
        distance_mm=float(rng.uniform(250.0, 450.0)),
        lean_deg=float(rng.uniform(0.0, MOST_LEAN_DEG - 1.0)),
        lean_to_deg=float(rng.uniform(0.0, 360.0)),
        turn_deg=float(
            rng.normal(0.0, 4.0) + rng.choice([0, 90, 180, 270], p=[0.7, 0.1, 0.1, 0.1])
        ),
        zoom=float(rng.uniform(0.8, 1.0)),
        aside_mm=(float(rng.normal(0.0, 3.0)), float(rng.normal(0.0, 3.0))),
        focus=float(rng.uniform(0.0, 1.0)),
    )  # fmt: skip


def draw_light(rng: np.random.Generator, held: Held) -> tuple[tuple[Lamp, ...], Room]:
    """The kitchen's light as the wall's photos have it, from any side, windows above the rim."""
    lamps, room = sampler._light(rng)
    turned = np.deg2rad(rng.uniform(0.0, 360.0))
    return tuple(_moved(lamp, turned, held, rng) for lamp in lamps), room


def _moved(lamp: Lamp, turned: float, held: Held, rng: np.random.Generator) -> Lamp:
    if lamp.kind == "bulb":  # one that the wet surface mirrors towards the camera
        return _mirrored(lamp, held, rng, spread_deg=14.0)
    x, y, z = np.array(lamp.position_mm) - [95.0, 0.0, 0.0]
    y = min(y, -250.0) - (200.0 if lamp.kind == "window" else 0.0)
    c, s = np.cos(turned), np.sin(turned)
    return replace(lamp, position_mm=(float(c * x + s * z), float(y), float(c * z - s * x)))


def _mirrored(lamp: Lamp, held: Held, rng: np.random.Generator, *, spread_deg: float) -> Lamp:
    """The lamp where a facet that leans a little off level mirrors it to the camera."""
    lean, to = np.deg2rad(held.lean_deg), np.deg2rad(held.lean_to_deg + 180.0)
    off = np.deg2rad(rng.normal(0.0, spread_deg, 2))
    x, y = np.tan(lean) * np.cos(to) + off[0], np.tan(lean) * np.sin(to) + off[1]
    way = np.array([x, -1.0, -y]) / np.sqrt(1.0 + x * x + y * y)  # mouth (x, y) is world (x, -z)
    place = way * rng.uniform(650.0, 1500.0)
    return replace(lamp, position_mm=tuple(float(v) for v in place))


def spoiled(spec: TopSpec, fault: str, rng: np.random.Generator) -> TopSpec:
    """The same photo, gone wrong: one of :data:`FAULTS`."""
    phone, held = spec.phone, spec.held
    if fault == "blurred":
        turn, length = rng.uniform(0.0, 2.0 * np.pi), rng.uniform(9.0, 22.0)
        way = float(length * np.cos(turn)), float(length * np.sin(turn))
        shaken = replace(phone, motion_px=way)
        soft = replace(phone, blur_px=float(rng.uniform(4.0, 8.0)))
        return replace(spec, fault=fault, phone=shaken if rng.random() < 0.5 else soft)
    if fault == "dark":
        dim = float(rng.uniform(-4.2, -2.8))
        return replace(spec, fault=fault, phone=replace(phone, exposure_error_ev=dim))
    if fault == "glare":
        wide, long = (float(rng.uniform(150.0, 320.0)) for _ in range(2))
        spectrum = str(rng.choice(ALL_SPECTRA))
        lamp = Lamp("bulb", (0.0, -900.0, 0.0), wide, long, 0.6, spectrum)
        rest = tuple(replace(one, share=one.share * 0.4) for one in spec.lamps[:2])
        shiny = replace(spec.ring, roughness=0.22)
        over = replace(phone, exposure_error_ev=float(rng.uniform(1.2, 1.9)))
        lamps = (*rest, _mirrored(lamp, held, rng, spread_deg=2.0))
        return replace(spec, fault=fault, lamps=lamps, ring=shiny, phone=over)
    if fault == "cut off":
        return replace(spec, fault=fault, held=replace(held, zoom=float(rng.uniform(1.25, 1.6))))
    if fault == "hood":
        low = tuple(cap for cap in spec.fruit.caps if cap.z_mm > 2.0)
        return replace(spec, fault=fault, hood=replace(spec.hood, on=True),
                       fruit=replace(spec.fruit, caps=low))  # fmt: skip
    if fault == "oblique":
        lean = float(rng.uniform(32.0, 48.0))
        return replace(spec, fault=fault, held=replace(held, lean_deg=lean))
    raise ValueError(f"no fault is called {fault!r}")


def sharp_phone() -> Phone:
    """A phone without blur, noise or depth of field, for tests."""
    return Phone(aperture_mm=0.0, blur_px=0.0, sharpening=0.0)
