"""Wall -> Tissue: what stands at every place, by a small trained network on colour and texture.

The network has one hidden pair of layers and sees one place at a time (its neighbourhood enters
through the features); it was trained on rendered jars by ``tests/accuracy/train_tissue.py``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import cv2
import numpy as np

from jarvision.photo_settings import TissueSettings
from jarvision.records import Float32Array, Tissue, TissueClass, Wall
from jarvision.tissue.features import wall_features

CLASSES = (
    TissueClass.UNJUDGED,
    TissueClass.BARE,
    TissueClass.MYCELIUM,
    TissueClass.STAIN,
    TissueClass.GREEN,
    TissueClass.BLACK,
    TissueClass.PINK,
    TissueClass.YELLOW,
    TissueClass.WET,
)
"""Order of the network's class outputs; one more output is the opacity.

UNJUDGED is a class of its own: labels, fog and drops on the glass have a look that can be learned.
"""


@dataclass(frozen=True)
class Network:
    """A perceptron with rectified hidden layers: weights ``(inputs, outputs)`` and biases."""

    mean: Float32Array
    scale: Float32Array
    weights: tuple[Float32Array, ...]
    biases: tuple[Float32Array, ...]

    def __call__(self, features: Float32Array) -> Float32Array:
        """Outputs ``(n, 10)`` for features ``(n, 16)``: a score for each class, and opacity."""
        layer = (features - self.mean) / self.scale
        for number, (weight, bias) in enumerate(zip(self.weights, self.biases, strict=True)):
            layer = layer @ weight + bias
            if number < len(self.weights) - 1:
                layer = np.maximum(layer, 0.0)
        return layer


@cache
def load_network() -> Network:
    """The trained weights that come with the package."""
    with (files("jarvision.tissue") / "weights.npz").open("rb") as file, np.load(file) as data:
        count = sum(name.startswith("weight") for name in data)
        return Network(
            mean=data["mean"],
            scale=data["scale"],
            weights=tuple(data[f"weight{i}"] for i in range(count)),
            biases=tuple(data[f"bias{i}"] for i in range(count)),
        )


def classify(wall: Wall, *, settings: TissueSettings, network: Network | None = None) -> Tissue:
    """Class and opacity of every filled place; ``UNJUDGED`` where the wall cannot be judged."""
    network = network or load_network()
    features = wall_features(wall)
    scores = np.zeros((*wall.filled.shape, len(CLASSES) + 1), dtype=np.float32)
    scores[wall.filled] = network(features[wall.filled])
    scores = np.asarray(cv2.GaussianBlur(scores, (0, 0), settings.score_blur_cells))
    classes = np.array(CLASSES, dtype=np.uint8)[scores[..., :-1].argmax(axis=-1)]
    classes[~wall.judged] = TissueClass.UNJUDGED
    classes[~wall.filled] = TissueClass.OUTSIDE
    opacity = np.clip(scores[..., -1], 0.0, 1.0)
    opacity[~wall.filled] = 0.0
    return Tissue(classes=classes, opacity=opacity)
