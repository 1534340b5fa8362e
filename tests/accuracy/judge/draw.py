"""A set of judging photos with truth: ``python -m tests.accuracy.judge.draw OUT``.

Sixty jars on one photo each, six jars on six days, and the sixty once more with a photo of each
jar before anything grew. For measuring only: see the docstring of this package. Measure it with
``python -m tests.accuracy.foreign --photos OUT``.
"""

from __future__ import annotations

import argparse
import csv
import shutil
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache, partial
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from jarvision.records import ByteArray, Float32Array, TissueClass
from tests.accuracy.foreign_truth import GROUPS

from .families import FAMILIES, Surface
from .growth import Fault, Grown, grow, random_strain
from .stage import SHAPE, TOP_SURFACE, Shot, fill_line, photograph, wall_grid

FIRST_SEED = 30_000  # a set that was looked at to set a limit is spent: draw another
SINGLES, SERIES = 60, 6
SERIES_DAYS = (0.0, 2.0, 4.5, 7.0, 10.0, 14.0)
SERIES_FAMILIES = ("coffee grounds", "sawdust", "pale shavings", "barley", "cracked maize",
                   "chopped straw")  # fmt: skip
SCENARIOS = (
    "bare", "healthy", "stained", "healthy", "bare", "green_mould",
    "healthy", "black_mould", "wet", "healthy", "pink_mould", "old",
)  # fmt: skip
SPOTS = {"green_mould": TissueClass.GREEN, "black_mould": TissueClass.BLACK,
         "pink_mould": TissueClass.PINK, "wet": TissueClass.WET,
         "stained": TissueClass.STAIN}  # fmt: skip
MASK_VALUE = {TissueClass.BARE: 1, TissueClass.MYCELIUM: 2, TissueClass.STAIN: 3,
              TissueClass.GREEN: 4, TissueClass.BLACK: 5, TissueClass.PINK: 6,
              TissueClass.WET: 7}  # fmt: skip
COVERED = (TissueClass.MYCELIUM, TissueClass.STAIN)
FRONT_DEG = 60.0
BARE_SHOT = 90_000  # added to the seed of a jar for the photo on its day of filling
FILLED_ON = date(2026, 3, 2)
FIELDS = ("image", "jar_id", "date", "scenario", "family", "verdict", "role",
          "coverage_front60_percent")  # fmt: skip


@dataclass(frozen=True)
class Task:
    """One photo to draw."""

    jar: str
    seed: int
    shot_seed: int
    family: str
    scenario: str
    day: float
    group: str
    reference: bool = False

    @property
    def date(self) -> date:
        """Day of the photo; the photo of the bare jar is a day older than all others."""
        return FILLED_ON + timedelta(days=-1 if self.reference else int(self.day))

    @property
    def name(self) -> str:
        """Stem of its files."""
        return f"{self.jar}_{self.date}"


def pairs(singles: Iterable[Task]) -> Iterator[Task]:
    """The single photos once more, each with a photo of the same jar before anything grew."""
    for task in singles:
        yield replace(task, group="pairs", day=0.0, shot_seed=task.seed + BARE_SHOT, reference=True)
        yield replace(task, group="pairs")


