"""Growth over the contents of a jar: where it stands, how it looks (NumPy).

One wall at a time, with numbers as :mod:`.grown_walls` has them for batches ("wild"), or as most
jars are ("plain"): white to cream, brighter or finer than what it grows on.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from jarvision.records import Float32Array, FloatArray, TissueClass
from tests.scenes.events import Canvas
from tests.scenes.textures import sigmoid, smoothstep

from .growth_layers import PILE_SCALE, growth_fields
from .jar_contents import Bare, Pose
from .noise import fractal, ranked
from .texture_layers import Textures

BARE_SHARE = {False: 0.15, True: 0.11}  # of plain and of wild jars: nothing grows yet
FULL_SHARE = {False: 0.10, True: 0.07}
_SAG_MM = 0.45  # relief follows opacity only at sizes above this
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)
_SOME = (slice(None, None, 3), slice(None, None, 3))


@dataclass(frozen=True)
class Growth:
    """Growth on a wall, each ``(rows, cols)``.

    Attributes
    ----------
    front
        How far behind the front of growth a place lies, in ranks of time.
    pile
        Height of the pile, -1 to 1.
    white
        Albedo of growth itself, ``(rows, cols, 3)``.
    """

    front: Float32Array
    pile: Float32Array
    white: Float32Array


def chance(rng: np.random.Generator, share: float) -> float:
    """1 for a share of the draws, 0 for the others."""
    return float(rng.random() < share)


def logarithmic(rng: np.random.Generator, low: float, high: float) -> float:
    """Even in the logarithm between two limits."""
    return float(low * (high / low) ** rng.random())


def step_at(field: Float32Array | FloatArray, softness: float) -> Float32Array:
    """0 below, 1 above zero, with a soft edge."""
    return sigmoid(np.asarray(field / softness))


def soft(field: Float32Array, cells: float) -> Float32Array:
    """The field without what is finer than ``cells``."""
    return np.asarray(cv2.GaussianBlur(field, (0, 0), cells), np.float32)


def grow(
    bare: Bare, seed: int, rng: np.random.Generator, *, wild: bool, textures: Textures | None
) -> tuple[Canvas, Growth]:
    """The wall with growth anywhere on it; a place is covered where half of it is hidden."""
    age, strands, pile = growth_fields(seed, textures=textures)
    pose = Pose.draw(rng, turn=0.25, scale=0.3)
    age, strands = pose.laid(age, bare.grid), pose.laid(strands, bare.grid)
    pile = Pose.draw(rng, turn=0.5, scale=0.3).laid(pile, bare.grid)
    pile = np.clip(2.0 * PILE_SCALE * pile, -1.0, 1.0)
    front = _front(bare, _age(bare, age, rng, wild=wild), rng, wild=wild)
    opacity = _opacity(front, strands, pile, rng, wild=wild)
    white = _white(bare, pile, rng, wild=wild)
    canvas = Canvas(
        grid=bare.grid,
        albedo=bare.albedo + opacity[..., None] * (white - bare.albedo),
        relief_mm=_relief(bare, front, opacity, pile, rng),
        gloss=np.asarray(bare.gloss * (1.0 - opacity) + 0.05 * opacity, np.float32),
        classes=np.where(opacity >= 0.5, TissueClass.MYCELIUM, TissueClass.BARE).astype(np.uint8),
        opacity=opacity,
        piece_tone=bare.piece,
        pins=np.zeros(opacity.shape, bool),
    )
    return canvas, Growth(front, pile, white)


def _age(
    bare: Bare, age: Float32Array, rng: np.random.Generator, *, wild: bool
) -> Float32Array:  # fmt: skip
    """Rank of arrival: from the layer, from spawn among the contents, or from above."""
    way = rng.random()
    if way < (0.15 if wild else 0.3):
        age = _from_spawn(bare, rng)
    elif not wild and way > 0.85:
        down = bare.fill_mm - bare.grid.heights_mm[:, None]
        sizes = [size / bare.grid.step_mm[1] for size in (2.0, 5.0, 12.0, 30.0)]
        rough = rng.uniform(1.0, 9.0) * fractal(bare.grid.shape, rng, sizes)
        age = ranked(np.asarray(np.maximum(down, 0.0) + rough, np.float32))
    pieces = chance(rng, 0.5) * rng.uniform(0.0, 0.3) * (bare.piece - 0.5)
    hollow = soft(bare.depth_mm, 6.0) - bare.depth_mm
    shelter = chance(rng, 0.6) * rng.uniform(-0.12, 0.08) * hollow
    return np.asarray(age + pieces + shelter, np.float32)


def _from_spawn(bare: Bare, rng: np.random.Generator) -> Float32Array:
    """Fronts that leave pieces of spawn, strewn evenly or in handfuls."""
    share: Float32Array | float = rng.uniform(0.01, 0.12)
    if rng.random() < 0.6:
        size = rng.uniform(8.0, 30.0) / bare.grid.step_mm[1]
        here = fractal(bare.grid.shape, rng, (size, 2.0 * size)) > rng.uniform(0.5, 1.8)
        share = np.where(here, rng.uniform(0.3, 0.9), 0.1 * share).astype(np.float32)
    # The middle of the numbers: gaps between pieces have 0.5.
    spawn = np.abs(bare.piece - 0.3) < 0.2 * share
    far = cv2.distanceTransform((~spawn).astype(np.uint8), cv2.DIST_L2, 5)
    size = logarithmic(rng, 4.0, 30.0)
    rough = fractal(bare.grid.shape, rng, (size / 4.0, size / 2.0, size))
    return ranked(np.asarray(far + rng.uniform(0.1, 0.6) * size * rough, np.float32))


def _front(
    bare: Bare, age: Float32Array, rng: np.random.Generator, *, wild: bool
) -> Float32Array:  # fmt: skip
    """How far the front has passed each place; any share of what is seen is behind it."""
    bound = rng.random()
    if bound < BARE_SHARE[wild]:
        return np.full(age.shape, -9.0, np.float32)
    some = age[_SOME][bare.seen[_SOME]]
    if bound > 1.0 - FULL_SHARE[wild]:
        return np.asarray(some.max() + rng.uniform(0.3, 0.7) - age, np.float32)
    return np.asarray(np.quantile(some, rng.random()) - age, np.float32)


def _opacity(
    front: Float32Array, strands: Float32Array, pile: Float32Array, rng: np.random.Generator,
    *, wild: bool,
) -> Float32Array:  # fmt: skip
    """How much growth hides."""
    at_front = rng.uniform(0.25 if wild else 0.45, 1.0)
    behind = logarithmic(rng, 0.01, 0.4) if wild else logarithmic(rng, 0.005, 0.12)
    dense = at_front + (1.0 - at_front) * (1.0 - np.exp(-np.maximum(front, 0.0) / behind))
    thin = wild and rng.random() < 0.35
    densest = rng.uniform(0.5, 0.95) if thin else rng.uniform(0.92, 1.0)
    holes = rng.uniform(0.0, 0.9 if wild else 0.5) * (1.05 - dense)
    softness = logarithmic(rng, 0.004, 0.07 if wild else 0.035)
    felt = step_at(front, softness) * dense * densest
    felt = felt * (1.0 - holes * np.clip(0.6 - pile, 0.0, 1.0))
    felt = felt * (1.0 + 0.25 * pile * (1.0 - dense))
    ahead = chance(rng, 0.6) * rng.uniform(0.3, 1.0)
    leading = step_at(front + rng.uniform(0.0, 0.3 if wild else 0.15), 0.03)
    opacity = 1.0 - (1.0 - np.clip(felt, 0.0, 1.0)) * (1.0 - ahead * strands * leading)
    return np.asarray(np.clip(opacity, 0.0, 1.0), np.float32)


def _white(
    bare: Bare, pile: Float32Array, rng: np.random.Generator, *, wild: bool
) -> Float32Array:  # fmt: skip
    """Albedo of growth, from bright white to cream; wild growth may be dim and grey, too."""
    bright = rng.uniform(0.62, 0.95)
    if wild and rng.random() < 0.38:
        bright = rng.uniform(0.33, 0.66)
    if not wild:
        below = float((bare.albedo[_SOME][bare.seen[_SOME]] @ _LUMINANCE).mean())
        bright = max(bright, min(0.93, below + rng.uniform(0.12, 0.3)))
    cream = chance(rng, 0.5) * rng.uniform(0.0, 1.0 if wild else 0.7)
    tint = np.exp(np.array([0.05, 0.0, -0.3]) * cream)
    tint *= np.exp(np.array([0.02, 0.01, 0.03]) * rng.standard_normal(3))
    size = 25.0 / bare.grid.step_mm[1]
    slow = rng.uniform(0.0, 0.14 if wild else 0.07) * fractal(pile.shape, rng, (size / 2.0, size))
    texture = chance(rng, 0.8) * rng.uniform(0.0, 0.35 if wild else 0.15) * pile
    light = bright * np.exp(slow + texture)
    return np.clip(light[..., None] * tint, 0.03, 0.95).astype(np.float32)


def _relief(
    bare: Bare, front: Float32Array, opacity: Float32Array, pile: Float32Array,
    rng: np.random.Generator,
) -> Float32Array:  # fmt: skip
    """Depth behind the glass: felt bridges gaps, comes nearer with age and has a pile."""
    bridged = rng.uniform(0.1, 0.8) * soft(bare.depth_mm, 3.0)
    thick = rng.uniform(0.0, 1.0) * np.clip(8.0 * front, 0.0, 1.0)
    rough = chance(rng, 0.75) * rng.uniform(0.0, 0.6)
    felt = np.maximum(bridged - thick, 0.0) + 0.1 + rough * (0.5 - 0.5 * soft(pile, 0.7))
    # Single threads hang across a gap: they raise no walls out of its ground.
    dense = soft(smoothstep(0.15, 0.95, opacity), _SAG_MM / bare.grid.step_mm[1])
    return np.asarray(bare.depth_mm + dense * (felt - bare.depth_mm), np.float32)
