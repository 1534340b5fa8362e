"""Sight lines of a photo from above: level planes over and under the ring, in the ring's plane.

Seen from one point, everything in a level plane looks as if it lay in the ring's plane, shrunk or
grown about the point under the camera: circles stay circles, and no more is needed than the ring's
homography and where the camera stands.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import cv2
import numpy as np

from jarvision.records import CardFit, ColourFit, Float32Array, FloatArray, Photo, SampleArray
from jarvision.vision.card.pose import card_to_photo
from jarvision.vision.colour.apply import correct


@dataclass(frozen=True)
class Above:
    """The camera over the ring: ``eye_mm`` ``(2,)`` and its ``height_mm`` above the sheet."""

    card: CardFit
    eye_mm: FloatArray
    height_mm: float

    @classmethod
    def of_card(cls, card: CardFit) -> Above:
        """The camera that sees a ring."""
        x, y, z = card.camera_position_mm
        return cls(card, np.array([x, y]), float(-z))

    def shrinks(self, z_mm: float) -> float:
        """Size in the ring's plane of what lies at ``z_mm`` (down) over its own."""
        return self.height_mm / (self.height_mm + z_mm)

    def in_plane(self, points_mm: FloatArray, z_mm: float) -> FloatArray:
        """Where points ``(..., 2)`` at ``z_mm`` are seen in the ring's plane, mm."""
        seen: FloatArray = self.eye_mm + (points_mm - self.eye_mm) * self.shrinks(z_mm)
        return seen

    def in_photo(self, points_mm: FloatArray, z_mm: float) -> FloatArray:
        """Photo pixels ``(..., 2)`` of points at ``z_mm``."""
        return card_to_photo(self.in_plane(points_mm, z_mm), self.card.homography)


def sample(photo: Photo, at_px: FloatArray | Float32Array, colour: ColourFit) -> Float32Array:
    """Corrected linear colours ``(rows, cols, 3)`` at photo pixels ``(rows, cols, 2)``."""
    at = at_px.astype(np.float32)
    seen = cv2.remap(
        photo.samples, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return correct(cast(SampleArray, seen), colour)


def circle(middle_mm: FloatArray, radius_mm: float, *, points: int = 180) -> FloatArray:
    """``(points, 2)`` on a circle."""
    angle = np.arange(points) * (2.0 * np.pi / points)
    return np.asarray(middle_mm + radius_mm * np.column_stack([np.cos(angle), np.sin(angle)]))
