"""The jar's mouth: its rim, and how deep the edge of the surface lies below it.

Two circles are sought together: the rim's inner edge, which lies about as far within the hole as
glass is thick, and the edge of the surface on the glass.
The glass is taken to be straight down to the surface, so the second is as wide as the first and
only looks smaller, and moved, by its depth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jarvision.base.statistics import Z95
from jarvision.records import ColourFit, FloatArray, Measured, Photo
from jarvision.records.mouth import MouthFit
from jarvision.settings.surface import SurfaceSettings
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.surface.edges import Edges, edges_about
from jarvision.vision.surface.hole import Hole, find_hole
from jarvision.vision.surface.sight import Above, circle

_INWARDS_MM, _OUTWARDS_MM = 16.0, 2.5
"""Edges are looked for so far to both sides of the hole's."""

_ASIDE_MM = 2.4
"""The rim may stand so far out of the hole's middle."""

_CLEAR_MM = 0.8
"""The surface is looked for so far within the rim's inner edge."""

_ASKEW_SHARE_MIN = 0.35
"""Share of the way around on which the surface's edge must be in sight, past the rim."""

_ODD = 0.08
"""What a rim costs whose inner edge lies a standard deviation off where the hole has it."""

_RIVAL_WITHIN = 0.08
"""Rims of another width that fit nearly as well widen the interval."""

_RIVALS_APART_MM = 1.6
"""Rims as different as this leave the depth untold."""

_SHALLOWEST_MM = 3.0
_RIM_MIN = 0.10
"""Edges of the rim over what circles nearby have, from which the rim is seen."""

_PEAK_MIN = 0.12
"""The surface's edge over what other depths have, from which its depth is told."""


@dataclass(frozen=True)
class _Circles:
    """What fits best: the rim as seen in the ring's plane, the depth, and how well they do."""

    middle_mm: FloatArray
    inner_mm: float
    rim: float
    depths_mm: FloatArray
    scores: FloatArray
    total: float
    rivals_mm: tuple[float, float] = (0.0, 0.0)

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
    seen = _search(edges, hole, above, rim_z=rim_z, settings=settings)
    usual = float(np.median(edges.strength))
    rim_seen = seen.rim - usual >= _RIM_MIN
    if not rim_seen:
        return _mouth_of_hole(hole, above, rim_z=rim_z, settings=settings)
    return _mouth(seen, above, rim_z=rim_z, settings=settings)


def _search(
    edges: Edges, hole: Hole, above: Above, *, rim_z: float, settings: SurfaceSettings
) -> _Circles:
    """Coarse over where the rim may be, then fine around the best."""
    grows = above.shrinks(rim_z)
    towards = (hole.middle_mm - above.eye_mm) * (grows - 1.0)
    usual = grows * (hole.radius_mm - settings.hole_wider_mm)
    sd = settings.hole_wider_sd_mm
    coarse = _try(
        edges, above, hole.middle_mm + towards + _square(_ASIDE_MM, 0.6),
        inner=np.arange(usual - 3.0 * sd, usual + 2.5 * sd, 0.2), usual=(usual, sd),
        depths=np.arange(_SHALLOWEST_MM, settings.depth_max_mm, 2.0), rim_z=rim_z,
    )  # fmt: skip
    fine = _try(
        edges, above, coarse.middle_mm + _square(0.45, 0.15),
        inner=coarse.inner_mm + np.arange(-0.4, 0.45, 0.1), usual=(usual, sd),
        depths=np.arange(_SHALLOWEST_MM, settings.depth_max_mm, 0.5), rim_z=rim_z,
    )  # fmt: skip
    return replace(fine, rivals_mm=coarse.rivals_mm)


def _square(reach: float, step: float) -> FloatArray:
    """``(n, 2)`` places in a square about the origin."""
    one = np.arange(-reach, reach + step / 2, step)
    x, y = np.meshgrid(one, one)
    return np.column_stack([x.ravel(), y.ravel()])


