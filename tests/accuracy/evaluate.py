"""Score a folder of rendered photos against their truth: ``python -m tests.accuracy.evaluate DIR``.

Prints the table of the README and writes a contact sheet of the worst photos, truth and answer
side by side.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from jarvision.colourspace import srgb_encode
from jarvision.day import look
from jarvision.errors import PhotoRefusedError
from jarvision.photo import read_photo
from jarvision.records import OFF_COLOUR_KINDS, ByteArray, Coverage, FloatArray, TissueClass

from .matching import match_patches, verdict_if_unchanged
from .truth import PhotoTruth

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
    agreement: float = 0.0
    counts: Counter[str] = field(default_factory=Counter)
    bad: bool = False
    verdict: str = ""
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
    classes = truth.at(sight.wall, photo_scale=photo.scale).classes
    judged = sight.wall.judged & (classes > TissueClass.UNJUDGED)
    seen = classes[judged]
    growth = np.isin(seen, (TissueClass.MYCELIUM, TissueClass.STAIN))
    return Answer(
        path.stem,
        fault,
        truth.coverage_percent,
        100.0 * float(growth.mean()) if growth.size else float("nan"),
        coverage=sight.coverage,
        agreement=float((sight.tissue.classes[judged] == seen).mean()),
        counts=match_patches(
            np.where(judged, classes, 0),
            np.where(judged, sight.tissue.classes, 0),
            cell_cm2=sight.wall.cell_cm2,
        ),
        bad=_is_bad(truth),
        verdict=verdict_if_unchanged(sight.coverage, sight.patches),
        tile=_tile(sight.wall.linear, classes, sight.tissue.classes) if tiles else None,
    )


def _is_bad(truth: PhotoTruth) -> bool:
    """Coloured mould or a wet zone of 0.25 cm2, or a bare area of 1 cm2 that never closes."""
    numbers = truth.numbers
    dead = numbers.get("fault") in ("bare", "stall") or numbers.get("shelf_jar") in ("SL06", "SL08")
    return any(
        p["kind"] in (*OFF_COLOUR_KINDS, "wet")
        or (dead and p["kind"] == "bare" and p["area_cm2"] >= 1.0)
        for p in numbers["patches"]
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
    counts = sum((a.counts for a in read), Counter())
    for kind in sorted({name.rsplit(" ", 1)[0] for name in counts}):
        true, said = counts[f"{kind} true"], counts[f"{kind} said"]
        lines.append(
            f"{kind} of 1 cm2 or more: {counts[f'{kind} found']} of {true} found, "
            f"{counts[f'{kind} false']} of {said} false"
        )
    bad = [a for a in read if a.bad]
    wrong = [a.name for a in bad if a.verdict == "go"]
    lines.append(f"jars with mould, wet or dead areas: {len(bad)}, called go: {len(wrong)} {wrong}")
    good = [a for a in read if not a.bad and a.true_percent >= 99.0]
    lost = [a.name for a in good if a.verdict == "no-go"]
    lines.append(f"full clean jars: {len(good)}, called no-go: {len(lost)} {lost}")
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
