"""Layers of bare contents by family, drawn at random: ``contents_layer(family, seed)``.

They share no code with ``tests/scenes``, and no layer is meant to be any one grain: shapes, sizes
and colours are drawn far beyond those of what growers use, so that a network learns what contents
are like and not which contents there are. Families are kept apart so that one can be left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from jarvision.base.colourspace import srgb_encode
from jarvision.vision.jar.unroll import CELL_MM

from .heaps import Heap, any_look, heap_of
from .noise import fractal, ranked, smooth_noise
from .palette import base_colour, to_linear
from .pieces import rounded, scattered, strips, tapered

FAMILIES = ("kernels", "small seeds", "chips and shavings", "stalks", "crumbs and powders",
            "mixtures")  # fmt: skip
PLAIN = 5  # families that mixtures are made of
MIXTURES = 5
JUDGED_FROM = 10_000_000  # seeds of layers that nothing is trained on

CANVAS = (576, 384)  # rows, columns of cells
FINER = 1.5  # drawn at so many pixels a cell, against jagged edges
PX_MM = FINER / CELL_MM
RELIEF_MM = 8.0  # full scale of the stored relief
_SHAPE = (round(CANVAS[0] * FINER), round(CANVAS[1] * FINER))
MOST_PIECES = 16_000


@dataclass(frozen=True)
class Layer:
    """One layer of contents.

    Attributes
    ----------
    maps
        ``(6, rows, cols)`` bytes: albedo as sRGB (three), relief in ``RELIEF_MM / 255``, gloss,
        and a random number a piece.
    family
        Index in :data:`FAMILIES`.
    holds
        Bits of all families that take part in it.
    """

    maps: np.ndarray
    family: int
    holds: int


def contents_layer(family: int, seed: int) -> Layer:
    """Draw one layer."""
    heap, holds = contents_heap(family, seed)
    return Layer(stored(heap), family, holds)


def contents_heap(family: int, seed: int) -> tuple[Heap, int]:
    """The contents of a layer as drawn, ``FINER`` pixels a cell, and the families in them."""
    rng = np.random.default_rng([seed, family, 71])
    holds = 1 << family
    if family == MIXTURES:
        parts = rng.choice(PLAIN, 2, replace=rng.random() < 0.3)
        heap = _mixed(*(_DRAW[part](rng) for part in parts), rng)
        for part in parts:
            holds |= 1 << int(part)
    else:
        heap = _DRAW[family](rng)
    return _finished(heap, rng), holds


def stored(heap: Heap) -> np.ndarray:
    """The heap at the canvas's size as bytes, ``(6, rows, cols)``."""
    albedo, relief, gloss, piece = (
        cv2.resize(part, CANVAS[::-1], interpolation=cv2.INTER_AREA)
        for part in (heap.albedo, heap.relief_mm, heap.gloss, heap.piece)
    )
    colour = np.moveaxis(srgb_encode(np.clip(albedo, 0.0, 1.0)), -1, 0)
    parts = np.concatenate([colour, relief[None] / RELIEF_MM, gloss[None], piece[None]])
    return np.rint(255.0 * np.clip(parts, 0.0, 1.0)).astype(np.uint8)


def _number(area: float, depth: float) -> int:
    """How many pieces of an area (pixels) cover the canvas ``depth`` times."""
    return int(np.clip(depth * _SHAPE[0] * _SHAPE[1] / max(area, 1.0), 40, MOST_PIECES))


def _sizes(middle: float, spread: float, count: int, rng: np.random.Generator) -> np.ndarray:
    """Log-normal sizes."""
    return np.asarray(middle * np.exp(spread * rng.standard_normal(count)))


