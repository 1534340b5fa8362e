"""Draws scenes: every nuisance of a kitchen table on, in ordinary proportions (no source)."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from tests.scenes import lights
from tests.scenes.spec import CARD_HEIGHT_MM, CardPose, Extras, Jar, Lamp, Phone, Room, SceneSpec

WALLS = (
    (0.75, 0.74, 0.7),
    (0.62, 0.6, 0.56),
    (0.5, 0.55, 0.5),
    (0.7, 0.6, 0.48),
    (0.35, 0.4, 0.46),
)
JAR_CENTRE = np.array([95.0, 185.0, -70.0])  # world mm, about


def random_spec(seed: int, **changes: Any) -> SceneSpec:
    """A scene drawn from ``seed``; ``changes`` replace whole fields of the result."""
    rng = np.random.default_rng([seed, 1])
    lamps, room = _light(rng)
    fields: dict[str, Any] = {
        "seed": seed,
        "card": CardPose(
            paper="a4" if rng.random() < 0.6 else "letter",
            lean_deg=float(rng.uniform(0.0, 3.0)),
            turn_deg=float(rng.normal(0.0, 0.7)),
            roll_deg=float(rng.normal(0.0, 0.4)),
            bow_mm=float(rng.normal(0.0, 0.7)),
            paper_roughness=float(rng.uniform(0.4, 0.75)),
        ),
        "jar": _jar(rng),
        "extras": _extras(rng),
        "lamps": lamps,
        "room": room,
        "phone": _phone(rng),
        "taken_at": f"2026-03-{1 + seed % 28:02d}T{7 + seed % 14:02d}:{seed % 60:02d}:00",
    }
    return SceneSpec(**(fields | changes))


def leaning_spec(seed: int, **changes: Any) -> SceneSpec:
    """A random scene whose page leans to either side, more often away from the viewer."""
    rng = np.random.default_rng([seed, 6])
    spec = random_spec(seed, **changes)
    return replace(spec, card=replace(spec.card, lean_deg=float(rng.uniform(-4.0, 2.0))))


def loose_page_spec(seed: int) -> SceneSpec:
    """A leaning scene whose page is trimmed, hangs above the table, or both, in turn."""
    rng = np.random.default_rng([seed, 8])
    spec = leaning_spec(seed)
    margin = spec.card.foot_mm - CARD_HEIGHT_MM
    trim, lift = float(rng.uniform(0.5, 1.0) * margin), float(rng.uniform(10.0, 50.0))
    which = seed % 3
    card = replace(spec.card, trim_mm=trim * (which != 1), lift_mm=lift * (which != 0))
    return replace(spec, card=card)


def training_spec(seed: int) -> SceneSpec:
    """A leaning scene with fog, drops, mixed light and mirrored lamps more often than usual."""
    rng = np.random.default_rng([seed, 7])
    spec = leaning_spec(seed)
    extras, lamps = spec.extras, spec.lamps
    if extras.fog_opacity == 0.0 and rng.random() < 0.25:
        extras = replace(
            extras,
            fog_opacity=float(rng.uniform(0.15, 0.75)),
            fog_low_fraction=float(rng.uniform(0.05, 0.85)),
        )
    if len(lamps) == 1 and rng.random() < 0.5:
        share = float(rng.uniform(0.2, 0.6)) * lamps[0].share
        other = _main_lamp(rng, str(rng.choice(lights.ALL_SPECTRA)), share)
        lamps = (replace(lamps[0], share=lamps[0].share - share), other)
    return replace(spec, extras=extras, lamps=lamps)


def hard_spec(seed: int) -> SceneSpec:
    """A training scene with thick fog over a part of the wall still more often."""
    rng = np.random.default_rng([seed, 10])
    spec = training_spec(seed)
    if rng.random() < 0.22:
        fog, low = float(rng.uniform(0.25, 0.85)), float(rng.uniform(0.05, 0.7))
        spec = replace(spec, extras=replace(spec.extras, fog_opacity=fog, fog_low_fraction=low))
    return spec


def _jar(rng: np.random.Generator) -> Jar:
    straight = rng.random() < 0.3
    metal = rng.random() < 0.55
    plastic = [(0.8, 0.8, 0.8), (0.75, 0.7, 0.6), (0.06, 0.06, 0.07), (0.1, 0.2, 0.5)]
    tone = float(rng.uniform(0.55, 0.75))
    gold = (0.75, 0.58, 0.28)
    rgb = (
        (gold if rng.random() < 0.25 else (tone, tone, tone))
        if metal
        else (plastic[rng.integers(len(plastic))])
    )
    return Jar(
        axis_x_mm=float(95.0 + rng.uniform(-12.0, 12.0)),
        axis_z_mm=float(rng.uniform(-80.0, -60.0)),
        glass_mm=float(rng.uniform(2.5, 3.5)),
        floor_mm=float(rng.uniform(4.5, 8.0)),
        shoulder_rise_mm=float(rng.uniform(5.0, 8.0) if straight else rng.uniform(14.0, 26.0)),
        neck_fraction=0.97 if straight else float(rng.uniform(0.7, 0.88)),
        foot_round_mm=float(rng.uniform(3.0, 8.0)),
        groove_depth_mm=float(rng.uniform(0.4, 0.9)) if rng.random() < 0.4 else 0.0,
        groove_below_shoulder_mm=float(rng.uniform(5.0, 12.0)),
        wobble_mm=float(rng.uniform(0.03, 0.2)),
        lid="metal" if metal else "plastic",
        lid_rgb=rgb,
        lid_height_mm=float(rng.uniform(14.0, 19.0)),
        knurls=int(rng.choice([0, 40, 60, 96])),
        filter_mm=float(rng.uniform(24.0, 44.0)),
    )


def _extras(rng: np.random.Generator) -> Extras:
    kind = rng.choice(["none", "label", "tape"], p=[0.65, 0.15, 0.2])
    fogged = rng.random() < 0.35
    wet = rng.random() < 0.35
    return Extras(
        label_width_deg={"none": 0.0, "label": rng.uniform(40, 75), "tape": rng.uniform(45, 110)}[
            kind
        ],
        label_height_mm={"none": 0.0, "label": rng.uniform(22, 38), "tape": rng.uniform(12, 24)}[
            kind
        ],
        label_angle_deg=float(rng.uniform(-150.0, 150.0)),
        label_centre_fraction=float(rng.uniform(0.2, 0.85)),
        label_rgb=tuple(
            float(v) for v in ((0.85, 0.83, 0.78), (0.75, 0.66, 0.42))[int(kind == "tape")]
        ),
        fog_opacity=float(rng.uniform(0.15, 0.7)) if fogged else 0.0,
        fog_low_fraction=float(rng.uniform(0.3, 0.85)),
        droplets=int(rng.integers(100, 1200)) if wet else 0,
    )


def _light(rng: np.random.Generator) -> tuple[tuple[Lamp, ...], Room]:
    """One or two main lights of any kind and colour, ambience, sometimes a lamp in the glass."""
    ambient = float(rng.uniform(0.2, 0.55))
    glare = rng.random() < 0.4
    second = rng.random() < 0.45
    shares = np.array([rng.uniform(1.0, 2.0), rng.uniform(0.3, 1.0) * second, 0.12 * glare])
    shares *= (1.0 - ambient) / shares.sum()
    groups = (lights.DAYLIGHT, lights.WARM, lights.COOL)
    group = groups[rng.choice(3, p=[0.45, 0.33, 0.22])]
    first = str(rng.choice(group))
    other = str(rng.choice(lights.ALL_SPECTRA))
    lamps = [_main_lamp(rng, first, float(shares[0]))]
    if second:
        lamps.append(_main_lamp(rng, other, float(shares[1])))
    if glare:
        lamps.append(_mirrored_lamp(rng, other if second else first, float(shares[2])))
    table = str(rng.choice(["wood", "plain", "cloth"]))
    tables = {
        "wood": [(0.42, 0.27, 0.16), (0.55, 0.42, 0.28), (0.22, 0.13, 0.08), (0.62, 0.52, 0.4)],
        "plain": [(0.75, 0.74, 0.72), (0.25, 0.25, 0.26), (0.5, 0.48, 0.44)],
        "cloth": [(0.6, 0.58, 0.5), (0.18, 0.25, 0.4), (0.5, 0.2, 0.18), (0.35, 0.42, 0.3)],
    }[table]
    return tuple(lamps), Room(
        table=table,
        table_rgb=tables[rng.integers(len(tables))],
        wall=str(rng.choice(["paint", "tiles", "boards"], p=[0.6, 0.2, 0.2])),
        wall_rgb=WALLS[rng.integers(len(WALLS))],
        wall_distance_mm=float(rng.uniform(150.0, 900.0)),
        clutter=int(rng.integers(0, 4)),
        ambient_share=ambient,
        ambient_spectrum=first if rng.random() < 0.7 else other,
    )


def _main_lamp(rng: np.random.Generator, spectrum: str, share: float) -> Lamp:
    """A window to one side, a ceiling panel, or a shaded lamp: before the card, high enough."""
    kind = str(rng.choice(["window", "ceiling", "softbox"], p=[0.5, 0.3, 0.2]))
    side = float(rng.choice([-1.0, 1.0]))
    if kind == "window":
        place = (
            95.0 + side * rng.uniform(700, 1600),
            rng.uniform(-500, 0),
            rng.uniform(-1300, -350),
        )
        size = (rng.uniform(500, 1100), rng.uniform(700, 1300))
    elif kind == "ceiling":
        place = (95.0 + rng.uniform(-600, 600), rng.uniform(-1900, -1300), rng.uniform(-1300, -500))
        size = (rng.uniform(300, 700), rng.uniform(300, 700))
    else:
        place = (
            95.0 + side * rng.uniform(350, 800),
            rng.uniform(-700, -200),
            rng.uniform(-900, -500),
        )
        size = (rng.uniform(200, 450), rng.uniform(200, 450))
    return Lamp(
        kind, tuple(float(v) for v in place), float(size[0]), float(size[1]), share, spectrum
    )


def _mirrored_lamp(rng: np.random.Generator, spectrum: str, share: float) -> Lamp:
    """A lamp where the glass mirrors it towards the camera, at a wall angle within 35 degrees."""
    wall = np.deg2rad(rng.uniform(-35.0, 35.0))
    lift = np.deg2rad(rng.uniform(0.0, 25.0))
    direction = np.array([np.sin(2 * wall), -np.tan(lift), -np.cos(2 * wall)])
    place = JAR_CENTRE + direction * rng.uniform(550.0, 1400.0)
    size = rng.uniform(80.0, 320.0, 2)
    x, y, z = (float(v) for v in place)
    return Lamp("bulb", (x, y, z), float(size[0]), float(size[1]), share, spectrum)


def _phone(rng: np.random.Generator) -> Phone:
    motion = rng.normal(0.0, 1.0, 2) * (rng.random() < 0.25)
    return Phone(
        distance_mm=float(rng.uniform(350.0, 550.0)),
        side_mm=float(rng.normal(0.0, 12.0)),
        above_jar_middle_mm=float(rng.normal(8.0, 15.0)),
        aim_error_deg=(float(rng.normal(0.0, 0.6)), float(rng.normal(0.0, 0.6))),
        roll_deg=float(rng.normal(0.0, 1.0)),
        margin=float(rng.uniform(0.025, 0.09)),
        aperture_mm=float(rng.uniform(0.8, 2.4)),
        focus_on_card=float(rng.uniform(0.0, 0.8)),
        sensitivity=int(rng.integers(4)),
        exposure_error_ev=float(np.clip(rng.normal(0.0, 0.25), -0.6, 0.45)),
        balance_strength=float(rng.uniform(0.75, 1.0)),
        balance_error=(float(rng.normal(0.0, 0.03)), float(rng.normal(0.0, 0.03))),
        tone_curve=int(rng.integers(4)),
        saturation=float(rng.uniform(0.95, 1.15)),
        full_well_electrons=float(rng.uniform(1500.0, 8000.0)),
        read_noise_electrons=float(rng.uniform(2.0, 5.0)),
        denoise=float(rng.uniform(0.2, 0.8)),
        vignetting=float(rng.uniform(0.03, 0.25)),
        blur_px=float(rng.uniform(0.35, 1.0)),
        motion_px=(float(motion[0]), float(motion[1])),
        sharpening=float(rng.uniform(0.1, 0.7)),
        jpeg_quality=int(rng.integers(85, 96)),
    )
