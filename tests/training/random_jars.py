"""Jars with random contents for the path tracer: ``random_jar(number)`` and its random scene."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from jarvision.records import TissueClass
from tests.scenes.sampler import hard_spec, leaning_spec, random_spec, training_spec
from tests.scenes.spec import SceneSpec
from tests.scenes.wall_paint import WallPaint

from .contents_layers import FAMILIES, JUDGED_FROM
from .jar_contents import TEXTURE, bare_jar
from .jar_faults import lay_faults
from .jar_growth import grow
from .texture_layers import Textures

FIRST_SEED = 1_000_000  # contents of these jars are in no bank of layers
_SPECS = (hard_spec, training_spec, leaning_spec, random_spec)


@dataclass(frozen=True)
class DrawnJar:
    """A jar to be photographed.

    Attributes
    ----------
    name
        Of its files.
    paint
        What stands behind its glass.
    spec
        The scene.
    words
        What goes into its JSON besides the truth: what it holds, how it was drawn.
    """

    name: str
    paint: WallPaint
    spec: SceneSpec
    words: dict[str, Any]


def seed_of(number: int, *, judged: bool) -> int:
    """Seeds of contents, growth and scene; those of judged jars are used for nothing else."""
    return FIRST_SEED + number + (JUDGED_FROM if judged else 0)


def name_of(number: int, *, judged: bool) -> str:
    """Of the jar's files."""
    return f"R{seed_of(number, judged=judged)}"


def random_jar(
    number: int, *, judged: bool = False, textures: Textures | None = None
) -> DrawnJar:  # fmt: skip
    """Jar ``number``: families take turns, photographed textures too where there are any."""
    family = number % (len(FAMILIES) + (textures is not None))
    seed = seed_of(number, judged=judged)
    rng = np.random.default_rng([seed, 75])
    wild = rng.random() < 0.5
    paint, holds, faults = _painted(family, seed, rng, wild=wild, textures=textures)
    spec = _SPECS[rng.choice(len(_SPECS), p=[0.4, 0.3, 0.15, 0.15])](seed)
    words = {
        "holds": holds,
        "substrate": "textures" if family == TEXTURE else FAMILIES[family],
        "habit": "wild" if wild else "plain",
        "tint": "any",
        "fault": "+".join(faults) or "healthy",
        "contents_seed": seed,
    }
    return DrawnJar(name_of(number, judged=judged), paint, spec, words)


def _painted(
    family: int, seed: int, rng: np.random.Generator, *, wild: bool, textures: Textures | None
) -> tuple[WallPaint, int, list[str]]:
    bare = bare_jar(family, seed, rng, textures=textures)
    canvas, growth = grow(bare, seed, rng, wild=wild, textures=textures)
    faults = lay_faults(canvas, bare, growth, rng)
    outside = ~bare.filled
    canvas.classes[outside] = TissueClass.OUTSIDE
    canvas.opacity[outside] = 0.0
    paint = WallPaint(
        albedo=np.clip(canvas.albedo, 0.0, 1.0),
        relief_mm=np.clip(canvas.relief_mm, 0.0, None),
        gloss=np.clip(canvas.gloss, 0.0, 1.0),
        classes=canvas.classes,
        opacity=np.clip(canvas.opacity, 0.0, 1.0),
        fill_height_mm=bare.fill_mm,
        radius_mm=bare.grid.radius_mm,
        height_mm=bare.grid.height_mm,
        pins=canvas.pins & ~outside,
        standing=tuple(canvas.standing),
    )
    return paint, bare.holds, faults
