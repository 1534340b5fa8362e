"""How well photos from above are read: ``python -m tests.accuracy.tops PHOTOS [--table OUT.json]``.

``PHOTOS`` are rendered by :mod:`tests.scenes.tops.bulk`, truth beside each. Printed are what was
refused and why, and the errors of coverage, droplets' class, pins, caps and mould: for contents
that no training photo had, and for all.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import OFF_COLOUR_KINDS, FruitBody, Top
from jarvision.records.mouth import SurfacePicture
from jarvision.vision.photo import read_photo
from jarvision.vision.surface.look import look_down

NEVER_SEEN = ("hemp shives", "family:4")
FITTING = {
    "cut off": ("no_ring", "two_cards", "card_hidden"),
    "hood": ("through_hood", "mouth_hidden"),
    "blurred": ("blurred", "no_ring"),
    "dark": ("underexposed",),
    "glare": ("glare", "overexposed"),
    "oblique": ("not_from_above",),
}
"""Reasons that fit what was made wrong."""

PIN_MM = 3.0
CAP_SHOWN = 0.5  # of a cap, from which it counts as to be seen
VISIBLE_CM2 = 0.5  # of the ground, from which its coverage and water count
MOULD_CM2 = 0.5


@dataclass
class Row:
    """One photo, what was said against the truth."""

    seed: int
    contents: str
    fault: str | None
    reason: str = ""
    detail: str = ""
    coverage: tuple[float, float, float, float] | None = None  # truth, said, low, high
    moisture: tuple[str, str, float] | None = None  # truth, said, chance
    pins: tuple[int, int, int, int] = (0, 0, 0, 0)  # to be found, found, told, told falsely
    cap: tuple[float, float, float, float] | None = None  # truth, said, low, high
    cap_missed: bool = False
    cap_false: bool = False
    mould: tuple[bool, bool] = (False, False)  # there is some, some is told
    extra: dict[str, Any] = field(default_factory=dict)


def row_of(path: Path) -> Row:
    """Read one photo and hold it against its truth."""
    cv2.setNumThreads(1)
    truth = json.loads(path.with_suffix(".json").read_text())
    row = Row(int(truth["seed"]), truth["contents"], truth["fault"])
    try:
        seen = look_down(read_photo(path, name=path.name))
    except PhotoRefusedError as refusal:
        row.reason, row.detail = refusal.reason, str(refusal.detail)
        return row
    top, surface = seen.top, truth["surface"]
    if surface["visible_cm2"] >= VISIBLE_CM2:
        cover = top.coverage
        row.coverage = (100.0 * surface["covered_share"], cover.percent, cover.low, cover.high)
        if top.droplets is not None:
            row.moisture = (truth["droplets"]["class"], top.droplets.moisture, top.droplets.chance)
    row.pins = _pins(truth["pins"], truth["caps"], top, seen.picture)
    shown = [cap["widest_mm"] for cap in truth["caps"] if cap["seen_share"] >= CAP_SHOWN]
    said = top.largest_cap_mm
    if shown and said:
        row.cap = (max(shown), said.value, said.low, said.high)
    row.cap_missed = bool(shown) and said is None
    row.cap_false = said is not None and not any(cap["pixels"] for cap in truth["caps"])
    there = sum(v for k, v in surface["kinds_share"].items() if k != "stain")
    row.mould = (
        there * surface["visible_cm2"] >= MOULD_CM2,
        top.area_cm2(*OFF_COLOUR_KINDS) >= MOULD_CM2,
    )
    row.extra = {"nothing_off": surface["off_colour_share"] * surface["visible_cm2"] < 0.02}
    return row


def _pins(
    pins: Sequence[dict[str, Any]], caps: Sequence[dict[str, Any]], top: Top,
    picture: SurfacePicture,
) -> tuple[int, int, int, int]:  # fmt: skip
    """To be found, found, told and told falsely, of at least :data:`PIN_MM`.

    A pin that is told is true where any pin, or a cap no wider than 8 mm, is at its place.
    """
    told = [body for body in top.fruit if body.kind == "pin"]
    # what stands at the place of a pin counts as having found it, were it taken for a cap
    small = [body for body in top.fruit if body.kind == "cap" and body.diameter_mm.value < 10.0]
    seen = sorted((p for p in pins if p["pixels"]), key=lambda p: -p["diameter_mm"])
    free, to_find, found = [*told, *small], 0, 0
    for pin in seen:
        place = _place(pin["tip_px"], picture)
        near = _nearest(free, place, max(2.5, pin["diameter_mm"]))
        large = pin["diameter_mm"] >= PIN_MM and pin["tip_seen"]
        to_find += large
        if near is not None:
            free.remove(near)
            found += large
    for cap in (c for c in caps if c["pixels"] and c["diameter_mm"] < 8.0):
        near = _nearest(free, _place(cap["middle_px"], picture), cap["diameter_mm"])
        if near is not None:
            free.remove(near)
    large_told = [body for body in told if body.diameter_mm.value >= PIN_MM]
    return to_find, found, len(large_told), sum(body in free for body in large_told)


def _place(pixel: Sequence[float], picture: SurfacePicture) -> np.ndarray:
    """Where a pixel of the photo lies in the surface frame, mm."""
    away = np.linalg.norm(picture.pixels - np.array(pixel, np.float32), axis=-1)
    row, col = np.unravel_index(int(away.argmin()), away.shape)
    return np.array([picture.axis[col], picture.axis[row]])


def _nearest(bodies: Sequence[FruitBody], place: np.ndarray, reach: float) -> FruitBody | None:
    away = {i: float(np.hypot(b.x_mm - place[0], b.y_mm - place[1])) for i, b in enumerate(bodies)}
    best = min(away, key=lambda i: away[i], default=None)
    return bodies[best] if best is not None and away[best] <= reach else None


def report(rows: Sequence[Row]) -> str:
    """The table, a line for each figure."""
    good = [r for r in rows if r.fault is None]
    bad = [r for r in rows if r.fault is not None]
    lines = [
        f"photos: {len(good)} good, {len(bad)} bad",
        f"good ones refused: {_share(good, lambda r: bool(r.reason))}"
        f" {[(r.seed, r.reason) for r in good if r.reason]}",
        f"bad ones refused: {_share(bad, lambda r: bool(r.reason))}",
        "bad ones refused with a fitting reason: "
        f"{_share(bad, lambda r: r.reason in FITTING[r.fault or ''])}",
        f"reasons: {dict(Counter((r.fault, r.reason) for r in bad))}",
    ]
    read = [r for r in good if not r.reason]
    for name, part in (
        ("contents never seen", [r for r in read if r.contents in NEVER_SEEN]), ("all", read),
    ):  # fmt: skip
        lines += [f"-- {name}: {len(part)} photos", *_figures(part)]
    return "\n".join(lines)


def _figures(rows: Sequence[Row]) -> list[str]:
    lines = []
    cover = np.array([r.coverage for r in rows if r.coverage])
    if len(cover):
        lines.append(f"coverage, points: {_errors(cover)}")
    wet = [r.moisture for r in rows if r.moisture]
    right = sum(true == said for true, said, _ in wet)
    sure = [w for w in wet if w[2] >= 0.8]
    lines.append(f"droplets' class right: {right} of {len(wet)} ({right / max(len(wet), 1):.0%})")
    lines.append(
        f"  with a chance of 0.8 or more: {sum(t == s for t, s, _ in sure)} of {len(sure)}"
    )
    lines.append(f"  {dict(Counter((t, s) for t, s, _ in wet))}")
    to_find, found, told, false = (sum(r.pins[i] for r in rows) for i in range(4))
    lines.append(
        f"pins from {PIN_MM:.0f} mm: found {found} of {to_find} ({found / max(to_find, 1):.0%}), "
        f"false {false} of {told} ({false / max(told, 1):.0%})"
    )
    caps = np.array([r.cap for r in rows if r.cap])
    if len(caps):
        lines.append(f"largest cap, mm: {_errors(caps)}")
    missed = [r.seed for r in rows if r.cap_missed]
    lines.append(f"  missed {missed}, told where there is none "
                 f"{[r.seed for r in rows if r.cap_false]}")  # fmt: skip
    there = [r for r in rows if r.mould[0]]
    told_mould = [r for r in rows if r.mould[1]]
    lines.append(
        f"mould from {MOULD_CM2} cm2: told on {sum(r.mould[1] for r in there)} of {len(there)}; "
        f"told on {len(told_mould)}, with no off-colour on "
        f"{sum(bool(r.extra.get('nothing_off')) for r in told_mould)} of them"
    )
    return lines


def _errors(table: np.ndarray) -> str:
    """Errors of ``(n, 4)``: truth, said, low, high."""
    off, width = table[:, 1] - table[:, 0], table[:, 3] - table[:, 2]
    holds = (table[:, 2] <= table[:, 0] + 1e-9) & (table[:, 0] <= table[:, 3] + 1e-9)
    return (
        f"n {len(off)}, mean error {np.abs(off).mean():.2f}, median {np.median(np.abs(off)):.2f}, "
        f"95th percentile {np.percentile(np.abs(off), 95):.2f}, bias {off.mean():+.2f}, "
        f"interval holds {holds.sum()} of {len(holds)} ({holds.mean():.0%}), "
        f"median width {np.median(width):.1f}"
    )


def _share(rows: Sequence[Row], true: Callable[[Row], bool]) -> str:
    count = sum(map(true, rows))
    return f"{count} of {len(rows)} ({count / max(len(rows), 1):.1%})"


def main() -> None:
    """Read all, print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photos", type=Path)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--table", type=Path, help="every photo's row, as JSON")
    args = parser.parse_args()
    with ProcessPoolExecutor(args.jobs) as pool:
        rows = list(pool.map(row_of, sorted(args.photos.glob("*.jpg")), chunksize=4))
    print(report(rows))
    if args.table:
        args.table.write_text(json.dumps([vars(row) for row in rows], indent=1))


if __name__ == "__main__":
    main()
