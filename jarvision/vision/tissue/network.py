"""The three trained tissue networks, run by ONNX Runtime.

All are small U-shaped convolutional nets (1.1 to 1.2 million weights each) over the unrolled wall;
``tests/training`` holds their definition and training. The specialist learned from rendered jars
and is the most exact on contents that it knows. The others learned from random contents and
photographed textures, take the jar's own bare look, and forecast their error: the generalist from
scratch, the naturalist on top of layers that first learned to tell photographs of all things apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from jarvision.records import ByteArray, Float32Array, TissueClass
from jarvision.vision.session import open_network

if TYPE_CHECKING:
    from onnxruntime import InferenceSession

Expert = Literal["specialist", "generalist", "naturalist"]

MULTIPLE = 32
"""The nets halve their picture five times: rows and columns are padded to this."""

CLASSES = 10
"""The first outputs, in the order of :class:`jarvision.records.TissueClass`."""

OPACITY, COVER, CAPS, LOG_ERROR = range(CLASSES, CLASSES + 4)
"""The outputs after them; the specialist lacks the last."""

_FILES: dict[Expert, str] = {
    "specialist": "specialist.onnx",
    "generalist": "generalist.onnx",
    "naturalist": "naturalist.onnx",
}

_INPUT = "wall"
_SIDE = 4  # the nets speak of squares of 4 x 4 places

_CAP_ODDS = 5.0
"""Training counts a cap's place this many times: its odds come out so much too high."""


@dataclass(frozen=True)
class Seen:
    """What is said of every place of a wall, each ``(rows, cols)``.

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
    """

    empty: Float32Array
    best: ByteArray
    share: Float32Array
    plain: Float32Array
    opacity: Float32Array
    covered: Float32Array
    caps: Float32Array


def _net(expert: Expert) -> InferenceSession:
    return open_network("jarvision.vision.tissue", _FILES[expert])


def load_networks() -> None:
    """Load all networks now, for whoever would rather not wait for it with the first photo."""
    for expert in _FILES:
        _net(expert)


def run_network(expert: Expert, channels: Float32Array) -> Float32Array:
    """Logits of a net, ``(outputs, rows, cols)`` of its padded inputs ``(bands, rows, cols)``.

    The inputs of the specialist are as made by
    :func:`jarvision.vision.tissue.inputs.network_inputs` for :data:`MULTIPLE`, those of the
    others have the bands of :func:`jarvision.vision.tissue.reference.with_reference`, too.
    """
    squares = _squares_of(expert, channels)
    logits = _laid_out(squares)
    logits[CAPS] -= np.float32(np.log(_CAP_ODDS))
    return logits


def hidden_and_covered(expert: Expert, channels: Float32Array) -> tuple[Float32Array, Float32Array]:
    """Chances that a place is hidden, and covered, each ``(rows, cols)`` of the padded inputs.

    All else that the net says is let be, which takes half the time of :func:`run_network`'s own.
    """
    squares = _squares_of(expert, channels)
    hidden = chances_of(squares, TissueClass.UNJUDGED)[0]
    both = np.stack([hidden, chances(squares[COVER].copy())])
    said = _laid_out(both)
    return said[0], said[1]


def _squares_of(expert: Expert, channels: Float32Array) -> Float32Array:
    """Logits as the net gives them, ``(outputs, 16 rows, cols)``: by place in its square."""
    squares = np.asarray(_net(expert).run(None, {_INPUT: channels[None]})[0], dtype=np.float32)
    return squares.reshape(-1, _SIDE * _SIDE * squares.shape[2], squares.shape[3])


def _laid_out(squares: Float32Array) -> Float32Array:
    """Maps ``(maps, rows, cols)`` of maps by place in their squares ``(maps, 16 rows, cols)``."""
    wide = squares.shape[2]
    parts = squares.reshape(len(squares), _SIDE, _SIDE, -1, wide)
    high = parts.shape[3]
    laid = np.empty((len(parts), high, _SIDE, wide, _SIDE), dtype=np.float32)
    for part, whole in zip(parts, laid, strict=True):
        for down in range(_SIDE):  # far faster than NumPy, four floats at a time
            cv2.merge(list(part[down]), whole[:, down])
    return laid.reshape(len(parts), _SIDE * high, _SIDE * wide)


def told_by(logits: Float32Array) -> Seen:
    """Chances of logits ``(outputs, rows, cols)``; the logits are used up."""
    outputs = logits.reshape(len(logits), -1)
    best, empty, share, plain = _best(outputs[:CLASSES])
    opacity, covered, caps = chances(outputs[[OPACITY, COVER, CAPS]])
    maps = (empty, best, share, plain, opacity, covered, caps)
    return Seen(*(part.reshape(logits.shape[1:]) for part in maps))


def chances_of(logits: Float32Array, *kinds: TissueClass) -> tuple[Float32Array, ...]:
    """Chances of some classes, OUTSIDE among all of them, each ``(rows, cols)``, of logits."""
    classes = logits[:CLASSES]
    odds = classes - classes.max(axis=0)
    cv2.exp(odds.reshape(CLASSES, -1), odds.reshape(CLASSES, -1))  # far faster than NumPy's
    total = odds.sum(axis=0)
    return tuple(np.asarray(odds[kind] / total, dtype=np.float32) for kind in kinds)


def chances(logits: Float32Array) -> Float32Array:
    """Logistic function of logits, in place."""
    np.negative(logits, out=logits)
    cv2.exp(logits, logits)
    logits += 1.0
    return np.reciprocal(logits, out=logits)


def _best(logits: Float32Array) -> tuple[NDArray[Any], ...]:
    """The likeliest class but OUTSIDE, and the chances of OUTSIDE, of it, and of what is plain.

    Works in place, as fresh memory costs more than the sums.
    """
    logits -= logits.max(axis=0)
    odds = np.asarray(cv2.exp(logits, logits))
    total = odds.sum(axis=0)
    share = odds[TissueClass.UNJUDGED :].max(axis=0)
    best = np.empty(share.shape, dtype=np.uint8)
    for kind in range(TissueClass.UNJUDGED, CLASSES):
        np.putmask(best, odds[kind] >= share, kind)  # far faster than an argmax across rows
    plain = odds[TissueClass.BARE] + odds[TissueClass.MYCELIUM]
    return best, odds[TissueClass.OUTSIDE] / total, share / total, plain / total
