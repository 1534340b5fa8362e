"""Random pieces, from seeds to chips, strewn over a canvas: who lies on top, and where in it.

Every piece is drawn as one polygon with its own number. All else (dome, crease, grain, colour) is
worked out afterwards for all pixels at once from the numbers: hundreds of times faster than
drawing each piece's looks.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from jarvision.records import Float32Array, FloatArray

CORNERS = 16
_SUBPIXEL = 4  # bits


@dataclass(frozen=True)
class Pieces:
    """Pieces in the order in which they are strewn; lengths in pixels, all ``(n,)``.

    Attributes
    ----------
    x, y, angle
        Middle, and direction of the long axis in radians.
    long, wide
        Half axes.
    bend
        Sideways shift of both ends, in half widths.
    outline
        ``(n, CORNERS, 2)`` corners in half axes.
    """

    x: FloatArray
    y: FloatArray
    angle: FloatArray
    long: FloatArray
    wide: FloatArray
    bend: FloatArray
    outline: FloatArray

    def __len__(self) -> int:
        return len(self.x)


@dataclass(frozen=True)
class Strewn:
    """What lies uppermost at every pixel, each ``(rows, cols)``.

    Attributes
    ----------
    piece
        Number of the piece from 1; 0 is a gap between pieces.
    u, v
        Place within the piece, in half axes.
    """

    piece: np.ndarray
    u: Float32Array
    v: Float32Array


def rounded(count: int, rng: np.random.Generator, *, square: float, ragged: float) -> FloatArray:
    """Outlines between ellipse and rectangle, with random bumps; ``(count, CORNERS, 2)``."""
    turn = np.linspace(0.0, 2.0 * np.pi, CORNERS, endpoint=False) + rng.uniform(0, 0.4)
    power = 2.0 / (2.0 + 6.0 * square)
    across = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    shape = np.sign(across) * np.abs(across) ** power
    bumps = 1.0 + ragged * rng.standard_normal((count, CORNERS))
    return shape * np.clip(bumps, 0.45, 1.5)[..., None]


def tapered(outline: FloatArray, share: float) -> FloatArray:
    """The same outlines narrower towards one end: teardrops, kernels, splinters."""
    narrowed = outline.copy()
    narrowed[..., 1] *= 1.0 - share * (0.5 + 0.5 * outline[..., :1].clip(-1, 1))[..., 0]
    return narrowed


def strips(count: int, rng: np.random.Generator, *, torn: float) -> FloatArray:
    """Long strips with torn ends, ``(count, CORNERS, 2)``: straw, fibres, shavings."""
    half = CORNERS // 2
    along = np.linspace(-1.0, 1.0, half)
    upper = np.stack([along, np.ones(half)], axis=-1)
    lower = np.stack([along[::-1], -np.ones(half)], axis=-1)
    shape = np.repeat(np.concatenate([upper, lower])[None], count, axis=0)
    ends = np.abs(shape[..., 0]) > 0.99
    shape[..., 0] += ends * torn * rng.standard_normal(shape.shape[:2])
    shape[..., 1] *= 1.0 + 0.12 * rng.standard_normal(shape.shape[:2])
    return shape


def strew(pieces: Pieces, shape: tuple[int, int]) -> Strewn:
    """Lay the pieces down one after the other."""
    local = pieces.outline * np.stack([pieces.long, pieces.wide], axis=-1)[:, None]
    local[..., 1] += (pieces.bend * pieces.wide)[:, None] * pieces.outline[..., 0] ** 2
    cos, sin = np.cos(pieces.angle)[:, None], np.sin(pieces.angle)[:, None]
    corners = np.stack(
        [
            pieces.x[:, None] + cos * local[..., 0] - sin * local[..., 1],
            pieces.y[:, None] + sin * local[..., 0] + cos * local[..., 1],
        ],
        axis=-1,
    )
    fixed = np.rint(corners * 2**_SUBPIXEL).astype(np.int32)
    number = np.zeros(shape, np.int32)
    for piece, polygon in enumerate(fixed, start=1):
        cv2.fillPoly(number, [polygon], piece, cv2.LINE_8, _SUBPIXEL)
    return within(pieces, number)


def within(pieces: Pieces, number: np.ndarray) -> Strewn:
    """Places within the uppermost pieces."""
    rows, cols = number.shape
    table = [
        np.concatenate([[0.0], part]).astype(np.float32)
        for part in (
            pieces.x, pieces.y, np.cos(pieces.angle), np.sin(pieces.angle),
            1.0 / np.maximum(pieces.long, 0.3), 1.0 / np.maximum(pieces.wide, 0.3), pieces.bend,
        )
    ]  # fmt: skip
    x, y, cos, sin, shorter, thinner, bend = (part[number] for part in table)
    dx = np.arange(cols, dtype=np.float32)[None] - x
    dy = np.arange(rows, dtype=np.float32)[:, None] - y
    u = (cos * dx + sin * dy) * shorter
    v = (cos * dy - sin * dx) * thinner - bend * u * u
    return Strewn(number, u, v)


def scattered(
    count: int,
    shape: tuple[int, int],
    rng: np.random.Generator,
    *,
    long: FloatArray,
    wide: FloatArray,
    outline: FloatArray,
    bend: float = 0.0,
    lying: float = 0.0,
) -> Pieces:
    """Pieces at random places; ``lying`` is the share that lies level."""
    angle = rng.uniform(0.0, np.pi, count)
    level = rng.random(count) < lying
    angle[level] = rng.normal(0.0, 0.35, int(level.sum()))
    return Pieces(
        x=rng.uniform(-0.03, 1.03, count) * shape[1],
        y=rng.uniform(-0.03, 1.03, count) * shape[0],
        angle=angle,
        long=np.broadcast_to(long, count).copy(),
        wide=np.broadcast_to(wide, count).copy(),
        bend=bend * rng.standard_normal(count),
        outline=outline,
    )
