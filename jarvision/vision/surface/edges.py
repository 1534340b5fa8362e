"""How strongly the photo changes along circles in the ring's plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter

from jarvision.base.colourspace import srgb_encode
from jarvision.records import BoolArray, ColourFit, Float32Array, FloatArray, Photo
from jarvision.vision.card.pose import card_to_photo
from jarvision.vision.surface.sight import Above, sample

STEP_MM = 0.1
ANGLES = 240
_SMOOTH_MM, _SMOOTH_DEG = 0.25, 2.0
_STRONG_PERCENT = 80.0
"""An edge counts in full from the strength that a fifth of all places exceed: a few glints then say
no more than an edge all the way around."""


@dataclass(frozen=True)
class Edges:
    """Strength of the change outwards, about a middle in the ring's plane.

    Attributes
    ----------
    middle_mm
        ``(2,)``.
    from_mm
        Radius of the first column.
    strength
        ``(angles, radii)``, 0 to 1, a column each :data:`STEP_MM`.
    way
        ``(angles, 2)`` unit vectors.
    """

    middle_mm: FloatArray
    from_mm: float
    strength: Float32Array
    way: FloatArray

    def radius_of(self, middle_mm: FloatArray, radius_mm: FloatArray | float) -> FloatArray:
        """Distance from this middle, in every direction, of circles about others.

        ``middle_mm`` is ``(..., 2)``, ``radius_mm`` ``(...)``; the answer ``(..., angles)``.
        """
        off = middle_mm - self.middle_mm
        along = off @ self.way.T
        aside = off @ np.column_stack([-self.way[:, 1], self.way[:, 0]]).T
        size = np.asarray(radius_mm)[..., None]
        return np.asarray(along + np.sqrt(np.maximum(size**2 - aside**2, 0.0)))

    def at(self, radius: FloatArray) -> FloatArray:
        """Strength ``(..., angles)`` at distances from the middle; 0 beyond what was looked at."""
        column = np.rint((radius - self.from_mm) / STEP_MM).astype(np.intp)
        inside = (column >= 0) & (column < self.strength.shape[1])
        rows = np.arange(len(self.way))
        found = self.strength[rows, np.clip(column, 0, self.strength.shape[1] - 1)]
        return np.where(inside, found, 0.0)

    def mean(self, radius: FloatArray, valid: BoolArray | None = None) -> FloatArray:
        """Mean strength ``(...)`` along circles given by :meth:`radius_of`, where ``valid``."""
        seen = self.at(radius)
        if valid is None:
            return np.asarray(seen.mean(axis=-1))
        count = valid.sum(axis=-1)
        return np.asarray((seen * valid).sum(axis=-1) / np.maximum(count, 1))


def edges_about(
    photo: Photo,
    above: Above,
    *,
    colour: ColourFit,
    middle_mm: FloatArray,
    from_mm: float,
    to_mm: float,
) -> Edges:
    """Look for edges between two distances from a middle in the ring's plane."""
    angles = np.arange(ANGLES) * (2.0 * np.pi / ANGLES)
    way = np.column_stack([np.cos(angles), np.sin(angles)])
    radii = np.arange(from_mm, to_mm, STEP_MM)
    points = middle_mm + radii[None, :, None] * way[:, None, :]
    seen = sample(photo, card_to_photo(points, above.card.homography), colour)
    encoded = srgb_encode(np.clip(seen, 0.0, 1.0))
    sigma = (_SMOOTH_DEG * ANGLES / 360.0, _SMOOTH_MM / STEP_MM, 0.0)
    smooth = gaussian_filter(encoded, sigma, mode=("wrap", "nearest", "nearest"))
    change = np.abs(np.gradient(smooth, axis=1)).sum(axis=2)
    strong = max(float(np.percentile(change, _STRONG_PERCENT)), 1e-6)
    strength = np.minimum(change / strong, 1.0).astype(np.float32)
    return Edges(middle_mm, from_mm, strength, way)
