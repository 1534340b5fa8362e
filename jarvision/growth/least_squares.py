"""Small bounded least squares: a few parameters, some readings, all trial curves in one call.

Levenberg 1944, Marquardt 1963 (from memory), with derivatives from differences. The robust loss is
``soft_l1``, ``2 (sqrt(1 + z) - 1)`` of a squared residual z: a bad reading pulls little.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from jarvision.records import BoolArray, FloatArray

_STEP: Final = 1e-5  # of a parameter, for its central difference
_MOST_STEPS: Final = 100


@dataclass(frozen=True)
class Problem:
    """What is to be fitted.

    Attributes
    ----------
    residuals
        Of ``(k, p)`` parameters, in standard deviations, ``(k, r)``.
    robust
        ``(r,)`` which of them have the robust loss; the others count by their plain squares.
    low, high
        ``(p,)`` bounds.
    """

    residuals: Callable[[FloatArray], FloatArray]
    robust: BoolArray
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True)
class Solution:
    """``(p,)`` parameters, the loss there, and its ``(p, p)`` curvature (half the Hessian)."""

    parameters: FloatArray
    loss: float
    curvature: FloatArray


def solve(problem: Problem, start: FloatArray, tolerance: float) -> Solution:
    """Minimise the loss from a start within the bounds.

    ``tolerance``: relative change of loss and parameters at which the search ends.
    """
    at, damping = start, 1e-3
    loss, slope, curvature = _look(problem, at)
    for _ in range(_MOST_STEPS):
        free = ((at > problem.low) | (slope < 0)) & ((at < problem.high) | (slope > 0))
        step = np.zeros_like(at)
        part = np.ix_(free, free)
        damped = curvature[part] + damping * np.diag(np.diag(curvature)[free] + 1e-12)
        step[free] = -np.linalg.lstsq(damped, slope[free], rcond=None)[0]
        new = np.clip(at + step, problem.low, problem.high)
        tried = _loss(problem, problem.residuals(new[None]))[0]
        moved = np.max(np.abs(new - at) / (np.abs(at) + 1e-3))
        if tried <= loss:
            gained = loss - tried
            at, damping = new, max(damping / 5.0, 1e-12)
            loss, slope, curvature = _look(problem, at)
            if gained <= tolerance * (loss + 1e-12) and moved <= max(tolerance, 1e-9) ** 0.5:
                break
        elif moved <= 1e-9:
            break
        else:
            damping *= 4.0
    return Solution(at, float(loss), curvature)


def _loss(problem: Problem, residuals: FloatArray) -> FloatArray:
    z = residuals**2
    return np.asarray(np.where(problem.robust, 2 * (np.sqrt(1 + z) - 1), z).sum(axis=-1))


def _look(problem: Problem, at: FloatArray) -> tuple[float, FloatArray, FloatArray]:
    """The loss at a place, half its gradient, and half its (Gauss-Newton) Hessian."""
    size = _STEP * np.maximum(np.abs(at), 1e-2)
    steps = np.diag(size)
    found = problem.residuals(np.vstack([at[None], at + steps, at - steps]))
    here, count = found[0], len(at)
    jacobian = (found[1 : count + 1] - found[count + 1 :]) / (2 * size[:, None])
    z = here**2
    pull = np.where(problem.robust, (1 + z) ** -0.5, 1.0)
    bend = np.where(problem.robust, (1 + z) ** -1.5, 1.0)
    loss = float(_loss(problem, here))
    return loss, (jacobian * pull) @ here, (jacobian * bend) @ jacobian.T
