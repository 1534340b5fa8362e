"""What mycelium looks like from the day its front arrives: thin threads first, then white felt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import ndimage

from jarvision.records import Float32Array, FloatArray

from .textures import brushed, fractal_noise, lab_to_linear, sigmoid, smoothstep, tangle
from .wall_paint import WallGrid

FELT_BRIDGE_MM = 0.75  # felt spans hollows about this wide
THREAD_SAG_MM = 0.45  # relief follows opacity only at sizes above this

Habit = Literal["fluffy", "ropey", "wispy", "skin"]
Tint = Literal["white", "cream", "greyish"]


@dataclass(frozen=True)
class HabitLook:
    """How one growth habit thickens.

    Attributes
    ----------
    half_days
        Days from arrival to half opacity.
    rise_days
        Scale of the logistic rise.
    thread_gain
        How far threads run ahead of the ground between them, in units of the logistic.
    radial_share
        Weight of threads that radiate from the nuclei, against those that cross at random.
    width_mm, length_mm
        Size of the threads.
    densest, patchy
        Opacity of old growth, and its spread over some millimetres.
    fluff_mm
        Height of the tufts that press against the glass.
    """

    half_days: float
    rise_days: float
    thread_gain: float
    radial_share: float
    width_mm: float
    length_mm: float
    densest: float
    patchy: float
    fluff_mm: float


HABITS: dict[Habit, HabitLook] = {
    "fluffy": HabitLook(1.5, 0.42, 1.1, 0.45, 0.42, 5.0, 0.985, 0.010, 0.30),
    "ropey": HabitLook(1.7, 0.45, 2.0, 0.75, 0.80, 14.0, 0.975, 0.015, 0.40),
    "wispy": HabitLook(2.2, 0.65, 1.6, 0.55, 0.45, 7.0, 0.84, 0.080, 0.18),
    "skin": HabitLook(1.3, 0.36, 0.7, 0.25, 0.35, 3.0, 0.990, 0.006, 0.10),
}
TINTS: dict[Tint, tuple[float, float, float]] = {
    "white": (92.0, -0.4, 3.5),
    "cream": (88.5, 0.8, 11.5),
    "greyish": (83.0, -0.4, 3.0),
}


@dataclass(frozen=True)
class Felt:
    """Textures of one spell of growth, ``(rows, cols)``, zero mean and unit spread."""

    threads: Float32Array
    patches: Float32Array
    tufts: Float32Array


def felt(grid: WallGrid, arrival: Float32Array, habit: Habit, *, rng: np.random.Generator) -> Felt:
    """Threads that radiate from where growth began, mixed with a tangle, and slow variation."""
    look = HABITS[habit]
    finite = np.where(np.isfinite(arrival), arrival, 99.0).astype(np.float32)
    radial = brushed(grid, finite, rng=rng, width_mm=look.width_mm, length_mm=look.length_mm)
    crossing = tangle(grid, rng=rng, width_mm=0.7 * look.width_mm, length_mm=0.6 * look.length_mm)
    threads = look.radial_share * radial + (1.0 - look.radial_share) * crossing
    return Felt(
        np.asarray(threads / threads.std(), dtype=np.float32),
        fractal_noise(grid, rng=rng, largest_mm=18.0, smallest_mm=1.5, slope=1.2),
        fractal_noise(grid, rng=rng, largest_mm=7.0, smallest_mm=0.9, slope=1.5),
    )


def opacity_at(age_days: Float32Array, texture: Felt, habit: Habit) -> Float32Array:
    """Share of the contents hidden, 0 to 1; never falls with age.

    Parameters
    ----------
    age_days
        ``(rows, cols)`` days since the front arrived; minus infinity where it never does.
    """
    look = HABITS[habit]
    ripe = (age_days - look.half_days) / look.rise_days
    lead = look.thread_gain * texture.threads + 0.8 * texture.patches
    born = smoothstep(0.0, 0.5 * look.half_days, age_days)
    top = np.clip(look.densest + look.patchy * (texture.patches + 0.5 * texture.threads), 0.0, 1.0)
    return np.asarray(sigmoid(ripe + lead) * born * top, dtype=np.float32)


def mycelium_colour(
    age_days: Float32Array, texture: Felt, habit: Habit, tint: Tint
) -> Float32Array:
    """Linear sRGB of the mycelium itself: threads lighter than the hollows, creamier with age."""
    look = HABITS[habit]
    light, a, b = TINTS[tint]
    old = smoothstep(2.0, 18.0, np.where(np.isfinite(age_days), age_days, 0.0))
    thin = 1.0 - smoothstep(0.5, 4.0, np.where(np.isfinite(age_days), age_days, 0.0))
    relief = 1.1 * np.clip(texture.threads, -2.5, 2.5) + 1.2 * np.clip(texture.tufts, -2.5, 2.5)
    lab = np.empty((*age_days.shape, 3), dtype=np.float32)
    lab[..., 0] = light + relief * (0.6 + look.fluff_mm) + 0.9 * texture.patches - 3.0 * thin
    lab[..., 0] = np.minimum(lab[..., 0], 97.0)
    lab[..., 1] = a + 0.4 * old
    lab[..., 2] = b + 2.5 * old * (1.0 + 0.3 * texture.patches) + 0.4 * texture.patches
    return lab_to_linear(lab)


def filled_relief(
    relief_mm: Float32Array, opacity: Float32Array, texture: Felt, habit: Habit, grid: WallGrid
) -> Float32Array:
    """Depth after mycelium has grown into the gaps: dense felt lies close behind the glass.

    Felt bridges the steps between kernels, so their shapes show through it only softly.
    """
    blur = FELT_BRIDGE_MM / grid.step_mm[1]
    soft = ndimage.gaussian_filter(relief_mm, blur, mode=("nearest", "wrap"))
    fluff = HABITS[habit].fluff_mm * (1.0 + 0.35 * np.clip(texture.tufts, -2.0, 2.0))
    threads = 0.03 * np.clip(texture.threads, -2.0, 2.0)
    # single threads hang across a gap: they do not raise walls out of its ground
    dense = smoothstep(0.15, 0.95, opacity)
    dense = ndimage.gaussian_filter(
        dense, THREAD_SAG_MM / grid.step_mm[1], mode=("nearest", "wrap")
    )
    closed: FloatArray = np.maximum(0.38 * soft + fluff - threads, 0.0)
    return np.asarray((1.0 - dense) * relief_mm + dense * closed, dtype=np.float32)
