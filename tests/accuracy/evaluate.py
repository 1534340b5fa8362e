"""Score a folder of rendered photos against their truth: ``python -m tests.accuracy.evaluate DIR``.

Prints the table of the README and writes a contact sheet of the worst photos, truth and answer
side by side.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from jarvision.colourspace import srgb_encode
from jarvision.day import look
from jarvision.errors import PhotoRefusedError
from jarvision.photo import read_photo
from jarvision.records import ByteArray, Coverage, FloatArray, Patch, TissueClass

from .truth import PhotoTruth

BIG_CM2 = 1.0
SHEET_COLUMNS = 3
COLOURS = {
    TissueClass.OUTSIDE: (40, 40, 40), TissueClass.UNJUDGED: (120, 120, 200),
    TissueClass.BARE: (150, 110, 70), TissueClass.MYCELIUM: (245, 245, 245),
    TissueClass.STAIN: (240, 190, 90), TissueClass.GREEN: (40, 140, 60),
    TissueClass.BLACK: (0, 0, 0), TissueClass.PINK: (240, 110, 150),
    TissueClass.YELLOW: (220, 220, 30), TissueClass.WET: (60, 90, 140),
}  # fmt: skip


@dataclass(frozen=True)
class Answer:
    """One photo: truth and what the package said. ``reason`` is empty when it gave a reading."""

    name: str
    fault: str
    true_percent: float
    true_seen_percent: float
    reason: str = ""
    coverage: Coverage | None = None
    patches: tuple[Patch, ...] = ()
    true_patches: tuple[Patch, ...] = ()
    agreement: float = 0.0
    tile: ByteArray | None = None

    @property
    def error(self) -> float:
        """Coverage minus truth, points."""
        return self.coverage.percent - self.true_percent if self.coverage else float("nan")


def answer(path: Path, *, tiles: bool) -> Answer:
    """Read one rendered photo and hold it against its truth."""
    truth = PhotoTruth.read(path.with_suffix(""))
    photo = read_photo(path, name=path.name)
    fault = str(truth.numbers.get("fault", truth.numbers.get("shelf_jar", "")))
    blank = partial(Answer, path.stem, fault, truth.coverage_percent, float("nan"))
    try:
        sight = look(photo)
    except PhotoRefusedError as refusal:
        return blank(reason=f"{refusal.reason}: {refusal.detail}")
    classes, _ = truth.at(sight.wall, photo_scale=photo.scale)
    judged = sight.wall.judged & (classes > TissueClass.UNJUDGED)
    seen = classes[judged]
    growth = np.isin(seen, (TissueClass.MYCELIUM, TissueClass.STAIN))
    return Answer(
        path.stem,
        fault,
        truth.coverage_percent,
        100.0 * float(growth.mean()) if growth.size else float("nan"),
        coverage=sight.coverage,
        patches=sight.patches,
        true_patches=tuple(
            Patch(p["kind"], p["area_cm2"], p["angle_deg"], p["height_mm"], 1.0)
            for p in truth.numbers["patches"]
        ),
        agreement=float((sight.tissue.classes[judged] == seen).mean()),
        tile=_tile(sight.wall.linear, classes, sight.tissue.classes) if tiles else None,
    )


def _tile(linear: np.ndarray, truth: ByteArray, seen: ByteArray) -> ByteArray:
    photo = (255 * np.clip(srgb_encode(np.clip(linear, 0, 1)), 0, 1)).astype(np.uint8)
    table = np.zeros((16, 3), np.uint8)
    for kind, rgb in COLOURS.items():
        table[kind] = rgb
    strip = np.hstack([photo, table[truth], table[seen]])
    return np.asarray(cv2.resize(strip, (510, 250), interpolation=cv2.INTER_AREA), np.uint8)


def concordance(truth: FloatArray, seen: FloatArray) -> float:
    """Lin's concordance correlation coefficient (Lin 1989, Biometrics 45:255-268; from memory)."""
    covariance = np.mean((truth - truth.mean()) * (seen - seen.mean()))
    spread = truth.var() + seen.var() + (truth.mean() - seen.mean()) ** 2
    return float(2.0 * covariance / spread)


