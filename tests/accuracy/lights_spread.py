"""One jar under many lights and cameras: ``python -m tests.accuracy.lights_spread DIR``.

DIR holds the set ``lights`` of :mod:`tests.scenes.bulk`: twelve lights, six camera settings each.
Prints the spread of the coverage and the swatches' residual by light.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from jarvision.base.errors import PhotoRefusedError
from jarvision.vision.photo import read_photo
from jarvision.vision.read import look
from tests.scenes.lights_trial import CAMERAS, LIGHTS

from .truth import PhotoTruth


@dataclass(frozen=True)
class Shot:
    """Coverage (NaN when refused), residual CIEDE2000 and the reason of one photo."""

    light: int
    setting: int
    percent: float
    de00: float
    truth: float
    reason: str = ""


def shoot(path: Path) -> Shot:
    """Read one photo of the trial."""
    light, setting = (int(part) for part in path.stem[1:].split("-"))
    truth = PhotoTruth.read(path.with_suffix("")).coverage_percent
    try:
        sight = look(read_photo(path, name=path.name))
    except PhotoRefusedError as refusal:
        return Shot(light, setting, np.nan, np.nan, truth, refusal.reason)
    return Shot(light, setting, sight.coverage.percent, sight.colour.de00_median, truth)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    with ProcessPoolExecutor(args.jobs) as pool:
        shots = list(pool.map(shoot, sorted(args.folder.glob("L*.jpg"))))
    print(f"true coverage {shots[0].truth:.1f} %")
    for number, (lamp, ambience) in enumerate(LIGHTS):
        mine = [s for s in shots if s.light == number]
        values = " ".join(f"{s.percent:5.1f}" if not s.reason else s.reason[:5] for s in mine)
        name = lamp if lamp == ambience else f"{lamp} + {ambience}"
        print(f"{name:14s} {values}   residual {np.nanmedian([s.de00 for s in mine]):.2f}")
    for setting, (ev, curve, balance) in enumerate(CAMERAS):
        seen = np.array([s.percent for s in shots if s.setting == setting and not s.reason])
        if seen.size:
            print(f"camera {setting} ({ev:+.2f} EV, curve {curve}, balance {balance}): "
                  f"{seen.size} read, spread {np.ptp(seen):.2f}, sd {seen.std():.2f}")  # fmt: skip
    read = np.array([s.percent for s in shots if not s.reason])
    error = np.mean(np.abs(read - shots[0].truth))
    print(
        f"all: {read.size} of {len(shots)} read, max - min {np.ptp(read):.2f}, "
        f"sd {read.std():.2f}, mean error {error:.2f}"
    )


if __name__ == "__main__":
    main()
