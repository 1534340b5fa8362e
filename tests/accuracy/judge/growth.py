"""Growth on contents: when each place is reached, how thickly it is covered, how it looks, faults.

Each place has a time of arrival: distance from where the growth began over its speed, made ragged
by noise, hastened along strands and in fans, and later where the contents stand out or lie deep.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jarvision.records import ByteArray, Float32Array, TissueClass

from .families import RGB, Surface, mixed
from .noise import ridged, rough, smooth, step

HIDES = 0.5  # a place is covered from this opacity on
PIGMENTS: dict[TissueClass, tuple[RGB, RGB]] = {
    TissueClass.GREEN: ((0.06, 0.16, 0.08), (0.22, 0.36, 0.20)),
    TissueClass.BLACK: ((0.018, 0.018, 0.02), (0.16, 0.155, 0.15)),
    TissueClass.PINK: ((0.70, 0.25, 0.20), (0.82, 0.45, 0.32)),
}


@dataclass(frozen=True)
class Strain:
    """How one growth looks and moves.

    ``white`` is its reflectance when thick, ``tint`` its colour relative to that; ``fans`` and
    ``ropes`` how much it runs ahead in fans and strands, ``film`` the opacity it ends at, and
    ``pile_mm`` how far it stands out of the contents.
    """

    white: float
    tint: RGB
    speed_mm: float
    fans: float
    ropes: float
    film: float
    pile_mm: float
    ragged_mm: float
    mature_days: float


@dataclass(frozen=True)
class Fault:
    """A spot of mould, stains on old growth, or a wet foot: where (mm) and how large by day."""

    kind: TissueClass
    x_mm: float
    y_mm: float
    from_day: float
    speed_mm: float
    lot: float


@dataclass(frozen=True)
class Grown:
    """The wall on one day: its surface, true classes and opacity of white growth."""

    surface: Surface
    classes: ByteArray
    opacity: Float32Array


def random_strain(seed: int) -> Strain:
    """Dim or bright, cream, grey or white, of any habit."""
    rng = np.random.default_rng([seed, 41])
    cream = rng.uniform(0.0, 0.14)
    grey = rng.uniform(-0.02, 0.02)
    return Strain(
        white=float(rng.uniform(0.45, 0.9)),
        tint=(1.0, float(1.0 - 0.35 * cream + grey), float(1.0 - cream * 1.6 + grey)),
        speed_mm=float(rng.uniform(1.4, 4.0)),
        fans=float(rng.choice([0.0, 0.3, 0.7])),
        ropes=float(rng.choice([0.0, 4.0, 9.0])),
        film=float(rng.choice([0.8, 0.97, 1.0])),
        pile_mm=float(rng.uniform(0.1, 1.6)),
        ragged_mm=float(rng.uniform(2.0, 9.0)),
        mature_days=float(rng.uniform(0.6, 2.5)),
    )


def starts(seed: int, *, tall_mm: float, wide_mm: float) -> list[tuple[float, float]]:
    """Where growth begins: lumps anywhere, or a layer (many lumps at one height)."""
    rng = np.random.default_rng([seed, 42])
    if rng.random() < 0.4:
        heights = rng.choice([0.15, 0.5, 0.95], size=int(rng.integers(1, 3)), replace=False)
        return [
            (float(x), float(h * tall_mm + rng.normal(0.0, 3.0)))
            for h in heights
            for x in np.arange(-wide_mm, wide_mm, 11.0) + rng.normal(0.0, 3.0)
        ]
    count = int(rng.integers(4, 15))
    return [
        (float(x), float(y))
        for x, y in rng.uniform([-wide_mm, 0.0], [wide_mm, tall_mm], (count, 2))
    ]


def arrival(
    x: Float32Array,
    y: Float32Array,
    contents: Surface,
    strain: Strain,
    *,
    seed: int,
    tall_mm: float,
) -> Float32Array:
    """Day on which growth reaches each place, ``(rows, cols)``."""
    wide = float(np.abs(x).max())
    edge = strain.ragged_mm * rough(x, y, size=14.0, seed=seed + 31)
    edge = edge + 1.5 * rough(x, y, size=2.2, seed=seed + 32)
    soonest = np.full(x.shape, 1e3, dtype=np.float32)
    for number, (x0, y0) in enumerate(starts(seed, tall_mm=tall_mm, wide_mm=wide)):
        dx, dy = x - np.float32(x0), y - np.float32(y0)
        far = np.sqrt(dx * dx + dy * dy)
        turn = np.arctan2(dy, dx).astype(np.float32)
        fan = smooth(turn * 3.0 + 40.0 * number, far / 30.0, size=1.0, seed=seed + 33)
        soonest = np.minimum(soonest, far / (1.0 + strain.fans * np.maximum(fan, -0.6)))
    strands = strain.ropes * ridged(x, y, size=11.0, seed=seed + 34)
    low, high = np.percentile(contents.height_mm, (5, 95))
    out = (contents.height_mm - low) / max(float(high - low), 0.1)
    hidden = 2.5 * np.abs(out - 0.45)
    return np.asarray((soonest + edge - strands + hidden) / strain.speed_mm, np.float32)


def grow(
    x: Float32Array, y: Float32Array, contents: Surface, strain: Strain, faults: tuple[Fault, ...],
    *, day: float, seed: int, tall_mm: float,
) -> Grown:  # fmt: skip
    """The wall on one day. A day of 0 or less is bare."""
    age = day - arrival(x, y, contents, strain, seed=seed, tall_mm=tall_mm)
    if day <= 0.0:
        age = np.full_like(age, -9.0)
    patchy = 0.12 * rough(x, y, size=3.0, seed=seed + 35)
    opacity = np.clip(step(-0.1, strain.mature_days, age) * (strain.film + patchy), 0.0, 1.0)
    opacity = np.where(age > 0.0, opacity, 0.0).astype(np.float32)
    classes = np.where(opacity >= HIDES, TissueClass.MYCELIUM, TissueClass.BARE).astype(np.uint8)
    surface = _covered(x, y, contents, strain, opacity, seed=seed)
    for fault in faults:
        surface = _faulty(x, y, surface, classes, fault, day=day, age=age, seed=seed)
    return Grown(surface, classes, opacity)


def _covered(
    x: Float32Array, y: Float32Array, contents: Surface, strain: Strain, opacity: Float32Array,
    *, seed: int,
) -> Surface:  # fmt: skip
    """Contents under growth: woolly, roped or smooth by the strain."""
    wool = rough(x, y, size=1.6, seed=seed + 36)
    ropes = ridged(x, y, size=11.0, seed=seed + 34) + ridged(x, y, size=5.0, seed=seed + 37)
    roped = np.float32(min(1.0, strain.ropes / 9.0))
    light = 1.0 + 0.05 * wool + 0.10 * roped * (ropes - 0.6)
    growth = np.array(strain.tint, np.float32) * (strain.white * light)[..., None]
    height = contents.height_mm * (1.0 - 0.75 * opacity) + opacity * (
        strain.pile_mm * (1.0 + 0.35 * wool) + 0.6 * roped * ropes
    )
    return Surface(
        mixed(contents.rgb, growth.astype(np.float32), opacity),
        height.astype(np.float32),
        (contents.gloss * (1.0 - opacity)).astype(np.float32),
    )


def _faulty(
    x: Float32Array, y: Float32Array, surface: Surface, classes: ByteArray, fault: Fault,
    *, day: float, age: Float32Array, seed: int,
) -> Surface:  # fmt: skip
    """Lay one fault over the wall; ``classes`` are changed in place."""
    grown = day - fault.from_day
    if grown <= 0.0:
        return surface
    if fault.kind == TissueClass.WET:
        return _wet(x, y, surface, classes, top_mm=fault.speed_mm * min(grown, 6.0), seed=seed)
    if fault.kind == TissueClass.STAIN:
        return _stained(x, y, surface, classes, age, lot=fault.lot, seed=seed)
    dx, dy = x - np.float32(fault.x_mm), y - np.float32(fault.y_mm)
    far = np.sqrt(dx * dx + dy * dy) + 2.5 * rough(x, y, size=5.0, seed=seed + 38)
    reach = fault.speed_mm * grown
    margin = step(reach + 2.5, reach, far) * 0.9
    core = step(reach, reach - 4.0, far + 1.5 * rough(x, y, size=1.2, seed=seed + 39))
    dark, pale = PIGMENTS[fault.kind]
    pigment = mixed(pale, dark, np.clip(core + 0.4 * rough(x, y, size=0.9, seed=seed + 40), 0, 1))
    if fault.kind == TissueClass.BLACK:  # an airy turf: dark heads on a grey ground
        heads = smooth(x, y, size=0.75, seed=seed + 45) + smooth(x, y, size=0.5, seed=seed + 46)
        dense = step(0.5 - 0.9 * fault.lot, 0.8 - 0.6 * fault.lot, heads)
        pigment = mixed((0.40, 0.40, 0.38), (0.02, 0.02, 0.022), dense)
    rgb = mixed(surface.rgb, (0.72, 0.71, 0.67), np.asarray(margin, np.float32))
    rgb = mixed(rgb, pigment, core)
    classes[margin >= HIDES] = TissueClass.MYCELIUM
    classes[core >= HIDES] = fault.kind
    gloss = np.where(core > 0.2, 0.0, surface.gloss).astype(np.float32)
    return Surface(rgb, surface.height_mm + 0.5 * margin, gloss)


def _wet(
    x: Float32Array,
    y: Float32Array,
    surface: Surface,
    classes: ByteArray,
    *,
    top_mm: float,
    seed: int,
) -> Surface:
    """Water pooled from the foot upwards: darker, richer in colour, glossy."""
    line = top_mm + 3.0 * rough(x, np.zeros_like(x), size=20.0, seed=seed + 43)
    soaked = step(0.8, -0.8, y - line)
    soaked = np.where(classes == TissueClass.BARE, soaked, 0.3 * soaked).astype(np.float32)
    classes[(soaked >= HIDES) & (classes == TissueClass.BARE)] = TissueClass.WET
    rgb = surface.rgb * (1.0 - soaked * 0.55)[..., None] ** np.array([0.8, 1.0, 1.15], np.float32)
    return Surface(rgb, surface.height_mm * (1.0 - 0.5 * soaked), surface.gloss + 0.6 * soaked)


def _stained(
    x: Float32Array, y: Float32Array, surface: Surface, classes: ByteArray, age: Float32Array,
    *, lot: float, seed: int,
) -> Surface:  # fmt: skip
    """Amber or brown in patches on growth that is several days old."""
    patch = step(0.05, 0.35, rough(x, y, size=13.0, seed=seed + 44)) * step(2.0, 4.0, age)
    strength = np.asarray(patch * (0.55 + 0.4 * lot), np.float32)
    tone = (0.50, 0.30, 0.11) if lot < 0.6 else (0.27, 0.15, 0.075)
    classes[(strength >= HIDES) & (classes == TissueClass.MYCELIUM)] = TissueClass.STAIN
    return Surface(
        mixed(surface.rgb, tone, strength), surface.height_mm, surface.gloss + 0.1 * strength
    )
