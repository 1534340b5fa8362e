"""The sample shelf: eight jars of an invented garden shed, photographed on eight evenings.

"Sloe Lane shed", batch SL: grain and straw jars on one shelf, one phone, a window by day and an
LED batten after dark. Every verdict occurs. A handful of spoiled photos must be refused.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from .anomalies import AmberStain, BarePatch, BrownSkin, Mould, Stall, WetBottom
from .contents import JarRecipe
from .spec import CardPose, Extras, Jar, Lamp, Phone, Room, SceneSpec

FIRST_EVENING = date(2026, 3, 2)
EVENINGS = 8


@dataclass(frozen=True)
class SampleJar:
    """One line of the register, and what is in the jar."""

    jar: str
    kind: str
    species: str
    substrate: str
    started: date
    parent: str
    notes: str
    recipe: JarRecipe
    glass: Jar


@dataclass(frozen=True)
class SamplePhoto:
    """One photo of the shelf: file name, jar, its age in days, and the scene."""

    name: str
    jar: SampleJar
    day: float
    spec: SceneSpec


_PINT = Jar(foot_round_mm=5.0, groove_depth_mm=0.6, lid="metal", lid_rgb=(0.66, 0.66, 0.66))
_GOLD = replace(_PINT, lid_rgb=(0.75, 0.58, 0.28), knurls=0, groove_depth_mm=0.0)
_STRAIGHT = Jar(
    shoulder_rise_mm=6.0, neck_fraction=0.97, lid="plastic", lid_rgb=(0.8, 0.8, 0.8), knurls=96
)


def _jar(
    number: int, kind: str, species: str, started: date, recipe: JarRecipe, glass: Jar,
    *, substrate: str = "", parent: str = "", notes: str = "",
) -> SampleJar:  # fmt: skip
    return SampleJar(
        jar=f"SL{number:02d}",
        kind=kind,
        species=species,
        substrate=substrate or recipe.substrate,
        started=started,
        parent=parent,
        notes=notes,
        recipe=recipe,
        glass=glass,
    )


JARS: tuple[SampleJar, ...] = (
    _jar(1, "spawn", "oyster", date(2026, 2, 20),
         JarRecipe(seed=901, substrate="rye", habit="fluffy", speed_mm_per_day=2.9,
                   nuclei_per_cm2=0.24, lag_days=1.6, fill_mm=80.0), _PINT,
         parent="SL00", notes="from the January culture"),
    _jar(2, "spawn", "oyster", date(2026, 2, 26),
         JarRecipe(seed=902, substrate="oat", habit="ropey", speed_mm_per_day=2.6,
                   nuclei_per_cm2=0.12, lag_days=2.2, fill_mm=84.0), _PINT, parent="SL00"),
    _jar(3, "spawn", "oyster", date(2026, 2, 25),
         JarRecipe(seed=903, substrate="wheat", habit="fluffy", speed_mm_per_day=2.5,
                   nuclei_per_cm2=0.16, lag_days=2.0, fill_mm=78.0,
                   events=(Mould(kind="green", from_day=4.0, speed_mm_per_day=4.5, size_mm=46.0,
                                 angle_deg=18.0, height_mm=44.0),)), _GOLD, parent="SL00"),
    _jar(4, "spawn", "lion's mane", date(2026, 2, 21),
         JarRecipe(seed=904, substrate="millet", habit="wispy", tint="greyish",
                   speed_mm_per_day=2.4, nuclei_per_cm2=0.22, lag_days=2.5, fill_mm=82.0), _GOLD,
         notes="thin growth is its way"),
    _jar(5, "fruiting", "shiitake", date(2026, 1, 19),
         JarRecipe(seed=905, substrate="beech shavings", habit="skin", speed_mm_per_day=2.2,
                   nuclei_per_cm2=0.4, lag_days=3.0, spawn_share=0.2, fill_mm=90.0,
                   height_mm=125.0, radius_mm=43.0,
                   events=(BrownSkin(from_day=41.0, days=16.0),)), _STRAIGHT,
         notes="browning has begun"),
    _jar(6, "fruiting", "oyster", date(2026, 2, 26),
         JarRecipe(seed=906, substrate="wheat straw", habit="fluffy", speed_mm_per_day=3.0,
                   nuclei_per_cm2=0.45, lag_days=1.5, spawn_share=0.25, fill_mm=92.0,
                   height_mm=125.0, radius_mm=43.0,
                   events=(BarePatch(angle_deg=-16.0, height_mm=40.0, size_mm=26.0),)), _STRAIGHT),
    _jar(7, "spawn", "enoki", date(2026, 2, 22),
         JarRecipe(seed=907, substrate="sorghum", habit="skin", tint="cream", speed_mm_per_day=2.8,
                   nuclei_per_cm2=0.2, lag_days=2.0, fill_mm=79.0,
                   events=(WetBottom(height_mm=9.0, from_day=9.0, rise_mm_per_day=0.3),)), _PINT,
         notes="grain was a little wet"),
    _jar(8, "spawn", "reishi", date(2026, 2, 19),
         JarRecipe(seed=908, substrate="rye", habit="skin", tint="cream", speed_mm_per_day=2.7,
                   nuclei_per_cm2=0.16, lag_days=2.0, fill_mm=81.0,
                   events=(Stall(from_day=12.0),
                           AmberStain(from_day=13.0, size_mm=24.0, angle_deg=-22.0,
                                      height_mm=52.0, drops=8))), _GOLD),
)  # fmt: skip


def photos() -> list[SamplePhoto]:
    """The 64 evening photos, jar by jar, then the spoiled ones that a renderer can make."""
    good = [
        _photo(jar, index, evening) for index, jar in enumerate(JARS) for evening in range(EVENINGS)
    ]
    return good + _spoiled()


def _photo(jar: SampleJar, index: int, evening: int, *, name: str = "") -> SamplePhoto:
    day = FIRST_EVENING + timedelta(days=evening)
    age = (day - jar.started).days + 0.3
    spec = _scene(jar, index, evening, day=day)
    return SamplePhoto(name or f"{jar.jar}_{day.isoformat()}", jar, age, spec)


def _spoiled() -> list[SamplePhoto]:
    """A shaky, a burnt-out, a dark and a far photo, and one with the jar beside the card."""
    base = [_photo(JARS[i], i, evening) for i, evening in ((1, 1), (3, 2), (0, 3), (6, 4), (7, 5))]
    blurred, bright, dark, far, aside = base
    return [
        _spoil(blurred, "shaky", phone={"blur_px": 3.5, "motion_px": (9.0, 6.0)}),
        _spoil(bright, "bright", phone={"exposure_error_ev": 2.6}),
        _spoil(dark, "dark", phone={"exposure_error_ev": -4.2}),
        _spoil(far, "far", phone={"margin": 0.62, "distance_mm": 900.0}),
        replace(
            aside,
            name=f"{aside.name}-aside",
            spec=replace(aside.spec, jar=replace(aside.spec.jar, axis_x_mm=265.0)),
        ),
    ]


def _spoil(photo: SamplePhoto, word: str, *, phone: dict[str, object]) -> SamplePhoto:
    spec = replace(photo.spec, phone=replace(photo.spec.phone, **phone))  # type: ignore[arg-type]
    return replace(photo, name=f"{photo.name}-{word}", spec=spec)


def _scene(jar: SampleJar, index: int, evening: int, *, day: date) -> SceneSpec:
    """The shed: window light until dusk, a batten after it; the phone is held anew each time."""
    rng = np.random.default_rng([77, index, evening])
    dusk = rng.random() < 0.5
    lamps = (
        Lamp("window", (-820.0, -260.0, -760.0), 900.0, 1100.0, 0.15 if dusk else 0.6, "D65"),
        Lamp("ceiling", (170.0, -1450.0, -820.0), 1200.0, 160.0, 0.6 if dusk else 0.1, "LED-B3"),
    )
    room = Room(
        table="wood", table_rgb=(0.5, 0.37, 0.24), wall="boards", wall_rgb=(0.55, 0.5, 0.42),
        wall_distance_mm=420.0, clutter=2, ambient_share=0.25,
        ambient_spectrum="LED-B3" if dusk else "D65",
    )  # fmt: skip
    hour, minute = (20, 5) if dusk else (17, 40)
    return SceneSpec(
        seed=7000 + 100 * index + evening,
        card=CardPose(
            paper="a4",
            lean_deg=1.3 + float(rng.normal(0.0, 0.15)),
            turn_deg=float(rng.normal(0.0, 0.3)),
            roll_deg=float(rng.normal(0.0, 0.2)),
            bow_mm=0.3,
        ),
        jar=replace(
            jar.glass,
            axis_x_mm=95.0 + float(rng.normal(0.0, 3.0)),
            axis_z_mm=-70.0 + float(rng.normal(0.0, 2.5)),
        ),
        extras=Extras(droplets=150 if index in (1, 6) else 0),
        lamps=lamps,
        room=room,
        phone=Phone(
            distance_mm=float(rng.normal(430.0, 18.0)),
            side_mm=float(rng.normal(0.0, 8.0)),
            above_jar_middle_mm=float(rng.normal(6.0, 8.0)),
            aim_error_deg=(float(rng.normal(0.0, 0.4)), float(rng.normal(0.0, 0.4))),
            roll_deg=float(rng.normal(0.0, 0.6)),
            margin=0.035,
            sensitivity=1,
            exposure_error_ev=float(rng.normal(-0.1, 0.12)),
            balance_strength=0.9,
            balance_error=(float(rng.normal(0.0, 0.02)), float(rng.normal(0.0, 0.02))),
            tone_curve=1,
            full_well_electrons=6000.0,
            jpeg_quality=84,
        ),
        taken_at=f"{day.isoformat()}T{hour:02d}:{minute + index:02d}:00",
    )
