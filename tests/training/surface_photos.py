"""Rendered photos from above as training data.

``python -m tests.training.surface_photos PHOTOS OUT`` watches a folder that is being filled.

Each photo walks down the program's own line to the flat picture, so that a network learns from what
it will be shown; its truth is the photo's masks, looked up cell by cell, and where its droplets,
pins and caps are seen. Chunks are those of :mod:`.top_surfaces`. A photo that is refused is left
out.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image

from jarvision.base.colourspace import srgb_encode
from jarvision.base.errors import PhotoRefusedError
from jarvision.records import ByteArray, Float32Array
from jarvision.records.mouth import SurfacePicture
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.photo import read_photo
from jarvision.vision.surface.look import lay_flat
from tests.scenes.tops.spec import TopClass

from .top_surfaces import CELL_MM, SIDE, with_owners

CHUNK = 4
PIN_PIXELS, CAP_SHARE = 6, 0.15  # of a pin and of a cap, from which it can be seen at all

Surface = tuple[ByteArray, ByteArray, ByteArray, Float32Array, float, int]


def surface_of(path: Path) -> Surface | None:
    """Picture, classes, ground, bodies, radius and seed of one photo; None when it was refused."""
    cv2.setNumThreads(1)
    photo = read_photo(path, name=path.name)
    try:
        seen = lay_flat(photo, settings=PhotoSettings(), cell_mm=CELL_MM)
    except PhotoRefusedError:
        return None
    truth = json.loads(path.with_suffix(".json").read_text())
    share = np.float32(truth["picture"]["width"] / photo.rgb.shape[1])
    at = (seen.picture.pixels * share).astype(np.float32)
    classes, below = (
        cv2.remap(
            np.asarray(Image.open(path.with_suffix(f".{name}.png"))), at[..., 0], at[..., 1],
            cv2.INTER_NEAREST,
        )
        for name in ("mask", "below")
    )  # fmt: skip
    rgb = np.rint(255.0 * srgb_encode(np.clip(seen.picture.linear, 0.0, 1.0))).astype(np.uint8)
    bodies = _bodies(truth, seen.picture, float(share))
    parts = (_framed(rgb), _framed(classes), _framed(below), bodies)
    return (*parts, seen.mouth.radius_mm, int(truth["seed"]))


def _bodies(truth: dict[str, Any], picture: SurfacePicture, share: float) -> Float32Array:
    """Class, x, y and apparent width (mm) of what is seen, ``(n, 4)``, as the picture is framed."""
    told = list(_seen_bodies(truth))
    if not told:
        return np.zeros((0, 4), np.float32)
    kinds, places, widths = (np.array(part, float) for part in zip(*told, strict=True))
    corners = np.ix_([0, -1], [0, -1])
    x, y = np.meshgrid(picture.axis[[0, -1]], picture.axis[[0, -1]])
    to_mm = cv2.getPerspectiveTransform(
        picture.pixels[corners].reshape(4, 2).astype(np.float32),
        np.stack([x, y], axis=-1).reshape(4, 2).astype(np.float32),
    )
    at = cv2.perspectiveTransform(places[None] / share, to_mm)[0]
    at = at + 0.5 * CELL_MM  # an odd picture in an even frame
    return np.column_stack([kinds, at, widths]).astype(np.float32)


def _seen_bodies(truth: dict[str, Any]) -> Iterator[tuple[int, list[float], float]]:
    """Class, pixel and width, as it looks in the plane of the surface, of what is seen."""
    camera, surface_z = truth["camera"], truth["flat"]["at_depth_mm"]
    eye = -np.array(camera["rotation"]).T @ np.array(camera["translation"])
    eye_z = float(eye[2]) + truth["sheet"]["below_rim_mm"]

    def looks(width: float, z: float) -> float:
        return width * (surface_z - eye_z) / (z - eye_z)

    drops = truth["droplets"]
    for (_, _, wide), pixel in zip(drops["places_mm"], drops["tops_px"], strict=True):
        yield TopClass.DROPLET, pixel, wide
    for pin in truth["pins"]:
        if pin["pixels"] >= PIN_PIXELS:
            yield TopClass.PIN, pin["tip_px"], looks(pin["diameter_mm"], pin["tip_z_mm"])
    for cap in truth["caps"]:
        if cap["seen_share"] >= CAP_SHARE:
            yield TopClass.CAP, cap["middle_px"], looks(cap["widest_mm"], cap["z_mm"])


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
    pictures, classes, below, bodies, radius, seeds = zip(*done, strict=True)
    target = out / f"photos{number:05d}.npz"
    unfinished = target.with_name(f"part_{target.name}")
    np.savez(
        unfinished, pictures=np.stack(pictures), classes=np.stack(classes), below=np.stack(below),
        bodies=with_owners(bodies), radius_mm=np.array(radius), seeds=np.array(seeds),
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
            there = sorted(p for p in args.photos.glob("*.jpg") if p not in seen)
            if len(there) < CHUNK:
                time.sleep(1.0)
                continue
            seen |= set(there[:CHUNK])
            read += write_chunk(there[:CHUNK], number, out=args.out, pool=pool)
            number += 1
            print(f"{read} of {len(seen)} photos", flush=True)


if __name__ == "__main__":
    main()
