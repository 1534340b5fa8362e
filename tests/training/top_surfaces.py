"""Flattened surfaces of fruiting jars, painted without a renderer, with the class of every cell.

``python -m tests.training.top_surfaces OUT --first SEED --count N --jobs J`` writes chunks
``topsSEED.npz``: ``pictures`` (n, side, side, 3) sRGB bytes, ``classes`` and ``below`` (with and
without water; :class:`tests.scenes.tops.spec.TopClass`), ``bodies`` (m, 5: which surface, class, x,
y and apparent width in mm), ``radius_mm``, ``seeds``. Contents are those of
:mod:`.contents_layers`; crumbs and powders, and mixtures that may hold them, come only with
seeds for judging.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from jarvision.base.colourspace import srgb_encode
from jarvision.records import BoolArray, ByteArray, Float32Array
from tests.scenes.events import Canvas
from tests.scenes.suite import CAPS_LAB
from tests.scenes.textures import lab_to_linear
from tests.scenes.tops.grown import draw_caps, draw_pins
from tests.scenes.tops.spec import Mouth, TopClass, Water
from tests.scenes.tops.surface import CLASS_OF
from tests.scenes.wall_paint import WallGrid

from .contents_layers import PX_MM, contents_heap
from .jar_contents import Bare
from .jar_faults import _mould, _stain
from .jar_growth import chance, grow, logarithmic
from .noise import fractal
from .top_fruit import Board, paint_cap, paint_droplet, paint_pin, paint_pool

CELL_MM = 0.2
SIDE = 480  # cells
SIDE_MM = SIDE * CELL_MM
JUDGED_FROM = 9_000_000
CHUNK = 32
TRAINED = (0, 1, 2, 3)  # families of contents; 4 holds crumbs and powders, 5 mixtures of any
_FIELD = np.array([0.115, 0.115, 0.32], np.float32)  # the printed sheet about the mouth, linear


@dataclass(frozen=True)
class TopSurface:
    """One painted surface.

    Attributes
    ----------
    picture
        ``(SIDE, SIDE, 3)`` sRGB bytes.
    classes, below
        ``(SIDE, SIDE)`` :class:`TopClass`, with and without water.
    bodies
        ``(n, 4)`` class, x, y and width (mm) of droplets, pins and caps whose middle shows.
    """

    seed: int
    picture: ByteArray
    classes: ByteArray
    below: ByteArray
    bodies: Float32Array
    radius_mm: float


def top_surface(seed: int) -> TopSurface:
    """Paint one; deterministic in its seed."""
    rng = np.random.default_rng([seed, 121])
    mouth = Mouth(inner_mm=float(rng.uniform(58.0, 88.0)))
    depth = float(rng.uniform(5.0, 40.0))
    canvas = _contents(seed, rng)
    height = _height(canvas, rng)
    axis = (np.arange(SIDE) + 0.5 - SIDE / 2.0) * CELL_MM
    far = np.hypot(axis[None, :], axis[:, None])
    there = np.asarray(far <= mouth.radius_mm)
    turn = rng.uniform(0.0, 2.0 * np.pi)
    tissue = CLASS_OF[canvas.classes]
    board = Board(
        cell_mm=CELL_MM,
        light=_shaded(canvas, height, turn, rng),
        classes=tissue.copy(),
        below=tissue.copy(),
        lamp=np.array([np.cos(turn), np.sin(turn)]),
        slant=float(rng.uniform(0.1, 0.95)),
    )
    water = _water(rng)
    if water.pool > 0.0:
        paint_pool(board, height, there, water.pool, rng)
    _droplets(board, water, mouth, rng)
    _fruit(board, mouth, depth, rng)
    _outside(board, mouth, far.astype(np.float32), rng)
    return TopSurface(seed, _photographed(board.light, rng), board.classes, board.below,
                      _shown(board), mouth.radius_mm)  # fmt: skip


def _shown(board: Board) -> Float32Array:
    """Bodies whose middle nothing else hides."""
    shown = []
    for kind, x, y, wide in board.bodies:
        row, col = (int(np.clip(v / CELL_MM + SIDE / 2.0, 0, SIDE - 1)) for v in (y, x))
        there, below = board.classes[row, col], board.below[row, col]
        solid = below in (TopClass.BARE, TopClass.GROWTH, TopClass.OFF_COLOUR)
        if below == kind or (kind == TopClass.DROPLET and solid and there != TopClass.WATER):
            shown.append((kind, x, y, wide))
    return np.array(shown, np.float32).reshape(-1, 4)


def _contents(seed: int, rng: np.random.Generator) -> Canvas:
    """Contents with growth, stains and moulds over them."""
    family = int(rng.integers(6)) if seed >= JUDGED_FROM else int(rng.choice(TRAINED))
    heap, holds = contents_heap(family, seed)
    wide = min(round(SIDE_MM * PX_MM), *heap.there.shape)
    first = [int(rng.integers(0, size - wide + 1)) for size in heap.there.shape]
    albedo, relief, gloss, piece = (
        cv2.resize(
            np.rot90(part[first[0] : first[0] + wide, first[1] : first[1] + wide], family + seed),
            (SIDE, SIDE), interpolation=cv2.INTER_AREA,
        )
        for part in (heap.albedo, heap.relief_mm, heap.gloss, heap.piece)
    )  # fmt: skip
    grid = WallGrid(SIDE_MM / (2.0 * np.pi), SIDE_MM, CELL_MM)
    highest = cv2.GaussianBlur(cv2.dilate(relief, np.ones((21, 21), np.uint8)), (0, 0), 10.0)
    bare = Bare(
        grid=grid,
        albedo=np.clip(albedo, 0.004, 0.9),
        depth_mm=np.clip(highest - relief, 0.0, 5.0).astype(np.float32),
        gloss=np.clip(gloss, 0.0, 1.0),
        piece=piece,
        fill_mm=np.full(SIDE, SIDE_MM + 1.0, np.float32),
        holds=holds,
    )
    canvas, growth = grow(bare, seed, rng, wild=bool(rng.random() < 0.5), textures=None)
    if rng.random() < 0.2:
        _stain(canvas, growth, rng, skin=bool(rng.random() < 0.3))
    if rng.random() < 0.45:
        _mould(canvas, bare, growth, rng)
    return canvas


def _height(canvas: Canvas, rng: np.random.Generator) -> Float32Array:
    """Height of the surface about its mean, mm."""
    slow = fractal((SIDE, SIDE), rng, (40.0, 80.0, 160.0))
    return np.asarray(rng.uniform(0.2, 2.4) * slow - canvas.relief_mm, np.float32)


def _shaded(
    canvas: Canvas, height: Float32Array, turn: float, rng: np.random.Generator
) -> Float32Array:
    """Light off the surface: one lamp's side, ambience, darker hollows, some gloss."""
    down, across = np.gradient(cv2.GaussianBlur(height, (0, 0), 0.7), CELL_MM)
    slope = -(across * np.cos(turn) + down * np.sin(turn))
    lamp = np.clip(1.0 + rng.uniform(0.0, 0.8) * slope, 0.15, 2.0)
    hollow = np.clip(cv2.GaussianBlur(height, (0, 0), 8.0) - height, 0.0, 4.0)
    shade = np.exp(-rng.uniform(0.05, 0.3) * hollow)
    uneven = np.exp(rng.uniform(0.0, 0.2) * fractal(height.shape, rng, (150.0, 300.0)))
    soaked = rng.uniform(0.0, 0.5) * (1.0 - canvas.opacity)
    light = canvas.albedo * (1.0 - soaked[..., None]) * (lamp * shade * uneven)[..., None]
    shine = rng.uniform(0.0, 0.25) * canvas.gloss * np.clip(slope - 0.3, 0.0, 1.0) ** 2
    return np.asarray(light + shine[..., None], np.float32)


