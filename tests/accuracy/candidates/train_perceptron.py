"""Train the tissue network on rendered photos: ``python -m tests.accuracy.train_tissue DIR``.

Needs scikit-learn. The photos of DIR are walked down the line up to the masked wall; the truth of
each place is read from the renderer's files. A share of the places of each photo is drawn, rare
classes more densely. Written: ``jarvision/tissue/weights.npz``.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from jarvision.tissue.features import wall_features

from jarvision.card.layout import load_layout
from jarvision.day import wall_of
from jarvision.errors import PhotoRefusedError
from jarvision.photo import read_photo
from jarvision.photo_settings import PhotoSettings
from jarvision.records import Float32Array
from jarvision.tissue.classify import CLASSES
from jarvision.tissue.masks import burnt_out

from .truth import PhotoTruth

PLACES_PER_PHOTO = 6000
WEIGHTS = Path(__file__).parents[2] / "jarvision" / "tissue" / "weights.npz"


def samples_of(path: Path) -> tuple[Float32Array, Float32Array]:
    """Features ``(n, 16)`` and targets ``(n, classes + 1)`` of one photo; none if it is refused."""
    empty = np.zeros((0, 16), np.float32), np.zeros((0, len(CLASSES) + 1), np.float32)
    photo = read_photo(path, name=path.name)
    try:
        sight = wall_of(photo, layout=load_layout(), settings=PhotoSettings())
    except PhotoRefusedError:
        return empty
    wall = sight.wall
    truth = PhotoTruth.read(path.with_suffix(""))
    classes, opacity = truth.at(wall, photo_scale=photo.scale)
    usable = ~burnt_out(wall, photo, settings=PhotoSettings().masks)
    features = wall_features(wall)
    rng = np.random.default_rng(int.from_bytes(path.stem.encode()[-4:], "big"))
    picked: list[np.ndarray] = []
    kinds = [kind for kind in CLASSES if (usable & (classes == kind)).any()]
    for kind in kinds:
        places = np.flatnonzero(usable & (classes == kind))
        count = min(places.size, PLACES_PER_PHOTO // max(2, len(kinds)))
        picked.append(rng.choice(places, count, replace=False))
    chosen = np.concatenate(picked) if picked else np.zeros(0, int)
    target = np.zeros((chosen.size, len(CLASSES) + 1), np.float32)
    index = {int(kind): number for number, kind in enumerate(CLASSES)}
    kinds_at = classes.ravel()[chosen]
    target[np.arange(chosen.size), [index[int(k)] for k in kinds_at]] = 1.0
    target[:, -1] = opacity.ravel()[chosen]
    return features.reshape(-1, features.shape[-1])[chosen], target


def all_samples(folder: Path, *, jobs: int) -> Iterator[tuple[Float32Array, Float32Array]]:
    """Samples of every photo of a folder, in name order."""
    with ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(samples_of, sorted(folder.glob("*.jpg")))


def main() -> None:
    """Train and write the weights."""
    from sklearn.neural_network import MLPRegressor

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--out", type=Path, default=WEIGHTS)
    parser.add_argument("--epochs", type=int, default=25)
    args = parser.parse_args()
    features, targets = (
        np.concatenate(part) for part in zip(*all_samples(args.folder, jobs=args.jobs), strict=True)
    )
    mean, scale = features.mean(axis=0), features.std(axis=0) + 1e-6
    network = MLPRegressor(
        hidden_layer_sizes=(48, 24), batch_size=1024, max_iter=args.epochs,
        learning_rate_init=2e-3, alpha=1e-5, random_state=1,
        verbose=True, tol=0.0, n_iter_no_change=args.epochs,
    )  # fmt: skip
    network.fit((features - mean) / scale, targets)
    arrays = {f"weight{i}": w.astype(np.float32) for i, w in enumerate(network.coefs_)}
    arrays |= {f"bias{i}": b.astype(np.float32) for i, b in enumerate(network.intercepts_)}
    np.savez(args.out, mean=mean.astype(np.float32), scale=scale.astype(np.float32), **arrays)
    guess = network.predict((features - mean) / scale)[:, :-1].argmax(axis=1)
    right = (guess == targets[:, :-1].argmax(axis=1)).mean()
    print(f"{len(features)} places, {right:.3f} classed as drawn, written to {args.out.name}")


if __name__ == "__main__":
    main()
