"""Moulds: white and dense at first, then coloured powder with a white rim.

Colours are CIELAB values set by eye from ordinary colour words; no measurement of moulds on grain
is known to the authors.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from jarvision.records import Float32Array, FloatArray, TissueClass

from .events import Blob, Canvas
from .textures import fractal_noise, lab_to_linear, sigmoid, smoothstep

MouldKind = Literal["green", "blue-green", "black", "pink", "yellow"]

HYPHAE_LAB = (91.0, -0.6, 3.0)
FELT_DEPTH_MM = 0.25  # mould presses against the glass as mycelium does
RIM_MM = 2.2  # white rim that a mould at its limit keeps
ZONE_MM = 4.5  # spacing of the faint rings that day and night leave


@dataclass(frozen=True)
class Powder:
    """Colour of a ripe mould.

    Attributes
    ----------
    edge, ripe
        Lab of the youngest and of the oldest powder.
    spread
        Lab spread of its grain.
    white_days
        Days from white growth to colour.
    body
        Share of the white hyphae that ripe powder hides.
    """

    tissue: TissueClass
    edge: tuple[float, float, float]
    ripe: tuple[float, float, float]
    spread: tuple[float, float, float]
    white_days: float
    body: float


POWDERS: dict[MouldKind, Powder] = {
    "green": Powder(TissueClass.GREEN, (66, -16, 27), (38, -20, 15), (5.5, 2, 3), 2.2, 0.96),
    "blue-green": Powder(TissueClass.GREEN, (67, -10, 3), (52, -14, -1), (4, 2, 2), 2.6, 0.94),
    "black": Powder(TissueClass.BLACK, (44, 0.3, 4), (23, 0.2, 1), (8, 0.4, 0.8), 2.0, 0.97),
    "pink": Powder(TissueClass.PINK, (79, 13, 17), (66, 28, 24), (3.5, 3, 3), 1.5, 0.93),
    "yellow": Powder(TissueClass.YELLOW, (77, -5, 36), (61, -8, 42), (4.5, 1.5, 4), 2.0, 0.95),
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Mould(Blob):
    """A mould lands on ``from_day``, runs outwards white and dense, and colours from within.

    While it is white it cannot be told from mycelium, so its truth is MYCELIUM until it colours.
    ``size_mm`` is the diameter at which it stops.
    """

    kind: MouldKind = "green"
    speed_mm_per_day: float = 4.0
    germination_days: float = 1.0
    size_mm: float = 60.0
    ragged: float = 0.07

    def lay(self, canvas: Canvas, *, day: float, rng: np.random.Generator) -> None:
        grid = canvas.grid
        distance = self.distance_mm(grid, rng)
        granules = fractal_noise(grid, rng=rng, largest_mm=1.6, smallest_mm=0.35, slope=0.7)
        clumps = fractal_noise(grid, rng=rng, largest_mm=9.0, smallest_mm=0.8, slope=1.3)
        inside = self.size_mm / 2.0 - distance
        age = day - self.from_day - self.germination_days - distance / self.speed_mm_per_day
        white = sigmoid((age - 0.5) / 0.16 + 0.6 * granules) * smoothstep(0.0, 0.4, age)
        white = white * smoothstep(-1.0, 1.0, inside + 0.4 * granules)
        _felt(canvas, white, granules)
        powder = POWDERS[self.kind]
        since = age - powder.white_days + 0.16 * clumps
        share = sigmoid((since + 0.22 * granules) / 0.2)
        share = share * smoothstep(-1.0, 1.0, inside - RIM_MM + 0.8 * granules + 0.5 * clumps)
        share = np.asarray(share * smoothstep(0.5, 0.8, white), dtype=np.float32)
        zones = np.sin(2.0 * np.pi * distance / ZONE_MM + 0.8 * clumps)
        _powder(canvas, powder, share, since, 0.75 * granules + 0.55 * clumps + 0.35 * zones)


def _felt(canvas: Canvas, white: Float32Array, granules: Float32Array) -> None:
    """White hyphae over whatever is there."""
    lab = np.array(HYPHAE_LAB) + granules[..., None] * np.array([1.6, 0.0, 0.4])
    canvas.mix(white, lab_to_linear(lab))
    canvas.opacity[:] = 1.0 - (1.0 - canvas.opacity) * (1.0 - white)
    canvas.relief_mm += white * (FELT_DEPTH_MM + 0.05 * granules - canvas.relief_mm)
    canvas.gloss *= 1.0 - 0.9 * white
    bare = np.isin(canvas.classes, (TissueClass.BARE, TissueClass.WET))
    canvas.classes[(white >= 0.5) | (bare & (canvas.opacity >= 0.5))] = TissueClass.MYCELIUM


def _powder(
    canvas: Canvas, powder: Powder, share: Float32Array, since: FloatArray, grain: FloatArray
) -> None:
    """Coloured powder over the felt; where it makes up half the colour it is the truth."""
    ripe = smoothstep(0.0, 3.0, since)[..., None]
    lab = (1.0 - ripe) * np.array(powder.edge) + ripe * np.array(powder.ripe)
    lab = lab + grain[..., None] * np.array(powder.spread)
    # sparse grains let white hyphae through
    cover = powder.body * share * (1.0 - 0.18 * smoothstep(0.6, 2.4, grain))
    canvas.mix(np.asarray(cover, dtype=np.float32), lab_to_linear(lab))
    coloured = cover >= 0.5
    canvas.classes[coloured] = powder.tissue
    canvas.opacity[coloured] = 0.0
    canvas.relief_mm += cover * (0.07 * np.clip(grain, -1.5, 1.5) + 0.1).astype(np.float32)