def _try(
    edges: Edges, above: Above, middles: FloatArray, *, inner: FloatArray,
    usual: tuple[float, float], depths: FloatArray, rim_z: float,
) -> _Circles:  # fmt: skip
    """The best of all choices of middle, inner edge and depth."""
    shrink = (above.height_mm + rim_z) / (above.height_mm + rim_z + depths)
    odd = _ODD * ((inner - usual[0]) / usual[1]) ** 2
    best: _Circles | None = None
    totals = np.zeros((len(middles), len(inner)))
    for row, middle in enumerate(middles):
        rim_at = edges.radius_of(np.broadcast_to(middle, (len(inner), 2)), inner)
        rim = edges.mean(rim_at)
        moved = above.eye_mm + (middle - above.eye_mm) * shrink[:, None]
        surface_at = edges.radius_of(moved, inner[:, None] * shrink)
        valid = surface_at < rim_at[:, None] - _CLEAR_MM
        scores = edges.mean_surface(surface_at, valid)
        scores = np.where(valid.mean(axis=-1) >= _ASKEW_SHARE_MIN, scores, 0.0)
        totals[row] = rim + scores.max(axis=-1) - odd
        at = int(totals[row].argmax())
        if best is None or totals[row, at] > best.total:
            best = _Circles(
                middle, float(inner[at]), float(rim[at]), depths, scores[at],
                float(totals[row, at]),
            )  # fmt: skip
    assert best is not None
    rivals = inner[totals.max(axis=0) >= best.total - _RIVAL_WITHIN]
    return replace(best, rivals_mm=(float(rivals.min()), float(rivals.max())))


def _mouth(seen: _Circles, above: Above, *, rim_z: float, settings: SurfaceSettings) -> MouthFit:
    """Circles in the ring's plane -> lengths in mm."""
    grows = above.shrinks(rim_z)
    axis = above.eye_mm + (seen.middle_mm - above.eye_mm) / grows
    radius = seen.inner_mm / grows
    distance = above.height_mm + rim_z
    share = settings.rim_above_sd_mm / distance
    sd = 2.0 * float(np.hypot(0.15, radius * share))
    diameter = 2.0 * radius
    low, high = (2.0 * rival / grows for rival in seen.rivals_mm)
    inner = Measured(diameter, min(low, diameter) - Z95 * sd, max(high, diameter) + Z95 * sd)
    below, untold = _depth(seen, distance=distance, radius=radius)
    depth = below.value if below else seen.depth_mm
    depth_sd = (below.high - below.low) / (2 * Z95) if below else settings.depth_usual_sd_mm
    return _fit(
        axis, inner, above, rim_z=rim_z, below=below, untold=untold, depth=depth,
        scale_sd=float(np.hypot(share, depth_sd / (distance + depth))), rim_seen=True,
    )  # fmt: skip


def _depth(seen: _Circles, *, distance: float, radius: float) -> tuple[Measured | None, str]:
    """Depth of the surface's edge with its interval, or why it is not told."""
    low, high = seen.rivals_mm
    if high - low > _RIVALS_APART_MM:
        return None, "edges around the mouth can be taken for the rim in more than one way"
    usual = float(np.median(seen.scores[seen.scores > 0.0])) if seen.scores.any() else 0.0
    best = float(seen.scores.max())
    if best - usual < _PEAK_MIN:
        return None, "the edge of the surface on the glass does not stand out"
    near = seen.depths_mm[seen.scores >= best - 0.4 * (best - usual)]
    depth = seen.depth_mm
    # a circle's radius is found to 0.3 mm: so much of the depth
    own = 0.3 * distance / radius
    low = max(min(float(near.min()), depth - Z95 * own), 0.0)
    return Measured(depth, low, max(float(near.max()), depth + Z95 * own)), ""


def _mouth_of_hole(
    hole: Hole, above: Above, *, rim_z: float, settings: SurfaceSettings
) -> MouthFit:
    """What the hole alone says: it is cut to the mouth's outer width."""
    diameter, sd = 2.0 * (hole.radius_mm - settings.hole_wider_mm), settings.hole_wider_sd_mm
    inner = Measured(diameter, diameter - 2.0 * Z95 * sd, diameter + 2.0 * Z95 * sd)
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
    )
