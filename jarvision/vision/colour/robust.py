"""Robust least squares for the two small fits of colour, which every photo goes through.

SciPy's ``least_squares`` finds the same, and spends two thirds of its time on other things than
these sums; the tests hold one against the other.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from jarvision.records import FloatArray

_STOP = 1e-6
"""A fit ends when a step gains less than this share: further ones move colours by under 0.01 %."""

_STEPS, _TRIES = 60, 12
_DAMPING_LEAST, _DAMPING_FALL = 1e-10, 0.1
_CURVATURE_MIN = 1e-12


def minimise(
    residuals: Callable[[FloatArray], FloatArray],
    slopes: Callable[[FloatArray], FloatArray],
    start: FloatArray,
    *,
    scale: float,
    data: int | None = None,
    damping: float = 1e-4,
) -> FloatArray:
    """Unknowns ``(k,)`` that make the sum of losses of ``residuals`` ``(n,)`` least.

    Levenberg's and Marquardt's damped steps (Marquardt 1963), with the robust loss worked into
    them as Triggs and others have it (Bundle adjustment, a modern synthesis, 2000, section 4.3).
    The damping falls as far as the gain was foretold (Nielsen 1999, Damping parameter in
    Marquardt's method; all from memory).

    Parameters
    ----------
    slopes
        Change ``(n, k)`` of the residuals with the unknowns.
    scale
        Residuals larger than this lose their say: the loss is soft L1,
        ``2 (sqrt(1 + (r / scale)^2) - 1)``.
    data
        The first so many residuals have this loss, the others their square: priors that were
        robust would be overruled. None: all have it.
    damping
        To begin with, as a share of each unknown's own curvature: much where the start is far off.
    """
    x = start
    rest = residuals(x)
    data = rest.size if data is None else data
    cost, first, second = _loss(rest, scale, data)
    for _ in range(_STEPS):
        change = slopes(x)
        downhill = -change.T @ (first * rest)
        curved = np.maximum(first + 2.0 * second * (rest / scale) ** 2, _CURVATURE_MIN)
        bend = change.T @ (curved[:, None] * change)
        own = np.diag(bend)
        own = np.diag(np.maximum(own, _CURVATURE_MIN * own.max()))  # what nothing tells of stays
        for _ in range(_TRIES):
            step = np.linalg.solve(bend + damping * own, downhill)
            foretold = float(step @ (2.0 * downhill - bend @ step)) / scale**2
            trial = x + step
            if foretold < _STOP * cost:
                return trial
            rest = residuals(trial)
            after, first, second = _loss(rest, scale, data)
            if after < cost:
                break
            damping *= 10.0
        else:
            return x
        x, gain, cost = trial, cost - after, after
        fall = max(_DAMPING_FALL, 1.0 - (2.0 * gain / foretold - 1.0) ** 3)
        damping = max(damping * fall, _DAMPING_LEAST)
        if gain < _STOP * cost:
            return x
    return x


def _loss(rest: FloatArray, scale: float, data: int) -> tuple[float, FloatArray, FloatArray]:
    """Sum of losses, and each loss's first and second change with the residual's square."""
    squares = (rest / scale) ** 2
    root = np.sqrt(1.0 + squares[:data])
    first, second = np.ones_like(rest), np.zeros_like(rest)
    first[:data] = 1.0 / root
    second[:data] = -0.5 / root**3
    return float(2.0 * (root - 1.0).sum() + squares[data:].sum()), first, second
