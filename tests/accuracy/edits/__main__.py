"""Edit photos: ``python -m tests.accuracy.edits PHOTO... --out DIR [--edit WORD...]``."""

from __future__ import annotations

import argparse
import time
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
    parser.add_argument("--edit", action="append", choices=list(EDITS))
    args = parser.parse_args()
    cv2.setNumThreads(1)
    for path in args.photos:
        scene = JarScene.of(look(read_photo(path, name=path.name)))
        for word in args.edit or EDITS:
            start = time.perf_counter()
            rgb = edited(scene, EDITS[word])
            save_edited(rgb, EDITS[word], like=path, folder=args.out / word)
            print(f"{path.stem} {word}: {time.perf_counter() - start:.2f} s", flush=True)


if __name__ == "__main__":
    main()