def _kernels(rng: np.random.Generator) -> Heap:
    """Grains and beans of 3 to 14 mm, whole or cracked."""
    cracked = rng.random() < 0.25
    long = PX_MM * float(np.exp(rng.uniform(np.log(1.5), np.log(6.5))))
    aspect = float(rng.uniform(1.0, 3.6)) if long > 2.2 * PX_MM else float(rng.uniform(1.0, 1.8))
    count = _number(np.pi * long * long / aspect, rng.uniform(1.8, 3.5))
    outline = rounded(count, rng, square=float(rng.choice([0.0, 0.0, 0.25])),
                      ragged=float(rng.uniform(0.12, 0.25)) if cracked else 0.04)  # fmt: skip
    outline = tapered(outline, float(rng.choice([0.0, 0.3, 0.6])))
    sizes = _sizes(1.0, rng.uniform(0.03, 0.22), count, rng)
    pieces = scattered(
        count, _SHAPE, rng, long=long * sizes, wide=long / aspect * sizes, outline=outline,
        bend=float(rng.choice([0.0, 0.15])), lying=float(rng.uniform(0.0, 0.5)),
    )  # fmt: skip
    look = any_look(
        rng,
        crease=float(rng.choice([0.0, 0.0, rng.uniform(0.2, 0.7)])),
        tip=float(rng.choice([0.0, 0.0, rng.uniform(0.2, 0.9)])),
        grain=float(rng.choice([0.0, 0.0, rng.uniform(0.03, 0.15), rng.uniform(0.3, 0.9)])),
        grain_lines=float(rng.uniform(3.0, 12.0)),
        halves=float(rng.uniform(0.2, 0.8)) if cracked else float(rng.choice([0.0, 0.0, 0.3])),
        paler=float(rng.uniform(10.0, 45.0 if cracked else 30.0)),
        burst=float(rng.choice([0.0, 0.0, rng.uniform(0.02, 0.4)])),
        thick_mm=float(rng.uniform(0.8, 2.6)),
    )
    return heap_of(pieces, look, _SHAPE, rng)


def _small_seeds(rng: np.random.Generator) -> Heap:
    """Seeds of 0.8 to 3.5 mm, round as a rule."""
    half = PX_MM * float(np.exp(rng.uniform(np.log(0.4), np.log(1.75))))
    aspect = float(rng.choice([1.0, rng.uniform(1.0, 1.5), rng.uniform(1.3, 2.4)]))
    count = _number(np.pi * half * half / aspect, rng.uniform(1.6, 3.0))
    outline = rounded(count, rng, square=0.0, ragged=float(rng.uniform(0.0, 0.06)))
    sizes = _sizes(1.0, rng.uniform(0.02, 0.3), count, rng)
    pieces = scattered(count, _SHAPE, rng, long=half * sizes, wide=half / aspect * sizes,
                       outline=tapered(outline, float(rng.choice([0.0, 0.4]))))  # fmt: skip
    look = any_look(
        rng,
        tip=float(rng.choice([0.0, 0.0, rng.uniform(0.3, 0.9)])),
        burst=float(rng.choice([0.0, 0.0, 0.0, 0.1])),
        thick_mm=float(rng.uniform(0.4, 1.6)),
        flat=0.0,
    )
    return heap_of(pieces, look, _SHAPE, rng)


def _chips(rng: np.random.Generator) -> Heap:
    """Chips, flakes, shavings, bark and torn board of 2 to 30 mm, two sizes at once as a rule."""
    if rng.random() < 0.2:
        return _board(rng)
    heaps = []
    shaved = rng.random() < 0.5
    base = base_colour(rng)
    for _ in range(rng.integers(1, 3)):
        long = PX_MM * float(np.exp(rng.uniform(np.log(1.0), np.log(13.0))))
        aspect = float(rng.uniform(1.0, 5.0))
        count = _number(2.4 * long * long / aspect, rng.uniform(1.5, 3.0))
        outline = rounded(count, rng, square=float(rng.uniform(0.0, 0.8)),
                          ragged=float(rng.uniform(0.05, 0.25)))  # fmt: skip
        if rng.random() < 0.3:
            outline = strips(count, rng, torn=0.15)
        pieces = scattered(
            count, _SHAPE, rng, long=long * _sizes(1.0, 0.45, count, rng),
            wide=long / aspect * _sizes(1.0, 0.35, count, rng), outline=outline,
            bend=float(rng.choice([0.0, 0.3, 0.8])), lying=float(rng.uniform(0.0, 0.7)),
        )  # fmt: skip
        look = any_look(
            rng,
            lab=base + rng.normal(0, [5, 1, 2]),
            tube=shaved,
            flat=float(rng.uniform(0.0, 0.5)) if shaved else float(rng.uniform(0.3, 0.85)),
            thick_mm=float(rng.uniform(0.2, 2.0)),
            grain=float(rng.choice([0.0, rng.uniform(0.03, 0.25)])),
            grain_lines=float(rng.uniform(3.0, 22.0)),
            halves=float(rng.choice([0.0, 0.2])),
        )
        heaps.append(heap_of(pieces, look, _SHAPE, rng))
    return heaps[0] if len(heaps) == 1 else heaps[1].over(heaps[0])


