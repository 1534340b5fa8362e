"""Layers of contents, and piles of growth, from photographs of real textures.

A file of textures holds ``jpeg`` (all pictures one after the other), ``sizes`` (bytes of each),
``unit_px`` (rough size of its pieces), ``materials`` and ``families``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from jarvision.records import Float32Array

from .contents_layers import CANVAS, Layer, stored
from .heaps import Heap
from .noise import ranked, smooth_noise
from .palette import base_colour, to_linear

WHITE = ("white", "white_over_litter")  # never bare contents
_FAMILY_OF = {"kernels": 0, "small_seeds": 1, "chips_shavings": 2, "stalks": 3,
              "crumbs_powders": 4, "mixtures": 5}  # fmt: skip
_WEIGHTS = np.array([0.2126, 0.7152, 0.0722], np.float32)


@dataclass(frozen=True)
class Textures:
    """Pictures as JPEG bytes, with the size of their pieces, what they show, and their family."""

    jpegs: tuple[np.ndarray, ...]
    unit_px: np.ndarray
    materials: tuple[str, ...]
    families: tuple[str, ...]

    def bare(self) -> np.ndarray:
        """Indices of what can be bare contents."""
        return np.flatnonzero([material not in WHITE for material in self.materials])

    def white(self) -> np.ndarray:
        """Indices of what can be the pile of growth."""
        return np.flatnonzero([material == "white" for material in self.materials])


@cache
def load_textures(path: Path) -> Textures:
    """Read a file of textures."""
    with np.load(path) as data:
        jpegs = np.split(data["jpeg"], np.cumsum(data["sizes"])[:-1])
        return Textures(
            tuple(jpegs),
            data["unit_px"].astype(float),
            tuple(str(name) for name in data["materials"]),
            tuple(str(name) for name in data["families"]),
        )


def texture_layer(textures: Textures, seed: int) -> Layer:
    """A window of a random picture as contents, in its own or in other colours and sizes."""
    heap, family = texture_heap(textures, seed)
    return Layer(stored(heap), family, 0 if family < 0 else 1 << family)


def texture_heap(textures: Textures, seed: int) -> tuple[Heap, int]:
    """The contents of a layer as drawn, and the family of what the picture shows (or -1)."""
    rng = np.random.default_rng([seed, 73])
    which = int(rng.choice(textures.bare()))
    linear = window_of(textures, which, rng)
    light = linear @ _WEIGHTS
    detail = (light + 0.004) / (light.mean() + 0.004)
    colour = linear / (light[..., None] + 0.004)
    own = rng.uniform(0.0, 1.0) if rng.random() < 0.7 else 1.0
    base = to_linear(base_colour(rng)).astype(np.float32)
    cast = base / (base @ _WEIGHTS)
    middle = float(light.mean()) if rng.random() < 0.2 else float(base @ _WEIGHTS)
    contrast = float(rng.uniform(0.5, 1.3))
    tints = np.maximum(colour, 1e-3) ** own * cast ** (1.0 - own if own < 1.0 else 0.0)
    albedo = middle * detail[..., None] ** contrast * tints
    relief = 2.0 + rng.uniform(-0.2, 1.2) * np.clip(np.log(detail), -1.5, 1.5)
    shape = light.shape
    heap = Heap(
        np.clip(albedo, 0.004, 0.88).astype(np.float32),
        cv2.GaussianBlur(relief, (0, 0), 1.0).astype(np.float32),
        np.full(shape, rng.choice([0.03, 0.15, 0.5]), np.float32),
        ranked(smooth_noise(shape, rng.uniform(6.0, 24.0), rng)),
        np.ones(shape, bool),
    )
    return heap, _FAMILY_OF.get(textures.families[which], -1)


def texture_pile(textures: Textures, seed: int) -> Float32Array:
    """Light and dark of a picture, of snow as a rule, as a pile: zero mean, unit spread."""
    rng = np.random.default_rng([seed, 74])
    which = textures.white() if rng.random() < 0.6 else textures.bare()
    light = window_of(textures, int(rng.choice(which)), rng) @ _WEIGHTS
    light = np.log(light + 0.02)
    light -= cv2.GaussianBlur(light, (0, 0), 40.0)
    return np.asarray(light / (light.std() + 1e-4), np.float32)


def window_of(textures: Textures, which: int, rng: np.random.Generator) -> Float32Array:
    """Linear colour ``CANVAS`` large, pieces 5 to 40 cells across, turned at random."""
    picture = cv2.imdecode(textures.jpegs[which], cv2.IMREAD_COLOR)[..., ::-1]
    linear = (np.ascontiguousarray(picture).astype(np.float32) / 255.0) ** 2.2
    unit = max(3.0, float(textures.unit_px[which]))
    grow = float(np.clip(np.exp(rng.uniform(np.log(5.0), np.log(40.0))) / unit, 0.5, 3.5))
    if grow < 1.0:
        linear = cv2.GaussianBlur(linear, (0, 0), 0.4 / grow)
    turn = cv2.getRotationMatrix2D((0.0, 0.0), rng.uniform(0.0, 360.0), grow)
    turn[:, 2] = rng.uniform(-2000.0, 2000.0, 2)
    return np.asarray(
        cv2.warpAffine(linear, turn, CANVAS[::-1], flags=cv2.INTER_LINEAR,
                       borderMode=cv2.BORDER_REFLECT_101), np.float32,
    )  # fmt: skip
