"""What tells a veil from growth: ``python -m tests.training.veil_signs --scenes A --samples B``.

Paints fog, tape and paper of random make over good photos with truth, takes the signs of
:mod:`jarvision.vision.tissue.doubt` where bare contents are then read as growth, and where growth
is growth, and fits the weights: logistic regression in which every photo, and either kind, counts
alike. Prints how many veils are doubted for so much growth, each photo by weights of the others.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import BoolArray, FloatArray, Photo, RawWall, TissueClass
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.card.layout import load_layout
from jarvision.vision.jar.unroll import burnt_out
from jarvision.vision.photo import read_photo
from jarvision.vision.read import look, wall_of
from jarvision.vision.tissue.doubt import odds_of, terms_of, veil_signs
from jarvision.vision.tissue.experts import consult
from jarvision.vision.tissue.fill import find_contents
from jarvision.vision.tissue.inputs import network_inputs
from jarvision.vision.tissue.network import MULTIPLE, chances_of, run_network
from jarvision.vision.tissue.veil import look_head_down
from tests.accuracy.edits import sources
from tests.accuracy.edits.files import save_edited
from tests.accuracy.edits.label import Label, stuck
from tests.accuracy.edits.scene import Edit, JarScene
from tests.accuracy.edits.sources import TruePhoto
from tests.accuracy.edits.veil import STRUCTURES, fog

TARGET = Path(__file__).parents[2] / "jarvision" / "vision" / "tissue" / "veil_signs.npz"
TRUE_POINTS = 8.0  # of a photo that is read so well it is known where growth is
ACROSS_DEG = 50.0
GROWN, BARE = 0.7, 0.3  # chance of cover
PULL = 3.0  # of the weights towards zero
ROUNDS, FOLDS = 60, 6
RATES = (0.10, 0.05, 0.03, 0.02, 0.01)
PAPERS = ((0.80, 0.80, 0.78), (0.70, 0.60, 0.36), (0.36, 0.22, 0.11), (0.30, 0.31, 0.32))


@dataclass(frozen=True)
class Signs:
    """Signs ``(down, across, signs)`` of a wall, and chance of cover and heights on that grid.

    ``plain`` says where nothing but contents and growth was told, in sight.
    """

    signs: FloatArray
    covered: FloatArray
    plain: BoolArray
    heights_mm: FloatArray

    def covered_at(self, heights_mm: FloatArray, columns: int) -> FloatArray:
        """Chance of cover at other heights, of the same jar: another photo may end elsewhere."""
        rows = np.abs(self.heights_mm - heights_mm[:, None]).argmin(axis=1)
        wide = self.covered.shape[1]
        return self.covered[rows][:, np.arange(columns) * wide // columns]


def signs_of(photo: Photo) -> Signs | None:
    """The signs of a photo's wall, as the program has them."""
    settings = PhotoSettings()
    raw = wall_of(photo, layout=load_layout(), settings=settings).wall
    burnt = burnt_out(raw, photo, settings=settings.masks)
    channels = network_inputs(raw, burnt, multiple=MULTIPLE)
    rows, cols = burnt.shape
    first = run_network("specialist", channels)[:, :rows, :cols]
    filled = find_contents(
        raw, chances_of(first, TissueClass.OUTSIDE)[0], settings=settings.jar
    ).filled
    seen = consult(raw, channels, first, filled, bare=None).seen
    said = look_head_down(channels, chances_of(first, TissueClass.UNJUDGED)[0], filled)
    if said is None:
        return None
    signs = veil_signs(raw, filled, said)
    plain = filled & np.isin(seen.best, (TissueClass.BARE, TissueClass.MYCELIUM))
    return _on_grid(raw, signs, seen.covered, plain & (np.abs(raw.angles_deg) < ACROSS_DEG))


def _on_grid(raw: RawWall, signs: FloatArray, covered: np.ndarray, plain: BoolArray) -> Signs:
    size = signs.shape[1::-1]
    cover, there = (
        cv2.resize(part.astype(np.float32), size, interpolation=cv2.INTER_AREA).astype(np.float64)
        for part in (covered, plain)
    )
    rows = (np.arange(size[1]) + 0.5) * len(raw.heights_mm) / size[1]
    return Signs(signs, cover, there > 0.99, raw.heights_mm[rows.astype(int)].astype(np.float64))


def veils(rng: np.random.Generator, count: int) -> Iterator[Edit]:
    """Random fog, tape and paper."""
    for number in range(count):
        if rng.uniform() < 0.7:
            grey = rng.uniform(0.4, 0.85) * rng.uniform(0.96, 1.04, 3)
            apply = fog(
                float(np.sqrt(rng.uniform(0.1, 0.95))),
                structure=int(rng.integers(len(STRUCTURES))),
                where=str(rng.choice(["lower", "lower", "upper", "all"])),
                rgb=(float(grey[0]), float(grey[1]), float(grey[2])),
                soften_mm=float(rng.uniform(0.2, 1.0)),
            )  # fmt: skip
        else:
            paper = np.clip(PAPERS[rng.integers(len(PAPERS))] * rng.uniform(0.85, 1.15, 3), 0, 0.9)
            wide = 300.0 if rng.integers(2) else rng.uniform(40.0, 120.0)
            apply = stuck(Label(
                float(wide), rng.uniform(0.2, 0.5), (paper[0], paper[1], paper[2]),
                fibres=rng.uniform(0.01, 0.1), printed=int(rng.choice([0, 0, 3])),
            ))  # fmt: skip
        yield Edit(f"veil_{number}", "a veil of random make", "veil", apply)


