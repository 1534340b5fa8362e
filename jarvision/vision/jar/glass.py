"""Geometry of an upright glass cylinder seen by a pinhole camera, through refracting glass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jarvision.records import CardFit, FloatArray

GLASS_INDEX = 1.52
"""Refractive index of soda-lime glass in visible light (handbook value, from memory)."""

_AIM_STEPS = 4
"""Each step shrinks the error by about glass over radius (1/13): four leave less than 0.1 um."""


@dataclass(frozen=True)
class Viewpoint:
    """A pinhole camera in the jar frame: ``X_camera = rotation @ X_jar + translation``, mm."""

    camera: FloatArray
    rotation: FloatArray
    translation: FloatArray

    @classmethod
    def of_card(cls, card: CardFit, card_to_jar: FloatArray) -> Viewpoint:
        """The camera of a photo whose card was found, seen from a turned frame."""
        return cls(card.camera, card.rotation @ card_to_jar.T, card.translation)

    @property
    def eye_mm(self) -> FloatArray:
        """Camera centre in the jar frame, ``(3,)``, mm."""
        return np.asarray(-self.rotation.T @ self.translation)

    def project(self, points_mm: FloatArray) -> FloatArray:
        """Photo pixels ``(..., 2)`` of jar-frame points ``(..., 3)``."""
        seen = points_mm @ self.rotation.T + self.translation
        image = seen @ self.camera.T
        return np.asarray(image[..., :2] / image[..., 2:])


@dataclass(frozen=True)
class GlassCylinder:
    """An upright glass cylinder and the eye that looks at it, jar frame, mm.

    Wall angle 0 is where the wall faces the eye; angles grow to the eye's right.
    """

    eye_mm: FloatArray
    axis_x_mm: float
    axis_z_mm: float
    outer_radius_mm: float
    glass_mm: float
    index: float = GLASS_INDEX

    @property
    def inner_radius_mm(self) -> float:
        """Radius of the wall that the contents touch, mm."""
        return self.outer_radius_mm - self.glass_mm

    @property
    def _axis(self) -> FloatArray:
        return np.array([self.axis_x_mm, self.axis_z_mm])

    def _facing(self) -> tuple[FloatArray, FloatArray]:
        """Unit vectors in the (x, z) plane: from the axis to the eye, and to the eye's right."""
        toward = self.eye_mm[[0, 2]] - self._axis
        toward = toward / np.linalg.norm(toward)
        return toward, np.array([-toward[1], toward[0]])

    def outer_points(self, angles_rad: FloatArray, ys_mm: FloatArray) -> FloatArray:
        """Points ``(..., 3)`` of the outer surface."""
        toward, right = self._facing()
        cos, sin = np.cos(angles_rad), np.sin(angles_rad)
        x, z = (
            self._axis[i] + self.outer_radius_mm * (cos * toward[i] + sin * right[i])
            for i in (0, 1)
        )
        return np.stack(np.broadcast_arrays(x, ys_mm, z), axis=-1)

    def see_through(self, outer_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Where sight lines through points ``(..., 3)`` of the outer glass meet the inner wall.

        Snell's law in vector form at the outer surface, then the quadratic of a ray with the
        inner cylinder. Returns wall angle (rad) and y (mm), each ``(...)``.
        """
        # one array for each axis: NumPy is slow along a last axis of three
        x, y, z = (outer_mm[..., axis] - self.eye_mm[axis] for axis in range(3))
        length = np.sqrt(x * x + y * y + z * z)
        x, y, z = x / length, y / length, z / length
        flat_x, flat_z = (outer_mm[..., at] - self._axis[i] for i, at in ((0, 0), (1, 2)))
        normal_x, normal_z = flat_x / self.outer_radius_mm, flat_z / self.outer_radius_mm
        cos_in = -(x * normal_x + z * normal_z)
        ratio = 1.0 / self.index
        cos_out = np.sqrt(np.maximum(1.0 - ratio**2 * (1.0 - cos_in**2), 0.0))
        bend = ratio * cos_in - cos_out
        x, y, z = ratio * x + bend * normal_x, ratio * y, ratio * z + bend * normal_z

        a, b = x * x + z * z, flat_x * x + flat_z * z
        c = flat_x * flat_x + flat_z * flat_z - self.inner_radius_mm**2
        step = (-b - np.sqrt(np.maximum(b * b - a * c, 0.0))) / a
        (ahead_x, ahead_z), (right_x, right_z) = self._facing()
        hit_x, hit_z = flat_x + step * x, flat_z + step * z
        angle = np.arctan2(hit_x * right_x + hit_z * right_z, hit_x * ahead_x + hit_z * ahead_z)
        return angle, outer_mm[..., 1] + step * y

    def aim_at(self, angles_rad: FloatArray, ys_mm: FloatArray) -> FloatArray:
        """Points ``(..., 3)`` of the outer glass through which places of the inner wall show.

        The inverse of :meth:`see_through`, by fixed-point iteration.
        """
        angles, ys = np.broadcast_arrays(angles_rad, ys_mm)
        outer = self.outer_points(angles, ys)
        aim_angles, aim_ys = angles, ys
        for _ in range(_AIM_STEPS):
            seen_angles, seen_ys = self.see_through(outer)
            aim_angles = aim_angles + (angles - seen_angles)
            aim_ys = aim_ys + (ys - seen_ys)
            outer = self.outer_points(aim_angles, aim_ys)
        return outer
