"""The jar's mouth: its rim, and how deep the edge of the surface lies below it.

Three circles are sought together: both edges of the rim, and the edge of the surface on the glass.
The glass is taken to be straight down to the surface, so the third is as wide as the second and
only looks smaller, and moved, by its depth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jarvision.base.statistics import Z95
from jarvision.records import ColourFit, Float32Array, FloatArray, Measured, Photo
from jarvision.records.mouth import MouthFit
from jarvision.settings.surface import SurfaceSettings
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.surface.edges import STEP_MM, Edges, edges_about
from jarvision.vision.surface.hole import Hole, find_hole
from jarvision.vision.surface.sight import Above, circle

_INWARDS_MM, _OUTWARDS_MM = 16.0, 2.5
"""Edges are looked for so far to both sides of the hole's."""

_GAP_MM, _OVER_MM = 3.5, 1.5
"""The rim's outer edge lies so far within the hole's at most, or over it, as seen."""

_ASIDE_MM = 2.4
"""The rim may stand so far out of the hole's middle."""

_CLEAR_MM = 0.8
"""The surface is looked for so far within the rim's inner edge."""

_ASKEW_SHARE_MIN = 0.35
"""Share of the way around on which the surface's edge must be in sight, past the rim."""

_SHALLOWEST_MM = 3.0
_HOLE_MM, _HOLE_WORTH = 0.7, 0.4
"""So near the hole's edge nothing tells the rim's outer one from it: it counts as half seen."""

_RIM_MIN = 0.10
"""Edges of the rim over what circles nearby have, from which the rim is seen."""

_PEAK_MIN = 0.12
"""The surface's edge over what other depths have, from which its depth is told."""


@dataclass(frozen=True)
class _Circles:
    """What fits best: the rim as seen in the ring's plane, the depth, and how well they do."""

    middle_mm: FloatArray
    outer_mm: float
    inner_mm: float
    rim: float
    depths_mm: FloatArray
    scores: FloatArray

    @property
    def depth_mm(self) -> float:
        return float(self.depths_mm[self.scores.argmax()])


def locate_mouth(
    photo: Photo, above: Above, *, colour: ColourFit, layout: CardLayout,
    settings: SurfaceSettings,
) -> MouthFit:  # fmt: skip
    """Find mouth and depth of a photo from above.

    Raises
    ------
    PhotoRefusedError
        ``mouth_hidden`` or ``no_mouth``.
    """
    hole = find_hole(photo, above, colour=colour, layout=layout, settings=settings)
    edges = edges_about(
        photo, above, colour=colour, middle_mm=hole.middle_mm,
        from_mm=max(hole.radius_mm - _INWARDS_MM, 5.0), to_mm=hole.radius_mm + _OUTWARDS_MM,
    )  # fmt: skip
    rim_z = -settings.rim_above_mm
    edges = replace(edges, strength=_without_hole(edges, hole))
    seen = _search(edges, hole, above, rim_z=rim_z, settings=settings)
    usual = float(np.median(edges.strength))
    rim_seen = seen.rim - usual >= _RIM_MIN
    if not rim_seen:
        return _mouth_of_hole(hole, above, rim_z=rim_z, settings=settings)
    return _mouth(seen, above, rim_z=rim_z, settings=settings)


def _without_hole(edges: Edges, hole: Hole) -> Float32Array:
    """Strengths in which the hole's own edge says little."""
    radii = edges.from_mm + np.arange(edges.strength.shape[1]) * STEP_MM
    near = np.abs(radii - hole.radius_mm) < _HOLE_MM
    return np.where(near, np.float32(_HOLE_WORTH), edges.strength)


def _search(
    edges: Edges, hole: Hole, above: Above, *, rim_z: float, settings: SurfaceSettings
) -> _Circles:
    """Coarse over where the rim may be, then fine around the best."""
    towards = (hole.middle_mm - above.eye_mm) * (above.shrinks(rim_z) - 1.0)
    coarse = _try(
        edges, above, hole.middle_mm + towards + _square(_ASIDE_MM, 0.8),
        outer=np.arange(hole.radius_mm - _GAP_MM, hole.radius_mm + _OVER_MM, 0.2),
        glass=np.arange(settings.glass_min_mm, settings.glass_max_mm, 0.2),
        depths=np.arange(_SHALLOWEST_MM, settings.depth_max_mm, 2.0), rim_z=rim_z,
    )  # fmt: skip
    width = coarse.outer_mm - coarse.inner_mm
    return _try(
        edges, above, coarse.middle_mm + _square(0.6, 0.2),
        outer=coarse.outer_mm + np.arange(-0.4, 0.45, 0.1),
        glass=width + np.arange(-0.4, 0.45, 0.1),
        depths=np.arange(_SHALLOWEST_MM, settings.depth_max_mm, 0.5), rim_z=rim_z,
    )  # fmt: skip


def _square(reach: float, step: float) -> FloatArray:
    """``(n, 2)`` places in a square about the origin."""
    one = np.arange(-reach, reach + step / 2, step)
    x, y = np.meshgrid(one, one)
    return np.column_stack([x.ravel(), y.ravel()])


