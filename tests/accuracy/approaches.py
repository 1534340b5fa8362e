"""Four ways to tell growth from contents, on the same walls.

``python -m tests.accuracy.approaches WALLS FOLDER...``: what can learn learns from WALLS (written
by :mod:`tests.training.wall_data`), all are judged on the photos of each FOLDER.

- Otsu's threshold on L* of the photo itself (Otsu 1979; scikit-image): nothing is learned.
- Two thresholds on whiteness with hysteresis (Canny 1986; scikit-image), learned.
- Superpixels (SLIC: Achanta et al. 2012; scikit-image) classed by a random forest (Breiman 2001;
  scikit-learn) on colour and texture, learned.
- The package's network.

Card, colour, glass, fill line and masks are the package's for all four, so that only the telling
differs: coverage is the covered share of what could be judged, held against the truth of the same
places.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import product
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
from skimage.filters import apply_hysteresis_threshold, threshold_otsu
from skimage.segmentation import slic
from sklearn.ensemble import RandomForestClassifier

from jarvision.base.colourspace import srgb_decode, srgb_encode
from jarvision.base.errors import PhotoRefusedError
from jarvision.records import BoolArray, ByteArray, Float32Array, FloatArray, TissueClass
from jarvision.vision.photo import read_photo
from jarvision.vision.read import look
from tests.training.wall_data import HEADROOM

from .figures import concordance, markdown
from .truth import PhotoTruth

Way = Callable[["Scene"], float]
"""Covered share of a scene, percent."""

LEARNT_FROM = 240
CELLS_A_SUPERPIXEL = 150
SMALL = 0.5
"""Superpixels are sought at half the wall's resolution: a cell of 0.5 mm."""

CONTRASTS = {
    "much contrast": (20.0, 1e3),
    "little contrast": (0.0, 20.0),
    "all bare or all grown": (1e3, np.inf),
}
"""Distance of the mean colours of growth and contents, CIE 1976: from and below."""

ONE_KIND = 1e6


@dataclass(frozen=True)
class Scene:
    """One wall: CIELAB ``(rows, cols, 3)``, where it counts, and what is covered there in truth."""

    lab: Float32Array
    counts: BoolArray
    covered: BoolArray
    net_percent: float = float("nan")

    @property
    def true_percent(self) -> float:
        """Covered share of what counts."""
        return 100.0 * float(self.covered[self.counts].mean())

    @property
    def contrast(self) -> float:
        """Distance of growth and contents in mean colour; ``ONE_KIND`` where one is missing."""
        grown, bare = self.covered & self.counts, ~self.covered & self.counts
        if min(grown.sum(), bare.sum()) < 50:
            return ONE_KIND
        return float(np.linalg.norm(self.lab[grown].mean(axis=0) - self.lab[bare].mean(axis=0)))


def lab_of(linear: Float32Array) -> Float32Array:
    """CIELAB of linear sRGB; light above the card's white is cut."""
    coded = srgb_encode(np.clip(linear, 0.0, 1.0)).astype(np.float32)
    return np.asarray(cv2.cvtColor(coded, cv2.COLOR_RGB2LAB), np.float32)


def is_covered(classes: ByteArray) -> BoolArray:
    """Where mycelium or its normal stain covers."""
    return np.isin(classes, (TissueClass.MYCELIUM, TissueClass.STAIN))


def scene_of_photo(path: Path) -> Scene | None:
    """A rendered photo as the package sees it, None when it is refused."""
    cv2.setNumThreads(1)
    photo = read_photo(path, name=path.name)
    try:
        sight = look(photo)
    except PhotoRefusedError:
        return None
    truth = PhotoTruth.read(path.with_suffix("")).at(sight.wall, photo_scale=photo.scale).classes
    counts = sight.wall.judged & sight.wall.filled & (truth > TissueClass.UNJUDGED)
    said = 100.0 * float(sight.tissue.covered[counts].mean())
    return Scene(lab_of(sight.wall.linear), counts, is_covered(truth), said)


def scene_of_wall(path: Path) -> Scene:
    """A training wall."""
    with np.load(path) as data:
        colour = cv2.imdecode(data["colour"], cv2.IMREAD_COLOR)[..., ::-1]
        classes = cv2.imdecode(data["classes"], cv2.IMREAD_GRAYSCALE)
    linear = (HEADROOM * srgb_decode(colour / 255.0)).astype(np.float32)
    return Scene(lab_of(linear), classes > TissueClass.UNJUDGED, is_covered(classes))


# --------------------------------------------------------------------------- the ways
def by_otsu(scene: Scene) -> float:
    """Lighter than Otsu's threshold is growth."""
    light = scene.lab[..., 0][scene.counts]
    return 100.0 * float((light > threshold_otsu(light)).mean())


def whiteness(lab: Float32Array, chroma_weight: float) -> FloatArray:
    """Lightness less a share of the chroma: growth is light and has little colour."""
    return np.asarray(lab[..., 0] - chroma_weight * np.hypot(lab[..., 1], lab[..., 2]))


