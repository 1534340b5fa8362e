"""Tissue -> coverage of the filled wall, with a 95 % interval."""

from __future__ import annotations

import numpy as np

from jarvision.records import BoolArray, Coverage, Float32Array, Tissue, Wall
from jarvision.settings.tissue import CoverageSettings


def measure_coverage(
    wall: Wall,
    tissue: Tissue,
    *,
    settings: CoverageSettings,
    colour_de00: float = 0.0,
    tint_ratio: float = 1.0,
) -> Coverage:
    """Share of the filled wall that mycelium covers; true area on the cylinder, not pixels.

    The sum of the chances of all filled places to be covered: the expected share, which has less
    error than a count of the places called covered, since doubt on both sides cancels. All cells
    have the same area (the grid is regular in angle and height), so shares of cells are shares of
    area. The interval adds, in quadrature,

    - the chance of a wrong answer, averaged over what can be seen; on contents unlike any that is
      known (:mod:`jarvision.vision.tissue.experts`) it says too little, and counts more,
    - the same over what fog, label or a mirrored lamp hides, and a share of that area for what is
      altogether unknown there,
    - what the colour correction left over, ``colour_de00`` (median CIEDE2000 of the swatches), and
      what a light costs whose colour changes over the card, ``tint_ratio``,
    - what such contents cost by their novelty, by the error that is expected of them, and by how
      far apart the networks are that read them,
    - what moves when the fill line or the floor does, by its own uncertainty,
    - a floor for what none of these shows (outline).

    Its upper end takes in all stain for which nothing speaks, and what a brighter veil may
    outshine: both may be growth all the same. Its lower end takes in that growth which may be a
    veil is none, and that less is said of the rest head down. What a veil hides counts as the rest
    of the wall does, and both ends take in that it may be bare, or grown, altogether.

    See :class:`jarvision.settings.tissue.CoverageSettings` for the weights.
    """
    judged = wall.judged & wall.filled
    filled_cells = int(np.count_nonzero(wall.filled))
    judged_cells = int(np.count_nonzero(judged))
    if judged_cells == 0:
        return Coverage(percent=0.0, low=0.0, high=100.0, soft_percent=0.0, seen_percent=0.0)
    covered, veiled = _behind_veil(wall, tissue, judged)
    percent = 100.0 * float(covered[wall.filled].mean(dtype=np.float64))
    unsure = np.minimum(covered, 1.0 - covered)
    doubt = 100.0 * float(unsure[judged].sum(dtype=np.float64)) / filled_cells
    guess = 100.0 * float(unsure[wall.filled & ~judged].sum(dtype=np.float64)) / filled_cells
    seen = judged_cells / filled_cells
    novelty = tissue.novelty or 0.0
    share = settings.known_look_share if tissue.look_known else 1.0
    spread = _in_quadrature(
        settings.floor_points,
        _doubt_weight(novelty, share, settings) * doubt,
        settings.guess_weight * guess,
        settings.unseen_weight * 100.0 * (1.0 - seen),
        settings.colour_weight * colour_de00,
        settings.tint_points * max(0.0, float(np.log(tint_ratio / settings.tint_from))),
        share * settings.novelty_points * max(0.0, novelty - settings.novelty_from),
        share * settings.forecast_weight * tissue.forecast_points,
        share * settings.dispute_weight * tissue.dispute_points,
        _end_points(wall, covered, judged, percent=percent),
    )
    grown, bare = veiled
    less = max(0.0, tissue.less_head_down_points - settings.head_down_from)
    perhaps_bare = _doubted_points(wall, tissue, covered) + settings.head_down_weight * less
    perhaps_grown = 100.0 * _unproven_share(wall, tissue) + tissue.outshone_points
    return Coverage(
        percent=percent,
        low=max(0.0, percent - spread - grown - perhaps_bare),
        high=min(100.0, percent + spread + bare + perhaps_grown),
        soft_percent=float(100.0 * tissue.opacity[judged].mean()),
        seen_percent=100.0 * seen,
    )


def _behind_veil(
    wall: Wall, tissue: Tissue, judged: BoolArray
) -> tuple[Float32Array, tuple[float, float]]:
    """Chance of cover with that of the places seen behind a veil; points grown and bare there."""
    if tissue.veiled is None:
        return tissue.covered, (0.0, 0.0)
    rest = tissue.covered[judged].mean(dtype=np.float64)
    hidden = tissue.veiled & wall.filled
    share = 100.0 * float(np.count_nonzero(hidden) / np.count_nonzero(wall.filled))
    covered = np.where(hidden, np.float32(rest), tissue.covered)
    return covered, (share * float(rest), share * float(1.0 - rest))


def _doubted_points(wall: Wall, tissue: Tissue, covered: Float32Array) -> float:
    """Points of the coverage that may be fog or paper in place of growth."""
    if tissue.doubted is None:
        return 0.0
    places = covered[tissue.doubted & wall.filled].sum(dtype=np.float64)
    return 100.0 * float(places) / float(np.count_nonzero(wall.filled))


def _unproven_share(wall: Wall, tissue: Tissue) -> float:
    """Share of the contents on which a stain was seen for which nothing speaks."""
    if tissue.unproven is None:
        return 0.0
    return float(np.count_nonzero(tissue.unproven)) / np.count_nonzero(wall.filled)


def _doubt_weight(novelty: float, share: float, settings: CoverageSettings) -> float:
    """Points a percent of mean doubt, the more the stranger the contents look."""
    known_to_strange = (settings.novelty_from, settings.novelty_full)
    more = share * (settings.strange_doubt_weight - settings.doubt_weight)
    return settings.doubt_weight + float(np.interp(novelty, known_to_strange, (0.0, more)))


def _end_points(wall: Wall, covered: Float32Array, judged: BoolArray, *, percent: float) -> float:
    """Half-width, points, that the uncertain fill line and floor add: two standard deviations.

    A strip of contents that is wrongly taken in or left out moves the coverage by its share of the
    wall, as far as it is covered more or less than the rest.
    """
    tall_mm = np.count_nonzero(wall.filled) * wall.step_mm / wall.filled.shape[1]
    below = wall.filled.cumsum(axis=0, dtype=np.int16)  # rows under the fill line, from 1
    above = wall.filled[::-1].cumsum(axis=0, dtype=np.int16)[::-1]
    points = []
    for depth, sd_mm in ((below, wall.line_sd_mm), (above, wall.floor_sd_mm)):
        strip = judged & (depth <= max(2, round(2.0 * sd_mm / wall.step_mm)))
        here = 100.0 * float(covered[strip].mean()) if strip.any() else 100.0 - percent
        points.append(2.0 * sd_mm / tall_mm * (here - percent))
    return _in_quadrature(*points)


def _in_quadrature(*parts: float) -> float:
    return float(np.linalg.norm(parts))
