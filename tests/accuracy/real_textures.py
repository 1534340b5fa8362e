"""Walls put together from photographs of real textures, with an area that is known by construction.

``python -m tests.accuracy.real_textures`` prints how the network and Otsu's threshold measure them.
The photographs come with scikit-image: gravel (stones as kernels), grass (blades as straw when
tinted, as a felt of threads when white), the moon (a soft white surface). The shapes are its binary
blobs. Nothing here was rendered, and nothing of it was ever trained on: no mould, glass or lid, but
a texture that no renderer made.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from skimage import data
from skimage.filters import threshold_otsu

from jarvision.records import BoolArray, Float32Array, RawWall
from jarvision.vision.jar.unroll import CELL_MM
from jarvision.vision.tissue.experts import consult
from jarvision.vision.tissue.inputs import network_inputs
from jarvision.vision.tissue.network import MULTIPLE, run_network

from .figures import markdown

RADIUS_MM = 40.0
SHAPE = (352, 320)  # rows, columns: 97 x 88 mm of the wall
MARGIN = 16  # rows and columns at the edges that are not judged

CONTENTS = {  # photograph, cells a pixel, linear colour at its middle grey
    "gravel as rye": ("gravel", 0.5, (0.19, 0.115, 0.055)),
    "gravel as wheat": ("gravel", 0.6, (0.33, 0.2, 0.09)),
    "grass as straw": ("grass", 0.9, (0.45, 0.33, 0.16)),
}
GROWTH = {
    "white grass": ("grass", 0.5, (0.72, 0.70, 0.66)),
    "white moon": ("moon", 0.7, (0.78, 0.76, 0.72)),
}
TRUE_PERCENT = (10.0, 35.0, 65.0, 90.0)


@dataclass(frozen=True)
class Collage:
    """A wall of two real textures and where the second covers the first."""

    contents: str
    growth: str
    linear: Float32Array
    covered: BoolArray

    @property
    def true_percent(self) -> float:
        """Covered share inside the margin."""
        return 100.0 * float(inside(self.covered).mean())


def inside(cells: np.ndarray) -> np.ndarray:
    """What is judged: all but the margin."""
    return cells[MARGIN:-MARGIN, MARGIN:-MARGIN]


def texture(
    name: str, scale: float, middle: tuple[float, float, float], depth: float
) -> Float32Array:
    """A photograph as linear colour ``(rows, cols, 3)``: its own light and dark about a colour.

    ``depth`` is how many times the photograph's own contrast is kept, in log light.
    """
    grey = getattr(data, name)().astype(np.float32)
    grey = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    rows, cols = SHAPE
    grey = np.pad(
        grey, ((0, max(0, rows - len(grey))), (0, max(0, cols - grey.shape[1]))), "reflect"
    )
    light = np.log((grey[:rows, :cols] / 255.0) ** 2.2 + 0.02)
    light = np.clip(light - np.median(light), -1.5, 1.2)
    return np.asarray(np.exp(depth * light)[..., None] * np.array(middle), np.float32)


def collages() -> Iterator[Collage]:
    """Every contents with every growth at four coverages."""
    seed = 0
    for contents, growth in ((c, g) for c in CONTENTS for g in GROWTH):
        for percent in TRUE_PERCENT:
            seed += 1
            blobs = data.binary_blobs(
                max(SHAPE), blob_size_fraction=0.12, volume_fraction=percent / 100.0, rng=seed
            )[: SHAPE[0], : SHAPE[1]]
            edge = cv2.GaussianBlur(blobs.astype(np.float32), (0, 0), 1.0)[..., None]
            below, above = texture(*CONTENTS[contents], 0.8), texture(*GROWTH[growth], 0.25)
            yield Collage(contents, growth, below + edge * (above - below), blobs)


def by_network(collage: Collage) -> float:
    """Coverage by the package's network, percent."""
    rows, cols = SHAPE
    nowhere = np.zeros(SHAPE, np.bool_)
    wall = RawWall(
        linear=collage.linear,
        angles_deg=np.rad2deg((np.arange(cols) - (cols - 1) / 2) * CELL_MM / RADIUS_MM),
        heights_mm=(rows - 0.5 - np.arange(rows)) * CELL_MM,
        radius_mm=RADIUS_MM,
        pixels=np.zeros((*SHAPE, 2), np.float32),
    )
    channels = network_inputs(wall, nowhere, multiple=MULTIPLE)
    first = run_network("specialist", channels)[:, : SHAPE[0], : SHAPE[1]]
    opinion = consult(wall, channels, first, ~nowhere, bare=None)
    return 100.0 * float(inside(opinion.seen.covered).mean())


def by_otsu(collage: Collage) -> float:
    """Coverage by Otsu's threshold on the log of the light, percent."""
    light = inside(np.log(collage.linear.mean(axis=2)))
    return 100.0 * float((light > threshold_otsu(light)).mean())


def main() -> None:
    """Print the table."""
    rows = [
        (c.contents, c.growth, *(f"{v:.1f}" for v in (c.true_percent, by_network(c), by_otsu(c))))
        for c in collages()
    ]
    print(markdown(("contents", "growth", "true %", "network %", "Otsu %"), rows))


if __name__ == "__main__":
    main()
