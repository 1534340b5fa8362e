"""Edited photos to look at: ``python -m tests.accuracy.edits.draw PHOTO... --out DIR``."""

from __future__ import annotations

import argparse
from pathlib import Path

import cv2

from jarvision.vision.photo import read_photo
from jarvision.vision.read import look

from .files import save_edited
from .scene import JarScene
from .table import EDITS, edited


def main() -> None:
    """Write edited photos, each in a folder named as its edit is."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photos", type=Path, nargs="+")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument(
        "--edit", action="append", choices=list(EDITS), help="all when none is named"
    )
    args = parser.parse_args()
    cv2.setNumThreads(1)
    for path in args.photos:
        scene = JarScene.of(look(read_photo(path, name=path.name)))
        for word in args.edit or EDITS:
            rgb = edited(scene, EDITS[word])
            print(save_edited(rgb, EDITS[word], like=path, folder=args.out / word), flush=True)


if __name__ == "__main__":
    main()
