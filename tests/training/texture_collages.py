"""How nets read photographs put together: ``python -m tests.training.texture_collages HELD NETS``.

Contents and growth are windows of photographs that were held out (``textures --split held``), in
their own colours; only the border between them is drawn, so that the covered area is known. No
renderer, no relief and no glass has a part in it: a net that has learned how walls are made and not
what growth looks like is found out here. Nothing is trained or stopped on these walls.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import torch

from jarvision.records import BoolArray, Float32Array, RawWall
from jarvision.vision.jar.unroll import CELL_MM
from jarvision.vision.tissue.inputs import network_inputs

from .contents_layers import CANVAS
from .learning import COVER
from .noise import fractal
from .texture_layers import Textures, load_textures, window_of
from .tissue_nets import INPUTS, TissueNet, load_net

SHAPE = (384, 320)  # rows, columns: a whole wall, 106 x 88 mm
RADIUS_MM = 40.0
MARGIN = 16  # cells at the edges that are not judged
GROWTH = ("snow", "whitened")  # white pictures as they are; any picture with its colour taken out
BORDERS = ("round", "ragged")
_WEIGHTS = np.array([0.2126, 0.7152, 0.0722], np.float32)


@dataclass(frozen=True)
class TextureCollage:
    """A wall of two photographs: linear light ``(rows, cols, 3)`` and where the second lies."""

    material: str
    growth: str
    border: str
    linear: Float32Array
    covered: BoolArray


def texture_collages(textures: Textures, each: int, seed: int) -> Iterator[TextureCollage]:
    """``each`` walls for every picture that can be bare contents."""
    for which in textures.bare():
        for number in range(each):
            rng = np.random.default_rng([seed, int(which), number])
            growth = GROWTH[number % 2]
            border = BORDERS[(number // 2) % 2]
            below = _cut(window_of(textures, int(which), rng))
            covered = _area(border, rng.uniform(0.03, 0.97), rng)
            edge = cv2.GaussianBlur(covered.astype(np.float32), (0, 0), rng.uniform(0.5, 1.5))
            above = _white(textures, growth, rng)
            light = np.exp(rng.uniform(-0.3, 0.3))
            linear = light * (below + edge[..., None] * (above - below))
            yield TextureCollage(textures.materials[which], growth, border, linear, covered)


def _cut(picture: Float32Array) -> Float32Array:
    return np.clip(picture[: SHAPE[0], : SHAPE[1]], 0.002, 0.95)


def _white(textures: Textures, growth: str, rng: np.random.Generator) -> Float32Array:
    """A surface of growth: bright, between white and cream."""
    which = rng.choice(textures.white() if growth == "snow" else textures.bare())
    light = np.log(_cut(window_of(textures, int(which), rng)) @ _WEIGHTS)
    light = np.clip(light - np.median(light), -1.2, 0.6)
    depth = 0.8 if growth == "snow" else rng.uniform(0.1, 0.35)
    cream = np.exp(np.array([0.03, 0.0, -0.25]) * rng.uniform(0.0, 1.0))
    bright = rng.uniform(0.5, 0.85) * np.exp(depth * light)
    return np.clip(bright[..., None] * cream, 0.0, 0.97).astype(np.float32)


def _area(border: str, share: float, rng: np.random.Generator) -> BoolArray:
    """Where growth lies: round colonies, or an area with a ragged edge."""
    fine = (48.0, 96.0) if border == "round" else (3.0, 6.0, 12.0, 24.0, 48.0, 96.0)
    field = fractal(CANVAS, rng, fine, fall=0.7)[: SHAPE[0], : SHAPE[1]]
    return np.asarray(field > np.quantile(field, 1.0 - share))


def inputs_of(linear: Float32Array) -> np.ndarray:
    """The network's inputs without a reference, ``(1, 13, rows, cols)``."""
    rows, cols = SHAPE
    wall = RawWall(
        linear=linear,
        angles_deg=np.rad2deg((np.arange(cols) - (cols - 1) / 2) * CELL_MM / RADIUS_MM),
        heights_mm=(rows - 0.5 - np.arange(rows)) * CELL_MM,
        radius_mm=RADIUS_MM,
        pixels=np.zeros((*SHAPE, 2), np.float32),
    )
    known = network_inputs(wall, np.zeros(SHAPE, np.bool_), multiple=32)
    nothing = np.zeros((INPUTS - len(known), *known.shape[1:]), np.float32)
    return np.concatenate([known, nothing])[None]


@torch.no_grad()
def errors(nets: dict[str, TissueNet], collages: list[TextureCollage]) -> np.ndarray:
    """Coverage read less true, points ``(nets, collages)``; by chances as the package sums up."""
    inside = np.s_[MARGIN:-MARGIN, MARGIN:-MARGIN]
    found = np.zeros((len(nets), len(collages)))
    for place, collage in enumerate(collages):
        x = torch.from_numpy(inputs_of(collage.linear)).contiguous(
            memory_format=torch.channels_last
        )
        true = collage.covered[inside].mean()
        for number, net in enumerate(nets.values()):
            chance = torch.sigmoid(net(x)[0, COVER, : SHAPE[0], : SHAPE[1]]).numpy()
            found[number, place] = 100.0 * (chance[inside].mean() - true)
    return found


def main() -> None:
    """Print the mean and 95th error of each net, by growth, border and material."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("held", type=Path)
    parser.add_argument("nets", type=Path, nargs="+")
    parser.add_argument("--each", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    collages = list(texture_collages(load_textures(args.held), args.each, args.seed))
    nets = {path.stem: load_net(path) for path in args.nets}
    off = errors(nets, collages)
    for name, row in zip(nets, off, strict=True):
        print(f"{name:20s} {_summed_up(row)}")
        for trait in ("growth", "border", "material"):
            kinds = np.array([getattr(one, trait) for one in collages])
            for kind in np.unique(kinds):
                print(f"    {kind:16s} {_summed_up(row[kinds == kind])}")


def _summed_up(off: np.ndarray) -> str:
    size = np.abs(off)
    return (f"mean {size.mean():.1f}, 95th {np.quantile(size, 0.95):.1f}, "
            f"worst {size.max():.1f}, bias {off.mean():+.1f} of {off.size}")  # fmt: skip


if __name__ == "__main__":
    main()
