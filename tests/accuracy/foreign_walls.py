"""Walls of another renderer's photos: ``python -m tests.accuracy.foreign_walls SET OUT``.

In the form of :mod:`tests.training.wall_data`, for measuring a network without walking every photo
again: nothing is trained on them. ``classes`` and ``beneath`` are the same, since the truth does
not say what fog and glare hide; opacity is 1 where white growth or its stain covers, else 0; there
are no caps. Further fields: ``true_percent`` and the names of jar, date, scenario and family.
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
from jarvision.records import ByteArray, Float32Array, TissueClass
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.card.layout import load_layout
from jarvision.vision.jar.unroll import burnt_out
from jarvision.vision.photo import read_photo
from jarvision.vision.read import wall_of
from tests.training.wall_data import HEADROOM

from .foreign_truth import IGNORED, ForeignPhoto, groups_of, read_set

QUALITY = 93
COVERED = (TissueClass.MYCELIUM, TissueClass.STAIN)
OUTLINES = {"covered": (COVERED, (0, 0, 255)), "contents": (tuple(TissueClass)[2:], (255, 160, 0))}


def prepare(photo: ForeignPhoto, *, out: Path, pictures: Path | None) -> str:
    """Write the wall of one photo; the reason when it was refused."""
    settings = PhotoSettings()
    read = read_photo(photo.photo, name=photo.photo.name)
    try:
        wall = wall_of(read, layout=load_layout(), settings=settings).wall
    except PhotoRefusedError as refusal:
        return f"{photo.photo.name}: {refusal.reason}"
    classes = photo.classes_at(wall, photo_scale=read.scale)
    opacity = np.where(np.isin(classes, COVERED), 255, 0).astype(np.uint8)
    bgr = encoded(wall.linear)[..., ::-1]
    png = cv2.imencode(".png", classes)[1]
    np.savez_compressed(
        out / f"{photo.photo.stem}.npz",
        colour=cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1],
        classes=png,
        beneath=png,
        opacity=cv2.imencode(".png", opacity)[1],
        burnt=np.packbits(burnt_out(wall, read, settings=settings.masks)),
        pins=np.packbits(np.zeros(classes.shape, np.uint8)),
        angles_deg=wall.angles_deg.astype(np.float32),
        heights_mm=wall.heights_mm.astype(np.float32),
        radius_mm=wall.radius_mm,
        true_percent=photo.true_percent,
        jar=photo.jar,
        date=photo.date,
        scenario=photo.scenario,
        family=photo.family,
    )
    if pictures is not None:
        cv2.imwrite(str(pictures / f"{photo.photo.stem}.png"), outlined(wall.linear, classes))
    return ""


def encoded(linear: Float32Array) -> ByteArray:
    """Linear sRGB with headroom as 8-bit, ``(rows, cols, 3)``."""
    colour = np.rint(255.0 * srgb_encode(np.clip(linear / HEADROOM, 0.0, 1.0)))
    return np.asarray(colour, np.uint8)


def outlined(linear: Float32Array, classes: ByteArray) -> ByteArray:
    """The wall (BGR, 8-bit) plain, and with the true outlines: covered red, contents blue."""
    plain = np.rint(255.0 * srgb_encode(np.clip(linear, 0.0, 1.0))).astype(np.uint8)[..., ::-1]
    drawn = np.ascontiguousarray(plain)
    for kinds, colour in OUTLINES.values():
        inside = (np.isin(classes, kinds) & (classes != IGNORED)).astype(np.uint8)
        lines = cv2.findContours(inside, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)[0]
        cv2.drawContours(drawn, lines, -1, colour, 1)
    return np.hstack([plain, drawn])


def main() -> None:
    """Prepare all groups of a set, each into a folder of its own."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photos", type=Path, help="folder of the set")
    parser.add_argument("out", type=Path)
    parser.add_argument("--pictures", type=Path, help="where walls with the true outline go")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    if args.pictures:
        args.pictures.mkdir(parents=True, exist_ok=True)
    for group in groups_of(args.photos):
        folder = args.out / group
        folder.mkdir(parents=True, exist_ok=True)
        photos = read_set(args.photos, group)
        with ProcessPoolExecutor(args.jobs) as pool:
            work = partial(prepare, out=folder, pictures=args.pictures)
            reasons = [reason for reason in pool.map(work, photos) if reason]
        print(f"{group}: {len(photos) - len(reasons)} of {len(photos)} walls written", *reasons)


if __name__ == "__main__":
    main()