def examples(photo: TruePhoto, *, count: int) -> tuple[FloatArray, FloatArray]:
    """Signs where growth is growth, and where a veil over bare contents is read as growth."""
    try:
        first = read_photo(photo.path, name=photo.path.name)
        sight = look(first)
        clean = signs_of(first)
    except PhotoRefusedError:
        return np.empty((0, 0)), np.empty((0, 0))
    if clean is None or abs(sight.coverage.percent - photo.true_percent) > TRUE_POINTS:
        return np.empty((0, 0)), np.empty((0, 0))
    grown = clean.signs[clean.plain & (clean.covered > GROWN)]
    scene, rng, veiled = JarScene.of(sight), np.random.default_rng([*photo.path.stem.encode()]), []
    for edit in veils(rng, count):
        with TemporaryDirectory() as folder:
            path = save_edited(
                edit.apply(scene, rng), edit, like=photo.path, folder=Path(folder)
            )  # fmt: skip
            try:
                seen = signs_of(read_photo(path, name=path.name))
            except PhotoRefusedError:
                continue
        if seen is not None:
            behind = clean.covered_at(seen.heights_mm, seen.covered.shape[1])
            veiled.append(seen.signs[seen.plain & (seen.covered > GROWN) & (behind < BARE)])
    return grown, np.concatenate([np.empty((0, clean.signs.shape[-1])), *veiled])


def fitted(
    signs: FloatArray, veiled: BoolArray, weight: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Middle and spread of signs ``(places, signs)``, and the weights of the regression."""
    middle = np.average(signs, axis=0, weights=weight)
    spread = np.sqrt(np.average((signs - middle) ** 2, axis=0, weights=weight))
    known = terms_of(signs, middle, spread)
    pull = PULL * np.eye(known.shape[1])
    pull[-1, -1] = 0.0
    weights = np.zeros(known.shape[1])
    for _ in range(ROUNDS):  # Newton's way
        chance = 1.0 / (1.0 + np.exp(-np.clip(known @ weights, -30.0, 30.0)))
        slope = known.T @ (weight * (chance - veiled)) + pull @ weights
        bend = (known * (weight * chance * (1.0 - chance))[:, None]).T @ known + pull
        weights -= np.linalg.solve(bend + 1e-9 * np.eye(len(bend)), slope)
    return middle, spread, weights


def balanced(veiled: BoolArray, photo: np.ndarray) -> FloatArray:
    """Weights by which photos count alike, and veils as much as growth: 1,000 each."""
    weight = np.zeros(len(veiled))
    for kind in (False, True):
        for one in np.unique(photo[veiled == kind]):
            here = (veiled == kind) & (photo == one)
            weight[here] = 1.0 / np.sqrt(np.count_nonzero(here))
        weight[veiled == kind] *= 1000.0 / weight[veiled == kind].sum()
    return weight


def told_apart(signs: FloatArray, veiled: BoolArray, photo: np.ndarray, weight: FloatArray) -> str:
    """Limits and what they tell: each photo judged by weights that the others gave."""
    odds = np.zeros(len(signs))
    for fold in range(FOLDS):
        out = photo % FOLDS == fold
        odds[out] = odds_of(signs[out], *fitted(signs[~out], veiled[~out], weight[~out]))
    lines = []
    for rate in RATES:
        order = np.argsort(-odds[~veiled])
        share = weight[~veiled][order].cumsum() / weight[~veiled].sum()
        limit = odds[~veiled][order][np.searchsorted(share, rate)]
        hit = np.average(odds[veiled] > limit, weights=weight[veiled])
        lines.append(f"odds over {limit:.2f}: {rate:.0%} of growth doubted, {hit:.0%} of veils")
    return "\n".join(lines)


def main() -> None:
    """Paint, look, fit, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, nargs="*", default=[], help="folders of photos")
    parser.add_argument("--foreign", type=Path, nargs="*", default=[], help="sets of single photos")
    parser.add_argument("--samples", type=Path, nargs="*", default=[], help="sample shelves")
    parser.add_argument("--every", type=int, default=1, help="one photo in so many")
    parser.add_argument("--veils", type=int, default=8, help="so many a photo")
    parser.add_argument("--out", type=Path, default=TARGET)
    parser.add_argument("--keep", type=Path, help="write the signs here, or read them from there")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    if args.keep and args.keep.exists():
        with np.load(args.keep) as kept:
            signs, veiled, photo = (kept[name] for name in ("signs", "veiled", "photo"))
    else:
        scenes = sources.scenes(args.scenes, word="scenes", meaning="", blind=False)
        others = [sources.foreign(folder) for folder in args.foreign]
        others += [sources.samples(folder) for folder in args.samples]
        photos = list(chain(scenes.photos, *(other.photos for other in others)))[:: args.every]
        pairs = [examples(one, count=args.veils) for one in photos]
        flat = [(n, kind, part) for n, pair in enumerate(pairs) for kind, part in enumerate(pair)
                if len(part)]  # fmt: skip
        signs = np.concatenate([part for _, _, part in flat])
        veiled = np.concatenate([np.full(len(part), kind == 1) for _, kind, part in flat])
        photo = np.concatenate([np.full(len(part), n) for n, _, part in flat])
        if args.keep:
            np.savez_compressed(args.keep, signs=signs, veiled=veiled, photo=photo)
    weight = balanced(veiled, photo)
    print(f"{len(np.unique(photo))} photos, {np.count_nonzero(~veiled)} places of growth, "
          f"{np.count_nonzero(veiled)} of veils")  # fmt: skip
    print(told_apart(signs, veiled, photo, weight))
    middle, spread, weights = (part.astype(np.float32) for part in fitted(signs, veiled, weight))
    np.savez(args.out, middle=middle, spread=spread, weights=weights)


if __name__ == "__main__":
    main()
