"""Unrolled walls of rendered photos with truth: ``python -m tests.training.wall_data IN OUT``.

One ``.npz`` a photo, small enough to hold thousands: the wall's colour as 8-bit sRGB of linear / 2
(so that light above the card's white is kept), the classes that can be seen and those beneath fog
and label, opacity in 255ths, burnt-out places, caps of fruit bodies,
angles and heights.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from jarvision.base.colourspace import srgb_encode
from jarvision.base.errors import PhotoRefusedError
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.card.layout import load_layout
from jarvision.vision.jar.unroll import burnt_out
from jarvision.vision.photo import read_photo
from jarvision.vision.read import wall_of
from tests.accuracy.truth import PhotoTruth

HEADROOM = 2.0


def prepare(path: Path, *, out: Path) -> bool:
    """Write the wall of one photo; False when the photo was refused."""
    photo, settings = read_photo(path, name=path.name), PhotoSettings()
    try:
        wall = wall_of(photo, layout=load_layout(), settings=settings).wall
    except PhotoRefusedError:
        return False
    true = PhotoTruth.read(path.with_suffix("")).at(wall, photo_scale=photo.scale)
    colour = np.rint(255.0 * srgb_encode(np.clip(wall.linear / HEADROOM, 0.0, 1.0)))
    bgr = colour.astype(np.uint8)[..., ::-1]
    np.savez_compressed(
        out / f"{path.stem}.npz",
        colour=cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, 97])[1],
        classes=cv2.imencode(".png", true.classes)[1],
        beneath=cv2.imencode(".png", true.beneath)[1],
        opacity=cv2.imencode(".png", (np.rint(true.opacity * 15.0) * 17.0).astype(np.uint8))[1],
        burnt=np.packbits(burnt_out(wall, photo, settings=settings.masks)),
        pins=np.packbits(true.pins),
        angles_deg=wall.angles_deg.astype(np.float32),
        heights_mm=wall.heights_mm.astype(np.float32),
        radius_mm=wall.radius_mm,
    )
    return True


def main() -> None:
    """Prepare a folder."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photos", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor(args.jobs) as pool:
        done = list(pool.map(partial(prepare, out=args.out), sorted(args.photos.glob("*.jpg"))))
    print(f"{sum(done)} of {len(done)} walls written")


if __name__ == "__main__":
    main()
