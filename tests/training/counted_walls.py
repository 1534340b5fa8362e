"""Walls whose points a person has counted, as ``jarvision count export`` writes them (PyTorch).

Of such a wall a few dozen places are known. They are sparse labels: the loss is taken there alone,
and the rest of the wall teaches nothing. See docs/count.md for the fields of a file.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import Tensor
from torch.nn import functional

from jarvision.base.colourspace import srgb_decode
from jarvision.records import RawWall
from jarvision.run.count_export import ANSWERS, HEADROOM
from jarvision.vision.tissue.inputs import CHANNELS, network_inputs

from .tissue_nets import COVER
from .training_walls import CANVAS

CANNOT_TELL = ANSWERS.index("cannot tell")
WHITE = ANSWERS.index("white")


@dataclass(frozen=True)
class CountedWalls:
    """Walls on the canvas, and the places that are known of them.

    Attributes
    ----------
    x
        ``(n, 7, rows, cols)`` inputs of the network.
    places
        ``(k, 3)`` wall, row and column of each counted point.
    covered
        ``(k,)`` 1 where the point was white, else 0.
    """

    x: Tensor
    places: Tensor
    covered: Tensor


def load_counted(folder: Path) -> CountedWalls:
    """Read an export; points of which nobody could tell teach nothing."""
    walls = [_load(path) for path in sorted(folder.glob("*.npz"))]
    places = [
        np.column_stack([np.full(len(at), number), at]) for number, (_, at, _) in enumerate(walls)
    ]
    return CountedWalls(
        torch.from_numpy(np.stack([x for x, _, _ in walls])),
        torch.from_numpy(np.concatenate(places)),
        torch.from_numpy(np.concatenate([covered for _, _, covered in walls])),
    )


def _load(path: Path) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Inputs of one wall, ``(k, 2)`` rows and columns of its points, what they are."""
    with np.load(path) as data:
        colour = cv2.imdecode(data["colour"], cv2.IMREAD_COLOR)[..., ::-1]
        angles, heights = data["angles_deg"], data["heights_mm"]
        points, answers = data["points"], data["answers"]
        wall = RawWall(
            linear=(HEADROOM * srgb_decode(colour / 255.0)).astype(np.float32),
            angles_deg=angles,
            heights_mm=heights,
            radius_mm=float(data["radius_mm"]),
            pixels=np.zeros((*colour.shape[:2], 2), np.float32),
        )
    shape = colour.shape[:2]
    rows, cols = (min(size, limit) for size, limit in zip(shape, CANVAS, strict=True))
    x = np.zeros((CHANNELS, *CANVAS), np.float32)
    x[:, :rows, :cols] = network_inputs(wall, np.zeros(shape, bool))[:, :rows, :cols]
    at = np.column_stack([
        np.rint((heights[0] - points[:, 1]) / wall.step_mm),
        np.rint((points[:, 0] - angles[0]) / (angles[1] - angles[0])),
    ]).astype(int)  # fmt: skip
    known = (answers != CANNOT_TELL) & (at >= 0).all(1) & (at < (rows, cols)).all(1)
    return x, at[known], (answers[known] == WHITE).astype(np.float32)


def point_loss(out: Tensor, walls: CountedWalls) -> Tensor:
    """Binary cross entropy of the cover, a mean over the counted points."""
    wall, row, col = walls.places.unbind(1)
    return functional.binary_cross_entropy_with_logits(out[wall, COVER, row, col], walls.covered)
