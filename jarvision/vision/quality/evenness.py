"""How evenly the card is lit, from greys that are printed on both of its sides."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from jarvision.records import BoolArray, FloatArray, SwatchReadings
from jarvision.vision.card.layout import CardLayout

_DARKEST_LINEAR = 0.004
"""Greys darker than this in any channel are noise and stray light: one step of 8 bits."""


@dataclass(frozen=True)
class Evenness:
    """How the light changes over the card, as natural logarithms over its whole width or height.

    Attributes
    ----------
    strength
        ``(2,)`` of the light's strength: left to right, top to bottom.
    tint
        ``(2, 2)`` of its red over green and blue over green (rows), left to right and top to
        bottom (columns).
    """

    strength: FloatArray
    tint: FloatArray

    @property
    def ratio(self) -> float:
        """Brighter side over darker side of the card, at least 1."""
        return float(np.exp(np.abs(self.strength).max()))

    @property
    def tint_ratio(self) -> float:
        """Largest change of a colour ratio from side to side, at least 1."""
        return float(np.exp(np.abs(self.tint).max()))


def measure_evenness(
    readings: SwatchReadings, usable: BoolArray, *, layout: CardLayout
) -> Evenness | None:
    """Slopes of the light from pairs of equal greys; None with too few clean pairs.

    Equal greys need no reflectance, so a bad print does no harm. Each pair spans the card's width
    and, one way or the other, part of its height: any two pairs that lean differently give both
    slopes. The median over all such twos bears one or two spoiled swatches.
    """
    pairs = _grey_pairs(readings, usable, layout=layout)
    runs = np.diff(layout.centres_mm[pairs], axis=1)[:, 0] if len(pairs) else np.empty((0, 2))
    twos = np.array(
        [(i, j) for i, j in combinations(range(len(pairs)), 2) if runs[i, 1] * runs[j, 1] < 0.0]
    )
    if len(twos) == 0:
        return None
    rgb = np.log(np.maximum(readings.linear, _DARKEST_LINEAR))
    signals = np.stack([rgb.mean(axis=1), rgb[:, 0] - rgb[:, 1], rgb[:, 2] - rgb[:, 1]], axis=1)
    rises = np.diff(signals[pairs], axis=1)[:, 0]
    slopes = np.median(np.linalg.solve(runs[twos], rises[twos]), axis=0)
    change = slopes.T * np.array([layout.width_mm, layout.height_mm])
    return Evenness(strength=change[0], tint=change[1:])


def _grey_pairs(
    readings: SwatchReadings, usable: BoolArray, *, layout: CardLayout
) -> np.ndarray[tuple[int, int], np.dtype[np.intp]]:
    """Indices ``(n, 2)`` of equal greys, the left one first."""
    sides: dict[tuple[float, float, float], list[int]] = {}
    for index, swatch in enumerate(layout.swatches):
        bright = readings.linear[index].min() > _DARKEST_LINEAR
        if swatch.role == "grey" and usable[index] and bright:
            sides.setdefault(swatch.lab, []).append(index)
    pairs = [
        sorted(p, key=lambda i: layout.swatches[i].x_mm) for p in sides.values() if len(p) == 2
    ]
    return np.array(pairs, dtype=np.intp).reshape(-1, 2)
