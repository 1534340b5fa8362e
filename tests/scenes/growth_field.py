"""Arrival times of the mycelium on the wall: nucleation and growth, periodic in angle.

Nuclei appear at random places and times and every front runs outwards. With equal speed, no
rough edge and all nuclei at once, the covered share of an endless wall is
``X = 1 - exp(-pi N v^2 t^2)`` (Kolmogorov 1937; Johnson & Mehl 1939; Avrami 1939-41; from memory),
which the tests hold this module to.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from jarvision.records import Float32Array, FloatArray

from .textures import fractal_noise
from .wall_paint import WallGrid

MARGIN_MM = 12.0  # nuclei also lie this far above and below the wall: no dark edge at its ends
NEIGHBOURS = 12  # nearest nuclei that may arrive first where their start times differ


@dataclass(frozen=True)
class Nuclei:
    """Where and when growth starts: ``(n,)`` arc length and height in mm, and day."""

    along_mm: FloatArray
    height_mm: FloatArray
    day: FloatArray

    def __len__(self) -> int:
        return len(self.day)


@dataclass(frozen=True)
class Front:
    """How the front runs.

    Attributes
    ----------
    speed_mm_per_day
        Mean radial speed.
    speed_spread
        Relative spread of the speed over places some centimetres apart.
    rough_mm
        Spread of the front's place about a smooth circle.
    """

    speed_mm_per_day: float
    speed_spread: float = 0.15
    rough_mm: float = 1.6


def scatter_nuclei(
    grid: WallGrid,
    *,
    rng: np.random.Generator,
    per_cm2: float,
    first_day: float,
    spread_days: float,
    top_mm: float | None = None,
) -> Nuclei:
    """Draw a Poisson number of nuclei at random places; start days are gamma-distributed.

    ``spread_days`` is the standard deviation of the start; 0 starts them all on ``first_day``.
    """
    top = grid.height_mm if top_mm is None else top_mm
    area_cm2 = grid.girth_mm * (top + 2.0 * MARGIN_MM) / 100.0
    count = max(1, int(rng.poisson(per_cm2 * area_cm2)))
    along = rng.uniform(-grid.girth_mm / 2.0, grid.girth_mm / 2.0, count)
    height = rng.uniform(-MARGIN_MM, top + MARGIN_MM, count)
    # a gamma of shape 2 has a standard deviation of sqrt(2) times its scale
    late = rng.gamma(2.0, 1.0, count) * (spread_days / np.sqrt(2.0))
    return Nuclei(along, height, first_day + late)


def arrival_days(
    nuclei: Nuclei, front: Front, grid: WallGrid, *, rng: np.random.Generator
) -> Float32Array:
    """Day on which a front first reaches each cell, ``(rows, cols)``.

    Each cell takes the earliest of its nearest nuclei; places are displaced by fractal noise, so
    that fronts are rough, and distances stretched by a slowly varying slowness.
    """
    x = np.broadcast_to(grid.along_mm[None, :], grid.shape)
    z = np.broadcast_to(grid.heights_mm[:, None], grid.shape)
    if front.rough_mm > 0.0:
        x = x + front.rough_mm * fractal_noise(grid, rng=rng, largest_mm=14.0, smallest_mm=0.6)
        z = z + front.rough_mm * fractal_noise(grid, rng=rng, largest_mm=14.0, smallest_mm=0.6)
    distance, nearest = _neighbours(nuclei, grid, x, z)
    slowness = 1.0 / front.speed_mm_per_day
    if front.speed_spread > 0.0:
        slow = fractal_noise(grid, rng=rng, largest_mm=60.0, smallest_mm=8.0, slope=1.2)
        slowness = slowness * np.exp(front.speed_spread * slow)[..., None]
    days = nuclei.day[nearest] + distance * slowness
    return np.asarray(days.min(axis=-1), dtype=np.float32)


def _neighbours(
    nuclei: Nuclei, grid: WallGrid, x: FloatArray, z: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Distances to and numbers of the nearest nuclei, ``(rows, cols, k)``, around the seam too."""
    girth = grid.girth_mm
    # only the angle is periodic: the other side of the box is too far to matter
    tall = 4.0 * (grid.height_mm + 2.0 * MARGIN_MM) + girth
    points = np.column_stack([nuclei.along_mm % girth, nuclei.height_mm + tall / 3.0])
    tree = cKDTree(points, boxsize=(girth, tall))
    wanted = min(NEIGHBOURS, len(nuclei)) if np.ptp(nuclei.day) > 0.0 else 1
    cells = np.stack([x % girth, z + tall / 3.0], axis=-1)
    distance, nearest = tree.query(cells, k=[*range(1, wanted + 1)])
    return distance, nearest
