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

from jarvision.jar.contents import find_contents
from jarvision.photo_settings import PhotoSettings
from jarvision.records import Float32Array, Photo, Tissue, TissueClass, Wall
from jarvision.tissue.features import wall_features
from jarvision.tissue.masks import burnt_out, mask_glare

CLASSES = (
    TissueClass.OUTSIDE,
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

OUTSIDE is glass without contents. UNJUDGED is a class of its own: labels, fog and drops on the
glass have a look that can be learned.
"""


@dataclass(frozen=True)
class Network:
    """A perceptron with rectified hidden layers: weights ``(inputs, outputs)`` and biases."""

    mean: Float32Array
    scale: Float32Array
    weights: tuple[Float32Array, ...]
    biases: tuple[Float32Array, ...]

    def __call__(self, features: Float32Array) -> Float32Array:
        """Outputs ``(n, 11)`` for features ``(n, 16)``: a score for each class, and opacity."""
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


@dataclass(frozen=True)
class Classified:
    """The wall cut at its floor, with ``filled`` and ``judged`` set, and its tissue."""

    wall: Wall
    tissue: Tissue


def classify(
    wall: Wall,
    photo: Photo,
    *,
    settings: PhotoSettings,
    network: Network | None = None,
) -> Classified:
    """Find the contents on the wall and say what stands at every place of them."""
    network = network or load_network()
    features = wall_features(wall)
    scores = network(features.reshape(-1, features.shape[-1])).reshape(*features.shape[:2], -1)
    scores = np.asarray(cv2.GaussianBlur(scores, (0, 0), settings.tissue.score_blur_cells))
    emptiness = scores[..., CLASSES.index(TissueClass.OUTSIDE)]
    contents = find_contents(wall, emptiness, settings=settings.jar)
    burnt = burnt_out(wall, photo, settings=settings.masks)
    inside = scores[..., 1:-1].argmax(axis=-1)  # under the fill line nothing is empty glass
    classes = np.array(CLASSES[1:], dtype=np.uint8)[inside]
    classes[~contents.filled] = TissueClass.OUTSIDE
    step_mm = float(wall.heights_mm[0] - wall.heights_mm[1])
    classes = mask_glare(classes, burnt, step_mm=step_mm, settings=settings.masks)
    opacity = np.clip(scores[..., -1], 0.0, 1.0)
    opacity[~contents.filled] = 0.0
    rows = slice(0, contents.floor_row)
    floor_mm = float(wall.heights_mm[contents.floor_row - 1]) - step_mm / 2
    return Classified(
        wall=Wall(
            linear=wall.linear[rows],
            angles_deg=wall.angles_deg,
            heights_mm=wall.heights_mm[rows] - floor_mm,
            radius_mm=wall.radius_mm,
            filled=contents.filled[rows],
            judged=classes[rows] > TissueClass.UNJUDGED,
            pixels=wall.pixels[rows],
        ),
        tissue=Tissue(classes=classes[rows], opacity=opacity[rows]),
    )
