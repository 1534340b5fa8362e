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
_ROUNDS = 8


@dataclass(frozen=True)
class Hole:
    """A circle in the ring's plane, ``off_mm`` the usual distance of the edge from it."""

    middle_mm: FloatArray
    radius_mm: float
    off_mm: float
    ring_seen: float


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
    middle, radius, off = fit_circle(where)
    return Hole(middle, radius, off, float(ring.mean()))


def fit_circle(points: FloatArray) -> tuple[FloatArray, float, float]:
    """Middle ``(2,)``, radius and usual distance of points ``(n, 2)``, outliers left out.

    Source: Kasa's algebraic fit (from memory), weighted anew by Tukey's biweight.
    """
    weight = np.ones(len(points))
    middle, radius = points.mean(axis=0), 1.0
    off = np.zeros(len(points))
    for _ in range(_ROUNDS):
        rows = np.column_stack([2.0 * points, np.ones(len(points))]) * weight[:, None]
        x, y, rest = np.linalg.lstsq(rows, (points**2).sum(axis=1) * weight, rcond=None)[0]
        middle = np.array([x, y])
        radius = float(np.sqrt(max(rest + x * x + y * y, 1e-6)))
        off = np.abs(np.linalg.norm(points - middle, axis=1) - radius)
        scale = max(4.7 * 1.4826 * float(np.median(off)), _LARGEST_OFF_MM)
        weight = np.clip(1.0 - (off / scale) ** 2, 0.0, None)
    return middle, radius, float(np.median(off))


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
