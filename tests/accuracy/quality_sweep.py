"""What spoils a photo, and how much it costs.

``python -m tests.accuracy.quality_sweep run DIR TABLE`` spoils rendered photos step by step, reads
them with every limit of acceptance lifted and notes the figures of quality beside the error of
the coverage. ``... plot TABLE OUT`` draws the error against each figure, with the limit in force.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import cv2
import numpy as np
import pandas as pd

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import Photo
from jarvision.settings.acceptance import AcceptanceSettings
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.card.find import find_card, read_swatches
from jarvision.vision.card.layout import load_layout
from jarvision.vision.colour.light import paper_layout
from jarvision.vision.photo import read_photo
from jarvision.vision.quality.figures import hidden_swatches, measure_card
from jarvision.vision.quality.glare import glare_share
from jarvision.vision.quality.jar_focus import jar_blur_mm
from jarvision.vision.read import wall_of
from jarvision.vision.tissue.classify import classify
from jarvision.vision.tissue.coverage import measure_coverage

from .quality_plots import draw_all
from .spoil import SPOILERS, Scene
from .truth import PhotoTruth

INF = float("inf")
PARTLY_PERCENT = (8.0, 97.0)


def open_settings() -> PhotoSettings:
    """Settings that refuse nothing that can be read at all."""
    usual = PhotoSettings()
    return replace(
        usual,
        acceptance=AcceptanceSettings(
            colour_step_max=INF,
            px_per_mm_min=0.0,
            oblique_max_deg=INF,
            edge_rise_max_mm=INF,
            white_clipped_max=INF,
            clipped_swatches_max=INF,
            white_level_min=0.0,
            noise_max=INF,
            light_ratio_max=INF,
            tint_ratio_max=INF,
            hidden_swatches_max=INF,
            glare_max_percent=INF,
            black_max=INF,
            print_off_max=INF,
        ),
        colour=replace(usual.colour, residual_max_de=INF),
        sight=replace(
            usual.sight,
            field_shows_max=INF,
            jar_blur_max_mm=INF,
            pink_cast_max=INF,
            green_cast_max=INF,
            amber_cast_max=INF,
            blue_cast_max=INF,
        ),
        jar=replace(usual.jar, px_per_mm_min=0.0),
        coverage=replace(usual.coverage, seen_min_percent=0.0),
    )


@dataclass(frozen=True)
class Row:
    """One spoiled photo. Figures that could not be measured are NaN."""

    photo: str
    spoiler: str
    step: float
    reason: str = ""
    error: float = float("nan")
    interval: float = float("nan")
    de00_median: float = float("nan")
    px_per_mm: float = float("nan")
    oblique_deg: float = float("nan")
    rise_mm: float = float("nan")
    mtf50_per_mm: float = float("nan")
    white_level: float = float("nan")
    white_clipped: float = float("nan")
    clipped_swatches: float = float("nan")
    light_ratio: float = float("nan")
    tint_ratio: float = float("nan")
    noise: float = float("nan")
    hidden_swatches: float = float("nan")
    glare_percent: float = float("nan")
    seen_percent: float = float("nan")
    jar_blur_mm: float = float("nan")


def measure(row: Row, photo: Photo, truth: PhotoTruth) -> Row:
    """Fill a row: first what the card tells, then what the whole line makes of the photo."""
    layout, settings = load_layout(), open_settings()
    try:
        card = find_card(photo.rgb, photo.focal_px, layout=layout)
        swatches = read_swatches(photo.samples, card, layout=layout)
        paper = read_swatches(photo.samples, card, layout=paper_layout(layout))
        quality = measure_card(photo.rgb, card, swatches, paper, layout=layout, settings=settings)
        even = quality.evenness
        row = replace(
            row,
            px_per_mm=quality.px_per_mm,
            oblique_deg=float(np.hypot(*quality.oblique_deg)),
            rise_mm=quality.sharpness.rise_mm,
            mtf50_per_mm=quality.sharpness.mtf50_per_mm,
            white_level=quality.white_level,
            white_clipped=quality.white_clipped,
            clipped_swatches=quality.clipped_swatches,
            light_ratio=even.ratio if even else float("nan"),
            tint_ratio=even.tint_ratio if even else float("nan"),
            noise=quality.noise,
        )
        front = wall_of(photo, layout=layout, settings=settings)
        glare = 100.0 * glare_share(front.wall, photo, settings=settings)
        hidden = hidden_swatches(swatches, front.colour, settings=settings)
        row = replace(
            row,
            glare_percent=glare,
            hidden_swatches=float(np.count_nonzero(hidden)),
            de00_median=front.colour.de00_median,
        )
        seen = classify(front.wall, photo, settings=settings)
    except PhotoRefusedError as refusal:
        return replace(row, reason=refusal.reason)
    coverage = measure_coverage(seen.wall, seen.tissue, settings=settings.coverage)
    return replace(
        row,
        error=coverage.percent - truth.coverage_percent,
        interval=coverage.high - coverage.low,
        seen_percent=coverage.seen_percent,
        jar_blur_mm=jar_blur_mm(seen.wall),
    )


def sweep(path: Path) -> list[Row]:
    """All spoilings of one photo, after the photo as it is."""
    cv2.setNumThreads(1)  # the photos are shared out over processes already
    truth = PhotoTruth.read(path.with_suffix(""))
    photo = read_photo(path, name=path.name)
    rows = [measure(Row(path.stem, "none", 0.0), photo, truth)]
    try:
        front = wall_of(photo, layout=load_layout(), settings=open_settings())
    except PhotoRefusedError:
        return rows
    scene = Scene(photo=photo, card=front.card, wall=front.wall, layout=load_layout())
    for spoiler in SPOILERS:
        for step in spoiler.steps:
            # the same direction and spots at every step of one photo
            rng = np.random.default_rng([*path.stem.encode(), *spoiler.name.encode()])
            spoiled = spoiler.apply(scene, step, rng)
            rows.append(measure(Row(path.stem, spoiler.name, step), spoiled, truth))
    return rows


def _partly_grown(path: Path) -> bool:
    """Bare and full jars are read right whatever is done to them: they would hide the harm."""
    low, high = PARTLY_PERCENT
    return low < PhotoTruth.read(path.with_suffix("")).coverage_percent < high


def run(folder: Path, table: Path, *, count: int, jobs: int) -> None:
    """Spoil ``count`` photos spread over a folder; write one row a spoiled photo."""
    paths = [path for path in sorted(folder.glob("S*.jpg")) if _partly_grown(path)]
    chosen = [paths[i] for i in np.linspace(0, len(paths) - 1, min(count, len(paths))).astype(int)]
    rows: list[Row] = []
    with ProcessPoolExecutor(jobs) as pool:
        for done, some in enumerate(pool.map(sweep, chosen), start=1):
            rows += some
            written = pd.DataFrame([asdict(row) for row in rows])
            written.to_csv(table, index=False, float_format="%.4g")
            print(f"{done} of {len(chosen)}", flush=True)


def main() -> None:
    """Run the sweep or draw it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=("run", "plot"))
    parser.add_argument("source", type=Path)
    parser.add_argument("target", type=Path)
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    if args.what == "run":
        run(args.source, args.target, count=args.count, jobs=args.jobs)
    else:
        draw_all(args.source, args.target)


if __name__ == "__main__":
    main()
