"""Walls painted without a renderer: ``python -m tests.training.painted_walls OUT --count 240``.

Cheap further training walls for what random jars seldom show (brown skin, stains, wet bottoms,
moulds, pins; with ``--half-grown`` what the suite of that name holds): the paint's colour, shaded
by its relief under one lamp, with the light's fall-off at the sides, a soft mirror image, blur
and noise. Glass, table and lid are missing, so what is not contents stays unlabelled.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from jarvision.base.colourspace import srgb_encode
from jarvision.records import HALF_VIEW_DEG, Float32Array, TissueClass
from jarvision.vision.jar.unroll import CELL_MM
from tests.scenes.anomalies import AmberStain, BrownSkin, Mould, WetBottom
from tests.scenes.contents import WallPaint, paint
from tests.scenes.suite import MOULD_KINDS, JarOnADay, half_grown_jar, random_jar

from .wall_data import HEADROOM

FIRST_SEED = 20_000
IGNORED = 255
PAINT_MM = 0.25  # cell of the painted wall


def rare_jar(seed: int) -> JarOnADay:
    """A random jar, six times out of seven with something rare in it."""
    jar = random_jar(seed)
    rng = np.random.default_rng([seed, 3])
    place = {"angle_deg": float(rng.uniform(-45, 45)), "height_mm": float(rng.uniform(12, 70))}
    early = max(0.0, jar.day - float(rng.uniform(2.0, 9.0)))
    kind = int(rng.integers(0, 7))
    day = jar.day if kind == 6 else jar.day * 1.2
    if kind in (0, 1):
        tone = (float(rng.uniform(32, 58)), float(rng.uniform(7, 13)), float(rng.uniform(14, 30)))
        events = (BrownSkin(from_day=early, days=float(rng.uniform(6, 16)), lab=tone),)
        day = max(day, 14.0)
    elif kind == 2:
        events = tuple(
            AmberStain(from_day=early, size_mm=float(rng.uniform(12, 50)),
                       angle_deg=float(rng.uniform(-50, 50)), height_mm=float(rng.uniform(10, 70)))
            for _ in range(3)
        )  # fmt: skip
        day = max(day, 12.0)
    elif kind == 3:
        events = (WetBottom(height_mm=float(rng.uniform(6, 40)), slime=float(rng.uniform(0, 0.6))),)
    elif kind in (4, 5):
        events = (
            Mould(kind=str(rng.choice(MOULD_KINDS)), from_day=early, **place,  # type: ignore[arg-type]
                  speed_mm_per_day=float(rng.uniform(2, 8)), size_mm=float(rng.uniform(12, 60))),
        )  # fmt: skip
    else:
        events = jar.recipe.events
    return replace(jar, recipe=replace(jar.recipe, events=events), day=day)


def shade(wall: WallPaint, rng: np.random.Generator) -> Float32Array:
    """Linear colour of the painted wall as a camera might see it, ``(rows, cols, 3)``."""
    cell = float(wall.heights_mm[0] - wall.heights_mm[1])
    depth = cv2.GaussianBlur(wall.relief_mm, (0, 0), 1.0)
    dy, dx = np.gradient(-depth, cell)
    normal = np.stack([-dx, dy, np.ones_like(dx)], axis=-1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    angle = np.deg2rad(wall.angles_deg)[None, :]
    lamp_at = rng.uniform(-1.1, 1.1)
    up = rng.uniform(0.1, 0.9)
    along = np.sin(lamp_at - angle) * np.cos(up)
    toward = np.cos(lamp_at - angle) * np.cos(up)
    lit = normal[..., 0] * along + normal[..., 1] * np.sin(up) + normal[..., 2] * toward
    ambient = rng.uniform(0.3, 0.7)
    light = ambient + (1 - ambient) * np.clip(lit, 0.0, None)
    tint = np.exp(rng.normal(0.0, [0.05, 0.0, 0.08]))
    colour = wall.albedo * light[..., None] * tint * rng.uniform(0.75, 1.35)
    shine = wall.gloss * np.clip(lit, 0, 1) ** 20 * rng.uniform(0.0, 0.8)
    mirror = rng.uniform(0.0, 0.05) * (1 + cv2.GaussianBlur(
        rng.standard_normal(depth.shape).astype(np.float32), (0, 0), 25.0) * 20)  # fmt: skip
    colour = colour + shine[..., None] + np.clip(mirror, 0, None)[..., None]
    colour = cv2.GaussianBlur(colour.astype(np.float32), (0, 0), rng.uniform(0.5, 1.3))
    grain = rng.normal(0.0, rng.uniform(0.002, 0.012), colour.shape)
    return np.asarray(np.clip(colour + grain, 0.0, None), dtype=np.float32)


def write(seed: int, *, out: Path, half_grown: bool) -> None:
    """Paint, shade and write one wall in the form of :mod:`tests.training.wall_data`."""
    jar = half_grown_jar(seed) if half_grown else rare_jar(seed)
    wall = paint(jar.recipe, day=jar.day)
    rng = np.random.default_rng([seed, 4])
    front = np.abs(wall.angles_deg) <= HALF_VIEW_DEG
    turns, heights = wall.angles_deg[front], wall.heights_mm
    rows, cols = (round(size * PAINT_MM / CELL_MM) for size in (len(heights), len(turns)))
    linear = cv2.resize(shade(wall, rng)[:, front], (cols, rows))
    classes, opacity, pins = (
        cv2.resize(part[:, front], (cols, rows), interpolation=cv2.INTER_NEAREST)
        for part in (wall.classes, wall.opacity, wall.pins.astype(np.uint8))
    )
    classes[classes == TissueClass.OUTSIDE] = IGNORED
    hidden = (np.rint(opacity * 15.0) * 17.0).astype(np.uint8)
    encoded = np.rint(255.0 * srgb_encode(np.clip(linear / HEADROOM, 0.0, 1.0))).astype(np.uint8)
    burnt = linear.min(axis=2) > rng.uniform(1.0, 1.6)
    np.savez_compressed(
        out / f"P{seed}.npz",
        colour=cv2.imencode(".jpg", encoded[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 96])[1],
        classes=cv2.imencode(".png", classes)[1],
        beneath=cv2.imencode(".png", classes)[1],
        opacity=cv2.imencode(".png", hidden)[1],
        burnt=np.packbits(burnt),
        pins=np.packbits(pins),
        angles_deg=np.linspace(turns[0], turns[-1], cols, dtype=np.float32),
        heights_mm=np.linspace(heights[0], heights[-1], rows, dtype=np.float32),
        radius_mm=wall.radius_mm,
    )


def main() -> None:
    """Paint a set."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--half-grown", action="store_true", help="other kinds of jars")
    parser.add_argument("--first", type=int, default=FIRST_SEED)
    parser.add_argument("--count", type=int, default=240)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor(args.jobs) as pool:
        seeds = range(args.first, args.first + args.count)
        list(pool.map(partial(write, out=args.out, half_grown=args.half_grown), seeds))


if __name__ == "__main__":
    main()
