"""One half-grown jar under twelve lights, each with six camera settings: only colour differs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from .anomalies import BarePatch
from .contents import JarRecipe
from .spec import CardPose, Jar, Lamp, Phone, Room, SceneSpec

LIGHTS: tuple[tuple[str, str], ...] = (
    ("D65", "D65"), ("D50", "D50"), ("6000K", "6000K"), ("A", "A"), ("2700K", "2700K"),
    ("3000K", "3000K"), ("LED-B1", "LED-B1"), ("LED-B3", "LED-B3"), ("LED-B5", "LED-B5"),
    ("FL2", "FL2"), ("FL11", "FL11"), ("D65", "2700K"),
)  # fmt: skip
"""Lamp and ambience; the last is a window with a bulb."""

CAMERAS: tuple[tuple[float, int, tuple[float, float]], ...] = (
    (0.0, 0, (0.0, 0.0)),
    (-1.5, 1, (0.0, 0.0)),
    (1.0, 1, (0.0, 0.0)),
    (-0.5, 2, (0.08, -0.06)),
    (0.0, 1, (-0.08, 0.06)),
    (-0.75, 0, (0.05, 0.08)),
)
"""Exposure error (EV), tone curve, white balance error of red and blue."""


def lights_trial() -> Iterator[tuple[str, JarRecipe, float, SceneSpec]]:
    """Name, jar, day and scene of every photo of the trial."""
    recipe = JarRecipe(
        seed=4242,
        substrate="rye",
        nuclei_per_cm2=0.2,
        events=(BarePatch(angle_deg=20.0, height_mm=50.0, size_mm=18.0),),
    )
    for number, (lamp, ambience) in enumerate(LIGHTS):
        spec = SceneSpec(
            seed=4242,
            card=CardPose(lean_deg=1.2),
            jar=Jar(),
            lamps=(Lamp("window", (-700.0, -300.0, -800.0), 900.0, 1000.0, 0.65, lamp),),
            room=Room(ambient_share=0.35, ambient_spectrum=ambience),
            phone=Phone(sensitivity=1, tone_curve=1),
        )
        for setting, (ev, curve, balance) in enumerate(CAMERAS):
            phone = replace(
                spec.phone, exposure_error_ev=ev, tone_curve=curve, balance_error=balance
            )
            yield f"L{number:02d}-{setting}", recipe, 8.0, replace(spec, phone=phone)
