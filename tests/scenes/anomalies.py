"""Things that happen to a jar besides healthy growth: each a small frozen record.

An event may hinder the mycelium (move its arrival times) and may lay something over the wall.
Colours are CIELAB values set by eye from ordinary colour words; no measurement of moulds on grain
is known to the authors.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from jarvision.records import ByteArray, Float32Array, FloatArray, TissueClass

from .textures import fractal_noise, lab_to_linear, sigmoid, smoothstep
from .wall_paint import WallGrid

MouldKind = Literal["green", "blue-green", "black", "pink", "yellow"]


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

    def mix(self, share: Float32Array, linear: Float32Array) -> None:
        """Blend ``linear`` over the albedo by ``share``, ``(rows, cols)``."""
        self.albedo += share[..., None] * (linear - self.albedo)


@dataclass(frozen=True, kw_only=True)
class Event:
    """Something that happens to one jar from a day on."""

    from_day: float = 0.0

    def hinder(
        self, arrival: Float32Array, grid: WallGrid, *, rng: np.random.Generator
    ) -> Float32Array:
        """Arrival days of the mycelium as this event changes them."""
        del grid, rng
        return arrival

    def lay(self, canvas: Canvas, *, day: float, rng: np.random.Generator) -> None:
        """Draw the event over the wall as it looks on ``day``."""


@dataclass(frozen=True, kw_only=True)
class Stall(Event):
    """All growth of the mycelium stops for good on ``from_day``."""


@dataclass(frozen=True, kw_only=True)
class Shake(Event):
    """The jar is broken up on ``from_day``: kernels lie elsewhere, growth restarts everywhere."""

    nuclei_per_cm2: float = 2.5
    lag_days: float = 0.8


@dataclass(frozen=True, kw_only=True)
class _Blob(Event):
    """A rounded region with a ragged edge."""

    angle_deg: float = 0.0
    height_mm: float = 40.0
    size_mm: float = 14.0  # mean diameter
    ragged: float = 0.16  # spread of the edge, as a share of the radius

    def inwards_mm(self, grid: WallGrid, rng: np.random.Generator) -> Float32Array:
        """Depth inside the region, mm; negative outside."""
        return np.asarray(self.size_mm / 2.0 - self.distance_mm(grid, rng), dtype=np.float32)

    def distance_mm(self, grid: WallGrid, rng: np.random.Generator) -> FloatArray:
        """Distance from the centre, warped so that circles become ragged."""
        along, up = grid.offsets_mm(self.angle_deg, self.height_mm)
        radius = self.size_mm / 2.0
        warp = fractal_noise(grid, rng=rng, largest_mm=1.2 * radius, smallest_mm=0.6)
        return np.asarray(np.hypot(along, up) + self.ragged * radius * warp)


@dataclass(frozen=True, kw_only=True)
class BarePatch(_Blob):
    """An island that the mycelium never closes; what grew there before ``from_day`` stays."""

    creep_mm: float = 2.0  # growth still creeps in from the edge this far, ever slower

    def hinder(
        self, arrival: Float32Array, grid: WallGrid, *, rng: np.random.Generator
    ) -> Float32Array:
        inside = np.clip(self.inwards_mm(grid, rng) / self.creep_mm, -1.0, 1.0)
        # the delay runs to infinity as the creep limit is neared
        delay = 0.8 * (1.0 + inside) / np.maximum(1.0 - inside, 1e-6)
        late = np.where(inside < 0.999, arrival + delay, np.inf)
        return np.asarray(np.where(arrival > self.from_day, late, arrival), dtype=np.float32)


@dataclass(frozen=True)
class _Powder:
    """Colour of a ripe mould: fresh edge and old centre in Lab, grain, days of white growth."""

    tissue: TissueClass
    edge: tuple[float, float, float]
    ripe: tuple[float, float, float]
    spread: tuple[float, float, float]
    white_days: float


POWDERS: dict[MouldKind, _Powder] = {
    "green": _Powder(TissueClass.GREEN, (67, -17, 28), (40, -22, 17), (5, 2, 3), 2.2),
    "blue-green": _Powder(TissueClass.GREEN, (66, -10, 3), (53, -14, -2), (4, 2, 2), 2.6),
    "black": _Powder(TissueClass.BLACK, (42, 0, 3), (25, 0, 1), (7, 0.4, 0.8), 2.0),
    "pink": _Powder(TissueClass.PINK, (76, 16, 20), (64, 29, 27), (3, 2, 2), 1.5),
    "yellow": _Powder(TissueClass.YELLOW, (74, -6, 40), (60, -8, 45), (4, 1.5, 3), 2.0),
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Mould(_Blob):
    """A mould lands on ``from_day`` and runs outwards, white and dense, then colours from within.

    While it is white it cannot be told from mycelium, so its truth is MYCELIUM until it colours.
    ``size_mm`` is the diameter at which it stops.
    """

    kind: MouldKind = "green"
    speed_mm_per_day: float = 4.0
    germination_days: float = 1.0
    size_mm: float = 60.0

    def lay(self, canvas: Canvas, *, day: float, rng: np.random.Generator) -> None:
        grid, powder = canvas.grid, POWDERS[self.kind]
        distance = self.distance_mm(grid, rng)
        granules = fractal_noise(grid, rng=rng, largest_mm=2.0, smallest_mm=0.35, slope=0.6)
        clumps = fractal_noise(grid, rng=rng, largest_mm=9.0, smallest_mm=0.8, slope=1.2)
        arrival = self.from_day + self.germination_days + distance / self.speed_mm_per_day
        # a mould that has reached its limit still ripens: only the place is limited
        limit = smoothstep(0.0, 1.5, self.size_mm / 2.0 - distance)
        age = day - arrival
        white = sigmoid((age - 0.5) / 0.16 + 0.5 * granules) * smoothstep(0.0, 0.4, age) * limit
        felt_lab = np.array([91.0, -0.6, 3.0]) + granules[..., None] * np.array([1.6, 0.0, 0.4])
        canvas.mix(white, lab_to_linear(felt_lab))
        canvas.opacity[:] = np.maximum(canvas.opacity, white)
        canvas.relief_mm *= 1.0 - 0.85 * white
        coloured_for = age - powder.white_days + 0.22 * clumps
        colour = sigmoid((coloured_for + 0.2 * granules) / 0.14) * limit
        colour = np.asarray(np.where(white > 0.6, colour, 0.0), dtype=np.float32)
        ripe = smoothstep(0.2, 2.2, coloured_for)[..., None]
        lab = (1.0 - ripe) * np.array(powder.edge) + ripe * np.array(powder.ripe)
        lab = lab + (0.7 * granules + 0.7 * clumps)[..., None] * np.array(powder.spread)
        canvas.mix(0.97 * colour, lab_to_linear(lab))
        coloured = colour >= 0.5
        canvas.classes[canvas.opacity >= 0.5] = np.where(
            canvas.classes[canvas.opacity >= 0.5] == TissueClass.STAIN,
            TissueClass.STAIN,
            TissueClass.MYCELIUM,
        )
        canvas.classes[coloured] = powder.tissue
        canvas.opacity[coloured] = 0.0
        canvas.gloss *= 1.0 - 0.9 * np.maximum(white, colour)


@dataclass(frozen=True, kw_only=True)
class WetBottom(Event):
    """A dark, glossy zone above the floor that mycelium does not enter; slime in parts of it."""

    height_mm: float = 14.0
    rise_mm_per_day: float = 0.0
    slime: float = 0.25

    def _level(self, grid: WallGrid, rng: np.random.Generator) -> Float32Array:
        wave = fractal_noise(grid, rng=rng, largest_mm=50.0, smallest_mm=3.0, slope=1.3)
        return np.asarray(self.height_mm + 2.2 * wave - grid.heights_mm[:, None], dtype=np.float32)

    def hinder(
        self, arrival: Float32Array, grid: WallGrid, *, rng: np.random.Generator
    ) -> Float32Array:
        below = self._level(grid, rng) > -1.0
        return np.asarray(
            np.where(below & (arrival > self.from_day - 1.0), np.inf, arrival), dtype=np.float32
        )

    def lay(self, canvas: Canvas, *, day: float, rng: np.random.Generator) -> None:
        level = self._level(canvas.grid, rng)
        if day < self.from_day:
            return
        level = level + self.rise_mm_per_day * (day - self.from_day)
        # whole kernels look wet or dry: the edge steps from piece to piece
        edge = level + 3.0 * (canvas.piece_tone - 0.5)
        share = smoothstep(-0.6, 0.6, edge) * (1.0 - canvas.opacity)
        canvas.albedo *= (
            (1.0 - share * (1.0 - np.array([0.52, 0.47, 0.42])[:, None, None]))
            .transpose(1, 2, 0)
            .astype(np.float32)
        )
        film = fractal_noise(canvas.grid, rng=rng, largest_mm=16.0, smallest_mm=0.8)
        slimy = self.slime * smoothstep(0.5, 1.6, film) * share
        canvas.mix(slimy, lab_to_linear(np.array([64.0, 1.0, 13.0]))[None, None])
        canvas.gloss[:] = np.maximum(canvas.gloss, 0.92 * share)
        canvas.relief_mm *= 1.0 - 0.55 * share
        wet = (edge > 0.0) & (canvas.classes == TissueClass.BARE)
        canvas.classes[wet] = TissueClass.WET


@dataclass(frozen=True, kw_only=True)
class AmberStain(_Blob):
    """Amber metabolites over mycelium: a tinted area with small glossy drops; normal when old."""

    drops: int = 14
    ripen_days: float = 3.0

    def lay(self, canvas: Canvas, *, day: float, rng: np.random.Generator) -> None:
        inside = self.inwards_mm(canvas.grid, rng)
        tone = fractal_noise(canvas.grid, rng=rng, largest_mm=6.0, smallest_mm=0.5)
        grown = float(smoothstep(0.0, self.ripen_days, np.asarray(day - self.from_day)))
        reach = inside - (1.0 - grown) * self.size_mm / 2.0
        strength = np.asarray(grown > 0.0, dtype=np.float32) * smoothstep(-1.0, 1.0, reach)
        strength = strength * smoothstep(0.3, 0.7, canvas.opacity)
        lab = np.array([72.0, 7.0, 42.0]) + tone[..., None] * np.array([3.5, 1.2, -3.0])
        _stain(canvas, strength * 0.92, lab_to_linear(lab))
        for _ in range(self.drops):
            self._drop(canvas, grown, rng)

    def _drop(self, canvas: Canvas, grown: float, rng: np.random.Generator) -> None:
        turn, out = rng.uniform(0, 2 * np.pi), 0.55 * self.size_mm * np.sqrt(rng.random())
        degrees = np.rad2deg(out * np.cos(turn) / canvas.grid.radius_mm)
        size = rng.uniform(0.4, 1.1) * grown
        along, up = canvas.grid.offsets_mm(
            self.angle_deg + degrees, self.height_mm + out * np.sin(turn)
        )
        drop = smoothstep(-0.25, 0.25, size - np.hypot(along, up * 0.85))
        drop = drop * (canvas.opacity >= 0.5) * (size > 0.2)
        _stain(canvas, 0.9 * drop, lab_to_linear(np.array([54.0, 15.0, 50.0]))[None, None])
        canvas.gloss[:] = np.maximum(canvas.gloss, 0.95 * drop)


@dataclass(frozen=True, kw_only=True)
class BrownSkin(Event):
    """A leathery brown skin that spreads over old mycelium in patches."""

    days: float = 12.0  # until most of the wall is brown
    lab: tuple[float, float, float] = (40.0, 10.5, 19.0)

    def lay(self, canvas: Canvas, *, day: float, rng: np.random.Generator) -> None:
        order = fractal_noise(canvas.grid, rng=rng, largest_mm=45.0, smallest_mm=0.8, slope=1.4)
        tone = fractal_noise(canvas.grid, rng=rng, largest_mm=8.0, smallest_mm=0.4, slope=1.1)
        if day <= self.from_day:
            return
        reach = (day - self.from_day) / self.days * 4.0 - 2.0 - order
        strength = sigmoid(reach / 0.10) * smoothstep(0.3, 0.7, canvas.opacity)
        ripe = smoothstep(0.0, 0.8, reach)[..., None]
        young = np.array([66.0, 8.0, 25.0])
        lab = young + ripe * (np.array(self.lab) - young)
        lab = lab + tone[..., None] * np.array([3.0, 0.7, 1.2])
        _stain(canvas, 0.95 * strength, lab_to_linear(lab))
        canvas.gloss[:] = np.maximum(canvas.gloss, 0.4 * strength)


@dataclass(frozen=True, kw_only=True)
class Pins(Event):
    """Young fruit bodies pressed against the glass, below the fill line.

    They are solid mushroom tissue and no bare spot: their truth is MYCELIUM, caps too.
    """

    angle_deg: float = 0.0
    height_mm: float = 70.0
    spread_mm: float = 14.0
    count: int = 7
    cap_lab: tuple[float, float, float] = (66.0, 4.0, 13.0)
    grow_days: float = 4.0

    def lay(self, canvas: Canvas, *, day: float, rng: np.random.Generator) -> None:
        grown = float(smoothstep(0.0, self.grow_days, np.asarray(day - self.from_day)))
        for _ in range(self.count):
            place = rng.normal(0.0, 0.5 * self.spread_mm, 2)
            size, lean = rng.uniform(2.0, 4.2) * grown, rng.normal(0.0, 0.35)
            if grown > 0.05:
                self._pin(canvas, place, size, lean)

    def _pin(self, canvas: Canvas, place: FloatArray, size: float, lean: float) -> None:
        degrees = self.angle_deg + np.rad2deg(place[0] / canvas.grid.radius_mm)
        along, up = canvas.grid.offsets_mm(degrees, self.height_mm + place[1])
        x, z = along * np.cos(lean) + up * np.sin(lean), up * np.cos(lean) - along * np.sin(lean)
        stalk = np.hypot(x / (0.42 * size), (z + 0.9 * size) / (1.3 * size))
        cap = np.hypot(x / (0.75 * size), z / (0.55 * size))
        for q, lab in ((stalk, (90.0, 0.0, 6.0)), (cap, self.cap_lab)):
            share = smoothstep(0.0, 0.16, 1.0 - q)
            round_lab = np.array(lab) - np.clip(q, 0, 1)[..., None] ** 3 * np.array([9.0, 0, 0])
            canvas.mix(share, lab_to_linear(round_lab))
            on = share >= 0.5
            canvas.classes[on], canvas.opacity[on] = TissueClass.MYCELIUM, 1.0
            canvas.relief_mm[:] = np.where(on, 0.5 * q**2, canvas.relief_mm)


def _stain(canvas: Canvas, strength: Float32Array, linear: Float32Array) -> None:
    """Tint mycelium; the truth is STAIN where at least half the colour is the stain's."""
    strength = np.asarray(strength, dtype=np.float32)
    canvas.mix(strength, linear)
    seen = (strength >= 0.5) & (canvas.classes == TissueClass.MYCELIUM)
    canvas.classes[seen] = TissueClass.STAIN
