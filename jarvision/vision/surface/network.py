"""The surface network, run by ONNX Runtime: what stands at every cell of a surface laid flat.

A small U-shaped convolutional net (0.9 million weights); ``tests/training`` holds its definition
and its training. What stands there and the water on it are told apart: a droplet on growth is
growth with a droplet.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jarvision.records import Float32Array
from jarvision.records.mouth import SurfacePicture
from jarvision.vision.session import open_network
from jarvision.vision.tissue.inputs import colour_logs

GROUND = ("outside", "bare", "growth", "off_colour", "pin", "cap")
WATER = ("dry", "droplet", "pool")
OUTSIDE, BARE, GROWTH, DISCOLOURED, PIN, CAP = range(len(GROUND))
DROPLET, POOL = WATER.index("droplet"), WATER.index("pool")

_SIDE = 2  # the net speaks of squares of 2 x 2 cells
_MULTIPLE = 16
_LEAST = 384  # cells to a side of what it learned from, the mouth in the middle


@dataclass(frozen=True)
class SurfaceChances:
    """Chances at every cell of the surface picture.

    Attributes
    ----------
    ground
        ``(6, n, n)`` in the order of :data:`GROUND`; they add up to 1 at each cell.
    water
        ``(3, n, n)`` in the order of :data:`WATER`; they add up to 1 at each cell.
    """

    ground: Float32Array
    water: Float32Array


def read_surface(picture: SurfacePicture) -> SurfaceChances:
    """Chances of what stands at each cell; outside the mouth they mean nothing."""
    n = len(picture.within)
    side = max(_LEAST, n + -n % _MULTIPLE)
    first = (side - n) // 2
    here = np.s_[first : first + n, first : first + n]
    channels = np.zeros((1, 4, side, side), np.float32)
    channels[0, :3, *here] = colour_logs(picture.linear) * picture.within
    channels[0, 3, *here] = picture.within
    net = open_network("jarvision.vision.surface", "surface.onnx")
    squares = np.asarray(net.run(None, {"surface": channels})[0], dtype=np.float32)[0]
    logits = _laid_out(squares)[:, *here]
    parts = np.split(logits, [len(GROUND)])
    return SurfaceChances(*map(_chances, parts))


def _laid_out(squares: Float32Array) -> Float32Array:
    """Maps ``(maps, 2 rows, 2 cols)`` of ``(4 maps, rows, cols)`` by place in their squares."""
    _, high, wide = squares.shape
    parts = squares.reshape(-1, _SIDE, _SIDE, high, wide).transpose(0, 3, 1, 4, 2)
    return np.ascontiguousarray(parts).reshape(-1, _SIDE * high, _SIDE * wide)


def _chances(logits: Float32Array) -> Float32Array:
    odds = np.exp(logits - logits.max(axis=0))
    return np.asarray(odds / odds.sum(axis=0), dtype=np.float32)