def learn_hysteresis(scenes: Sequence[Scene]) -> Way:
    """The two thresholds and the weight of chroma with the least mean error."""

    def way(scene: Scene, weight: float, low: float, high: float) -> float:
        grown = apply_hysteresis_threshold(whiteness(scene.lab, weight), low, high)
        return 100.0 * float(grown[scene.counts].mean())

    def error(choice: tuple[float, float, float]) -> float:
        return float(np.mean([abs(way(s, *choice) - s.true_percent) for s in scenes]))

    grid = product((0.0, 0.5, 1.0, 1.5), range(25, 75, 5), (0, 5, 10, 20))
    best = min(((w, low, low + more) for w, low, more in grid), key=error)
    print(f"hysteresis: chroma weight {best[0]}, thresholds {best[1]} and {best[2]}", flush=True)
    return lambda scene: way(scene, *best)


def superpixels(scene: Scene) -> tuple[ByteArray, FloatArray, FloatArray]:
    """Labels at half resolution; features ``(n, 14)``; share covered, NaN where nothing counts."""
    lab = cv2.resize(scene.lab, None, fx=SMALL, fy=SMALL, interpolation=cv2.INTER_AREA)
    size = lab.shape[1::-1]
    counts = cv2.resize(scene.counts.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    covered = cv2.resize(scene.covered.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    labels = slic(
        lab, n_segments=lab.shape[0] * lab.shape[1] // CELLS_A_SUPERPIXEL, compactness=12.0,
        convert2lab=False, channel_axis=-1, start_label=0,
    )  # fmt: skip
    light = lab[..., 0]
    wide = cv2.GaussianBlur(lab, (0, 0), 12.0)
    fine = np.abs(light - cv2.GaussianBlur(light, (0, 0), 1.0))
    coarse = np.abs(light - cv2.GaussianBlur(light, (0, 0), 4.0))
    slope = np.hypot(cv2.Sobel(light, cv2.CV_32F, 1, 0), cv2.Sobel(light, cv2.CV_32F, 0, 1))
    planes = np.dstack([lab, lab**2, wide, fine, coarse, slope])
    cells = np.bincount(labels.ravel())
    mean = np.stack(
        [np.bincount(labels.ravel(), planes[..., k].ravel()) / cells for k in range(12)], axis=1
    )
    mean[:, 3:6] = np.sqrt(np.maximum(mean[:, 3:6] - mean[:, :3] ** 2, 0.0))  # spreads
    ends = np.percentile(light[counts > 0], (5, 95))  # how light this jar is at both ends
    features = np.hstack([mean, np.broadcast_to(ends, (len(mean), 2))])
    known = np.bincount(labels.ravel(), counts.ravel())
    grown = np.bincount(labels.ravel(), (counts * covered).ravel())
    share = np.where(known > 0, grown / np.maximum(known, 1), np.nan)
    return labels, features, share


def learn_forest(scenes: Sequence[Scene]) -> Way:
    """A forest that tells the covered superpixels."""
    parts = [superpixels(scene)[1:] for scene in scenes]
    features = np.concatenate([f[np.isfinite(s)] for f, s in parts])
    share = np.concatenate([s[np.isfinite(s)] for _, s in parts])
    forest = RandomForestClassifier(150, min_samples_leaf=5, n_jobs=2, random_state=1)
    forest.fit(features, share >= 0.5)
    forest.n_jobs = 1

    def way(scene: Scene) -> float:
        labels, features, _ = superpixels(scene)
        chance = forest.predict_proba(features)[:, 1].astype(np.float32)[labels]
        size = scene.lab.shape[1::-1]
        return 100.0 * float(cv2.resize(chance, size)[scene.counts].mean())

    return way


# --------------------------------------------------------------------------- the table
def rows_of(name: str, scenes: Sequence[Scene], ways: dict[str, Way]) -> list[tuple[str, ...]]:
    """Figures of each way on some scenes."""
    true = np.array([s.true_percent for s in scenes])
    rows = []
    for way, tell in ways.items():
        said = np.array([tell(s) for s in scenes])
        error = np.abs(said - true)
        figures = (error.mean(), np.percentile(error, 95), concordance(true, said))
        rows.append((name, way, *(f"{v:.{d}f}" for v, d in zip(figures, (1, 1, 3), strict=True))))
    return rows


def compare(walls: Path, folders: Sequence[Path], *, jobs: int = 2) -> str:
    """Learn, judge, and give the table."""
    paths = sorted(walls.glob("*.npz"))
    paths = paths[:: max(1, len(paths) // LEARNT_FROM)]
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        learnt = [s for s in pool.map(scene_of_wall, paths, chunksize=8) if s.counts.sum() > 1000]
        ways: dict[str, Way] = {
            "Otsu on L*": by_otsu,
            "thresholds with hysteresis": learn_hysteresis(learnt[::4]),
            "superpixels and forest": learn_forest(learnt),
            "network": lambda scene: scene.net_percent,
        }
        rows: list[tuple[str, ...]] = []
        for folder in folders:
            photos = sorted(folder.glob("*.jpg"))
            scenes = [s for s in pool.map(scene_of_photo, photos, chunksize=4) if s]
            for words, (least, below) in CONTRASTS.items():
                some = [s for s in scenes if least <= s.contrast < below]
                if some:
                    rows += rows_of(f"{folder.name}, {words} ({len(some)})", some, ways)
    return markdown(("photos", "way", "mean error", "95th", "concordance"), rows)


def main() -> None:
    """Parse the command line and compare."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("walls", type=Path)
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    print(compare(args.walls, args.folders, jobs=args.jobs))


if __name__ == "__main__":
    main()
