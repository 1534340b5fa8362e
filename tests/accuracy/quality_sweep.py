"""What spoils a photo, and how much it costs.

``python -m tests.accuracy.quality_sweep run DIR TABLE`` spoils rendered photos step by step, reads
them with every limit of acceptance lifted and notes the figures of quality beside the error of
the coverage. ``... plot TABLE OUT`` draws the error against each figure, with the limit in force.
"""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from jarvision.acceptance.quality import hidden_swatches, measure_card
from jarvision.card.find import find_card, read_swatches
from jarvision.card.layout import load_layout
from jarvision.day import look, wall_of
from jarvision.errors import PhotoRefusedError
from jarvision.photo import read_photo
from jarvision.photo_settings import AcceptanceSettings, PhotoSettings
from jarvision.records import Photo
from jarvision.tissue.masks import burnt_out

from .spoil import SPOILERS, Scene
from .truth import PhotoTruth

INF = float("inf")


def open_settings() -> PhotoSettings:
    """Settings that refuse nothing that can be read at all."""
    usual = PhotoSettings()
    return replace(
        usual,
        acceptance=AcceptanceSettings(
            px_per_mm_min=0.0,
            oblique_max_deg=INF,
            edge_rise_max_mm=INF,
            white_clipped_max=INF,
            clipped_swatches_max=INF,
            white_level_min=0.0,
            light_ratio_max=INF,
            tint_ratio_max=INF,
            hidden_swatches_max=INF,
            wall_burnt_max_percent=INF,
        ),
        colour=replace(
            usual.colour, residual_max_de=INF, white_linear_min=0.0, white_reflectance_min=0.0
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
    wall_burnt_percent: float = float("nan")


def measure(row: Row, photo: Photo, truth: PhotoTruth) -> Row:
    """Fill a row: first what the card tells, then what the whole line makes of the photo."""
    layout, settings = load_layout(), open_settings()
    try:
        card = find_card(photo.rgb, photo.focal_px, layout=layout)
        swatches = read_swatches(photo.samples, card, layout=layout)
        quality = measure_card(photo.rgb, card, swatches, layout=layout, settings=settings)
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
            noise=float(np.median(swatches.spread)),
        )
        sight = look(photo, settings=settings)
    except PhotoRefusedError as refusal:
        return replace(row, reason=refusal.reason)
    coverage = sight.coverage
    front = wall_of(photo, layout=layout, settings=settings)
    return replace(
        row,
        error=coverage.percent - truth.coverage_percent,
        interval=coverage.high - coverage.low,
        de00_median=sight.colour.de00_median,
        hidden_swatches=np.count_nonzero(
            hidden_swatches(swatches, sight.colour, settings=settings)
        ),
        wall_burnt_percent=100.0
        * float(burnt_out(front.wall, photo, settings=settings.masks).mean()),
    )


def sweep(path: Path) -> list[Row]:
    """All spoilings of one photo, after the photo as it is."""
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


def run(folder: Path, table: Path, *, count: int, jobs: int) -> None:
    """Spoil ``count`` photos spread over a folder; write one row a spoiled photo."""
    paths = sorted(folder.glob("S*.jpg"))
    chosen = [paths[i] for i in np.linspace(0, len(paths) - 1, min(count, len(paths))).astype(int)]
    rows: list[Row] = []
    with ProcessPoolExecutor(jobs) as pool:
        for done, some in enumerate(pool.map(sweep, chosen), start=1):
            rows += some
            print(f"{done} of {len(chosen)}", flush=True)
    pd.DataFrame([asdict(row) for row in rows]).to_csv(table, index=False, float_format="%.4g")
