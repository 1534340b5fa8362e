"""The surface of the contents as a square patch: contents, growth over them, stains, wetness."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from scipy import ndimage

from jarvision.records import BoolArray, ByteArray, Float32Array, FloatArray, TissueClass
from tests.scenes.anomalies import WET_DARKENING, AmberStain, Mould
from tests.scenes.events import Canvas
from tests.scenes.growth_field import Front, arrival_days, scatter_nuclei
from tests.scenes.mycelium import felt, filled_relief, mycelium_colour, opacity_at
from tests.scenes.packing import DEEPEST_MM
from tests.scenes.substrates import bare_contents
from tests.scenes.textures import fractal_noise
from tests.scenes.wall_paint import WallGrid

from .spec import Ground, Mouth, Stain, TopClass, Water

CELL_MM = 0.2
BEYOND_MM = 6.0  # the patch is so much wider than the mouth, on each side
ABOVE_MM = 8.0  # rows of a packing's upper edge that are cut off
FAMILY = "family:"
_STEPS = 14  # of the search for the day on which so much is covered
_RIPE_DAYS = 40.0
CLASS_OF = np.zeros(256, np.uint8)
"""Class of a place by its :class:`jarvision.records.TissueClass`."""
CLASS_OF[[TissueClass.BARE, TissueClass.WET]] = TopClass.BARE
CLASS_OF[TissueClass.MYCELIUM] = TopClass.GROWTH
CLASS_OF[[TissueClass.GREEN, TissueClass.BLACK, TissueClass.PINK, TissueClass.YELLOW,
          TissueClass.STAIN]] = TopClass.OFF_COLOUR  # fmt: skip


@dataclass(frozen=True)
class Surface:
    """The patch, ``(n, n)`` arrays: columns run along x, rows along y, the mouth in the middle.

    Attributes
    ----------
    albedo
        ``(n, n, 3)`` linear sRGB.
    z_mm
        Depth below the rim.
    gloss
        0 matt to 1 wet.
    tissue
        :class:`jarvision.records.TissueClass` of each place.
    opacity
        Share of the contents that growth hides.
    pool_z_mm
        Level of the standing water below the rim; None for none.
    """

    cell_mm: float
    albedo: Float32Array
    z_mm: Float32Array
    gloss: Float32Array
    tissue: ByteArray
    opacity: Float32Array
    pool_z_mm: float | None = None

    @property
    def side_mm(self) -> float:
        """Side of the patch."""
        return self.cell_mm * len(self.z_mm)

    @property
    def axis_mm(self) -> FloatArray:
        """``(n,)`` x of the columns' centres, y of the rows'."""
        n = len(self.z_mm)
        return np.asarray((np.arange(n) + 0.5) * self.cell_mm - self.side_mm / 2.0)

    @property
    def classes(self) -> ByteArray:
        """``(n, n)`` :class:`TopClass` of the bare surface: no water, no fruit."""
        return np.asarray(CLASS_OF[self.tissue])

    def within(self, mouth: Mouth) -> BoolArray:
        """Cells inside the mouth's inner circle."""
        x = self.axis_mm
        return np.asarray(np.hypot(x[None, :], x[:, None]) <= mouth.radius_mm)

    def at(self, field: Float32Array, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """A field at places, bilinear, ``x_mm.shape``."""
        x, y = ((np.asarray(v) + self.side_mm / 2.0) / self.cell_mm - 0.5 for v in (x_mm, y_mm))
        found = ndimage.map_coordinates(field, [y, x], order=1, mode="nearest")
        return np.asarray(found, np.float64)


@dataclass(frozen=True)
class _Bare:
    albedo: Float32Array
    depth_mm: Float32Array
    gloss: Float32Array
    tone: Float32Array


def side_mm(mouth: Mouth) -> float:
    """Side of the patch that a mouth needs."""
    return float(np.ceil(mouth.inner_mm + 2.0 * (mouth.wider_mm + BEYOND_MM)))


def surface_of(ground: Ground, mouth: Mouth, water: Water) -> Surface:
    """Draw the surface; deterministic in its arguments."""
    side = side_mm(mouth)
    grid = _square(side)
    rng = np.random.default_rng([ground.seed, 41])
    bare = _contents(ground.contents, ground.seed, side)
    inside = _disc(grid, mouth.radius_mm)
    canvas = _grown(ground, bare, grid, inside, rng)
    for number, stain in enumerate(ground.stains):
        _lay(stain, canvas, np.random.default_rng([ground.seed, 43, number]))
    z = _height(ground, canvas, grid, inside, rng)
    level = float(np.quantile(z[inside], 1.0 - water.pool)) if water.pool > 0.0 else None
    _wet(canvas, water, z, level)
    return Surface(
        cell_mm=side / grid.rows,
        albedo=np.clip(canvas.albedo, 0.004, 0.95),
        z_mm=z,
        gloss=np.clip(canvas.gloss, 0.0, 1.0),
        tissue=canvas.classes,
        opacity=np.clip(canvas.opacity, 0.0, 1.0),
        pool_z_mm=level,
    )


def _square(side: float) -> WallGrid:
    """A square as the grid of a wall: its left and right edges meet, which nobody sees."""
    return WallGrid(side / (2.0 * np.pi), side, CELL_MM)


def _disc(grid: WallGrid, radius_mm: float) -> BoolArray:
    y = grid.height_mm / 2.0 - grid.heights_mm
    return np.asarray(np.hypot(grid.along_mm[None, :], y[:, None]) <= radius_mm)


@lru_cache(maxsize=2)
def _contents(contents: str, seed: int, side: float) -> _Bare:
    if contents.startswith(FAMILY):
        return _heap(int(contents.removeprefix(FAMILY)), seed, side)
    grid = WallGrid(side / (2.0 * np.pi), side + ABOVE_MM, CELL_MM)
    bare = bare_contents(
        contents, grid, seed=seed, fill_mm=side + ABOVE_MM, spawn_share=0.0, husks=0.02
    )
    rows = _square(side).rows
    return _Bare(*(part[-rows:] for part in
                   (bare.albedo, bare.relief_mm, bare.gloss, bare.piece_tone)))  # fmt: skip


def _heap(family: int, seed: int, side: float) -> _Bare:
    """A heap of the training room's contents, cut to the patch."""
    from tests.training.contents_layers import PX_MM, contents_heap

    heap, _ = contents_heap(family, seed)
    wide = min(round(side * PX_MM), *heap.there.shape)
    rows, cols = ((size - wide) // 2 for size in heap.there.shape)
    cells = _square(side).rows
    albedo, height, gloss, tone = (
        cv2.resize(part[rows : rows + wide, cols : cols + wide], (cells, cells),
                   interpolation=cv2.INTER_LINEAR)
        for part in (heap.albedo, heap.relief_mm, heap.gloss, heap.piece)
    )  # fmt: skip
    highest = cv2.dilate(height, np.ones((25, 25), np.uint8))
    depth = np.clip(cv2.GaussianBlur(highest, (0, 0), 12.0) - height, 0.0, DEEPEST_MM)
    return _Bare(np.clip(albedo, 0.004, 0.9), depth.astype(np.float32), np.clip(gloss, 0, 1), tone)


def _grown(
    ground: Ground, bare: _Bare, grid: WallGrid, inside: BoolArray, rng: np.random.Generator
) -> Canvas:
    """Growth over the contents, of the day on which it covers the wanted share."""
    nuclei = scatter_nuclei(grid, rng=rng, per_cm2=float(rng.uniform(0.05, 0.5)), first_day=0.0,
                            spread_days=1.5)  # fmt: skip
    arrival = arrival_days(nuclei, Front(float(rng.uniform(2.0, 4.0))), grid, rng=rng)
    arrival = arrival + 0.25 * bare.depth_mm + 0.7 * (bare.tone - 0.5)
    texture = felt(grid, arrival, ground.habit, rng=rng)  # type: ignore[arg-type]

    def opacity_on(day: float) -> Float32Array:
        return opacity_at(np.asarray(day - arrival, np.float32), texture, ground.habit)  # type: ignore[arg-type]

    low, high = float(arrival.min()) - 1.0, float(arrival.max()) + 25.0
    early, late = low, high
    for _ in range(_STEPS):
        day = (early + late) / 2.0
        much = float((opacity_on(day)[inside] >= 0.5).mean())
        early, late = (day, late) if much < ground.covered else (early, day)
    day = low if ground.covered <= 0.0 else high if ground.covered >= 1.0 else (early + late) / 2.0
    opacity = opacity_on(day)
    age = np.asarray(day - arrival, np.float32)
    canvas = Canvas(
        grid=grid,
        albedo=bare.albedo.copy(),
        relief_mm=filled_relief(bare.depth_mm, opacity, texture, ground.habit, grid),  # type: ignore[arg-type]
        gloss=np.asarray(bare.gloss * (1.0 - 0.9 * opacity), np.float32),
        classes=np.where(opacity >= 0.5, TissueClass.MYCELIUM, TissueClass.BARE).astype(np.uint8),
        opacity=opacity,
        piece_tone=bare.tone,
        pins=np.zeros(opacity.shape, bool),
    )
    colour = mycelium_colour(age, texture, ground.habit, ground.tint)  # type: ignore[arg-type]
    canvas.mix(opacity, colour)
    return canvas


def _lay(stain: Stain, canvas: Canvas, rng: np.random.Generator) -> None:
    """One mould or amber spot, ripe, where the record says."""
    grid = canvas.grid
    place = {
        "angle_deg": float(np.rad2deg(stain.x_mm / grid.radius_mm)),
        "height_mm": grid.height_mm / 2.0 - stain.y_mm,
        "size_mm": stain.size_mm,
    }
    event = (
        AmberStain(from_day=0.0, drops=0, **place)
        if stain.kind == "amber"
        else Mould(from_day=0.0, kind=stain.kind, speed_mm_per_day=8.0, **place)  # type: ignore[arg-type]
    )
    event.lay(canvas, day=_RIPE_DAYS, rng=rng)


def _height(
    ground: Ground, canvas: Canvas, grid: WallGrid, inside: BoolArray, rng: np.random.Generator
) -> Float32Array:
    """Depth below the rim: pieces, slow lumps and a bowl about the wanted mean."""
    lumps = fractal_noise(grid, rng=rng, largest_mm=45.0, smallest_mm=9.0, slope=1.4)
    y = grid.height_mm / 2.0 - grid.heights_mm
    far = np.hypot(grid.along_mm[None, :], y[:, None]) / (grid.height_mm / 2.0)
    z = canvas.relief_mm + ground.lumps_mm * lumps + ground.bowl_mm * (1.0 - far**2)
    return np.asarray(z - z[inside].mean() + ground.depth_mm, np.float32)


def _wet(canvas: Canvas, water: Water, z: Float32Array, level: float | None) -> None:
    """Wet places are darker and glossier; felt hardly changes."""
    soaked = min(0.8, 0.05 * water.per_cm2 * water.middle_mm)
    share = np.full(z.shape, soaked, np.float32)
    if level is not None:
        share = np.maximum(share, np.clip(1.0 - (level - z) / 1.5, 0.3, 1.0)).astype(np.float32)
    share = share * (1.0 - 0.85 * canvas.opacity)
    canvas.albedo *= 1.0 - share[..., None] * (1.0 - WET_DARKENING)
    canvas.gloss[:] = np.maximum(canvas.gloss, 0.85 * share)
