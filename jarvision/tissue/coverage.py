"""Class map -> coverage of the filled wall, with a 95 % interval."""

from __future__ import annotations

import numpy as np

from jarvision.photo_settings import CoverageSettings
from jarvision.records import BoolArray, Coverage, Tissue, TissueClass, Wall

COVERED = (TissueClass.MYCELIUM, TissueClass.STAIN)
"""White growth and the species' normal staining count as covered; mould does not."""


def measure_coverage(
    wall: Wall, tissue: Tissue, *, settings: CoverageSettings, colour_de00: float = 0.0
) -> Coverage:
    """Share of the filled wall that mycelium covers; true area on the cylinder, not pixels.

    All cells have the same area (the grid is regular in angle and height), so shares of cells
    are shares of area. The interval adds, in quadrature,

    - the chance of a wrong class, averaged over the wall: what the network itself doubts,
    - the share of the wall that could not be judged, which may be covered or not,
    - what the colour correction left over, ``colour_de00`` (median CIEDE2000 of the swatches),
    - what moves when the fill line or the floor does, by its own uncertainty,
    - a floor for what none of these shows (outline).

    Its weights were set so that it held the truth of 95 % of rendered photos that took no part
    in training; see :class:`jarvision.photo_settings.CoverageSettings`.
    """
    judged = wall.judged & wall.filled
    filled_cells = int(np.count_nonzero(wall.filled))
    judged_cells = int(np.count_nonzero(judged))
    if judged_cells == 0:
        return Coverage(percent=0.0, low=0.0, high=100.0, soft_percent=0.0, seen_percent=0.0)
    covered = np.isin(tissue.classes, COVERED) & judged
    opacity = tissue.opacity[judged]
    percent = 100.0 * np.count_nonzero(covered) / judged_cells
    seen = judged_cells / filled_cells

    doubt = 100.0 * float(tissue.doubt[judged].mean())
    unseen = 100.0 * (1.0 - seen)
    spread = np.sqrt(
        settings.floor_points**2
        + (settings.doubt_weight * doubt) ** 2
        + (settings.unseen_weight * unseen) ** 2
        + (settings.colour_weight * colour_de00) ** 2
        + _end_points(wall, covered, judged, percent=percent) ** 2
    )
    return Coverage(
        percent=float(percent),
        low=float(max(0.0, percent - spread)),
        high=float(min(100.0, percent + spread)),
        soft_percent=float(100.0 * opacity.mean()),
        seen_percent=100.0 * seen,
    )


def _end_points(wall: Wall, covered: BoolArray, judged: BoolArray, *, percent: float) -> float:
    """Half-width, points, that the uncertain fill line and floor add: two standard deviations.

    A strip of contents that is wrongly taken in or left out moves the coverage by its share of the
    wall, as far as it is covered more or less than the rest.
    """
    step_mm = float(wall.heights_mm[0] - wall.heights_mm[1])
    tall_mm = np.count_nonzero(wall.filled) * step_mm / wall.filled.shape[1]
    below = wall.filled.cumsum(axis=0)  # rows under the fill line, from 1
    above = wall.filled[::-1].cumsum(axis=0)[::-1]
    points = []
    for depth, sd_mm in ((below, wall.line_sd_mm), (above, wall.floor_sd_mm)):
        strip = judged & (depth <= max(2, round(2.0 * sd_mm / step_mm)))
        here = 100.0 * float(covered[strip].mean()) if strip.any() else 100.0 - percent
        points.append(2.0 * sd_mm / tall_mm * (here - percent))
    return float(np.linalg.norm(points))
