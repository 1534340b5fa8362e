"""How strongly the photo changes along circles in the ring's plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter

from jarvision.base.colourspace import srgb_encode
from jarvision.records import BoolArray, ColourFit, Float32Array, FloatArray, Photo
from jarvision.vision.card.pose import card_to_photo
from jarvision.vision.surface.sight import Above, sample

EDGE_STEP_MM = 0.1
ANGLES = 240
_SMOOTH_MM, _SMOOTH_DEG = 0.25, 2.0
_ENDS = ("wrap", "nearest")
_ROUGH_MM, _ROUGH_DEG, _ROUGH_FLOOR = 0.6, 6.0, 0.01
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
        ``(angles, radii)``, 0 to 1, a column each :data:`EDGE_STEP_MM`.
    rough
        The same of where what is rough inside turns smooth outside: contents against glass.
    way
        ``(angles, 2)`` unit vectors.
    """

    middle_mm: FloatArray
    from_mm: float
    strength: Float32Array
    rough: Float32Array
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

    def at(self, radius: FloatArray, strength: Float32Array) -> FloatArray:
        """Values ``(..., angles)`` at distances from the middle; 0 beyond what was looked at."""
        column = np.rint((radius - self.from_mm) / EDGE_STEP_MM).astype(np.intp)
        inside = (column >= 0) & (column < strength.shape[1])
        rows = np.arange(len(self.way))
        found = strength[rows, np.clip(column, 0, strength.shape[1] - 1)]
        return np.where(inside, found, 0.0)

    def mean(self, radius: FloatArray) -> FloatArray:
        """Mean strength ``(...)`` along circles given by :meth:`radius_of`."""
        return np.asarray(self.at(radius, self.strength).mean(axis=-1))

    def mean_surface(self, radius: FloatArray, valid: BoolArray) -> FloatArray:
        """Mean of strength and roughness together, where ``valid``."""
        seen = (self.at(radius, self.strength) + self.at(radius, self.rough)) / 2.0
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
    radii = np.arange(from_mm, to_mm, EDGE_STEP_MM)
    points = middle_mm + radii[None, :, None] * way[:, None, :]
    seen = sample(photo, card_to_photo(points, above.card.homography), colour)
    encoded = srgb_encode(np.clip(seen, 0.0, 1.0))
    sigma = (_SMOOTH_DEG * ANGLES / 360.0, _SMOOTH_MM / EDGE_STEP_MM, 0.0)
    smooth = gaussian_filter(encoded, sigma, mode=(*_ENDS, "nearest"))
    change = np.abs(np.gradient(smooth, axis=1)).sum(axis=2)
    strong = max(float(np.percentile(change, _STRONG_PERCENT)), 1e-6)
    strength = np.minimum(change / strong, 1.0).astype(np.float32)
    return Edges(middle_mm, from_mm, strength, _rough(smooth), way)


def _rough(encoded: FloatArray) -> Float32Array:
    """How strongly roughness falls outwards."""
    light = encoded.mean(axis=2)
    wide = gaussian_filter(
        light, (_SMOOTH_DEG * 4 * ANGLES / 360.0, 1.0 / EDGE_STEP_MM), mode=_ENDS
    )
    sigma = (_ROUGH_DEG * ANGLES / 360.0, _ROUGH_MM / EDGE_STEP_MM)
    rough = gaussian_filter(np.abs(light - wide), sigma, mode=_ENDS)
    fall = np.maximum(-np.gradient(np.log(rough + _ROUGH_FLOOR), axis=1), 0.0)
    strong = max(float(np.percentile(fall, _STRONG_PERCENT)), 1e-6)
    share: Float32Array = np.minimum(fall / strong, 1.0).astype(np.float32)
    return share
