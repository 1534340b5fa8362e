"""Layers of growth, drawn at random: where it comes first, its strands, its pile.

``growth_layer(seed)`` says how growth spreads over a wall, whatever it grows on; where its edge
stands, how thick it is and what colour it has is chosen anew whenever it is laid over contents.
"""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import Float32Array
from jarvision.vision.jar.unroll import CELL_MM

from .contents_layers import CANVAS
from .noise import fractal, ranked, smooth_noise
from .texture_layers import Textures, texture_pile

PILE_SCALE = 0.17  # of the stored pile
COLONIES = 0.15  # share of layers with round colonies whose edges are clean
PICTURED = 0.35  # share of piles that are a photograph's light and dark, where there are any
_HALF = (CANVAS[0] // 2, CANVAS[1] // 2)


def growth_layer(seed: int, *, textures: Textures | None = None) -> np.ndarray:
    """``(3, rows, cols)`` bytes; some piles are photographed where ``textures`` are given.

    The rank of each place by the time at which growth arrives (0: first), the density of strands
    that run ahead of it, and the height of its pile (128 is the middle).
    """
    age, strands, pile = growth_fields(seed, textures=textures)
    parts = np.stack([age, np.clip(strands, 0, 1), np.clip(0.5 + PILE_SCALE * pile, 0, 1)])
    return np.rint(255.0 * parts).astype(np.uint8)


def growth_fields(
    seed: int, *, textures: Textures | None = None
) -> tuple[Float32Array, Float32Array, Float32Array]:
    """Rank of arrival, density of strands (0 to 1) and height of the pile (unit spread)."""
    rng = np.random.default_rng([seed, 72])
    nuclei = _nuclei(rng)
    plain = rng.random() < COLONIES
    age = ranked(_colonies(nuclei, rng) if plain else _age(nuclei, rng))
    runs_ahead = not plain and rng.random() < 0.75
    strands = _strands(nuclei, rng) if runs_ahead else np.zeros(CANVAS, np.float32)
    pictured = textures is not None and rng.random() < PICTURED
    pile = texture_pile(textures, seed) if pictured and textures else _pile(rng)
    return age, strands, pile


def _nuclei(rng: np.random.Generator) -> np.ndarray:
    """Where growth starts, ``(n, 3)``: x, y in cells, delay in cells."""
    count = int(np.exp(rng.uniform(np.log(2.0), np.log(70.0))))
    at = rng.uniform(-0.1, 1.1, (count, 2)) * np.array(CANVAS[::-1])
    way = rng.random()
    if way < 0.12:
        at[:, 1] = CANVAS[0] * rng.uniform(0.0, 0.3, count)  # from the top
    elif way < 0.2:
        at[:, 1] = CANVAS[0] * rng.uniform(0.7, 1.0, count)
    delay = rng.exponential(rng.uniform(2.0, 60.0), count)
    return np.column_stack([at, delay])


def _age(nuclei: np.ndarray, rng: np.random.Generator) -> Float32Array:
    """Time of arrival, in cells of way."""
    y, x = np.mgrid[0 : _HALF[0], 0 : _HALF[1]].astype(np.float32) * 2.0
    size = float(np.exp(rng.uniform(np.log(8.0), np.log(60.0))))
    bend = rng.uniform(0.0, 0.8) * size
    x += bend * fractal(_HALF, rng, (size / 2, size, 2 * size))
    y += bend * fractal(_HALF, rng, (size / 2, size, 2 * size))
    age = np.full(_HALF, np.inf, np.float32)
    ragged = rng.uniform(0.0, 0.35) if rng.random() < 0.6 else 0.0  # rays of fans
    for at_x, at_y, delay in nuclei.astype(np.float32):
        dx, dy = x - at_x, y - at_y
        far = np.sqrt(dx * dx + dy * dy)
        if ragged > 0.0:
            turn = np.arctan2(dy, dx)
            lobes = rng.integers(3, 40, 3)
            rays = sum(np.sin(n * turn + rng.uniform(0, 6.28)) / (1 + 0.03 * n) for n in lobes)
            far = far * (1.0 + ragged * rays / 1.7)
        np.minimum(age, far + delay, out=age)
    age = cv2.resize(age, CANVAS[::-1], interpolation=cv2.INTER_LINEAR)
    rough = rng.uniform(0.05, 0.9) * float(age.std())
    if rng.random() < 0.15:
        rough *= 6.0  # all over at once
    finest = float(rng.choice([1.5, 3.0, 6.0]))
    sizes = finest * 2.0 ** np.arange(6)
    return np.asarray(age + rough * fractal(CANVAS, rng, sizes, fall=rng.uniform(0.5, 0.95)))


def _colonies(nuclei: np.ndarray, rng: np.random.Generator) -> Float32Array:
    """Time of arrival of colonies that stay round, in cells of way: no ray, no roughness."""
    y, x = np.mgrid[0 : _HALF[0], 0 : _HALF[1]].astype(np.float32) * 2.0
    bend = rng.uniform(0.0, 12.0)
    x += bend * smooth_noise(_HALF, 60.0, rng)
    y += bend * smooth_noise(_HALF, 60.0, rng)
    far = [np.hypot(x - at_x, y - at_y) + delay for at_x, at_y, delay in nuclei.astype(np.float32)]
    age = cv2.resize(np.min(far, axis=0), CANVAS[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(age + rng.uniform(0.0, 1.5) * fractal(CANVAS, rng, (6.0, 12.0)))


def _strands(nuclei: np.ndarray, rng: np.random.Generator) -> Float32Array:
    """Strands that wander and branch: threads, fans, ropes."""
    count = int(np.exp(rng.uniform(np.log(20.0), np.log(500.0))))
    steps = int(rng.integers(25, 90))
    stride = rng.uniform(1.5, 4.0)
    rope = rng.random() < 0.4
    start = nuclei[rng.integers(len(nuclei), size=count), :2]
    turn = rng.uniform(0.0, 2.0 * np.pi, count)
    bends = rng.normal(0.0, rng.uniform(0.06, 0.4), (count, steps)).cumsum(axis=1)
    way = stride * np.stack([np.cos(turn[:, None] + bends), np.sin(turn[:, None] + bends)], axis=-1)
    paths = way.cumsum(axis=1)
    born = np.zeros((count, 2))
    for one in range(count):  # a branch starts on an earlier strand
        parent = int(rng.integers(0, one)) if one > 4 and rng.random() < 0.7 else -1
        born[one] = start[one] if parent < 0 else paths[parent, rng.integers(steps)] + born[parent]
    paths = np.rint(16.0 * (paths + born[:, None])).astype(np.int32)
    drawn = np.zeros(CANVAS, np.uint8)
    widest = float(rng.uniform(2.0, 7.0)) if rope else float(rng.uniform(1.0, 2.0))
    for path in paths:
        wide = max(1, round(rng.uniform(0.4, 1.0) * widest))
        level = int(rng.integers(90, 256))
        cv2.polylines(drawn, [path], False, level, wide, cv2.LINE_AA, 4)
    return np.asarray(drawn, np.float32) / 255.0


def _pile(rng: np.random.Generator) -> Float32Array:
    """Height of the pile over the mean, unit spread; 0 everywhere for smooth felt."""
    way = rng.choice(["smooth", "cotton", "fibres", "lumps", "wrinkles", "tufts"],
                     p=[0.16, 0.24, 0.2, 0.16, 0.1, 0.14])  # fmt: skip
    if way == "smooth":
        return np.zeros(CANVAS, np.float32)
    if way == "cotton":
        return fractal(CANVAS, rng, (1.5, 3.0, 6.0, 12.0, 24.0), fall=rng.uniform(0.6, 1.1))
    if way == "lumps":
        size = float(rng.uniform(5.0, 24.0))
        return fractal(CANVAS, rng, (size, 2 * size), fall=0.8) + 0.2 * fractal(CANVAS, rng, (1.5,))
    if way == "wrinkles":
        field = fractal(CANVAS, rng, (12.0, 24.0, 48.0))
        return np.asarray(1.2 - 3.0 * np.abs(field), np.float32)
    if way == "tufts":
        field = fractal(CANVAS, rng, (4.0, 8.0, 16.0), fall=0.8)
        return np.asarray(np.maximum(field, 0.0) ** 2 - 0.5, np.float32)
    return _fibres(rng)


def _fibres(rng: np.random.Generator) -> Float32Array:
    """Short threads, crossing or combed."""
    count = int(rng.integers(1500, 6000))
    length = rng.uniform(1.0, 8.0) / CELL_MM
    at = rng.uniform(0.0, 1.0, (count, 2)) * np.array(CANVAS[::-1])
    flow = np.pi * smooth_noise(CANVAS, rng.uniform(30.0, 120.0), rng)
    row, col = (np.clip(at[:, k].astype(int), 0, CANVAS[1 - k] - 1) for k in (1, 0))
    turn = flow[row, col] + rng.normal(0.0, rng.uniform(0.1, 1.5), count)
    half = 0.5 * length * np.exp(0.4 * rng.standard_normal(count))
    reach = half[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    side = 0.2 * rng.standard_normal((count, 1)) * reach[:, ::-1] * np.array([-1.0, 1.0])
    points = np.rint(16.0 * np.stack([at - reach, at + side, at + reach], axis=1)).astype(np.int32)
    levels = rng.integers(60, 256, count)
    drawn = np.zeros(CANVAS, np.uint8)
    for path, level in zip(points, levels, strict=True):
        cv2.polylines(drawn, [path], False, int(level), 1, cv2.LINE_AA, 4)
    pile = drawn.astype(np.float32)
    pile += 60.0 * fractal(CANVAS, rng, (3.0, 6.0, 12.0))
    return np.asarray((pile - pile.mean()) / pile.std(), np.float32)
