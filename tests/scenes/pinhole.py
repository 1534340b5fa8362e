"""The phone's pinhole camera: pose, focal length, projection. Pure numpy, exact."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.scenes.spec import CARD_WIDTH_MM, CardPose, Phone

FloatArray = NDArray[np.float64]

FULL_FRAME_DIAGONAL_MM = 43.27  # of the 36 x 24 mm frame that the equivalent focal length means


def turn(axis: int, degrees: float) -> FloatArray:
    """Right-handed rotation about a coordinate axis, ``(3, 3)``."""
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    j, k = (axis + 1) % 3, (axis + 2) % 3
    matrix = np.eye(3)
    matrix[j, j], matrix[j, k], matrix[k, j], matrix[k, k] = c, -s, s, c
    return matrix


@dataclass(frozen=True)
class CardInWorld:
    """Rigid motion from the card frame to the world: ``X_world = rotation @ X_card + origin``."""

    rotation: FloatArray
    origin: FloatArray
    bow_mm: float

    @staticmethod
    def standing(pose: CardPose) -> CardInWorld:
        """A page that stands on its lower edge, its top ``lean_deg`` towards the viewer."""
        # y points down: a positive turn about +x brings the top towards the viewer (-z)
        rotation = turn(1, pose.turn_deg) @ turn(0, pose.lean_deg) @ turn(2, pose.roll_deg)
        foot = np.array([CARD_WIDTH_MM / 2.0, pose.foot_mm, 0.0])
        return CardInWorld(rotation, foot - rotation @ foot, pose.bow_mm)

    def to_world(self, points: FloatArray) -> FloatArray:
        """Card-frame points ``(..., 3)`` to the world."""
        return points @ self.rotation.T + self.origin

    def to_card(self, points: FloatArray) -> FloatArray:
        """World points ``(..., 3)`` to the card frame."""
        return (points - self.origin) @ self.rotation

    def bow(self, x_mm: FloatArray) -> FloatArray:
        """Depth of the bowed page at card x, mm: 0 at the left and right edge of the area."""
        t = (x_mm - CARD_WIDTH_MM / 2.0) / (CARD_WIDTH_MM / 2.0)
        return self.bow_mm * (1.0 - t**2)


@dataclass(frozen=True)
class Pinhole:
    """``x_cam = rotation @ (X_world - centre)``; pixel ``(0, 0)`` is the centre of the first.

    ``focal_35mm`` is the whole number that goes into EXIF; ``focal_px`` follows from it.
    """

    rotation: FloatArray
    centre: FloatArray
    focal_35mm: int
    width: int
    height: int

    @property
    def focal_px(self) -> float:
        """Focal length in pixels: the frame's diagonal stands for 43.27 mm."""
        return self.focal_35mm / FULL_FRAME_DIAGONAL_MM * float(np.hypot(self.width, self.height))

    @property
    def matrix(self) -> FloatArray:
        """``(3, 3)`` camera matrix, principal point in the middle of the frame."""
        f = self.focal_px
        cx, cy = (self.width - 1) / 2.0, (self.height - 1) / 2.0
        return np.array([[f, 0.0, cx], [0.0, f, cy], [0.0, 0.0, 1.0]])

    def project(self, points: FloatArray) -> FloatArray:
        """World points ``(..., 3)`` to pixels ``(..., 2)``."""
        local = (points - self.centre) @ self.rotation.T
        return (local[..., :2] / local[..., 2:]) * self.focal_px + self.matrix[:2, 2]

    def card_homography(self, card: CardInWorld) -> FloatArray:
        """``(3, 3)``: card mm ``(x, y, 1)`` to pixels, for the plane z = 0 of the card frame."""
        rotation, translation = self.card_pose(card)
        homography = self.matrix @ np.column_stack([rotation[:, 0], rotation[:, 1], translation])
        return homography / homography[2, 2]

    def card_pose(self, card: CardInWorld) -> tuple[FloatArray, FloatArray]:
        """Rotation and translation from the card frame to the camera frame."""
        return self.rotation @ card.rotation, self.rotation @ (card.origin - self.centre)


def hold(
    phone: Phone,
    must_see: FloatArray,
    *,
    jar_middle: FloatArray,
    width: int,
    height: int,
) -> Pinhole:
    """Camera at arm's length, level with the jar's middle, cropped to ``must_see`` points.

    ``must_see`` is ``(n, 3)`` in the world. The crop is the longest whole equivalent focal
    length at which all points lie inside the frame with the phone's margin left.
    """
    centre = np.array(
        [
            CARD_WIDTH_MM / 2.0 + phone.side_mm,
            jar_middle[1] - phone.above_jar_middle_mm,
            -phone.distance_mm,
        ]
    )
    target = _middle_of_view(must_see, centre)
    forward = (target - centre) / np.linalg.norm(target - centre)
    right = np.cross(np.array([0.0, 1.0, 0.0]), forward)
    right /= np.linalg.norm(right)
    level = np.stack([right, np.cross(forward, right), forward])
    wobble = (
        turn(2, phone.roll_deg) @ turn(1, phone.aim_error_deg[0]) @ turn(0, phone.aim_error_deg[1])
    )
    rotation = wobble @ level
    local = (must_see - centre) @ rotation.T
    slope = np.abs(local[:, :2] / local[:, 2:]).max(axis=0)
    frame = np.array([width, height]) * (0.5 - phone.margin)
    longest = (frame / slope).min() / np.hypot(width, height) * FULL_FRAME_DIAGONAL_MM
    return Pinhole(rotation, centre, int(np.floor(longest)), width, height)


def _middle_of_view(points: FloatArray, centre: FloatArray) -> FloatArray:
    """World point 1 m ahead, in the middle of the points' slopes seen from ``centre``."""
    offset = points - centre
    slope = offset[:, :2] / offset[:, 2:]
    middle = (slope.min(axis=0) + slope.max(axis=0)) / 2.0
    return centre + np.array([middle[0], middle[1], 1.0]) * 1000.0
