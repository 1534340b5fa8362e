"""A bank of layers for training: ``python -m tests.training.bank OUT --textures FILE``.

Many processes write chunks of layers, which a training that runs beside takes in as they come:
``SOURCE_NUMBER.npz`` with ``maps`` and ``holds`` (contents, growth), or the five maps of a painted
wall. Seeds of layers for training and for judging never meet.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np

from tests.scenes.contents import JarRecipe
from tests.scenes.suite import half_grown_jar

from .contents_layers import FAMILIES, JUDGED_FROM, contents_layer
from .growth_layers import growth_layer
from .painted_walls import FIRST_SEED, rare_jar, write
from .texture_layers import Textures, load_textures, texture_layer
from .training_walls import load_wall

CHUNK = 24
PAINTED_CHUNK = 4  # walls that take a quarter of a minute each: training waits for the first ones
SOURCES = (*(f"family{number}" for number in range(len(FAMILIES))), "texture", "growth", "painted")
_FAMILY_OF = {"rye": 0, "wheat": 0, "oat": 0, "rice": 0, "millet": 1, "sorghum": 1,
              "beech shavings": 2, "wheat straw": 3}  # fmt: skip


@dataclass(frozen=True)
class Chunk:
    """Some layers of one source; ``number`` says which, seeds follow from it."""

    source: str
    number: int
    first_seed: int


def family_bits(substrate: str, *, spawn: bool) -> int:
    """Bits of the families that the contents of a scene belong to; spawn is grain."""
    bits = 1 << _FAMILY_OF[substrate]
    return bits | 1 if spawn else bits


def holds_of(recipe: JarRecipe) -> int:
    """Bits of the families that a painted jar's contents belong to."""
    return family_bits(recipe.substrate, spawn=recipe.spawn_share > 0.0)


def size_of(source: str) -> int:
    """How many layers or walls a chunk of a source has."""
    return PAINTED_CHUNK if source == "painted" else CHUNK


def make(chunk: Chunk, *, out: Path, textures: Path | None) -> None:
    """Draw one chunk and write it."""
    cv2.setNumThreads(1)
    seeds = range(chunk.first_seed, chunk.first_seed + size_of(chunk.source))
    pictures = load_textures(textures) if textures else None
    painted = chunk.source == "painted"
    parts = _painted(seeds) if painted else _layers(chunk.source, seeds, pictures)
    target = out / f"{chunk.source}_{chunk.number:05d}.npz"
    unfinished = target.with_name(f"part_{target.name}")
    np.savez(unfinished, **parts)
    unfinished.rename(target)


def _layers(source: str, seeds: range, textures: Textures | None) -> dict[str, np.ndarray]:
    if source == "growth":
        maps = np.stack([growth_layer(seed, textures=textures) for seed in seeds])
        return {"maps": maps, "holds": np.zeros(len(seeds), int)}
    if source == "texture":
        if textures is None:
            raise ValueError("no file of textures was given")
        layers = [texture_layer(textures, seed) for seed in seeds]
    else:
        layers = [contents_layer(int(source[-1]), seed) for seed in seeds]
    return {
        "maps": np.stack([layer.maps for layer in layers]),
        "holds": np.array([layer.holds for layer in layers]),
    }


def _painted(seeds: range) -> dict[str, np.ndarray]:
    """Painted walls on the canvas of :mod:`tests.training.training_walls`, and what they hold."""
    walls, holds = [], []
    with TemporaryDirectory() as folder:
        for seed in seeds:
            half = seed % 2 == 0
            jar = half_grown_jar(seed) if half else rare_jar(seed)
            write(seed, out=Path(folder), half_grown=half)
            walls.append(load_wall(Path(folder) / f"P{seed}.npz"))
            holds.append(holds_of(jar.recipe))
    names = ("x", "seen", "beneath", "opacity", "pins")
    parts = {
        name: np.stack(part) for name, part in zip(names, zip(*walls, strict=True), strict=True)
    }
    return parts | {"holds": np.array(holds)}


def chunks(counts: dict[str, int], *, first_seed: int) -> Iterator[Chunk]:
    """Chunks of all sources from a seed on, each source spread evenly over the whole."""
    order = sorted(
        ((number + 0.5) / (count // size_of(source)), source, number)
        for source, count in counts.items()
        for number in range(count // size_of(source))
    )
    for _, source, number in order:
        first = number * size_of(source) + first_seed
        yield Chunk(source, number, first + (FIRST_SEED if source == "painted" else 0))


def main() -> None:
    """Make a bank."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--textures", type=Path)
    parser.add_argument("--contents", type=int, default=1200, help="layers of each family")
    parser.add_argument("--photos", type=int, default=1440, help="layers of real textures")
    parser.add_argument("--growth", type=int, default=2400)
    parser.add_argument("--painted", type=int, default=960)
    seeds = parser.add_mutually_exclusive_group()
    seeds.add_argument("--first", type=int, default=0, help="first seed of each source")
    seeds.add_argument("--judged", action="store_const", const=JUDGED_FROM, dest="first",
                       help="seeds that nothing is trained on")  # fmt: skip
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    counts = {f"family{number}": args.contents for number in range(len(FAMILIES))}
    counts |= {"growth": args.growth, "painted": args.painted}
    if args.textures:
        counts["texture"] = args.photos
    with ProcessPoolExecutor(args.jobs) as pool:
        work = partial(make, out=args.out, textures=args.textures)
        for _ in pool.map(work, chunks(counts, first_seed=args.first)):
            pass


if __name__ == "__main__":
    main()