def _water(rng: np.random.Generator) -> Water:
    """Droplets from none to large, and pools; wider than what is drawn for photos."""
    kind = rng.choice(["dry", "moist", "wet", "standing"], p=[0.25, 0.3, 0.27, 0.18])
    pool = float(rng.uniform(0.03, 0.5)) if kind == "standing" else 0.0
    if kind == "dry":
        return Water(per_cm2=float(chance(rng, 0.3) * rng.uniform(0.0, 1.0)))
    if kind == "moist" or (kind == "standing" and rng.random() < 0.5):
        return Water(per_cm2=logarithmic(rng, 2.0, 45.0), middle_mm=float(rng.uniform(0.3, 0.75)),
                     spread=float(rng.uniform(0.15, 0.45)), pool=pool)  # fmt: skip
    return Water(
        per_cm2=logarithmic(rng, 1.5, 14.0),
        middle_mm=float(rng.uniform(1.0, 2.2)),
        spread=float(rng.uniform(0.1, 0.3)),
        least_mm=0.6,
        most_mm=3.5,
        pool=pool,
    )


def _droplets(board: Board, water: Water, mouth: Mouth, rng: np.random.Generator) -> None:
    """Droplets at random places, not in the pool, the largest ones last."""
    count = rng.poisson(water.per_cm2 * np.pi * mouth.radius_mm**2 / 100.0)
    size = np.clip(np.exp(rng.normal(np.log(water.middle_mm), water.spread, count)),
                   water.least_mm, water.most_mm)  # fmt: skip
    size.sort()
    far = (mouth.radius_mm - size / 2.0) * np.sqrt(rng.random(count))
    turn = rng.uniform(0.0, 2.0 * np.pi, count)
    look = (
        float(rng.uniform(0.3, 1.1)),
        float(rng.uniform(0.1, 0.6)),
        float(rng.uniform(0.1, 0.7)),
        logarithmic(rng, 0.06, 1.2),
        float(rng.uniform(0.12, 0.35)),
    )
    for x, y, wide in zip(far * np.cos(turn), far * np.sin(turn), size, strict=True):
        row, col = (int(np.clip(v / CELL_MM + SIDE / 2.0, 0, SIDE - 1)) for v in (y, x))
        if board.classes[row, col] in (TopClass.WATER, TopClass.DROPLET):
            continue
        paint_droplet(board, float(x), float(y), float(wide), look)