def tasks(first_seed: int = FIRST_SEED) -> Iterator[Task]:
    """The single photos, and the jars on several days."""
    names = list(FAMILIES)
    for number in range(SINGLES):
        seed = first_seed + number
        rng = np.random.default_rng([seed, 50])
        scenario = SCENARIOS[(number + number // len(names)) % len(SCENARIOS)]
        day = {"bare": 0.0, "old": 16.0}.get(scenario, float(rng.uniform(0.8, 10.0)))
        day = max(day, 7.0) if scenario in SPOTS and scenario != "wet" else day
        yield Task(
            f"K{number:03d}", seed, seed, names[number % len(names)], scenario, day, "single"
        )
    for number, family in enumerate(SERIES_FAMILIES):
        seed = first_seed + 500 + number
        scenario = "green_mould" if number == 3 else "healthy"
        for nth, day in enumerate(SERIES_DAYS):
            yield Task(
                f"K{101 + number}", seed, seed + 1000 * (nth + 1), family, scenario, day, "series"
            )


def random_shot(jar_seed: int, shot_seed: int) -> Shot:
    """The jar by its own seed; page, phone and light by the photo's."""
    jar, rng = np.random.default_rng([jar_seed, 51]), np.random.default_rng([shot_seed, 52])
    wall = float(jar.uniform(100.0, 125.0))
    warm = float(rng.uniform(-0.22, 0.22))
    side = float(rng.choice([-1.0, 1.0]))
    return Shot(
        radius_mm=float(jar.uniform(36.0, 46.0)),
        glass_mm=float(jar.uniform(2.2, 3.4)),
        wall_mm=wall,
        fill_mm=float(wall * jar.uniform(0.58, 0.78)),
        neck=float(jar.uniform(0.78, 0.95)),
        lid=tuple(float(v) for v in jar.uniform(0.1, 0.7, 3)),  # type: ignore[arg-type]
        axis_x_mm=float(95.0 + rng.normal(0.0, 3.0)),
        axis_z_mm=float(rng.uniform(-78.0, -62.0)),
        lean_deg=float(rng.uniform(0.0, 4.0)),
        distance_mm=float(rng.uniform(300.0, 350.0)),
        eye_up_mm=float(rng.uniform(95.0, 165.0)),
        aside_mm=float(rng.normal(0.0, 12.0)),
        focal_px=float(rng.uniform(1500.0, 1720.0)),
        lamp=rng.uniform([0.15, 0.3, 0.5], 0.9) * [side, -1.0, 1.0],
        ambient=float(rng.uniform(0.35, 0.75)),
        cast=(1.0 + warm, 1.0, 1.0 - 1.2 * warm),
        crosstalk=rng.normal(0.0, 0.035, (3, 3)),
        exposure=float(rng.uniform(0.72, 0.98)),
        gamma=float(rng.uniform(0.92, 1.12)),
        tilt_light=(float(rng.normal(0.0, 0.12)), float(rng.normal(0.0, 0.12))),
        window_deg=float(rng.uniform(-55.0, 55.0)),
        window=float(rng.choice([0.0, 0.08, 0.25, 0.6])),
        fog=float(rng.choice([0.0, 0.02, 0.06, 0.14])),
        table=tuple(float(v) for v in rng.uniform(0.08, 0.5) * np.array([1.0, 0.82, 0.62])),  # type: ignore[arg-type]
        room=tuple(float(v) for v in rng.uniform(0.1, 0.6) * np.array([1.0, 0.98, 0.94])),  # type: ignore[arg-type]
        noise=float(rng.uniform(0.8, 2.5)),
        seed=shot_seed,
    )  # fmt: skip


def faults_of(task: Task, shot: Shot) -> tuple[Fault, ...]:
    """What is wrong in a jar."""
    if task.scenario not in SPOTS:
        return ()
    rng = np.random.default_rng([task.seed, 53])
    return (
        Fault(
            kind=SPOTS[task.scenario],
            x_mm=float(rng.uniform(-0.7, 0.7) * shot.radius_mm),
            y_mm=float(rng.uniform(0.25, 0.8) * shot.fill_mm),
            from_day=float(rng.uniform(1.0, 4.0)) if task.scenario != "wet" else -3.0,
            speed_mm=float(
                rng.uniform(1.6, 2.8) if task.scenario != "wet" else rng.uniform(3.0, 6.0)
            ),
            lot=float(rng.random()),
        ),
    )


@lru_cache(maxsize=2)
def _contents(family: str, seed: int) -> tuple[Float32Array, Float32Array, Surface]:
    x, y = wall_grid(random_shot(seed, seed))
    return x, y, FAMILIES[family](x, y, seed)


def draw(task: Task, *, out: Path) -> dict[str, str]:
    """Draw one photo, write it with its mask, and return its line of the truth."""
    shot = random_shot(task.seed, task.shot_seed)
    x, y, contents = _contents(task.family, task.seed)
    strain = random_strain(task.seed)
    if task.scenario == "old":
        strain = replace(strain, film=1.0)
    grown = grow(x, y, contents, strain, faults_of(task, shot), day=task.day, seed=task.seed,
                 tall_mm=shot.fill_mm)  # fmt: skip
    look = photograph(shot, grown.surface, grown.classes)
    image = Path(task.jar) / f"{task.name}.jpg"
    photo, truth = out / "photos" / task.group / image, out / "truth" / task.group / image
    for path in (photo, truth):
        path.parent.mkdir(parents=True, exist_ok=True)
    _save(look.rgb, photo, shot=shot, day=task.date)
    cv2.imwrite(str(truth.with_name(f"{task.name}_mask.png")), _mask(look.classes))
    percent = front_percent(shot, grown, x, y)
    state = "reject" if "mould" in task.scenario else ("ready" if percent >= 99.0 else "growing")
    role = "reference" if task.reference else ""
    values = (image.as_posix(), task.jar, str(task.date), task.scenario, task.family, state, role,
              f"{percent:.3f}")  # fmt: skip
    return dict(zip(FIELDS, values, strict=True))


def front_percent(shot: Shot, grown: Grown, x: Float32Array, y: Float32Array) -> float:
    """Coverage of the filled wall within 60 degrees of the axis, percent."""
    inner = shot.radius_mm - shot.glass_mm
    front = (np.abs(x) <= inner * np.deg2rad(FRONT_DEG)) & (y > 0.0) & (y < fill_line(shot, x))
    return float(100.0 * np.isin(grown.classes[front], COVERED).mean())


def _mask(classes: ByteArray) -> ByteArray:
    table = np.zeros(256, np.uint8)
    for kind, value in MASK_VALUE.items():
        table[kind] = value
    top = classes == TOP_SURFACE
    mask = table[classes]
    mask[top] = 9
    return mask


def _save(rgb: ByteArray, path: Path, *, shot: Shot, day: date) -> None:
    exif = Image.Exif()
    details = exif.get_ifd(34665)
    details[36867] = f"{day:%Y:%m:%d} 18:30:00"
    details[41989] = round(shot.focal_px * 43.2666 / float(np.hypot(*SHAPE)))
    Image.fromarray(rgb).save(path, quality=91, exif=exif)


def copied(tasks_: Sequence[Task], out: Path) -> list[dict[str, str]]:
    """Copy single photos and their masks into their pairs; their lines of the truth."""
    with (out / "truth" / "single" / "truth.csv").open(newline="") as table:
        lines = {line["image"]: line for line in csv.DictReader(table)}
    for task in tasks_:
        for tree, name in (("photos", f"{task.name}.jpg"), ("truth", f"{task.name}_mask.png")):
            target = out / tree / "pairs" / task.jar / name
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(out / tree / "single" / task.jar / name, target)
    return [{**lines[f"{task.jar}/{task.name}.jpg"], "role": ""} for task in tasks_]


def write_truth(out: Path, group: str, lines: Sequence[dict[str, str]]) -> None:
    """Write one group's table of the truth."""
    with (out / "truth" / group / "truth.csv").open("w", newline="") as table:
        writer = csv.DictWriter(table, FIELDS)
        writer.writeheader()
        writer.writerows(lines)


def main() -> None:
    """Draw the set, or one group of it; pairs need the single photos."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--group", choices=GROUPS, help="one of them only")
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    todo = list(tasks(args.first_seed))
    todo += pairs([task for task in todo if task.group == "single"])
    with ProcessPoolExecutor(args.jobs, mp_context=get_context("spawn")) as pool:
        for group in GROUPS if args.group is None else (args.group,):
            mine = [task for task in todo if task.group == group]
            again = [task for task in mine if group == "pairs" and not task.reference]
            fresh = [task for task in mine if task not in again]
            lines = list(pool.map(partial(draw, out=args.out), fresh, chunksize=6))
            lines += copied(again, args.out) if again else []
            write_truth(args.out, group, lines)


if __name__ == "__main__":
    main()
