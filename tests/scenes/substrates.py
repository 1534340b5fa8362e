"""Bare contents of a jar: grain, straw and wood shavings as they look through the glass."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import ndimage

from jarvision.records import Float32Array, FloatArray

from .packing import DEEPEST_MM, Packing, PieceKind, pack
from .textures import fractal_noise, lab_to_linear, smoothstep
from .wall_paint import WallGrid

GAP_SHADE = 0.62  # share of light that a gap as deep as DEEPEST_MM loses between its neighbours
UNEVEN_TOP_MM = 1.6  # spread of the slow waves of a fill line
SLOT_MM = 3.5  # slots narrower than this do not lower the fill line
TOP_LIMIT_MM = 4.0  # single pieces reach at most this far above or below those waves


@dataclass(frozen=True)
class Look:
    """Colours of one substrate: Lab mean and spread between pieces, and the marks on a piece."""

    piece: PieceKind
    lab: tuple[float, float, float]
    lab_spread: tuple[float, float, float]
    crease: float  # drop of L* in the crease or along the grain of the fibre
    grain: float  # spread of L* of the fine lines along a piece
    gloss: float


# sizes are common practice for swollen grain; colours were set by eye in CIELAB, no measurement
LOOKS: dict[str, Look] = {
    "rye": Look(
        PieceKind(7.2, 2.8, 2.5, 0.09, "kernel", 2.6, 0.5),
        (52, 6.4, 22), (4.0, 0.7, 2.0), 11, 1.6, 0.25,
    ),
    "wheat": Look(
        PieceKind(6.4, 3.4, 3.0, 0.08, "kernel", 2.6, 0.5),
        (54, 7.0, 24), (3.5, 0.7, 2.0), 12, 1.2, 0.25,
    ),
    "oat": Look(
        PieceKind(10.0, 3.1, 2.5, 0.10, "kernel", 2.6, 0.7),
        (58, 5.6, 24), (4.0, 0.6, 2.0), 7, 3.0, 0.15,
    ),
    "millet": Look(
        PieceKind(2.25, 2.05, 2.0, 0.08, "kernel", 2.2, 0.1),
        (56, 6.5, 26), (4.5, 0.9, 2.5), 3, 0.6, 0.3,
    ),
    "sorghum": Look(
        PieceKind(4.3, 4.0, 3.6, 0.07, "kernel", 2.4, 0.2),
        (47, 7.8, 20), (4.5, 1.0, 2.2), 4, 0.8, 0.3,
    ),
    "rice": Look(
        PieceKind(6.3, 2.3, 2.0, 0.08, "kernel", 2.6, 0.4),
        (57, 5.4, 20), (3.0, 0.5, 1.6), 5, 0.8, 0.35,
    ),
    "wheat straw": Look(
        PieceKind(38.0, 3.6, 2.0, 0.27, "stalk", 4.5, 1.6),
        (69, 3.6, 27), (5.0, 1.2, 2.2), 4, 2.6, 0.3,
    ),
    "beech shavings": Look(
        PieceKind(13.0, 6.5, 1.3, 0.28, "chip", 4.0, 1.0),
        (66, 6.5, 21), (4.0, 1.0, 2.0), 3, 2.6, 0.1,
    ),
    "maize": Look(
        PieceKind(9.0, 7.6, 4.5, 0.12, "kernel", 2.3, 0.3),
        (63, 13.0, 40), (5.0, 2.0, 4.0), 6, 1.4, 0.35,
    ),
    "hemp shives": Look(
        PieceKind(14.0, 3.0, 1.6, 0.3, "chip", 3.2, 1.1),
        (76, 2.4, 17), (5.0, 0.8, 2.4), 5, 3.4, 0.12,
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Bare:
    """The contents before anything grows, ``(rows, cols)`` arrays and the fill line."""

    albedo: Float32Array
    relief_mm: Float32Array
    gloss: Float32Array
    piece_tone: Float32Array
    spawn: Float32Array
    fill_height_mm: Float32Array


@lru_cache(maxsize=6)
def bare_contents(
    substrate: str,
    grid: WallGrid,
    *,
    seed: int,
    fill_mm: float,
    spawn_share: float,
    husks: float,
) -> Bare:
    """Pack and colour one jar's contents.

    Parameters
    ----------
    substrate
        A key of :data:`LOOKS`.
    seed
        A shaken jar gets a new one: the same kernels, elsewhere.
    fill_mm
        Mean height of the fill line.
    spawn_share
        Share of the wall taken by pieces of grain spawn mixed into straw or shavings.
    husks
        Share of pieces that are pale empty husks, a nuisance that is not mycelium.

    Returns
    -------
    Bare
        ``piece_tone`` is a random number per piece, ``spawn`` is 1 on pieces of spawn.
    """
    rng = np.random.default_rng([seed, 11])
    look = LOOKS[substrate]
    waves = fractal_noise(grid, rng=rng, largest_mm=120.0, smallest_mm=15.0, slope=1.2)[0]
    line = fill_mm + UNEVEN_TOP_MM * waves
    line = np.minimum(line, grid.height_mm - 4.0)
    packing = pack(look.piece, grid, rng=rng, top_mm=line)
    albedo = _colour(packing, look, grid, rng, husks)
    spawn = np.zeros(grid.shape, dtype=np.float32)
    relief = packing.relief_mm
    tone = rng.random(packing.count + 1)[packing.piece].astype(np.float32)
    if spawn_share > 0.0:
        kind = LOOKS["rye"].piece
        grains = pack(kind, grid, rng=rng, top_mm=line, share=spawn_share)
        on = (grains.piece >= 0) & (grains.relief_mm < relief + 1.0)
        albedo = np.where(on[..., None], _colour(grains, LOOKS["rye"], grid, rng, 0.0), albedo)
        relief = np.where(on, grains.relief_mm, relief)
        spawn = on.astype(np.float32)
    shade = 1.0 - GAP_SHADE * smoothstep(0.3, DEEPEST_MM, _hollow(relief, grid))
    return Bare(
        np.asarray(albedo * shade[..., None], dtype=np.float32),
        np.asarray(relief, dtype=np.float32),
        np.full(grid.shape, look.gloss, dtype=np.float32),
        tone,
        spawn,
        _fill_line(relief, line, grid),
    )


def _hollow(relief: Float32Array, grid: WallGrid) -> Float32Array:
    """Depth of a place below the tops around it, mm: light enters a narrow gap less."""
    near = ndimage.gaussian_filter(relief, 1.2 / grid.step_mm[1], mode=("nearest", "wrap"))
    return np.asarray(np.clip(0.5 * relief + 1.2 * (relief - near) + 0.2, 0.0, None))


def _fill_line(relief: Float32Array, line: FloatArray, grid: WallGrid) -> Float32Array:
    """Highest piece near the glass in each column, kept near the slow waves of ``line``."""
    near = relief < 0.6 * DEEPEST_MM
    top = np.where(near.any(axis=0), grid.heights_mm[near.argmax(axis=0)], 0.0)
    top = top + 0.5 * grid.step_mm[0]
    # a slot between two pieces at the top is a dark gap in the contents, not headspace
    top = ndimage.grey_closing(top, round(SLOT_MM / grid.step_mm[1]), mode="wrap")
    top = ndimage.gaussian_filter1d(top, 0.4 / grid.step_mm[1], mode="wrap")
    kept = np.clip(top, line - TOP_LIMIT_MM, line + TOP_LIMIT_MM)
    return np.asarray(np.clip(kept, 1.0, grid.height_mm - 1.0), dtype=np.float32)


def _colour(
    packing: Packing, look: Look, grid: WallGrid, rng: np.random.Generator, husks: float
) -> Float32Array:
    """Linear sRGB of the pieces seen: every piece its own tint, crease and fine lines."""
    count = packing.count + 1
    tint = np.array(look.lab) + rng.standard_normal((count, 3)) * np.array(look.lab_spread)
    pale = rng.random(count) < husks
    tint[pale] = np.array([72.0, 3.0, 22.0]) + rng.standard_normal((int(pale.sum()), 3)) * 2.0
    tint[-1] = (26.0, 5.0, 12.0)  # the last one stands for gaps (piece -1)
    lab = tint[packing.piece]
    u, v = packing.along, packing.across
    lab[..., 0] += _marks(look, packing, u, v, count, rng)
    mottle = fractal_noise(grid, rng=rng, largest_mm=3.0, smallest_mm=0.3, slope=1.0)
    lab[..., 0] += 1.4 * mottle
    lab[..., 2] += 1.0 * fractal_noise(grid, rng=rng, largest_mm=6.0, smallest_mm=0.8)
    return lab_to_linear(lab)


def _marks(
    look: Look,
    packing: Packing,
    u: Float32Array,
    v: Float32Array,
    count: int,
    rng: np.random.Generator,
) -> FloatArray:
    """Change of L*: crease or nodes, tips, rim, fine lines along the piece."""
    piece = packing.piece
    phase = rng.uniform(0.0, 100.0, count)[piece]
    # fine lines: a fixed noise along v, shifted by each piece's own phase and slowly bent
    lines = rng.standard_normal(4096)
    place = phase * 37.0 + (v + 0.08 * u * np.sin(phase)) * 7.0 * look.piece.width_mm / 3.0
    strands = np.interp(place % 4095.0, np.arange(4096), lines)
    rim = -5.0 * np.clip(np.hypot(u, v), 0.0, 1.0) ** 6
    if look.piece.shape == "kernel":
        seen = (rng.random(count) < 0.45)[piece]
        offset = rng.uniform(-0.45, 0.45, count)[piece]
        groove = np.exp(-(((v - offset) / 0.13) ** 2)) * (np.abs(u) < 0.86)
        end = rng.choice([-1.0, 1.0], count)[piece]
        germ = np.exp(-(((u - 0.72 * end) / 0.2) ** 2) - (v / 0.55) ** 2)
        light = rng.uniform(-6.0, 5.0, count)[piece]
        return -look.crease * groove * seen + light * germ + look.grain * strands + rim
    if look.piece.shape == "stalk":
        node = rng.uniform(-2.0, 2.0, count)[piece]
        band = np.exp(-(((u - node) / 0.035) ** 2))
        split = (rng.random(count) < 0.3)[piece] * np.exp(
            -(((v - 0.8 * np.cos(phase)) / 0.06) ** 2)
        )
        return np.asarray(-9.0 * band - 14.0 * split + look.grain * strands + 0.4 * rim)
    rings = np.sin(place * 1.3 + 3.0 * u) * 1.5
    return np.asarray(look.grain * strands + rings + 0.6 * rim)
