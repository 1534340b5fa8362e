"""The trained tissue network, run by OpenCV.

A small U-shaped convolutional net (1.1 million weights) over the unrolled wall, trained on drawn
and photographed contents; ``tests/training`` holds its definition and training, ``card.toml``
beside it what it was trained on and how far it can be trusted.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from jarvision.records import ByteArray, Float32Array, TissueClass
from jarvision.vision.tissue.reference import ReferenceLook, with_reference

MULTIPLE = 32
"""The net halves its picture five times: rows and columns are padded to this."""

CLASSES = 10
"""The first outputs, in the order of :class:`jarvision.records.TissueClass`; opacity, cover, caps
and the forecast of the error come after them."""

_SIDE = 4  # the net speaks of squares of 4 x 4 places

_CAP_ODDS = 5.0
"""Training counts a cap's place this many times: its odds come out so much too high."""


@dataclass(frozen=True)
class Seen:
    """What the network says of every place of a wall, each ``(rows, cols)``.

    Attributes
    ----------
    empty
        Chance of OUTSIDE: glass with nothing behind it.
    best
        The likeliest class of :class:`jarvision.records.TissueClass` but OUTSIDE, ``uint8``.
    share
        Its chance.
    plain
        Chance of bare contents or white growth, both together.
    opacity
        Share of the contents that mycelium hides, 0 to 1.
    covered
        Chance that mycelium covers the place, seen or not.
    caps
        Chance that the cap of a fruit body stands there.
    log_error
        Its mean over the contents is the logarithm of the error that the net expects of the share
        that it finds covered.
    """

    empty: Float32Array
    best: ByteArray
    share: Float32Array
    plain: Float32Array
    opacity: Float32Array
    covered: Float32Array
    caps: Float32Array
    log_error: Float32Array


@cache
def _net() -> Any:
    data = (files("jarvision.vision.tissue") / "tissue.onnx").read_bytes()
    return cv2.dnn.readNetFromONNX(np.frombuffer(data, dtype=np.uint8))


def run_network(
    channels: Float32Array, *, shape: tuple[int, int], reference: ReferenceLook | None = None
) -> Seen:
    """Run the net over a wall of ``shape``, with the jar's own bare look where it is known.

    ``channels`` is as made by :func:`jarvision.vision.tissue.inputs.network_inputs` for
    :data:`MULTIPLE`.
    """
    rows, cols = shape
    net = _net()
    net.setInput(with_reference(channels, reference)[None])
    squares = np.asarray(net.forward(), dtype=np.float32)[0]
    high, wide = squares.shape[1:]
    logits = squares.reshape(-1, _SIDE * _SIDE * high * wide)  # outputs, places
    log_error = logits[-1]
    logits[-2] -= np.float32(np.log(_CAP_ODDS))
    best, empty, share, plain = _best(logits[:CLASSES])
    opacity, covered, caps = _logistic(logits[CLASSES:-1])
    maps = (empty, best, share, plain, opacity, covered, caps, log_error)
    return Seen(*(_laid_out(part, high, wide)[:rows, :cols] for part in maps))


def _best(logits: Float32Array) -> tuple[NDArray[Any], ...]:
    """The likeliest class but OUTSIDE, and the chances of OUTSIDE, of it, and of what is plain.

    Works in place, as fresh memory costs more than the sums.
    """
    logits -= logits.max(axis=0)
    chances = np.asarray(cv2.exp(logits, logits))
    total = chances.sum(axis=0)
    share = chances[TissueClass.UNJUDGED :].max(axis=0)
    best = np.empty(share.shape, dtype=np.uint8)
    for kind in range(TissueClass.UNJUDGED, CLASSES):
        np.putmask(best, chances[kind] >= share, kind)  # far faster than an argmax across rows
    plain = chances[TissueClass.BARE] + chances[TissueClass.MYCELIUM]
    return best, chances[TissueClass.OUTSIDE] / total, share / total, plain / total


def _logistic(logits: Float32Array) -> Float32Array:
    """Chances of logits, in place."""
    np.negative(logits, out=logits)
    cv2.exp(logits, logits)
    logits += 1.0
    return np.reciprocal(logits, out=logits)


def _laid_out(part: NDArray[Any], high: int, wide: int) -> NDArray[Any]:
    """Lay the sixteen places of each square where they belong: ``(4 high, 4 wide)``."""
    squares = part.reshape(_SIDE, _SIDE, high, wide)
    out = np.empty((high, _SIDE, wide, _SIDE), dtype=part.dtype)
    for down in range(_SIDE):
        for along in range(_SIDE):
            out[:, down, :, along] = squares[down, along]
    return out.reshape(_SIDE * high, _SIDE * wide)
