"""Geometry of an upright glass cylinder seen by a pinhole camera, through refracting glass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jarvision.records import CardFit, FloatArray

GLASS_INDEX = 1.52
"""Refractive index of soda-lime glass in visible light (handbook value, from memory)."""

_AIM_STEPS = 6
"""Each step shrinks the error by about glass over radius (1/13): six leave less than 1 um."""


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
        cos, sin = np.cos(angles_rad)[..., None], np.sin(angles_rad)[..., None]
        flat = self._axis + self.outer_radius_mm * (cos * toward + sin * right)
        return np.stack(np.broadcast_arrays(flat[..., 0], ys_mm, flat[..., 1]), axis=-1)

    def see_through(self, outer_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Where sight lines through points ``(..., 3)`` of the outer glass meet the inner wall.

        Snell's law in vector form at the outer surface, then the quadratic of a ray with the
        inner cylinder. Returns wall angle (rad) and y (mm), each ``(...)``.
        """
        incoming = outer_mm - self.eye_mm
        incoming = incoming / np.linalg.norm(incoming, axis=-1, keepdims=True)
        normal = np.zeros_like(outer_mm)
        normal[..., [0, 2]] = (outer_mm[..., [0, 2]] - self._axis) / self.outer_radius_mm
        cos_in = -np.sum(incoming * normal, axis=-1, keepdims=True)
        ratio = 1.0 / self.index
        cos_out = np.sqrt(np.maximum(1.0 - ratio**2 * (1.0 - cos_in**2), 0.0))
        inside = ratio * incoming + (ratio * cos_in - cos_out) * normal

        start, way = outer_mm[..., [0, 2]] - self._axis, inside[..., [0, 2]]
        a = np.sum(way * way, axis=-1)
        b = np.sum(start * way, axis=-1)
        c = np.sum(start * start, axis=-1) - self.inner_radius_mm**2
        step = (-b - np.sqrt(np.maximum(b * b - a * c, 0.0))) / a
        hit = outer_mm + step[..., None] * inside
        toward, right = self._facing()
        flat = hit[..., [0, 2]] - self._axis
        return np.arctan2(flat @ right, flat @ toward), hit[..., 1]

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
