"""Random contents as they stand behind a whole jar's wall (NumPy)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from jarvision.records import BoolArray, Float32Array
from jarvision.vision.jar.unroll import CELL_MM
from tests.scenes.wall_paint import WallGrid

from .contents_layers import CANVAS, FAMILIES, contents_heap
from .heaps import Heap
from .noise import fractal
from .texture_layers import Textures, texture_heap

FRONT_DEG = 60.0  # what a camera sees of the wall
TEXTURE = len(FAMILIES)  # number of the family of photographed textures
DEEPEST_MM = 5.0  # behind this nothing is seen through the gaps
_REACH_MM = 5.0  # contents touch the glass at least once in such a place


@dataclass(frozen=True)
class Bare:
    """Contents before anything grows, on a wall's grid.

    Attributes
    ----------
    albedo
        ``(rows, cols, 3)`` linear sRGB.
    depth_mm
        Behind the glass.
    gloss, piece
        0 to 1; a random number a piece.
    fill_mm
        ``(cols,)`` height of the fill line.
    holds
        Bits of the families in it.
    """

    grid: WallGrid
    albedo: Float32Array
    depth_mm: Float32Array
    gloss: Float32Array
    piece: Float32Array
    fill_mm: Float32Array
    holds: int

    @cached_property
    def filled(self) -> BoolArray:
        """Below the fill line."""
        return np.asarray(self.grid.heights_mm[:, None] <= self.fill_mm)

    @cached_property
    def seen(self) -> BoolArray:
        """Below the fill line and in front."""
        return np.asarray(self.filled & (np.abs(self.grid.angles_deg) <= FRONT_DEG))


@dataclass(frozen=True)
class Pose:
    """How a canvas of layers is laid on a wall; it is mirrored beyond its edges."""

    turn: float
    size: float
    flips: tuple[float, float]
    aside_mm: float
    down: float  # 0 to 1: which part of a canvas that is taller than the wall

    @classmethod
    def draw(cls, rng: np.random.Generator, *, turn: float, scale: float) -> Pose:
        """Turned (radians) and scaled (in logarithms) by so much spread."""
        return cls(
            float(turn * rng.standard_normal()),
            float(np.clip(np.exp(scale * rng.standard_normal()), 0.6, 1.7)),
            (float(rng.choice([-1.0, 1.0])), float(rng.choice([-1.0, 1.0]))),
            float(rng.uniform(-6.0, 6.0)),
            float(rng.random()),
        )

    def laid(self, field: Float32Array, grid: WallGrid) -> Float32Array:
        """A canvas of any fineness at the cells of a wall."""
        mm = CANVAS[1] * CELL_MM / field.shape[1]  # a pixel of the canvas
        down, across = grid.step_mm
        coarser = max(down, across) / (mm * self.size)
        if coarser > 1.0:  # against moiré
            field = np.asarray(cv2.GaussianBlur(field, (0, 0), 0.35 * coarser), np.float32)
        spare = max(0.0, field.shape[0] * mm * self.size - grid.height_mm)
        cos, sin = np.cos(self.turn) / (mm * self.size), np.sin(self.turn) / (mm * self.size)
        linear = np.array([[self.flips[0] * cos, -sin], [self.flips[0] * sin, cos]])
        linear[1] *= self.flips[1]
        linear = linear @ np.diag([across, down])
        middle = np.array([(grid.cols - 1) / 2.0, (grid.rows - 1) / 2.0])
        target = np.array([(field.shape[1] - 1) / 2.0, (field.shape[0] - 1) / 2.0])
        target += np.array([self.aside_mm, (self.down - 0.5) * spare]) / (mm * self.size)
        matrix = np.column_stack([linear, target - linear @ middle])
        return np.asarray(
            cv2.warpAffine(
                field, matrix, (grid.cols, grid.rows),
                flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REFLECT_101,
            ), np.float32,
        )  # fmt: skip


def bare_jar(
    family: int, seed: int, rng: np.random.Generator, *, textures: Textures | None = None
) -> Bare:
    """A jar of random size with contents of a family, as :func:`.contents_layer` draws them."""
    height = float(rng.uniform(95.0, 135.0))
    grid = WallGrid(float(rng.uniform(33.0, 47.0)), height)
    heap, holds = _heap(family, seed, textures)
    pose = Pose.draw(rng, turn=0.12, scale=0.14)
    albedo, relief, gloss, piece = (
        pose.laid(part, grid) for part in (heap.albedo, heap.relief_mm, heap.gloss, heap.piece)
    )
    return Bare(
        grid,
        np.clip(albedo, 0.004, 0.9),
        _depth(relief * np.float32(pose.size), grid),
        np.clip(gloss, 0.0, 1.0),
        piece,
        _fill_line(float(rng.uniform(0.5, 0.86)) * height, grid, rng),
        holds,
    )


def _heap(family: int, seed: int, textures: Textures | None) -> tuple[Heap, int]:
    if family != TEXTURE:
        return contents_heap(family, seed)
    if textures is None:
        raise ValueError("no file of textures was given")
    heap, shown = texture_heap(textures, seed)
    return heap, 0 if shown < 0 else 1 << shown


def _depth(relief_mm: Float32Array, grid: WallGrid) -> Float32Array:
    """Depth behind the glass of what lies ``relief_mm`` high: it is pressed against the glass."""
    reach = round(_REACH_MM / grid.step_mm[1])
    highest = cv2.dilate(relief_mm, np.ones((reach, reach), np.uint8))
    envelope = cv2.GaussianBlur(highest, (0, 0), 0.6 * reach)
    return np.asarray(np.clip(envelope - relief_mm, 0.0, DEEPEST_MM), np.float32)


def _fill_line(fill_mm: float, grid: WallGrid, rng: np.random.Generator) -> Float32Array:
    """Slow waves and the unevenness of single pieces."""
    slow, fine = (
        fractal((2, grid.cols), rng, [size / grid.step_mm[1] for size in sizes])[0]
        for sizes in ((20.0, 40.0, 80.0), (1.5, 3.0, 6.0))
    )
    line = fill_mm + rng.uniform(0.4, 2.2) * slow + rng.uniform(0.1, 0.7) * fine
    return np.asarray(np.clip(line, 6.0, grid.height_mm - 3.0), np.float32)
