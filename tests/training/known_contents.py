"""What bare contents the network knows: ``python -m tests.training.known_contents WALLS [MORE]``.

Describes the bare contents of all walls that it was trained on, whitens the numbers and writes 128
typical looks (k-means) for :mod:`jarvision.vision.tissue.novelty`.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
from scipy.cluster.vq import kmeans2

from jarvision.base.colourspace import srgb_decode
from jarvision.records import FloatArray, TissueClass
from jarvision.vision.tissue.novelty import describe

from .wall_data import HEADROOM

LOOKS = 128
TARGET = Path(__file__).parents[2] / "jarvision" / "vision" / "tissue" / "known_contents.npz"


def look_of(path: Path) -> FloatArray | None:
    """The numbers of one wall of :mod:`tests.training.wall_data`; None without bare contents."""
    with np.load(path) as data:
        colour = cv2.imdecode(data["colour"], cv2.IMREAD_COLOR)[..., ::-1]
        classes = cv2.imdecode(data["classes"], cv2.IMREAD_GRAYSCALE)
        step_mm = float(data["heights_mm"][0] - data["heights_mm"][1])
        turn_deg = float(data["angles_deg"][1] - data["angles_deg"][0])
        width_mm = float(data["radius_mm"]) * np.deg2rad(turn_deg)
    linear = (HEADROOM * srgb_decode(colour / 255.0)).astype(np.float32)
    bare = classes == TissueClass.BARE
    return describe(linear, bare, step_mm=step_mm, cell_cm2=step_mm * width_mm / 100.0)


def main() -> None:
    """Describe, whiten, cluster, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("walls", type=Path, nargs="+")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--out", type=Path, default=TARGET)
    args = parser.parse_args()
    paths = [path for folder in args.walls for path in sorted(folder.glob("*.npz"))]
    with ProcessPoolExecutor(args.jobs, mp_context=get_context("spawn")) as pool:
        seen = [look for look in pool.map(look_of, paths, chunksize=32) if look is not None]
    numbers = np.stack(seen)
    middle = numbers.mean(axis=0)
    whiten = np.linalg.cholesky(np.linalg.inv(np.cov(numbers.T)))
    white = (numbers - middle) @ whiten
    looks, _ = kmeans2(white, LOOKS, minit="++", seed=1)
    far = np.linalg.norm(white[:, None] - looks, axis=2).min(axis=1)
    print(f"{len(seen)} of {len(paths)} walls; distances, 50, 90, 99 %: "
          f"{np.percentile(far, [50, 90, 99]).round(2).tolist()}")  # fmt: skip
    single = {"middle": middle, "whiten": whiten, "looks": looks}
    np.savez(args.out, **{name: part.astype(np.float32) for name, part in single.items()})


if __name__ == "__main__":
    main()
