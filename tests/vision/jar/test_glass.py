"""The refracting cylinder against closed forms."""

import numpy as np
import pytest

from jarvision.vision.jar.glass import GlassCylinder

ANGLES = np.deg2rad(np.linspace(-60, 60, 13))


def cylinder(distance_mm: float = 380.0, *, index: float = 1.5) -> GlassCylinder:
    return GlassCylinder(
        eye_mm=np.array([95.0, 200.0, -70.0 - distance_mm]),
        axis_x_mm=95.0,
        axis_z_mm=-70.0,
        outer_radius_mm=40.0,
        glass_mm=3.0,
        index=index,
    )


def test_a_level_sight_line_follows_the_two_circle_closed_form():
    """Snell at the outer circle, then the law of sines between the two circles."""
    jar = cylinder()
    outer = jar.outer_points(ANGLES, np.full_like(ANGLES, 200.0))
    seen, ys = jar.see_through(outer)
    to_eye = jar.eye_mm[[0, 2]] - outer[:, [0, 2]]
    normal = (outer[:, [0, 2]] - [95.0, -70.0]) / 40.0
    cos_in = np.sum(to_eye * normal, axis=1) / np.linalg.norm(to_eye, axis=1)
    refracted = np.arcsin(np.sqrt(1 - cos_in**2) / 1.5)
    at_inner = np.arcsin(40.0 / 37.0 * np.sin(refracted))
    expected = ANGLES + np.sign(ANGLES) * (at_inner - refracted)
    np.testing.assert_allclose(seen, expected, atol=1e-9)
    np.testing.assert_allclose(ys, 200.0, atol=1e-9)


def test_without_refraction_a_far_eye_sees_the_impact_parameter():
    """Orthographic view, index 1: inner angle = asin(b / inner radius)."""
    jar = cylinder(1e7, index=1.0)
    angles = np.deg2rad(np.linspace(-50, 50, 11))
    seen, _ = jar.see_through(jar.outer_points(angles, np.full_like(angles, 200.0)))
    np.testing.assert_allclose(seen, np.arcsin(40.0 * np.sin(angles) / 37.0), atol=1e-5)


@pytest.mark.parametrize("distance_mm", [250.0, 380.0, 600.0])
def test_aiming_at_a_wall_place_sees_that_place(distance_mm: float):
    jar = cylinder(distance_mm)
    angles, ys = np.meshgrid(ANGLES, np.linspace(120.0, 270.0, 7))
    seen_angles, seen_ys = jar.see_through(jar.aim_at(angles, ys))
    np.testing.assert_allclose(seen_angles, angles, atol=1e-6)
    np.testing.assert_allclose(seen_ys, ys, atol=1e-4)


def test_positive_angles_lie_to_the_right_of_the_camera():
    jar = cylinder()
    left, right = jar.outer_points(np.array([-0.5, 0.5]), np.array([0.0, 0.0]))
    assert left[0] < 95.0 < right[0]
