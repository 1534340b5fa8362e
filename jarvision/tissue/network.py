"""The trained tissue network, run by OpenCV.

A small U-shaped convolutional net (0.6 million weights) over the unrolled wall, trained on
rendered jars; ``tests/accuracy`` holds its definition and training.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Any

import cv2
import numpy as np

from jarvision.records import Float32Array

MULTIPLE = 32
"""The net halves its picture five times: rows and columns are padded to this."""

CLASSES = 10
"""The net's first outputs, in the order of :class:`jarvision.records.TissueClass`; the next is the
opacity. What training asks beyond these is not used."""


@cache
def _net() -> Any:
    data = (files("jarvision.tissue") / "tissue.onnx").read_bytes()
    return cv2.dnn.readNetFromONNX(np.frombuffer(data, dtype=np.uint8))


def run_network(channels: Float32Array) -> tuple[Float32Array, Float32Array]:
    """Class shares ``(10, rows, cols)`` that sum to 1, and opacity ``(rows, cols)``, 0 to 1.

    ``channels`` is ``(7, rows, cols)`` as made by :func:`jarvision.tissue.inputs.network_inputs`.
    """
    _, rows, cols = channels.shape
    pad = [(0, 0), (0, -rows % MULTIPLE), (0, -cols % MULTIPLE)]
    net = _net()
    net.setInput(np.pad(channels, pad)[None])
    logits = np.asarray(net.forward(), dtype=np.float32)[0, :, :rows, :cols]
    exponents = np.exp(logits[:CLASSES] - logits[:CLASSES].max(axis=0))
    return exponents / exponents.sum(axis=0), 1.0 / (1.0 + np.exp(-logits[CLASSES]))
