"""Slopes against the closed form of two points and against an independent fit."""

from __future__ import annotations

import numpy as np
import pytest

from jarvision.base.statistics import median, weighted_slope


def test_the_slope_of_two_points_is_their_difference_with_both_uncertainties() -> None:
    slope = weighted_slope(np.array([1.0, 3.0]), np.array([10.0, 16.0]), np.array([0.6, 0.8]))
    assert slope.value == pytest.approx(3.0)
    assert slope.sd == pytest.approx(np.hypot(0.6, 0.8) / 2.0)


def test_slope_and_uncertainty_agree_with_an_independent_fit() -> None:
    rng = np.random.default_rng(4)
    x, sd = np.sort(rng.uniform(0.0, 20.0, 12)), rng.uniform(0.3, 3.0, 12)
    y = 2.0 + 1.7 * x + sd * rng.standard_normal(12)
    fitted, covariance = np.polyfit(x, y, 1, w=1.0 / sd, cov="unscaled")
    slope = weighted_slope(x, y, sd)
    assert slope.value == pytest.approx(fitted[0])
    assert slope.sd == pytest.approx(np.sqrt(covariance[0, 0]))


@pytest.mark.parametrize("count", [1, 2, 5, 8])
def test_the_quick_median_is_the_median(count: int) -> None:
    values = np.random.default_rng(count).standard_normal(count)
    assert median(values) == pytest.approx(float(np.median(values)))