def found(truth: Patch, patches: Sequence[Patch], *, radius_mm: float = 40.0) -> bool:
    """Whether a patch of the same kind lies within a true patch's reach."""
    reach = 4.0 + np.sqrt(truth.area_cm2 * 100 / np.pi)
    for patch in patches:
        if patch.kind != truth.kind:
            continue
        along = np.deg2rad(patch.angle_deg - truth.angle_deg) * radius_mm
        if np.hypot(along, patch.height_mm - truth.height_mm) < reach:
            return True
    return False


def table(answers: Sequence[Answer]) -> str:
    """The figures as text."""
    read = [a for a in answers if a.coverage is not None]
    error = np.array([a.error for a in read])
    on_seen = np.array([a.coverage.percent - a.true_seen_percent for a in read])  # type: ignore[union-attr]
    truth = np.array([a.true_percent for a in read])
    held = [
        a.coverage.low <= a.true_percent <= a.coverage.high  # type: ignore[union-attr]
        for a in read
    ]
    width = [a.coverage.high - a.coverage.low for a in read]  # type: ignore[union-attr]
    lines = [
        f"photos {len(answers)}, read {len(read)}",
        f"coverage error, points: mean |e| {np.abs(error).mean():.2f}, bias {error.mean():+.2f}, "
        f"95th {np.percentile(np.abs(error), 95):.2f}, worst {np.abs(error).max():.2f}",
        f"on the wall that was seen: mean |e| {np.nanmean(np.abs(on_seen)):.2f}, "
        f"95th {np.nanpercentile(np.abs(on_seen), 95):.2f}",
        f"Lin's concordance {concordance(truth, truth + error):.4f}",
        f"interval holds the truth {100 * np.mean(held):.1f} %, mean width {np.mean(width):.1f}",
        f"places classed right {100 * np.mean([a.agreement for a in read]):.1f} %",
    ]
    kinds = sorted({p.kind for a in read for p in (*a.true_patches, *a.patches)})
    for kind in kinds:
        big = [
            (a, p) for a in read for p in a.true_patches if p.kind == kind and p.area_cm2 >= BIG_CM2
        ]
        mine = [(a, p) for a in read for p in a.patches if p.kind == kind and p.area_cm2 >= BIG_CM2]
        hit = sum(found(p, a.patches) for a, p in big)
        false = sum(not found(p, a.true_patches) for a, p in mine)
        lines.append(f"patch {kind}: {hit} of {len(big)} of 1 cm2 or more found, {false} false")
    lines += [f"refused {a.name} ({a.fault}): {a.reason}" for a in answers if a.reason]
    return "\n".join(lines)


def contact_sheet(answers: Sequence[Answer], path: Path, *, count: int) -> None:
    """Picture of the worst photos: wall, truth, answer."""
    read = [a for a in answers if a.tile is not None]
    worst = sorted(read, key=lambda a: -abs(a.error))[:count]
    tiles = []
    for a in worst:
        tile = np.asarray(a.tile).copy()
        words = f"{a.name} {a.fault} true {a.true_percent:.0f} said {a.true_percent + a.error:.0f}"
        cv2.rectangle(tile, (0, 0), (510, 16), (0, 0, 0), -1)
        cv2.putText(tile, words, (4, 12), cv2.FONT_HERSHEY_SIMPLEX, 0.42, (255, 255, 255), 1)
        tiles.append(tile)
    while len(tiles) % SHEET_COLUMNS:
        tiles.append(np.zeros_like(tiles[0]))
    rows = [np.hstack(tiles[i : i + SHEET_COLUMNS]) for i in range(0, len(tiles), SHEET_COLUMNS)]
    data = cv2.imencode(".png", cv2.cvtColor(np.vstack(rows), cv2.COLOR_RGB2BGR))[1]
    path.write_bytes(data.tobytes())


def main() -> None:
    """Evaluate a folder."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--sheet", type=Path, help="where the contact sheet goes (PNG)")
    parser.add_argument("--worst", type=int, default=12)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    paths = sorted(args.folder.glob("*.jpg"))
    with ProcessPoolExecutor(args.jobs) as pool:
        answers = list(pool.map(partial(answer, tiles=args.sheet is not None), paths))
    print(table(answers))
    if args.sheet:
        contact_sheet(answers, args.sheet, count=args.worst)


if __name__ == "__main__":
    main()
