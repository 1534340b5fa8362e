"""Growth curves made from a shape of unit time and height, in asymptote A, slope m and lag L.

Nucleation and growth (:func:`kjma`), a front that crosses the wall at one speed (:data:`FRONT`),
and discs that grow without meeting until the wall ends (:data:`DISCS`). The last two end sharply,
as walls do that few fronts fill; their corners are rounded a little, so that they can be fitted.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from jarvision.records import FloatArray

CurveFormula = Callable[[FloatArray, FloatArray, FloatArray, FloatArray], FloatArray]
CurveInverse = Callable[[float, FloatArray, FloatArray, FloatArray], FloatArray]

SHARPNESS: Final = 14.0
"""A corner is rounded over about this part of the whole: walls are never quite even."""


@dataclass(frozen=True)
class Shape:
    """A curve from 0 to 1 that starts about time 0, its inverse, and where it is steepest."""

    curve: Callable[[FloatArray], FloatArray]
    inverse: Callable[[FloatArray], FloatArray]
    steep: float
    level: float
    slope: float

    @classmethod
    def of(
        cls,
        curve: Callable[[FloatArray], FloatArray],
        inverse: Callable[[FloatArray], FloatArray],
    ) -> Shape:
        """A shape whose steepest place is looked up on a fine grid of the unit time."""
        x = np.linspace(0.0, 1.5, 150_001)
        y = curve(x)
        slopes = np.gradient(y, x)
        at = int(np.argmax(slopes))
        return cls(curve, inverse, float(x[at]), float(y[at]), float(slopes[at]))

    def in_time(self) -> tuple[CurveFormula, CurveInverse]:
        """The curve and its inverse in (A, m, L): L is where the steepest tangent meets zero."""

        def origin(a: FloatArray, m: FloatArray, lag: FloatArray) -> tuple[FloatArray, FloatArray]:
            tau = a * self.slope / m
            return lag + a * self.level / m - tau * self.steep, tau

        def curve(t: FloatArray, a: FloatArray, m: FloatArray, lag: FloatArray) -> FloatArray:
            t0, tau = origin(a, m, lag)
            y: FloatArray = a * self.curve(np.clip((t - t0) / tau, -50.0, 50.0))
            return y

        def time(y: float, a: FloatArray, m: FloatArray, lag: FloatArray) -> FloatArray:
            t0, tau = origin(a, m, lag)
            with np.errstate(divide="ignore", invalid="ignore"):
                reached = t0 + tau * self.inverse(np.divide(y, a))
            return np.where(np.greater(a, y), reached, np.inf)

        return curve, time


def kjma(n: int) -> Shape:
    """The shape of nucleation and growth, ``1 - exp(-x^n)``.

    Kolmogorov 1937, Johnson & Mehl 1939, Avrami 1939 to 1941: discs that start at random places
    and grow at one speed until they meet, as mycelium does from the grains of spawn. n = 2: all
    start at once; n = 3: they start at a steady rate. The largest slope lies at
    ``(1 - 1/n)^(1/n)``, where the exponent is ``1 - 1/n``.
    """
    steep = (1 - 1 / n) ** (1 / n)
    level = 1 - math.exp(-(1 - 1 / n))

    def curve(x: FloatArray) -> FloatArray:
        return np.asarray(-np.expm1(-(np.maximum(x, 0.0) ** n)))

    def inverse(y: FloatArray) -> FloatArray:
        return np.asarray((-np.log1p(-y)) ** (1 / n))

    return Shape(curve, inverse, steep, level, n * steep ** (n - 1) * (1 - level))


def _soft(x: FloatArray) -> FloatArray:
    """Zero below zero, x above, with a rounded corner (softplus)."""
    return np.asarray(np.logaddexp(0.0, SHARPNESS * x) / SHARPNESS)


def _front(x: FloatArray) -> FloatArray:
    return _soft(x) - _soft(x - 1.0)


def _front_time(y: FloatArray) -> FloatArray:
    """The inverse: with u = exp(k x), (1 + u) / (1 + u exp(-k)) = exp(k y)."""
    k = SHARPNESS
    return np.asarray(np.log(np.expm1(k * y) / -np.expm1(k * (y - 1.0))) / k)


_CORNER: Final = float(_soft(np.ones(1))[0])


def _discs(x: FloatArray) -> FloatArray:
    return 1.0 - _soft(1.0 - np.maximum(x, 0.0) ** 2) / _CORNER


def _discs_time(y: FloatArray) -> FloatArray:
    k = SHARPNESS
    return np.asarray(np.sqrt(1.0 - np.log(np.expm1(k * _CORNER * (1.0 - y))) / k))


FRONT: Final = Shape(_front, _front_time, 0.5, 0.5, math.tanh(SHARPNESS / 4))
"""Ground won at one speed until the wall ends: a front from above, layers that close."""

DISCS: Final = Shape.of(_discs, _discs_time)
"""Ground won in proportion to time: a few discs that do not meet before the wall is full."""
