"""Things that happen to a jar besides healthy growth: each a small frozen record.

An event may hinder the mycelium (move its arrival times) and may lay something over the wall.
Colours are CIELAB values set by eye from ordinary colour words; no measurement of moulds on grain
is known to the authors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jarvision.records import Float32Array, FloatArray, TissueClass

from .events import Blob, Canvas, Event, Growth
from .moulds import Mould
from .textures import fractal_noise, lab_to_linear, sigmoid, smoothstep
from .wall_paint import FruitBody, WallGrid

__all__ = [
    "AmberStain",
    "BarePatch",
    "BrownSkin",
    "Event",
    "Mould",
    "Pins",
    "Shake",
    "Stall",
    "StandingPins",
    "WetBottom",
]

WET_DARKENING = np.array([0.52, 0.47, 0.42], dtype=np.float32)  # linear R, G, B of wet over dry


@dataclass(frozen=True, kw_only=True)
class Stall(Event):
    """All growth of the mycelium stops for good on ``from_day``."""


@dataclass(frozen=True, kw_only=True)
class Shake(Event):
    """The jar is broken up on ``from_day``: kernels lie elsewhere, growth restarts everywhere."""

    nuclei_per_cm2: float = 2.5
    lag_days: float = 0.8


@dataclass(frozen=True, kw_only=True)
class BarePatch(Blob):
    """An island that the mycelium never closes; what grew there before ``from_day`` stays."""

    def hinder(self, growth: Growth, grid: WallGrid, *, rng: np.random.Generator) -> Growth:
        return growth.kept_out(self.inwards_mm(grid, rng), from_day=self.from_day)


@dataclass(frozen=True, kw_only=True)
class WetBottom(Event):
    """A dark, glossy zone above the floor that mycelium does not enter; slime in parts of it."""

    height_mm: float = 14.0
    rise_mm_per_day: float = 0.0
    slime: float = 0.25

    def _level(self, grid: WallGrid, rng: np.random.Generator) -> Float32Array:
        wave = fractal_noise(grid, rng=rng, largest_mm=50.0, smallest_mm=3.0, slope=1.3)
        return np.asarray(self.height_mm + 2.2 * wave - grid.heights_mm[:, None], dtype=np.float32)

    def hinder(self, growth: Growth, grid: WallGrid, *, rng: np.random.Generator) -> Growth:
        return growth.kept_out(self._level(grid, rng) + 1.0, from_day=self.from_day - 1.0)

    def lay(self, canvas: Canvas, *, day: float, rng: np.random.Generator) -> None:
        level = self._level(canvas.grid, rng)
        if day < self.from_day:
            return
        level = level + self.rise_mm_per_day * (day - self.from_day)
        # whole kernels look wet or dry: the edge steps from piece to piece
        edge = level + 3.0 * (canvas.piece_tone - 0.5)
        share = smoothstep(-0.6, 0.6, edge) * (1.0 - canvas.opacity)
        canvas.albedo *= 1.0 - share[..., None] * (1.0 - WET_DARKENING)
        film = fractal_noise(canvas.grid, rng=rng, largest_mm=16.0, smallest_mm=0.8)
        slimy = self.slime * smoothstep(0.5, 1.6, film) * share
        canvas.mix(slimy, lab_to_linear(np.array([64.0, 1.0, 13.0]))[None, None])
        canvas.gloss[:] = np.maximum(canvas.gloss, 0.92 * share)
        canvas.relief_mm *= 1.0 - 0.55 * share
        wet = (edge > 0.0) & (canvas.classes == TissueClass.BARE)
        canvas.classes[wet] = TissueClass.WET


@dataclass(frozen=True, kw_only=True)
class AmberStain(Blob):
    """Amber metabolites over mycelium: a tinted area with small glossy drops; normal when old."""

    drops: int = 14
    ripen_days: float = 3.0

    def lay(self, canvas: Canvas, *, day: float, rng: np.random.Generator) -> None:
        inside = self.inwards_mm(canvas.grid, rng)
        tone = fractal_noise(canvas.grid, rng=rng, largest_mm=6.0, smallest_mm=0.5)
        grown = float(smoothstep(0.0, self.ripen_days, np.asarray(day - self.from_day)))
        reach = inside - (1.0 - grown) * self.size_mm / 2.0
        strength = smoothstep(-2.5, 2.0, reach + 0.9 * tone) * smoothstep(0.3, 0.7, canvas.opacity)
        strength = strength * np.float32(grown > 0.0)
        lab = np.array([74.0, 6.0, 39.0]) + tone[..., None] * np.array([3.5, -1.2, -3.0])
        canvas.stain(strength * 0.92, lab_to_linear(lab))
        for _ in range(self.drops):
            self._drop(canvas, grown, rng)

    def _drop(self, canvas: Canvas, grown: float, rng: np.random.Generator) -> None:
        turn, out = rng.uniform(0, 2 * np.pi), 0.55 * self.size_mm * np.sqrt(rng.random())
        degrees = np.rad2deg(out * np.cos(turn) / canvas.grid.radius_mm)
        size = rng.gamma(3.0, 0.2) * grown
        along, up = canvas.grid.offsets_mm(
            self.angle_deg + degrees, self.height_mm + out * np.sin(turn)
        )
        drop = smoothstep(-0.25, 0.25, size - np.hypot(along, up * 0.85))
        drop = drop * (canvas.opacity >= 0.5) * (size > 0.2)
        canvas.stain(0.9 * drop, lab_to_linear(np.array([54.0, 15.0, 50.0]))[None, None])
        canvas.gloss[:] = np.maximum(canvas.gloss, 0.95 * drop)


@dataclass(frozen=True, kw_only=True)
class BrownSkin(Event):
    """A leathery brown skin that spreads over old mycelium in patches."""

    days: float = 12.0  # until most of the wall is brown
    lab: tuple[float, float, float] = (40.0, 10.5, 19.0)

    def lay(self, canvas: Canvas, *, day: float, rng: np.random.Generator) -> None:
        order = fractal_noise(canvas.grid, rng=rng, largest_mm=45.0, smallest_mm=1.2, slope=1.8)
        tone = fractal_noise(canvas.grid, rng=rng, largest_mm=8.0, smallest_mm=0.4, slope=1.1)
        if day <= self.from_day:
            return
        reach = (day - self.from_day) / self.days * 4.0 - 2.0 - order
        strength = sigmoid((reach + 0.12 * tone) / 0.16) * smoothstep(0.3, 0.7, canvas.opacity)
        ripe = smoothstep(0.0, 0.8, reach)[..., None]
        young = np.array([66.0, 8.0, 25.0])
        lab = young + ripe * (np.array(self.lab) - young)
        lab = lab + tone[..., None] * np.array([3.0, 0.7, 1.2])
        canvas.stain(0.95 * strength, lab_to_linear(lab))
        canvas.gloss[:] = np.maximum(canvas.gloss, 0.4 * strength)


@dataclass(frozen=True, kw_only=True)
class Pins(Event):
    """Young fruit bodies pressed against the glass, below the fill line.

    They are solid mushroom tissue and no bare spot: their truth is MYCELIUM, and ``pins`` marks
    the caps.
    """

    angle_deg: float = 0.0
    height_mm: float = 70.0
    spread_mm: float = 14.0
    count: int = 7
    cap_lab: tuple[float, float, float] = (66.0, 4.0, 13.0)
    grow_days: float = 4.0
    cap_mm: tuple[float, float] = (2.0, 4.2)
    stalk_lab: tuple[float, float, float] = (90.0, 0.0, 6.0)

    def lay(self, canvas: Canvas, *, day: float, rng: np.random.Generator) -> None:
        grown = float(smoothstep(0.0, self.grow_days, np.asarray(day - self.from_day)))
        for _ in range(self.count):
            place = rng.normal(0.0, 0.5 * self.spread_mm, 2)
            size, lean = rng.uniform(*self.cap_mm) * grown, rng.normal(0.0, 0.35)
            if grown > 0.05:
                self._pin(canvas, place, size, lean)

    def _pin(self, canvas: Canvas, place: FloatArray, size: float, lean: float) -> None:
        degrees = self.angle_deg + np.rad2deg(place[0] / canvas.grid.radius_mm)
        along, up = canvas.grid.offsets_mm(degrees, self.height_mm + place[1])
        x, z = along * np.cos(lean) + up * np.sin(lean), up * np.cos(lean) - along * np.sin(lean)
        stalk = np.hypot(x / (0.5 * size), (z + 0.8 * size) / (1.2 * size))
        cap = np.hypot(x / (0.75 * size), z / (0.55 * size))
        for q, lab in ((stalk, self.stalk_lab), (cap, self.cap_lab)):
            share = smoothstep(0.0, 0.16, 1.0 - q)
            round_lab = np.array(lab) - np.clip(q, 0, 1)[..., None] ** 3 * np.array([6.0, 0, 0])
            canvas.mix(share, lab_to_linear(round_lab))
            on = share >= 0.5
            canvas.classes[on], canvas.opacity[on] = TissueClass.MYCELIUM, 1.0
            canvas.relief_mm[:] = np.where(on, 0.5 * q**2, canvas.relief_mm)
        canvas.pins |= cap <= 0.92  # where the cap's colour is at least half


@dataclass(frozen=True, kw_only=True)
class StandingPins(Event):
    """A cluster of fruit bodies on top of the contents, above the fill line, near the glass."""

    angle_deg: float = 0.0
    spread_deg: float = 14.0
    count: int = 6
    tall_mm: tuple[float, float] = (7.0, 20.0)
    cap_mm: tuple[float, float] = (2.0, 5.0)
    back_mm: float = 5.0
    cap_lab: tuple[float, float, float] = (66.0, 4.0, 13.0)
    stalk_lab: tuple[float, float, float] = (88.0, 0.0, 6.0)

    def lay(self, canvas: Canvas, *, day: float, rng: np.random.Generator) -> None:
        pair = tuple(
            tuple(float(v) for v in lab_to_linear(np.array(lab)))
            for lab in (self.stalk_lab, self.cap_lab)
        )
        for _ in range(self.count if day >= self.from_day else 0):
            cap = float(rng.uniform(*self.cap_mm))
            canvas.standing.append(
                FruitBody(
                    angle_deg=float(self.angle_deg + rng.normal(0.0, self.spread_deg)),
                    back_mm=float(rng.uniform(0.0, self.back_mm)),
                    tall_mm=max(float(rng.uniform(*self.tall_mm)), 1.6 * cap),
                    cap_radius_mm=cap,
                    linear=(pair[0], pair[1]),
                )
            )
