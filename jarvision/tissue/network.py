"""The trained tissue network, run by OpenCV.

A small U-shaped convolutional net (0.6 million weights) over the unrolled wall, trained on
rendered jars; ``tests/accuracy`` holds its definition and training.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import cv2
import numpy as np

from jarvision.records import Float32Array

MULTIPLE = 32
"""The net halves its picture five times: rows and columns are padded to this."""

CLASSES = 10
"""The first outputs, in the order of :class:`jarvision.records.TissueClass`; opacity and cover come
after them."""


@dataclass(frozen=True)
class Seen:
    """What the network says of every place of a wall, ``float32``.

    Attributes
    ----------
    shares
        ``(10, rows, cols)`` chances of the classes; they sum to 1.
    opacity
        ``(rows, cols)`` share of the contents that mycelium hides, 0 to 1.
    covered
        ``(rows, cols)`` chance that mycelium covers the place, seen or not, 0 to 1.
    """

    shares: Float32Array
    opacity: Float32Array
    covered: Float32Array


@cache
def _net() -> Any:
    data = (files("jarvision.tissue") / "tissue.onnx").read_bytes()
    return cv2.dnn.readNetFromONNX(np.frombuffer(data, dtype=np.uint8))


def run_network(channels: Float32Array) -> Seen:
    """Run the net over a wall.

    ``channels`` is ``(7, rows, cols)`` as made by :func:`jarvision.tissue.inputs.network_inputs`.
    """
    _, rows, cols = channels.shape
    pad = [(0, 0), (0, -rows % MULTIPLE), (0, -cols % MULTIPLE)]
    net = _net()
    net.setInput(np.pad(channels, pad)[None])
    logits = np.asarray(net.forward(), dtype=np.float32)[0, :, :rows, :cols]
    exponents = np.exp(logits[:CLASSES] - logits[:CLASSES].max(axis=0))
    opacity, covered = 1.0 / (1.0 + np.exp(-logits[CLASSES:]))
    return Seen(exponents / exponents.sum(axis=0), opacity, covered)
