"""Pieces (kernels, stalks, chips) packed against the inside of the glass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from jarvision.records import Float32Array, FloatArray

from .wall_paint import WallGrid

DEEPEST_MM = 5.0  # behind this nothing is seen through the gaps
STAND_OUT_MM = 1.5  # tips of pieces rise this far above the top at most
CANDIDATES = 5  # places tried for each piece; the emptiest is taken, which packs them tightly
PROBES = 19  # points of a piece at which it is asked what already lies there


@dataclass(frozen=True)
class PieceKind:
    """One kind of piece: mean size in mm, relative spread of the sizes, shape, number of layers."""

    length_mm: float
    width_mm: float
    depth_mm: float
    spread: float
    shape: Literal["kernel", "stalk", "chip"]
    layers: float
    tilt_mm: float = 0.4


@dataclass(frozen=True)
class Packing:
    """Packed pieces as seen through the glass.

    Attributes
    ----------
    relief_mm
        ``(rows, cols)`` depth of the front surface, at most :data:`DEEPEST_MM`.
    piece
        ``(rows, cols)`` number of the piece seen, -1 where there is only a dark gap.
    along, across
        ``(rows, cols)`` place on the piece, -1 to 1 along its length and its width.
    centres_mm
        ``(n, 2)`` arc length and height of each piece's centre.
    """

    relief_mm: Float32Array
    piece: NDArray[np.int32]
    along: Float32Array
    across: Float32Array
    centres_mm: FloatArray

    @property
    def count(self) -> int:
        """Number of pieces, hidden ones too."""
        return len(self.centres_mm)


def empty_packing(grid: WallGrid) -> Packing:
    """Nothing but gap."""
    return Packing(
        np.full(grid.shape, DEEPEST_MM, dtype=np.float32),
        np.full(grid.shape, -1, dtype=np.int32),
        np.zeros(grid.shape, dtype=np.float32),
        np.zeros(grid.shape, dtype=np.float32),
        np.zeros((0, 2)),
    )


def pack(
    kind: PieceKind,
    grid: WallGrid,
    *,
    rng: np.random.Generator,
    top_mm: FloatArray | Float32Array,
    share: float | None = None,
) -> Packing:
    """Let pieces settle one after another, each behind the ones that already lie in its way.

    Sequential placing with the emptiest of a few candidates, then a depth buffer.

    Parameters
    ----------
    top_mm
        ``(cols,)`` height that pieces hardly rise above.
    share
        Area of all pieces over that of the wall below ``top_mm``; ``kind.layers`` by default.
    """
    area = np.pi / 4.0 * kind.length_mm * kind.width_mm
    layers = kind.layers if share is None else share
    count = round(layers * grid.girth_mm * float(top_mm.mean()) / area)
    board = _Board(grid)
    centres = np.zeros((count, 2))
    probes = _probes(rng)
    for number in range(count):
        size = np.array([kind.length_mm, kind.width_mm, kind.depth_mm]) / 2.0
        size = size * np.clip(rng.normal(1.0, kind.spread, 3), 0.5, 1.6)
        spots = np.column_stack(
            [
                rng.uniform(-grid.girth_mm / 2.0, grid.girth_mm / 2.0, CANDIDATES),
                rng.uniform(-1.0, top_mm.max(), CANDIDATES),
                rng.uniform(0.0, np.pi, CANDIDATES),
            ]
        )
        board.keep_below(top_mm, spots, size)
        behind = board.depth_behind(spots, size, probes)
        best = int(np.argmin(behind))
        centres[number] = spots[best, :2]
        if behind[best] < DEEPEST_MM:
            board.lay(number, kind, size, spots[best], float(behind[best]), rng)
    return Packing(board.relief, board.piece, board.along, board.across, centres)


def _probes(rng: np.random.Generator) -> FloatArray:
    # a sunflower pattern covers the unit disc evenly (Vogel 1979, from memory)
    n = np.arange(PROBES) + 0.5
    turn = n * np.pi * (3.0 - np.sqrt(5.0)) + rng.uniform(0, 2 * np.pi)
    return np.asarray((np.sqrt(n / PROBES) * np.stack([np.cos(turn), np.sin(turn)])).T)


class _Board:
    """The depth buffer while pieces are laid (mutable, private to this module)."""

    def __init__(self, grid: WallGrid) -> None:
        blank = empty_packing(grid)
        self.grid = grid
        self.relief, self.piece = blank.relief_mm, blank.piece
        self.along, self.across = blank.along, blank.across
        self.back = np.zeros(grid.shape, dtype=np.float32)

    def keep_below(
        self, top_mm: FloatArray | Float32Array, spots: FloatArray, size: FloatArray
    ) -> None:
        """Lower the spots, in place, whose piece would stand out above the top."""
        cols = ((spots[:, 0] + self.grid.girth_mm / 2.0) / self.grid.step_mm[1]).astype(int)
        tall = np.abs(np.sin(spots[:, 2])) * size[0] + np.abs(np.cos(spots[:, 2])) * size[1]
        limit = top_mm[cols % self.grid.cols] + STAND_OUT_MM - tall
        spots[:, 1] = np.minimum(spots[:, 1], limit)

    def depth_behind(self, spots: FloatArray, size: FloatArray, probes: FloatArray) -> FloatArray:
        """Mean depth of what lies in the way of ``(n, 3)`` spots (along, height, turn)."""
        cos, sin = np.cos(spots[:, 2:]), np.sin(spots[:, 2:])
        u, v = probes[:, 0] * size[0], probes[:, 1] * size[1]
        down, across = self.grid.step_mm
        x = spots[:, :1] + u * cos - v * sin + self.grid.girth_mm / 2.0
        z = self.grid.height_mm - (spots[:, 1:2] + u * sin + v * cos)
        rows = np.clip((z / down).astype(int), 0, self.grid.rows - 1)
        cols = (x / across).astype(int) % self.grid.cols
        return np.asarray(self.back[rows, cols].mean(axis=1))

    def lay(
        self,
        number: int,
        kind: PieceKind,
        size: FloatArray,
        spot: FloatArray,
        depth_mm: float,
        rng: np.random.Generator,
    ) -> None:
        """Draw one piece into the depth buffer."""
        cos, sin = np.cos(spot[2]), np.sin(spot[2])
        down, across = self.grid.step_mm
        half_x = abs(cos) * size[0] + abs(sin) * size[1]
        half_z = abs(sin) * size[0] + abs(cos) * size[1]
        col = (spot[0] + self.grid.girth_mm / 2.0) / across - 0.5
        row = (self.grid.height_mm - spot[1]) / down - 0.5
        cols = np.arange(int(np.floor(col - half_x / across)), int(col + half_x / across) + 2)
        first = max(0, int(np.floor(row - half_z / down)))
        rows = np.arange(first, min(self.grid.rows, int(row + half_z / down) + 2))
        if not len(rows):
            return
        dx = ((cols - col) * across)[None, :]
        dz = (-(rows - row) * down)[:, None]
        u, v = (dx * cos + dz * sin) / size[0], (-dx * sin + dz * cos) / size[1]
        inside, front = _surface(kind, size, u, v, rng)
        front = front + depth_mm
        index = np.ix_(rows, cols % self.grid.cols)
        win = inside & (front < self.relief[index])
        for board, value in (
            (self.relief, front),
            (self.piece, np.int32(number)),
            (self.along, u),
            (self.across, v),
            (self.back, depth_mm + 2.0 * size[2]),
        ):
            board[index] = np.where(win, value, board[index])


def _surface(
    kind: PieceKind, size: FloatArray, u: FloatArray, v: FloatArray, rng: np.random.Generator
) -> tuple[NDArray[np.bool_], FloatArray]:
    """Footprint and depth of a piece's front below its nearest point, mm."""
    lean = rng.uniform(-1.0, 1.0) * kind.tilt_mm
    sag = lean * u + abs(lean)
    if kind.shape == "kernel":
        # one end is blunter than the other, as a kernel's germ end is
        q = u**2 + v**2 * (1.0 + 0.35 * u) ** 2
        return q < 1.0, size[2] * (1.0 - np.sqrt(np.clip(1.0 - q, 0.0, 1.0))) + sag
    if kind.shape == "stalk":
        ragged = 1.0 - (0.6 * rng.random() * (v + 1.0) + 0.15 * np.sin(v * 9.0 + 7.0)) / size[0]
        inside = (np.abs(v) < 1.0) & (u < ragged) & (u > -1.0 + (v + 1.0) * 0.4 / size[0])
        return inside, size[2] * (1.0 - np.sqrt(np.clip(1.0 - v**2, 0.0, 1.0))) + sag
    q = np.abs(u) ** 5 + np.abs(v) ** 5 + 0.15 * np.sin(6.0 * u + 5.0 * v)
    curl = rng.uniform(-0.6, 1.2)
    depth = size[2] * (0.3 + curl * u**2 + 0.3 * v**2)
    return q < 1.0, np.maximum(depth, 0.0) + sag
