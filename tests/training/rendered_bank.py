"""Rendered photos into the bank: ``python -m tests.training.rendered_bank PHOTOS BANK``.

Folders in ``PHOTOS`` are being filled by :mod:`tests.scenes.bulk` and
:mod:`tests.training.rendered_jars`. Chunks have the maps of painted walls, which know no glass;
these do.
"""

from __future__ import annotations

import argparse
import json
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import cv2
import numpy as np

from .bank import family_bits
from .batches import WALL_MAPS
from .training_walls import load_wall
from .wall_data import prepare

CHUNK = 8
FIBRES = ("wheat straw", "beech shavings")  # packed with grain spawn


def wall_of(photo: Path, *, folder: Path) -> tuple[tuple[np.ndarray, ...], int] | None:
    """The maps of one photo's wall and what it holds; None when it was refused."""
    cv2.setNumThreads(1)
    if not prepare(photo, out=folder):
        return None
    numbers = json.loads(photo.with_suffix(".json").read_text())
    return load_wall(folder / f"{photo.stem}.npz"), holds_of(numbers)


def holds_of(numbers: dict[str, Any]) -> int:
    """Bits of the families of contents, as the photo's JSON says or as its substrate has them."""
    if "holds" in numbers:
        return int(numbers["holds"])
    substrate = str(numbers["substrate"])
    return family_bits(substrate, spawn=substrate in FIBRES)


def write_chunk(photos: list[Path], number: int, *, out: Path, pool: ProcessPoolExecutor) -> int:
    """Write the walls of some photos as one chunk; how many were read."""
    with TemporaryDirectory() as folder:
        found = pool.map(partial(wall_of, folder=Path(folder)), photos)
        walls = [wall for wall in found if wall is not None]
    if not walls:
        return 0
    maps = zip(*(wall for wall, _ in walls), strict=True)
    parts = {name: np.stack(part) for name, part in zip(WALL_MAPS, maps, strict=True)}
    target = out / f"rendered_{number:05d}.npz"
    unfinished = target.with_name(f"part_{target.name}")
    np.savez(unfinished, holds=np.array([holds for _, holds in walls]), **parts)
    unfinished.rename(target)
    return len(walls)


def main() -> None:
    """Watch a folder until the time is up."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photos", type=Path)
    parser.add_argument("bank", type=Path)
    parser.add_argument("--until", type=float, required=True, help="the clock's time in seconds")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    done: set[str] = set()
    number = read = 0
    with ProcessPoolExecutor(args.jobs) as pool:
        while time.time() < args.until:
            # The picture is written last: its truth is there.
            there = sorted(path for path in args.photos.glob("*/*.jpg") if path.name not in done)
            if len(there) < CHUNK:
                time.sleep(1.0)
                continue
            done |= {path.name for path in there[:CHUNK]}
            time.sleep(0.3)
            read += write_chunk(there[:CHUNK], number, out=args.bank, pool=pool)
            number += 1
            print(f"{read} of {len(done)} walls", flush=True)


if __name__ == "__main__":
    main()