def _try(
    edges: Edges, above: Above, middles: FloatArray, *, outer: FloatArray, glass: FloatArray,
    depths: FloatArray, rim_z: float,
) -> _Circles:  # fmt: skip
    """The best of all choices of middle, outer edge, width of the rim, and depth."""
    best: tuple[float, _Circles] | None = None
    inner = outer[:, None] - glass[None, :]
    # widths that come to the same inner edge are looked up once
    grid = np.arange(inner.min() - 0.05, inner.max() + 0.15, 0.1)
    place = np.clip(np.rint((inner - grid[0]) / 0.1).astype(np.intp), 0, len(grid) - 1)
    distance = above.height_mm + rim_z
    shrink = distance / (distance + depths)
    for middle in middles:
        of_outer = edges.mean(edges.radius_of(np.broadcast_to(middle, (len(outer), 2)), outer))
        rim_at = edges.radius_of(np.broadcast_to(middle, (len(grid), 2)), grid)
        of_grid = edges.mean(rim_at)
        rim = of_outer[:, None] + of_grid[place]
        row, col = np.unravel_index(int(rim.argmax()), rim.shape)
        at = int(place[row, col])
        moved = above.eye_mm + (middle - above.eye_mm) * shrink[:, None]
        surface_at = edges.radius_of(moved, grid[at] * shrink)
        valid = surface_at < rim_at[at] - _CLEAR_MM
        scores = edges.mean(surface_at, valid)
        scores = np.where(valid.mean(axis=-1) >= _ASKEW_SHARE_MIN, scores, 0.0)
        total = float(rim[row, col] + scores.max())
        if best is None or total > best[0]:
            found = _Circles(
                middle, float(outer[row]), float(grid[at]), float(rim[row, col]) / 2.0,
                depths, scores,
            )  # fmt: skip
            best = total, found
    assert best is not None
    return best[1]


def _mouth(seen: _Circles, above: Above, *, rim_z: float, settings: SurfaceSettings) -> MouthFit:
    """Circles in the ring's plane -> lengths in mm."""
    grows = above.shrinks(rim_z)
    axis = above.eye_mm + (seen.middle_mm - above.eye_mm) / grows
    radius = seen.inner_mm / grows
    distance = above.height_mm + rim_z
    share = settings.rim_above_sd_mm / distance
    sd = 2.0 * float(np.hypot(0.15, radius * share))
    diameter = 2.0 * radius
    inner = Measured(diameter, diameter - Z95 * sd, diameter + Z95 * sd)
    below, untold = _depth(seen, distance=distance, radius=radius)
    depth = below.value if below else settings.depth_usual_mm
    depth_sd = (below.high - below.low) / (2 * Z95) if below else settings.depth_usual_sd_mm
    return _fit(
        axis, inner, above, rim_z=rim_z, below=below, untold=untold, depth=depth,
        scale_sd=float(np.hypot(share, depth_sd / (distance + depth))), rim_seen=True,
    )  # fmt: skip


def _depth(seen: _Circles, *, distance: float, radius: float) -> tuple[Measured | None, str]:
    """Depth of the surface's edge with its interval, or why it is not told."""
    usual = float(np.median(seen.scores[seen.scores > 0.0])) if seen.scores.any() else 0.0
    best = float(seen.scores.max())
    if best - usual < _PEAK_MIN:
        return None, "the edge of the surface on the glass does not stand out"
    near = seen.depths_mm[seen.scores >= best - 0.4 * (best - usual)]
    depth = seen.depth_mm
    # a circle's radius is found to 0.2 mm: so much of the depth
    own = 0.2 * distance / radius
    low = max(min(float(near.min()), depth - Z95 * own), 0.0)
    return Measured(depth, low, max(float(near.max()), depth + Z95 * own)), ""


def _mouth_of_hole(
    hole: Hole, above: Above, *, rim_z: float, settings: SurfaceSettings
) -> MouthFit:
    """What the hole alone says: it is cut to the mouth's outer width."""
    usual = (settings.glass_min_mm + settings.glass_max_mm) / 2.0
    diameter = 2.0 * (hole.radius_mm - usual - 0.5)
    inner = Measured(diameter, diameter - 6.0, diameter + 4.0)
    distance = above.height_mm + rim_z
    spread = np.hypot(settings.rim_above_sd_mm, settings.depth_usual_sd_mm)
    return _fit(
        hole.middle_mm, inner, above, rim_z=rim_z, below=None, untold="the rim was not seen",
        depth=settings.depth_usual_mm, scale_sd=float(spread / distance), rim_seen=False,
    )  # fmt: skip


def _fit(
    axis: FloatArray, inner: Measured, above: Above, *, rim_z: float, below: Measured | None,
    untold: str, depth: float, scale_sd: float, rim_seen: bool,
) -> MouthFit:  # fmt: skip
    around = circle(axis, inner.value / 2.0)
    return MouthFit(
        axis_mm=axis,
        rim_z_mm=rim_z,
        inner_mm=inner,
        below_rim_mm=below,
        untold=untold,
        surface_z_mm=rim_z + depth,
        scale_sd=scale_sd,
        rim_seen=rim_seen,
        rim_px=above.in_photo(around, rim_z),
        surface_px=above.in_photo(around, rim_z + depth),
    )
