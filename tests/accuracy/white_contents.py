"""White is not growth: ``python -m tests.accuracy.white_contents`` attacks the program with it.

Photos of the sample shelf whose contents are painted over with rice, flour, cotton, milk, perlite
or pale shavings (and two bare jars whose own contents are brightened): nothing grows there, 0 % is
covered. Prints how many read over half covered and with what interval; then shows five such jars
day after day, with and without a register, and prints their verdicts. None may be ``go``.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import Coverage, Float32Array
from jarvision.vision.photo import read_photo
from jarvision.vision.read import PhotoAnalysis, look
from tests.support.scoring import score_folder

from .figures import markdown
from .repaint import paint_shape, repaint, save
from .white_looks import LOOKS, PX_PER_MM

SAMPLES = Path(__file__).parents[2] / "sample_images"
DAYS = tuple(f"2026-03-0{day}" for day in range(2, 10))
SINGLE_DAYS = ("2026-03-03", "2026-03-05", "2026-03-07")
JARS = ("SL01", "SL02", "SL03", "SL04", "SL05")
SHELF = dict(zip(JARS, ("rice", "flour", "cotton", "milk", "pale shavings"), strict=True))
BARE = ("SL02_2026-03-02", "SL03_2026-03-02")  # sample photos with hardly any growth
BRIGHTENED = "own contents, brightened"
BRIGHT, MUTED = 0.62, 0.4  # mean light and what is left of the colour once brightened
REGISTER = "jar,kind,species,substrate,started\n"


@dataclass(frozen=True)
class Attack:
    """One photo to paint: the base, what goes into its jar, and the seed of the pieces."""

    base: Path
    contents: str
    seed: int
    name: str


def brightened(sight: PhotoAnalysis) -> Float32Array:
    """The wall's own contents at the brightness of rice, as paint for the same wall."""
    shape = paint_shape(sight)
    inside = sight.wall.linear[(sight.wall.heights_mm > 0.0) & sight.wall.filled.any(axis=1)]
    grey = inside.mean(axis=2, keepdims=True)
    pale = (grey + MUTED * (inside - grey)) * (BRIGHT / float(grey.mean()))
    step_mm = float(sight.wall.heights_mm[0] - sight.wall.heights_mm[1])
    size = tuple(round(part * step_mm * PX_PER_MM) for part in pale.shape[1::-1])
    wall = cv2.resize(pale, size)
    side = max(0, (shape[1] - wall.shape[1] + 1) // 2)
    wide = cv2.copyMakeBorder(wall, 0, 0, side, side, cv2.BORDER_REFLECT)
    return np.asarray(np.clip(wide, 0.0, 1.0), np.float32)


def paint_photo(attack: Attack, *, out: Path) -> bool:
    """Write the painted photo; False when the base itself is refused."""
    try:
        sight = look(read_photo(attack.base, name=attack.base.name))
    except PhotoRefusedError:
        return False
    if attack.contents == BRIGHTENED:
        paint = brightened(sight)
    else:
        paint = LOOKS[attack.contents](paint_shape(sight), np.random.default_rng(attack.seed))
    save(repaint(sight, paint, seed=attack.seed), out / f"{attack.name}.jpg", like=attack.base)
    return True


def read_one(path: Path) -> Coverage | str:
    """Coverage of one photo, or the reason why it was refused."""
    try:
        return look(read_photo(path, name=path.name)).coverage
    except PhotoRefusedError as refusal:
        return refusal.reason


def single_attacks(samples: Path) -> list[Attack]:
    """Every look in every jar on three days, and the two bare jars brightened."""
    bases = [samples / f"{jar}_{day}.jpg" for jar in JARS for day in SINGLE_DAYS]
    found = [
        Attack(base, contents, seed, f"{contents.replace(' ', '-')}-{seed:02d}")
        for contents in LOOKS
        for seed, base in enumerate(bases)
    ]
    return found + [
        Attack(samples / f"{name}.jpg", BRIGHTENED, seed, f"brightened-{seed:02d}")
        for seed, name in enumerate(BARE)
    ]


def shelf_attacks(samples: Path) -> list[Attack]:
    """Five jars day after day: the same pieces at the same places, the photo's own light."""
    return [
        Attack(samples / f"{jar}_{day}.jpg", contents, 100 + number, f"{jar}_{day}")
        for number, (jar, contents) in enumerate(SHELF.items())
        for day in DAYS
    ]


def single_rows(attacks: Sequence[Attack], answers: Sequence[Coverage | str]) -> list[list[str]]:
    """One line for each contents: how many read, over half, their mean and interval."""
    rows = []
    for contents in (*LOOKS, BRIGHTENED, "all"):
        mine = [a for k, a in zip(attacks, answers, strict=True) if contents in (k.contents, "all")]
        read = [a for a in mine if isinstance(a, Coverage)]
        mean = [float(np.mean([getattr(a, key) for a in read])) if read else float("nan")
                for key in ("percent", "low", "high")]  # fmt: skip
        rows.append([
            contents, f"{len(read)} of {len(mine)}", f"{sum(a.percent > 50 for a in read)}",
            f"{mean[0]:.1f}", f"{mean[1]:.1f} to {mean[2]:.1f}",
            f"{sum(a.low <= 0.0 for a in read)}",
        ])  # fmt: skip
    return rows


def shelf_rows(folder: Path, *, jobs: int, registered: bool) -> list[list[str]]:
    """Jar, contents, last reading and verdict of the five jars."""
    register = None
    with tempfile.TemporaryDirectory() as scratch:
        if registered:
            register = Path(scratch) / "jars.csv"
            lines = [f"{jar},spawn,oyster,rye,2026-02-15\n" for jar in JARS]
            register.write_text(REGISTER + "".join(lines), encoding="utf-8")
        shelf = score_folder(folder, out=Path(scratch) / "out", register=register, jobs=jobs)
    last = {r.jar: r.coverage for r in sorted(shelf.readings, key=lambda r: r.taken_at)}
    words = {s.verdict.jar: s.verdict for s in shelf.stories}
    rows = []
    for jar, contents in SHELF.items():
        cover, verdict = last.get(jar), words.get(jar)
        said = f"{cover.percent:.0f} ({cover.low:.0f} to {cover.high:.0f})" if cover else "refused"
        rows.append([jar, contents, said, verdict.verdict if verdict else "–",
                     "; ".join(verdict.reasons) if verdict else ""])  # fmt: skip
    return rows


def main() -> None:
    """Paint, read, and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--samples", type=Path, default=SAMPLES)
    parser.add_argument("--out", type=Path, help="keeps the painted photos")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        out = args.out or Path(scratch)
        single, shelf = out / "single", out / "shelf"
        for folder in (single, shelf):
            folder.mkdir(parents=True, exist_ok=True)
        attacks = single_attacks(args.samples)
        with ProcessPoolExecutor(args.jobs, mp_context=get_context("spawn")) as pool:
            done = list(pool.map(partial(paint_photo, out=single), attacks))
            list(pool.map(partial(paint_photo, out=shelf), shelf_attacks(args.samples)))
            attacks = [attack for attack, painted in zip(attacks, done, strict=True) if painted]
            answers = list(pool.map(read_one, [single / f"{a.name}.jpg" for a in attacks]))
        print(markdown(("contents, nothing grown", "read", "over 50 %", "mean", "mean interval",
                        "interval holds 0"), single_rows(attacks, answers)))  # fmt: skip
        for registered in (False, True):
            rows = shelf_rows(shelf, jobs=args.jobs, registered=registered)
            print(f"\nFive jars on {len(DAYS)} days, {'with' if registered else 'without'} a "
                  f"register: {sum(row[3] == 'go' for row in rows)} `go`.\n")  # fmt: skip
            print(markdown(("jar", "contents", "last reading", "verdict", "reasons"), rows))


if __name__ == "__main__":
    main()