def _board(rng: np.random.Generator) -> Heap:
    """Torn board, paper, veneer and bark in flat pieces of 15 to 45 mm, ribbed now and then."""
    long = PX_MM * float(rng.uniform(7.0, 22.0))
    aspect = float(rng.uniform(1.0, 2.2))
    count = _number(2.4 * long * long / aspect, rng.uniform(1.5, 3.0))
    outline = rounded(count, rng, square=float(rng.uniform(0.0, 0.8)),
                      ragged=float(rng.uniform(0.03, 0.2)))  # fmt: skip
    pieces = scattered(
        count, _SHAPE, rng, long=long * _sizes(1.0, 0.3, count, rng),
        wide=long / aspect * _sizes(1.0, 0.3, count, rng), outline=outline,
        bend=float(rng.choice([0.0, 0.2])), lying=float(rng.uniform(0.0, 0.5)),
    )  # fmt: skip
    look = any_look(
        rng,
        flat=float(rng.uniform(0.7, 0.95)),
        thick_mm=float(rng.uniform(0.1, 0.8)),
        edge=float(rng.uniform(0.0, 0.25)),
        mottle=float(rng.uniform(0.0, 0.08)),
        grain=float(rng.choice([0.0, rng.uniform(0.04, 0.3)])),
        grain_lines=float(rng.uniform(10.0, 50.0)),
    )
    return heap_of(pieces, look, _SHAPE, rng)


def _stalks(rng: np.random.Generator) -> Heap:
    """Straw, stems, fibres and needles: 5 to 60 mm long, 0.3 to 6 mm wide."""
    heaps = []
    base = base_colour(rng)
    for _ in range(rng.integers(1, 3)):
        wide = PX_MM * float(np.exp(rng.uniform(np.log(0.15), np.log(2.6))))
        long = float(np.clip(wide * rng.uniform(3.5, 22.0), 2.0 * PX_MM, 30.0 * PX_MM))
        count = _number(4.0 * long * wide, rng.uniform(1.5, 3.2))
        pieces = scattered(
            count, _SHAPE, rng, long=long * _sizes(1.0, 0.5, count, rng),
            wide=wide * _sizes(1.0, 0.3, count, rng), outline=strips(count, rng, torn=0.08),
            bend=float(rng.choice([0.0, 0.5, 2.5])), lying=float(rng.uniform(0.0, 0.8)),
        )  # fmt: skip
        look = any_look(
            rng,
            lab=base + rng.normal(0, [7, 1, 3]),
            tube=True,
            flat=float(rng.uniform(0.0, 0.6)),
            thick_mm=float(rng.uniform(0.4, 3.0)),
            grain=float(rng.choice([0.0, rng.uniform(0.03, 0.2)])),
            grain_lines=float(rng.uniform(2.0, 12.0)),
            halves=float(rng.choice([0.0, 0.35])),
            tip=float(rng.choice([0.0, 0.0, 0.4])),
        )
        heaps.append(heap_of(pieces, look, _SHAPE, rng))
    return heaps[0] if len(heaps) == 1 else heaps[1].over(heaps[0])


def _crumbs(rng: np.random.Generator) -> Heap:
    """Crumbs, pellets, grounds, sawdust, meal, soil: from below a cell to 8 mm."""
    powder = _powder(rng, base_colour(rng))
    if rng.random() < 0.45:
        return powder
    half = PX_MM * float(np.exp(rng.uniform(np.log(0.2), np.log(3.5))))
    depth = float(rng.choice([0.3, 1.2, 2.5]))
    count = _number(3.0 * half * half, depth)
    outline = rounded(count, rng, square=float(rng.uniform(0, 0.5)), ragged=rng.uniform(0.08, 0.3))
    sizes = _sizes(1.0, rng.uniform(0.2, 0.7), count, rng)
    aspect = float(rng.uniform(1.0, 2.2))
    pieces = scattered(count, _SHAPE, rng, long=half * sizes, wide=half / aspect * sizes,
                       outline=outline)  # fmt: skip
    look = any_look(rng, thick_mm=float(rng.uniform(0.2, 1.5)), mottle=float(rng.uniform(0, 0.3)))
    crumbs = heap_of(pieces, look, _SHAPE, rng)
    return crumbs.over(powder)


