"""What every event of a jar has in common: the canvas it paints on and the growth it hinders."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from jarvision.records import BoolArray, ByteArray, Float32Array, FloatArray, TissueClass

from .textures import fractal_noise
from .wall_paint import FruitBody, WallGrid

HALF_GROWN_DAYS = 1.5  # at about this age mycelium hides half of what is behind it
AGE_FALL_DAYS_PER_MM = 0.9  # how fast growth thins out towards a place that it does not enter


@dataclass
class Canvas:
    """The wall while events are laid over it; arrays as in WallPaint, changed in place."""

    grid: WallGrid
    albedo: Float32Array
    relief_mm: Float32Array
    gloss: Float32Array
    classes: ByteArray
    opacity: Float32Array
    piece_tone: Float32Array
    pins: BoolArray
    standing: list[FruitBody] = field(default_factory=list)

    def mix(self, share: Float32Array, linear: Float32Array) -> None:
        """Blend ``linear`` over the albedo by ``share``, ``(rows, cols)``."""
        self.albedo += share[..., None] * (linear - self.albedo)

    def stain(self, strength: Float32Array, linear: Float32Array) -> None:
        """Tint mycelium; the truth is STAIN where at least half the colour is the stain's."""
        self.mix(np.asarray(strength, dtype=np.float32), linear)
        seen = (strength >= 0.5) & (self.classes == TissueClass.MYCELIUM)
        self.classes[seen] = TissueClass.STAIN


@dataclass(frozen=True)
class Growth:
    """When the front arrives, and how old the mycelium may get, ``(rows, cols)`` days each.

    Growth of a place stops ageing at ``oldest``: that keeps the thin fringe round an island
    that never closes.
    """

    arrival: Float32Array
    oldest: Float32Array

    def kept_out(self, inwards_mm: Float32Array, *, from_day: float) -> Growth:
        """Growth that thins out towards a region and never enters it.

        Parameters
        ----------
        inwards_mm
            Depth inside the region, negative outside; the outline is where half is hidden.
        from_day
            What had grown by then stays.
        """
        limit = np.clip(HALF_GROWN_DAYS - AGE_FALL_DAYS_PER_MM * inwards_mm, 0.0, None)
        limit = np.where(inwards_mm < -6.0, np.inf, limit)
        limit = np.maximum(limit, from_day - self.arrival)
        return Growth(self.arrival, np.minimum(self.oldest, limit).astype(np.float32))


@dataclass(frozen=True, kw_only=True)
class Event:
    """Something that happens to one jar from a day on."""

    from_day: float = 0.0

    def hinder(self, growth: Growth, grid: WallGrid, *, rng: np.random.Generator) -> Growth:
        """Growth of the mycelium as this event changes it."""
        del grid, rng
        return growth

    def lay(self, canvas: Canvas, *, day: float, rng: np.random.Generator) -> None:
        """Draw the event over the wall as it looks on ``day``."""


@dataclass(frozen=True, kw_only=True)
class Blob(Event):
    """An event with a place: a rounded region with a ragged edge."""

    angle_deg: float = 0.0
    height_mm: float = 40.0
    size_mm: float = 14.0  # mean diameter
    ragged: float = 0.16  # spread of the edge, as a share of the radius

    def distance_mm(self, grid: WallGrid, rng: np.random.Generator) -> FloatArray:
        """Distance from the centre, warped so that circles become ragged."""
        along, up = grid.offsets_mm(self.angle_deg, self.height_mm)
        radius = self.size_mm / 2.0
        warp = fractal_noise(grid, rng=rng, largest_mm=1.2 * radius, smallest_mm=0.6)
        return np.asarray(np.clip(np.hypot(along, up) + self.ragged * radius * warp, 0.0, None))

    def inwards_mm(self, grid: WallGrid, rng: np.random.Generator) -> Float32Array:
        """Depth inside the region, mm; negative outside."""
        return np.asarray(self.size_mm / 2.0 - self.distance_mm(grid, rng), dtype=np.float32)
