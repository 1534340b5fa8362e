"""Score a folder of rendered photos against their truth: ``python -m tests.accuracy.evaluate DIR``.

Prints the table of the README and writes a contact sheet of the worst photos, truth and answer
side by side.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np

from jarvision.base.colourspace import srgb_encode
from jarvision.base.errors import PhotoRefusedError
from jarvision.records import OFF_COLOUR_KINDS, ByteArray, TissueClass
from jarvision.vision.photo import read_photo
from jarvision.vision.read import look

from .figures import Answer, by_kind, patch_rows, refused, summary
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


def answer(path: Path, *, tiles: bool) -> Answer:
    """Read one rendered photo and hold it against its truth."""
    truth = PhotoTruth.read(path.with_suffix(""))
    photo = read_photo(path, name=path.name)
    fault = str(truth.numbers.get("fault", truth.numbers.get("shelf_jar", "")))
    kinds = (*(str(truth.numbers[k]) for k in ("substrate", "habit", "tint")), fault)
    blank = partial(Answer, path.stem, fault, truth.coverage_percent, float("nan"), kinds=kinds)
    try:
        sight = look(photo)
    except PhotoRefusedError as refusal:
        return blank(reason=f"{refusal.reason}: {refusal.detail}")
    true = truth.at(sight.wall, photo_scale=photo.scale)
    classes = true.classes
    in_view = true.pins & (classes != TissueClass.UNJUDGED)
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
        caps_cm2=float(np.count_nonzero(in_view)) * sight.wall.cell_cm2,
        pins=any(patch.kind == "pins" for patch in sight.patches),
        kinds=kinds,
        soft_seen_percent=100.0 * float(true.opacity[judged].mean()) if seen.size else float("nan"),
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


def table(answers: Sequence[Answer]) -> str:
    """The figures as text."""
    lines = [f"{what}: {much}" for what, much in summary(answers)]
    lines += [
        f"{kind} of {size}: {found} found, {false} false"
        for kind, size, found, false in patch_rows(answers)
    ]
    lines += [
        f"{kind}: {e.count} photos, mean {e.mean:.2f}, bias {e.bias:+.2f}, 95th {e.p95:.1f}"
        for kind, e in by_kind(answers)
    ]
    return "\n".join(lines + [f"refused {line}" for line in refused(answers)])


def evaluate(folder: Path, *, tiles: bool = False, jobs: int = 2) -> list[Answer]:
    """Answer every photo of a folder."""
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        return list(pool.map(partial(answer, tiles=tiles), sorted(folder.glob("*.jpg"))))


def contact_sheet(answers: Sequence[Answer], *, count: int) -> ByteArray:
    """Picture of the worst photos: wall, truth, answer; sRGB."""
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
    return np.vstack(rows)


def main() -> None:
    """Evaluate a folder."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--sheet", type=Path, help="where the contact sheet goes (PNG)")
    parser.add_argument("--worst", type=int, default=12)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    answers = evaluate(args.folder, tiles=args.sheet is not None, jobs=args.jobs)
    print(table(answers))
    if args.sheet:
        sheet = contact_sheet(answers, count=args.worst)
        cv2.imwrite(str(args.sheet), cv2.cvtColor(sheet, cv2.COLOR_RGB2BGR))


if __name__ == "__main__":
    main()
