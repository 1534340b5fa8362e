"""How the largest cap widens from a pin of 3 mm to the day on which its edge begins to flatten.

Each law takes the share of that time which has passed and gives the share of the width at that day;
``logistic`` and ``gompertz`` are those that the package fits, too. ``richards`` and
``bertalanffy`` are from memory (Richards 1959, J. Exp. Bot. 10:290-301; von Bertalanffy 1938, Hum.
Biol. 10:181-213), ``weather`` is a logistic cap whose pace changes from day to day.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

import numpy as np

from jarvision.records import FloatArray

Law = Callable[[FloatArray, float, float], FloatArray]
"""``(share of the time, width of the pin / width when flat, share of full width when flat)``."""


def _between(curve: Callable[[FloatArray], FloatArray], u: FloatArray, first: float) -> FloatArray:
    """A rising curve over 0 to 1, stretched so that it begins at ``first`` and is 1 at 1."""
    ends = curve(np.array([0.0, 1.0]))
    return first + (1.0 - first) * (curve(u) - ends[0]) / (ends[1] - ends[0])


def logistic(u: FloatArray, first: float, share: float) -> FloatArray:
    """Exactly logistic."""
    low, high = (math.log(s / (1 - s)) for s in (first * share, share))
    return 1.0 / (1.0 + np.exp(-(low + (high - low) * u))) / share


def gompertz(u: FloatArray, first: float, share: float) -> FloatArray:
    """Exactly Gompertz."""
    low, high = (-math.log(-math.log(s)) for s in (first * share, share))
    return np.exp(-np.exp(-(low + (high - low) * u))) / share


def richards(u: FloatArray, first: float, share: float) -> FloatArray:
    """Slow at first, then fast and soon full: Richards with an exponent of 3."""
    low, high = (math.log(s**3 / (1 - s**3)) for s in (first * share, share))
    return (1.0 + np.exp(-(low + (high - low) * u))) ** (-1 / 3) / share


def bertalanffy(u: FloatArray, first: float, share: float) -> FloatArray:
    """Fastest at first, slower and slower."""
    pace = -math.log(1.0 - share)
    return _between(lambda v: 1.0 - np.exp(-pace * v), u, first)


def late_rush(u: FloatArray, first: float, share: float) -> FloatArray:
    """Ever faster until the edge flattens."""
    return _between(lambda v: np.exp(2.2 * v), u, first)


TUNED_ON: Final[dict[str, Law]] = {"logistic": logistic, "bertalanffy": bertalanffy}
JUDGED_ON: Final[dict[str, Law]] = {
    **TUNED_ON,
    "gompertz": gompertz,
    "richards": richards,
    "late rush": late_rush,
}
