"""Where the ring's colour ends around the mouth: the edge of its hole, or of the rim over it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from jarvision.base.colourspace import byte_to_linear_table
from jarvision.base.errors import PhotoRefusedError
from jarvision.records import BoolArray, ColourFit, Float32Array, FloatArray, Photo
from jarvision.settings.surface import SurfaceSettings
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.card.pose import card_to_photo
from jarvision.vision.surface.sight import Above, sample

_ANGLES = 360
_STEP_MM = 0.2
_INNERMOST_MM = 20.0
_MARGIN_MM = 0.6
"""The outermost of the disc is left to blur."""

_BAND_MM = 2.0
"""The ring shows in a direction in which most of so wide a band has its colour."""

_CLOSED_MM = 1.2
"""White circles to cut along, and what is narrower, do not end the colour."""

_DARKEST = 2e-3
_RED_OFF, _BLUE_OFF = 0.22, 0.32
"""Red over green and blue over green may differ so much, as logarithms, from those of the print in
this photo: a blue table seen through the rim differs more."""

_SHADE_LOG = -1.6
_LARGEST_OFF_MM = 0.8
_ROUNDS, _TRIPLES = 4, 400
_CUT_OFF_MM = 2.5
"""The hole is cut about the ring's middle; the rim, leaning over its edge, moves it a little."""


@dataclass(frozen=True)
class Hole:
    """The hole's edge as a circle in the ring's plane."""

    middle_mm: FloatArray
    radius_mm: float


def find_hole(
    photo: Photo, above: Above, *, colour: ColourFit, layout: CardLayout, settings: SurfaceSettings
) -> Hole:
    """Find where the ring's colour ends.

    Raises
    ------
    PhotoRefusedError
        ``mouth_hidden``: the ring's colour does not show around the mouth; ``no_mouth``: there is
        no hole with a jar in it.
    """
    field = layout.field
    outer = field.width_mm / 2.0 - _MARGIN_MM
    radii = np.arange(_INNERMOST_MM, outer, _STEP_MM)
    angles = np.arange(_ANGLES) * (2.0 * np.pi / _ANGLES)
    way = np.column_stack([np.cos(angles), np.sin(angles)])
    points = np.array(field.centre_mm) + radii[None, :, None] * way[:, None, :]
    seen = sample(photo, card_to_photo(points, above.card.homography), colour)
    violet = _violet(seen, layout, settings)
    wide = round(_CLOSED_MM / _STEP_MM) | 1
    closed = cv2.morphologyEx(violet.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((1, wide)))
    band = round(_BAND_MM / _STEP_MM)
    ring = closed[:, -band:].mean(axis=1) > 0.5
    if ring.mean() < settings.ring_seen_min:
        raise PhotoRefusedError(
            "mouth_hidden", f"the ring's colour shows on {ring.mean():.0%} of the way around"
        )
    # inwards: the first place that has not the colour of this print in this light
    own = _like(seen, np.median(seen[ring][:, -band:].reshape(-1, 3), axis=0))
    closed = cv2.morphologyEx(own.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((1, wide)))
    other = closed[ring][:, ::-1] == 0
    other[:, : band // 2] = False
    ends = other.any(axis=1)
    if ends.mean() < settings.ring_seen_min:
        raise PhotoRefusedError("no_mouth", "the ring's middle is not cut out")
    edge = radii[len(radii) - other[ends].argmax(axis=1) - 1] + _STEP_MM / 2.0
    where = np.array(field.centre_mm) + edge[:, None] * way[ring][ends]
    middle, radius, _ = fit_circle(where, about_mm=np.array(field.centre_mm), reach_mm=_CUT_OFF_MM)
    return Hole(middle, radius)


def fit_circle(
    points: FloatArray, *, about_mm: FloatArray | None = None, reach_mm: float = np.inf
) -> tuple[FloatArray, float, float]:
    """Middle ``(2,)``, radius and usual distance of points ``(n, 2)``, outliers left out.

    ``about_mm`` is where the middle is known to lie, within ``reach_mm``: fruit over the edge then
    does not draw it away. The circle through three points that most agree with (Fischler and Bolles
    1981, random sample consensus, from memory) is fitted to all of those that do.
    """
    middle, radius = _most_agree(points, about_mm, reach_mm)
    off = np.abs(np.linalg.norm(points - middle, axis=1) - radius)
    for _ in range(_ROUNDS):
        near = points[off < _LARGEST_OFF_MM]
        rows = np.column_stack([2.0 * near, np.ones(len(near))])
        x, y, rest = np.linalg.lstsq(rows, (near**2).sum(axis=1), rcond=None)[0]
        middle, radius = np.array([x, y]), float(np.sqrt(max(rest + x * x + y * y, 1e-6)))
        off = np.abs(np.linalg.norm(points - middle, axis=1) - radius)
    return middle, radius, float(np.median(off))


def _most_agree(
    points: FloatArray, about_mm: FloatArray | None, reach_mm: float
) -> tuple[FloatArray, float]:
    rng = np.random.default_rng(len(points))
    triples = points[rng.integers(0, len(points), (_TRIPLES, 3))]
    sides = 2.0 * (triples[:, 1:] - triples[:, :1])
    squares = (triples[:, 1:] ** 2).sum(axis=2) - (triples[:, :1] ** 2).sum(axis=2)
    clear = np.abs(np.linalg.det(sides)) > 1.0
    middles = np.linalg.solve(sides[clear], squares[clear][..., None])[..., 0]
    radii = np.linalg.norm(triples[clear, 0] - middles, axis=1)
    away = np.linalg.norm(points[None] - middles[:, None], axis=2) - radii[:, None]
    agree = (np.abs(away) < _LARGEST_OFF_MM).sum(axis=1).astype(float)
    if about_mm is not None:
        agree -= len(points) * (np.linalg.norm(middles - about_mm, axis=1) > reach_mm)
    best = int(agree.argmax())
    return middles[best], float(radii[best])


def _like(seen: Float32Array, own: Float32Array) -> BoolArray:
    """Where linear colours ``(..., 3)`` have the tint of one, in any shade but a deep one."""
    logs, usual = (np.log(np.maximum(of, _DARKEST)) for of in (seen, own))
    red, blue = ((logs[..., i] - logs[..., 1]) - (usual[i] - usual[1]) for i in (0, 2))
    near = np.hypot(red / _RED_OFF, blue / _BLUE_OFF) < 1.0
    return np.asarray(near & (logs[..., 1] > usual[1] + _SHADE_LOG))


def _violet(seen: Float32Array, layout: CardLayout, settings: SurfaceSettings) -> BoolArray:
    """Where linear colours ``(..., 3)`` are those printed around the hole, in any shade."""
    printed = byte_to_linear_table()[np.array(layout.field.rgb8)]
    own = printed[2] - (printed[0] + printed[1]) / 2.0
    pale = np.maximum((seen[..., 0] + seen[..., 1]) / 2.0, 1e-3)
    excess = seen[..., 2] - pale > settings.violet_excess_min * own
    return np.asarray(excess & (seen[..., 2] > settings.violet_ratio_min * pale))