def _fruit(board: Board, mouth: Mouth, depth: float, rng: np.random.Generator) -> None:
    """Pins and caps of one species' colours."""
    kind = rng.choice(["none", "pins", "both", "caps"], p=[0.35, 0.3, 0.2, 0.15])
    lab = np.array(CAPS_LAB[rng.integers(len(CAPS_LAB))]) + rng.normal(0.0, [9.0, 3.0, 5.0])
    lab[0] = np.clip(lab[0], 12.0, 93.0)
    pale = np.array([rng.uniform(78.0, 94.0), rng.uniform(-1.0, 2.0), rng.uniform(2.0, 16.0)])
    lit = np.float32(rng.uniform(0.75, 1.15))
    cap, stalk = lab_to_linear(lab) * lit, lab_to_linear(pale) * lit
    if kind in ("pins", "both"):
        for pin in draw_pins(rng, mouth, most_mm=float(rng.uniform(2.0, 10.0))):
            paint_pin(board, pin, cap, stalk, rng)
    if kind in ("caps", "both"):
        caps = draw_caps(rng, mouth, depth, middle_mm=logarithmic(rng, 6.0, 42.0),
                         flattening=float(rng.uniform(0.05, 1.25)))  # fmt: skip
        for one in sorted(caps, key=lambda c: -c.z_mm):
            shade = np.float32(np.exp(0.06 * rng.standard_normal()))
            paint_cap(board, one, cap * shade, stalk, rng)


def _outside(board: Board, mouth: Mouth, far: Float32Array, rng: np.random.Generator) -> None:
    """Glass and sheet about the mouth; caps reach over them."""
    over = board.below == TopClass.CAP
    beyond: BoolArray = (far > mouth.radius_mm) & ~over
    glass = np.float32(rng.uniform(0.05, 0.5)) * np.exp(
        0.5 * fractal(far.shape, rng, (3.0, 8.0, 30.0))
    )[..., None] * np.array([1.0, 1.0, 1.05], np.float32)  # fmt: skip
    sheet = np.broadcast_to(_FIELD * np.float32(rng.uniform(0.6, 1.2)), (SIDE, SIDE, 3))
    rim = mouth.radius_mm + rng.uniform(2.0, 6.0)
    shown = np.where((far > rim)[..., None], sheet, glass)
    board.light[beyond] = shown[beyond]
    board.classes[beyond] = TopClass.OUTSIDE
    board.below[beyond] = TopClass.OUTSIDE


def _photographed(light: Float32Array, rng: np.random.Generator) -> ByteArray:
    """Left-over tint, blur, noise and a bend of the tones."""
    tint = np.exp(0.04 * rng.standard_normal(3)).astype(np.float32)
    light = light * tint * np.float32(np.exp(0.15 * rng.standard_normal()))
    light = cv2.GaussianBlur(light, (0, 0), float(rng.uniform(0.25, 1.3)))
    noise = rng.standard_normal(light.shape, dtype=np.float32)
    noise = cv2.GaussianBlur(noise, (0, 0), float(rng.uniform(0.3, 1.0)))
    light = light + np.float32(rng.uniform(0.0, 0.03)) * np.sqrt(np.clip(light, 0, 1)) * noise
    light = np.clip(light, 0.0, 1.0) ** np.float32(np.exp(0.08 * rng.standard_normal()))
    return np.rint(255.0 * srgb_encode(light)).astype(np.uint8)


def with_owners(bodies: Sequence[Float32Array]) -> Float32Array:
    """Bodies of several surfaces, ``(n, 5)``: the number of each one's surface comes first."""
    owners = np.repeat(np.arange(len(bodies), dtype=np.float32), [len(one) for one in bodies])
    return np.column_stack([owners, np.concatenate(bodies)]).astype(np.float32)


def write(first: int, *, out: Path) -> None:
    """One chunk."""
    cv2.setNumThreads(1)
    target = out / f"tops{first}.npz"
    if target.exists():
        return
    done = [top_surface(seed) for seed in range(first, first + CHUNK)]
    unfinished = target.with_name(f"part_{target.name}")
    np.savez_compressed(
        unfinished,
        pictures=np.stack([one.picture for one in done]),
        classes=np.stack([one.classes for one in done]),
        below=np.stack([one.below for one in done]),
        bodies=with_owners([one.bodies for one in done]),
        radius_mm=np.array([one.radius_mm for one in done]),
        seeds=np.array([one.seed for one in done]),
    )
    unfinished.rename(target)


def main() -> None:
    """Write chunks."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--first", type=int, default=1_000_000)
    parser.add_argument("--count", type=int, default=1024)
    parser.add_argument("--jobs", type=int, default=1)
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor(args.jobs) as pool:
        for _ in pool.map(partial(write, out=args.out),
                          range(args.first, args.first + args.count, CHUNK)):  # fmt: skip
            pass


if __name__ == "__main__":
    main()
