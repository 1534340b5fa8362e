"""Rendered photos from above as training data.

``python -m tests.training.surface_photos PHOTOS OUT`` watches a folder that is being filled.

Each photo walks down the program's own line to the flat picture, so that a network learns from what
it will be shown; its truth is the photo's mask, looked up cell by cell. Chunks are those of
:mod:`.top_surfaces`; ``below`` is 255 where water hides what stands there. A photo that is refused
is left out.
"""

from __future__ import annotations

import argparse
import json
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from jarvision.base.colourspace import srgb_encode
from jarvision.base.errors import PhotoRefusedError
from jarvision.records import ByteArray
from jarvision.vision.photo import read_photo
from jarvision.vision.surface.look import look_down
from tests.scenes.tops.spec import TopClass

from .top_surfaces import SIDE

CHUNK = 8
HIDDEN = 255


def surface_of(path: Path) -> tuple[ByteArray, ByteArray, ByteArray, float, int] | None:
    """Picture, classes, ground, radius and seed of one photo; None when it was refused."""
    cv2.setNumThreads(1)
    photo = read_photo(path, name=path.name)
    try:
        seen = look_down(photo)
    except PhotoRefusedError:
        return None
    mask = np.asarray(Image.open(path.with_suffix(".mask.png")))
    at = (seen.picture.pixels * np.float32(mask.shape[1] / photo.rgb.shape[1])).astype(np.float32)
    classes = cv2.remap(mask, at[..., 0], at[..., 1], cv2.INTER_NEAREST)
    below = np.where(np.isin(classes, (TopClass.DROPLET, TopClass.WATER)), HIDDEN, classes)
    rgb = np.rint(255.0 * srgb_encode(np.clip(seen.picture.linear, 0.0, 1.0))).astype(np.uint8)
    seed = int(json.loads(path.with_suffix(".json").read_text())["seed"])
    parts = (_framed(rgb), _framed(classes), _framed(below.astype(np.uint8)))
    return (*parts, seen.mouth.radius_mm, seed)


def _framed(part: ByteArray) -> ByteArray:
    """Middle of a square picture, or zeros about it, ``SIDE`` cells wide."""
    grow = max(0, SIDE - len(part) + 1) // 2 + 1
    wide = ((grow, grow), (grow, grow), (0, 0))[: part.ndim]
    padded = np.pad(part, wide)
    first = (len(padded) - SIDE) // 2
    return padded[first : first + SIDE, first : first + SIDE]


def write_chunk(paths: list[Path], number: int, *, out: Path, pool: ProcessPoolExecutor) -> int:
    """Write some photos' surfaces as one chunk; how many were read."""
    done = [one for one in pool.map(surface_of, paths) if one is not None]
    if not done:
        return 0
    pictures, classes, below, radius, seeds = zip(*done, strict=True)
    target = out / f"photos{number:05d}.npz"
    unfinished = target.with_name(f"part_{target.name}")
    np.savez(
        unfinished, pictures=np.stack(pictures), classes=np.stack(classes), below=np.stack(below),
        radius_mm=np.array(radius), seeds=np.array(seeds),
    )  # fmt: skip
    unfinished.rename(target)
    return len(done)


def main() -> None:
    """Watch a folder of photos until the time is up."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photos", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--until", type=float, required=True, help="the clock's time in seconds")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    seen: set[Path] = set()
    number = read = 0
    with ProcessPoolExecutor(args.jobs) as pool:
        while time.time() < args.until:
            # The mask is written after the picture, the flat one last.
            there = sorted(p for p in args.photos.glob("*.jpg")
                           if p not in seen and p.with_suffix(".flat.png").exists())  # fmt: skip
            if len(there) < CHUNK:
                time.sleep(1.0)
                continue
            time.sleep(0.3)
            seen |= set(there[:CHUNK])
            read += write_chunk(there[:CHUNK], number, out=args.out, pool=pool)
            number += 1
            print(f"{read} of {len(seen)} photos", flush=True)


if __name__ == "__main__":
    main()
