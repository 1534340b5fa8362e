"""Twelve families of contents, each a function of the place: colour, relief and gloss.

Sawdust, crumbled pellets, coffee grounds, barley, brown rice, cracked maize, a seed mix, chopped
straw, bark chips, cardboard, white millet, pale shavings. None is drawn anywhere else.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields

import numpy as np

from jarvision.records import Float32Array

from .noise import ridged, rough, smooth, step
from .pieces import Kind, Scatter, oval, pointed, scatter, shard, slab

RGB = tuple[float, float, float]


@dataclass(frozen=True)
class Surface:
    """What stands at the glass: linear sRGB ``(rows, cols, 3)``; relief (mm) and gloss below it."""

    rgb: Float32Array
    height_mm: Float32Array
    gloss: Float32Array


RICES: tuple[RGB, ...] = (
    (0.50, 0.38, 0.22),
    (0.44, 0.33, 0.18),
    (0.47, 0.40, 0.22),
    (0.56, 0.43, 0.27),
    (0.38, 0.30, 0.15),
    (0.70, 0.66, 0.55),
)
BEADS: tuple[RGB, ...] = (
    (0.60, 0.48, 0.26),
    (0.33, 0.10, 0.05),
    (0.68, 0.60, 0.42),
    (0.10, 0.06, 0.035),
    (0.46, 0.27, 0.08),
)
STRAWS: tuple[RGB, ...] = (
    (0.58, 0.42, 0.17),
    (0.50, 0.36, 0.15),
    (0.66, 0.54, 0.28),
    (0.40, 0.31, 0.18),
    (0.32, 0.20, 0.09),
)

Family = Callable[[Float32Array, Float32Array, int], Surface]


def mixed(
    first: RGB | Float32Array, second: RGB | Float32Array, share: Float32Array
) -> Float32Array:
    """Two colours mixed by a share from 0 to 1."""
    a, b = (np.asarray(colour, dtype=np.float32) for colour in (first, second))
    return np.asarray(a + (b - a) * share[..., None], dtype=np.float32)


def palette(lot: Float32Array, colours: Sequence[RGB]) -> Float32Array:
    """One of some colours for each piece, by its random number."""
    table = np.asarray(colours, dtype=np.float32)
    return np.asarray(table[np.minimum((lot * len(table)).astype(int), len(table) - 1)])


def lie(
    there: Scatter, rgb: Float32Array, *, spread: float, gap: RGB, gloss: float = 0.1
) -> Surface:
    """Pieces of their own brightness, dark between them and where they lie deep."""
    own = 1.0 + np.float32(spread) * (2.0 * there.lot2 - 1.0)
    depth = np.percentile(there.height_mm[there.hit], (3, 90))
    deep = step(float(depth[0]), float(depth[1]), there.height_mm)
    shown = rgb * own[..., None] * (0.45 + 0.55 * deep)[..., None]
    shown = np.where(there.hit[..., None], shown, np.asarray(gap, np.float32))
    shine = np.where(there.hit, gloss, 0.0)
    height = np.maximum(there.height_mm, float(depth[0]) - 1.0)
    return Surface(np.asarray(shown, np.float32), height, np.asarray(shine, np.float32))


def varied(
    x: Float32Array, y: Float32Array, surface: Surface, *, seed: int, amount: float = 0.12
) -> Surface:
    """The same with patches of other brightness and a fine grain."""
    light = (
        1.0 + amount * rough(x, y, size=18.0, seed=seed) + 0.05 * smooth(x, y, size=0.5, seed=seed)
    )
    return Surface(surface.rgb * light[..., None], surface.height_mm, surface.gloss)


def sawdust(x: Float32Array, y: Float32Array, seed: int) -> Surface:
    """Splinters of a millimetre or two in fine dust."""
    there = scatter(x, y, Kind(2.2, 0.7, slab, 0.2, 0.5, layers=2, spread=0.6), seed=seed)
    dust = rough(x, y, size=1.2, seed=seed + 1)
    rgb = mixed(
        (0.42, 0.26, 0.13), (0.66, 0.47, 0.27), np.clip(0.5 + 0.5 * dust + there.lot - 0.5, 0, 1)
    )
    return varied(x, y, lie(there, rgb, spread=0.2, gap=(0.30, 0.18, 0.09)), seed=seed)


def crumbled_pellets(x: Float32Array, y: Float32Array, seed: int) -> Surface:
    """Swollen pellets fallen to crumbs: lumps with a rough skin in wet meal."""
    bend = 0.8 * rough(x, y, size=2.5, seed=seed + 2)
    there = scatter(
        x + bend, y - bend, Kind(5.5, 4.0, oval, 1.2, 1.6, spread=0.6, dome=1.5), seed=seed
    )
    meal = rough(x, y, size=0.8, seed=seed + 3)
    rgb = mixed((0.23, 0.13, 0.065), (0.43, 0.28, 0.15), np.clip(0.5 + 0.5 * meal, 0, 1))
    return varied(x, y, lie(there, rgb, spread=0.2, gap=(0.15, 0.085, 0.04)), seed=seed)


def coffee_grounds(x: Float32Array, y: Float32Array, seed: int) -> Surface:
    """Dark grains of less than a millimetre, caked in places."""
    there = scatter(x, y, Kind(0.95, 0.8, shard, 0.35, 0.6, layers=2, spread=0.5), seed=seed)
    cake = step(-0.2, 0.6, rough(x, y, size=9.0, seed=seed + 4))
    rgb = mixed(
        (0.035, 0.020, 0.012), (0.085, 0.050, 0.028), np.clip(there.lot * (1.1 - 0.5 * cake), 0, 1)
    )
    return varied(
        x, y, lie(there, rgb, spread=0.4, gap=(0.018, 0.01, 0.006), gloss=0.35), seed=seed
    )


def barley(x: Float32Array, y: Float32Array, seed: int) -> Surface:
    """Hulled kernels with a crease and fine stripes."""
    there = scatter(x, y, Kind(8.5, 3.4, pointed, 1.2, 1.8), seed=seed)
    crease = 1.0 - 0.45 * np.exp(-((there.v / 0.12) ** 2)) * (there.lot > 0.5)
    stripes = 1.0 + 0.08 * np.sin(there.v * 21.0 + 6.0 * there.lot)
    rgb = palette(
        there.lot2, ((0.55, 0.39, 0.18), (0.47, 0.31, 0.13), (0.62, 0.46, 0.24), (0.40, 0.25, 0.11))
    )
    rgb = np.asarray(rgb * (crease * stripes)[..., None], np.float32)
    return varied(x, y, lie(there, rgb, spread=0.15, gap=(0.08, 0.045, 0.02), gloss=0.2), seed=seed)


def brown_rice(x: Float32Array, y: Float32Array, seed: int) -> Surface:
    """Slender grains, tan and olive, a few chalky white ones, boiled and glossy."""
    there = scatter(x, y, Kind(6.6, 2.3, oval, 0.9, 1.3, spread=0.15), seed=seed)
    rgb = palette(there.lot2, RICES)
    germ = np.exp(-(((there.u - 0.85) / 0.2) ** 2))
    rgb = mixed(rgb, (0.62, 0.52, 0.34), np.asarray(0.5 * germ, np.float32))
    return varied(
        x, y, lie(there, rgb, spread=0.12, gap=(0.10, 0.07, 0.035), gloss=0.35), seed=seed
    )


def cracked_maize(x: Float32Array, y: Float32Array, seed: int) -> Surface:
    """Yellow shards with floury white faces and red-brown hulls."""
    there = scatter(x, y, Kind(5.5, 4.2, shard, 1.0, 2.0, spread=0.55, dome=4.0), seed=seed)
    skin = palette(
        there.lot, ((0.66, 0.36, 0.05), (0.72, 0.43, 0.08), (0.58, 0.27, 0.04), (0.45, 0.18, 0.05))
    )
    flour = step(0.1, 0.5, rough(x, y, size=3.0, seed=seed + 5) + 1.4 * (there.lot2 - 0.62))
    rgb = mixed(skin, (0.76, 0.66, 0.42), flour)
    return varied(x, y, lie(there, rgb, spread=0.15, gap=(0.14, 0.07, 0.015)), seed=seed)


def seed_mix(x: Float32Array, y: Float32Array, seed: int) -> Surface:
    """Striped, round red, dark and pale seeds of several sizes, as fed to birds."""
    large = scatter(x, y, Kind(10.5, 5.0, pointed, 1.6, 2.2, layers=1), seed=seed)
    small = scatter(x, y, Kind(2.6, 2.4, oval, 1.0, 1.8, layers=3), seed=seed + 11)
    stripe = step(-0.1, 0.1, np.sin(large.v * 9.0).astype(np.float32))
    shell = mixed(
        (0.035, 0.03, 0.03), (0.55, 0.52, 0.47), np.asarray(stripe * (large.lot > 0.35), np.float32)
    )
    beads = palette(small.lot, BEADS)
    over = large.hit & (large.lot2 > 0.45) & (large.height_mm > small.height_mm - 1.5)
    upper = Scatter(
        *(
            np.where(over, getattr(large, part.name), getattr(small, part.name))
            for part in fields(Scatter)
        )
    )
    rgb = np.where(over[..., None], shell, beads)
    return varied(
        x, y, lie(upper, rgb, spread=0.15, gap=(0.07, 0.045, 0.03), gloss=0.25), seed=seed
    )


def chopped_straw(x: Float32Array, y: Float32Array, seed: int) -> Surface:
    """Flattened stalks, golden, grey and brown, with nodes and ribs."""
    there = scatter(
        x, y, Kind(24.0, 3.2, slab, 0.8, 2.6, layers=4, spread=0.5, lie=0.35), seed=seed
    )
    ribs = 1.0 + 0.10 * np.sin(there.v * 17.0 + 9.0 * there.lot) + 0.05 * np.sin(there.v * 41.0)
    rgb = palette(there.lot2, STRAWS)
    node = 1.0 - 0.4 * np.exp(-(((there.u - there.lot) / 0.05) ** 2))
    rgb = np.asarray(rgb * (ribs * node)[..., None], np.float32)
    return varied(x, y, lie(there, rgb, spread=0.2, gap=(0.05, 0.032, 0.014), gloss=0.2), seed=seed)


def bark_chips(x: Float32Array, y: Float32Array, seed: int) -> Surface:
    """Thick flakes, dark red-brown outside, fibrous and paler inside."""
    bend = 0.7 * rough(x, y, size=3.0, seed=seed + 6)
    there = scatter(
        x + bend, y + bend, Kind(13.0, 8.0, shard, 1.5, 3.5, spread=0.5, dome=5.0), seed=seed
    )
    cracks = ridged(x + 8.0 * there.lot, y, size=3.5, seed=seed + 8)
    fibre = smooth(there.u * 2.0, there.v * 14.0, size=1.0, seed=seed + 9)
    outside = mixed(
        (0.15, 0.075, 0.04), (0.26, 0.13, 0.07), np.clip(there.lot2 + 0.3 * fibre, 0, 1)
    )
    inside = mixed((0.36, 0.20, 0.10), (0.52, 0.33, 0.19), np.clip(0.5 + 0.5 * fibre, 0, 1))
    rgb = np.where((there.lot > 0.68)[..., None], inside, outside * (1.0 - 0.6 * cracks)[..., None])
    return varied(x, y, lie(there, rgb, spread=0.2, gap=(0.03, 0.016, 0.01)), seed=seed)


def cardboard(x: Float32Array, y: Float32Array, seed: int) -> Surface:
    """Torn sheets, wet and dry, with the waves of their middle layer showing."""
    bend = 1.2 * rough(x, y, size=5.0, seed=seed + 12)
    there = scatter(
        x + bend, y + bend, Kind(24.0, 13.0, shard, 0.7, 3.0, spread=0.5, dome=8.0), seed=seed
    )
    waves = 0.5 + 0.5 * np.sin(there.u * 22.0 + 6.0 * there.lot)
    open_side = (there.lot > 0.55).astype(np.float32)
    rgb = mixed((0.36, 0.26, 0.17), (0.50, 0.38, 0.26), np.asarray(there.lot2, np.float32))
    rgb = np.asarray(rgb * (1.0 - 0.35 * open_side * waves)[..., None], np.float32)
    torn = step(0.86, 0.97, there.far + 0.06 * smooth(x, y, size=1.0, seed=seed))
    rgb = mixed(rgb, (0.60, 0.49, 0.36), np.asarray(0.7 * torn, np.float32))
    return varied(x, y, lie(there, rgb, spread=0.12, gap=(0.07, 0.05, 0.03)), seed=seed)


def white_millet(x: Float32Array, y: Float32Array, seed: int) -> Surface:
    """Small round seeds, cream to nearly white, glossy."""
    there = scatter(x, y, Kind(2.5, 2.2, oval, 0.9, 0.9, spread=0.12), seed=seed)
    rgb = palette(
        there.lot, ((0.70, 0.61, 0.42), (0.76, 0.68, 0.50), (0.66, 0.55, 0.36), (0.80, 0.74, 0.60))
    )
    eye = np.exp(-(((there.u - 0.5) ** 2 + there.v**2) / 0.03)) * (there.lot2 > 0.6)
    rgb = mixed(rgb, (0.30, 0.22, 0.13), np.asarray(0.7 * eye, np.float32))
    return varied(
        x,
        y,
        lie(there, rgb, spread=0.06, gap=(0.26, 0.20, 0.12), gloss=0.3),
        seed=seed,
        amount=0.06,
    )


def pale_shavings(x: Float32Array, y: Float32Array, seed: int) -> Surface:
    """Curled shavings of pale wood: bright ridges of the curls, fine grain."""
    bend = 1.5 * rough(x, y, size=9.0, seed=seed + 13)
    there = scatter(x + bend, y - bend, Kind(17.0, 7.0, slab, 1.6, 2.6, spread=0.5), seed=seed)
    curl = 0.82 + 0.22 * np.cos(there.u * (3.0 + 5.0 * there.lot2))
    grain = 1.0 + 0.06 * np.sin(there.v * 25.0 + 3.0 * smooth(x, y, size=4.0, seed=seed + 14))
    rgb = palette(there.lot, ((0.74, 0.62, 0.44), (0.79, 0.69, 0.53), (0.70, 0.56, 0.38)))
    rgb = np.asarray(rgb * (curl * grain)[..., None], np.float32)
    return varied(
        x, y, lie(there, rgb, spread=0.08, gap=(0.24, 0.17, 0.10)), seed=seed, amount=0.06
    )


FAMILIES: dict[str, Family] = {
    "sawdust": sawdust,
    "crumbled pellets": crumbled_pellets,
    "coffee grounds": coffee_grounds,
    "barley": barley,
    "brown rice": brown_rice,
    "cracked maize": cracked_maize,
    "seed mix": seed_mix,
    "chopped straw": chopped_straw,
    "bark chips": bark_chips,
    "cardboard": cardboard,
    "white millet": white_millet,
    "pale shavings": pale_shavings,
}