def _powder(rng: np.random.Generator, lab: np.ndarray) -> Heap:
    """A bed of fine stuff: grains hardly seen one by one, clumps, dark pores."""
    finest = float(rng.choice([1.0, 1.5, 2.5]))
    grain = fractal(_SHAPE, rng, (finest, 2 * finest, 4 * finest, 8 * finest),
                    fall=float(rng.uniform(0.8, 1.5)))  # fmt: skip
    slow = fractal(_SHAPE, rng, (32.0, 64.0, 128.0, 256.0))
    light = rng.uniform(0.03, 0.35) * grain + rng.uniform(0.0, 0.15) * slow
    albedo = to_linear(lab) * np.exp(light)[..., None]
    tint = np.exp(rng.uniform(0.0, 0.08) * smooth_noise(_SHAPE, 2 * finest, rng))
    albedo *= np.stack([tint, np.ones_like(tint), 1.0 / tint], axis=-1)
    relief = 2.0 + rng.uniform(0.1, 0.7) * grain + rng.uniform(0.0, 0.8) * slow
    if rng.random() < 0.6:  # pores and cracks
        depth = fractal(_SHAPE, rng, (4.0, 8.0, 16.0, 32.0))
        pores = np.clip(4.0 * (depth - rng.uniform(1.0, 2.2)), 0.0, 1.0)
        albedo *= (1.0 - rng.uniform(0.3, 0.9) * pores)[..., None]
        relief -= 1.5 * pores
    gloss = np.full(_SHAPE, rng.choice([0.02, 0.1, 0.4]), np.float32)
    return Heap(
        np.clip(albedo, 0.004, 0.9).astype(np.float32),
        np.clip(relief, 0.0, RELIEF_MM).astype(np.float32),
        gloss,
        ranked(smooth_noise(_SHAPE, 10.0, rng)),
        np.ones(_SHAPE, bool),
    )


def _mixed(one: Heap, two: Heap, rng: np.random.Generator) -> Heap:
    """Two heaps stirred together, in handfuls, or in layers."""
    way = rng.choice(["stirred", "handfuls", "layers"])
    if way == "stirred":
        mine = (one.piece < rng.uniform(0.1, 0.6)) & one.there
        return one.where(mine, two)
    if way == "handfuls":
        field = fractal(_SHAPE, rng, (24.0, 48.0, 96.0, 192.0), fall=0.6)
    else:
        rows = np.linspace(0.0, rng.uniform(3.0, 14.0), _SHAPE[0], dtype=np.float32)
        field = np.sin(rows)[:, None] + 0.4 * fractal(_SHAPE, rng, (32.0, 64.0, 128.0))
    # Pieces keep together: the border runs between them.
    field = field + 0.8 * (one.piece - 0.5)
    return one.where(field > np.quantile(field[::8, ::8], rng.uniform(0.25, 0.75)), two)


def _finished(heap: Heap, rng: np.random.Generator) -> Heap:
    """Husks, dust and slow changes of colour over all."""
    albedo = heap.albedo
    if rng.random() < 0.25:
        husks = _husks(rng)
        mine = husks.there & (husks.piece < rng.uniform(0.2, 1.0))
        heap = husks.where(mine, heap)
        albedo = heap.albedo
    if rng.random() < 0.3:
        dust = to_linear(base_colour(rng)).astype(np.float32)
        where = fractal(_SHAPE, rng, (2.0, 6.0, 24.0, 96.0), fall=0.9) - rng.uniform(-0.2, 2.0)
        share = np.clip(0.5 * where, 0.0, rng.uniform(0.2, 0.9))[..., None]
        albedo = albedo + share * (dust - albedo)
    slow = np.exp(rng.uniform(0.0, 0.18) * fractal(_SHAPE, rng, (64.0, 128.0, 256.0)))
    albedo = np.clip(albedo * slow[..., None], 0.004, 0.88).astype(np.float32)
    return Heap(albedo, heap.relief_mm, heap.gloss, heap.piece, heap.there)


def _husks(rng: np.random.Generator) -> Heap:
    """Thin flakes that lie here and there on the rest."""
    count = int(rng.integers(30, 900))
    outline = tapered(rounded(count, rng, square=0.0, ragged=0.1), float(rng.choice([0.0, 0.7])))
    long = PX_MM * rng.uniform(0.6, 4.0) * _sizes(1.0, 0.3, count, rng)
    pieces = scattered(count, _SHAPE, rng, long=long, wide=long * rng.uniform(0.15, 0.6),
                       outline=outline)  # fmt: skip
    return heap_of(pieces, any_look(rng, thick_mm=0.3, flat=0.5, stack_mm=0.5), _SHAPE, rng)


_DRAW = (_kernels, _small_seeds, _chips, _stalks, _crumbs)
