"""The robust fit against SciPy's ``least_squares`` on the same sums."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares

from jarvision.vision.colour.robust import minimise


def decay(seed: int, outliers: int) -> tuple[np.ndarray, np.ndarray]:
    """Times and readings of ``2 exp(-0.7 t) + 0.5`` with noise, some far off."""
    rng = np.random.default_rng(seed)
    times = np.linspace(0.0, 6.0, 60)
    seen = 2.0 * np.exp(-0.7 * times) + 0.5 + rng.normal(0.0, 0.02, times.size)
    seen[rng.choice(times.size, outliers, replace=False)] += 1.5
    return times, seen


@pytest.mark.parametrize("outliers", [0, 3, 12])
@pytest.mark.parametrize("seed", range(5))
def test_it_finds_what_scipy_finds(seed: int, outliers: int) -> None:
    times, seen = decay(seed, outliers)

    def residuals(z: np.ndarray) -> np.ndarray:
        return z[0] * np.exp(-z[1] * times) + z[2] - seen

    def slopes(z: np.ndarray) -> np.ndarray:
        fall = np.exp(-z[1] * times)
        return np.column_stack([fall, -z[0] * times * fall, np.ones_like(times)])

    start = np.array([1.0, 0.3, 0.0])
    ours = minimise(residuals, slopes, start, scale=0.05)
    theirs = least_squares(residuals, start, jac=slopes, loss="soft_l1", f_scale=0.05)
    np.testing.assert_allclose(ours, theirs.x, atol=2e-3)
    assert ours == pytest.approx([2.0, 0.7, 0.5], abs=0.08)


def test_a_prior_keeps_its_say_against_the_data() -> None:
    data = np.full(50, 10.0)

    def residuals(z: np.ndarray) -> np.ndarray:
        return np.concatenate([z[0] - data, 20.0 * z])

    def slopes(z: np.ndarray) -> np.ndarray:
        return np.concatenate([np.ones((50, 1)), [[20.0]]])

    held = minimise(residuals, slopes, np.array([10.0]), scale=0.1, data=50)
    loose = minimise(residuals, slopes, np.array([10.0]), scale=0.1)
    assert held[0] < 0.1 < 9.0 < loose[0]


def test_an_unknown_of_which_nothing_tells_stays_where_it_was() -> None:
    def residuals(z: np.ndarray) -> np.ndarray:
        return np.array([z[0] - 1.0, z[0] - 1.2])

    def slopes(z: np.ndarray) -> np.ndarray:
        return np.array([[1.0, 0.0], [1.0, 0.0]])

    found = minimise(residuals, slopes, np.array([5.0, 7.0]), scale=1.0)
    assert found == pytest.approx([1.1, 7.0], abs=1e-3)
