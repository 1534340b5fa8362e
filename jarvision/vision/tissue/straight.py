"""Where something flat begins along a straight, level line: the edges of what is stuck on a jar."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from jarvision.records import BoolArray, ByteArray, Float32Array
from jarvision.settings.tissue import LabelSettings

COARSE_MM = 0.55
"""Side of the cells on which lines are sought: two of the wall's own, so noise is halved."""

_GAP = 1
"""Cells on both sides of an edge that its blur may take."""

_INSIDE = 4
"""Height in cells of the strip that is flat ..."""

_BESIDE, _STRIPS = 4, 3
"""... and of each of the strips outside that differ from it, one beyond the other: so a mere line
(a ring of the glass, a crack) is no edge: behind it all is as before."""

_ACROSS = 3
"""Cells across that are looked at together."""

_WANDER = 4
"""The steepest change of each column is sought within so many cells of a line ..."""

_ON_LINE = 1
"""... and lies on it within so many."""


@dataclass(frozen=True)
class Line:
    """A level line below which (or above which) something flat begins.

    Attributes
    ----------
    row
        Where the edge is.
    first, last
        Columns that it spans, from the first to before the last.
    """

    row: int
    first: int
    last: int


def flat_edges(lab: Float32Array, settings: LabelSettings) -> tuple[BoolArray, BoolArray]:
    """Where ``(rows, cols)`` a flat strip begins right below, and where one ends right above."""
    square = summed(lab, lab)
    flat, beside = (_Strips.of(lab, square, tall) for tall in (_INSIDE, _BESIDE))
    outside = [_GAP + 1 + _BESIDE * number for number in range(_STRIPS)]
    above = [beside.at(1 - first - _BESIDE) for first in outside]
    below = [beside.at(first) for first in outside]
    top = _steps(flat.at(_GAP), above, settings)
    low = _steps(flat.at(1 - _GAP - _INSIDE), below, settings)
    return top, low


Moments = tuple[Float32Array, Float32Array]
"""Mean colours ``(rows, cols, 3)`` of strips, and the mean of their squares summed."""


@dataclass(frozen=True)
class _Strips:
    """Moments of the strips of one height that begin at each row."""

    mean: Float32Array
    square: Float32Array

    @classmethod
    def of(cls, lab: Float32Array, square: Float32Array, tall: int) -> _Strips:
        return cls(*(
            np.asarray(
                cv2.blur(part, (_ACROSS, tall), anchor=(-1, 0), borderType=cv2.BORDER_REPLICATE),
                dtype=np.float32,
            )
            for part in (lab, square)
        ))  # fmt: skip

    def at(self, first: int) -> Moments:
        """Of the strips whose first row lies so far below each place."""
        rows = np.clip(np.arange(len(self.mean)) + first, 0, len(self.mean) - 1)
        return self.mean[rows], self.square[rows]


def _steps(flat: Moments, outside: list[Moments], settings: LabelSettings) -> BoolArray:
    """Where a strip is flat, and all strips outside are unlike it."""
    colours, square = flat
    own = summed(colours, colours)
    off = [part - 2.0 * summed(colours, mean) for mean, part in outside]
    least = np.maximum(settings.step_min**2, settings.step_over_flat**2 * (square - own))
    return np.asarray(np.minimum.reduce(off) + own > least)


def summed(first: Float32Array, second: Float32Array) -> Float32Array:
    """The product of two pictures, its three channels added up."""
    return np.asarray(cv2.transform(first * second, np.ones((1, 3))), dtype=np.float32)


def straight_lines(edges: ByteArray, settings: LabelSettings) -> list[Line]:
    """Level lines of a length that labels have, along which most columns show it; longest first."""
    long = max(3, round(settings.long_min_mm / COARSE_MM))
    share = _share_along(edges, long)
    hit = (share >= settings.long_share).astype(np.uint8)
    if not hit.any():
        return []
    count, labels, stats, _ = cv2.connectedComponentsWithStats(hit, connectivity=8)
    lines = []
    for label in range(1, count):
        left, top, width, height = (int(v) for v in stats[label, :4])
        part = labels[top : top + height] == label
        row = top + int((share[top : top + height] * part).sum(axis=1).argmax())
        first, last = max(0, left - long // 2), min(edges.shape[1], left + width + long // 2)
        seen = np.flatnonzero(edges[max(0, row - 1) : row + 2, first:last].any(axis=0))
        first, last = first + int(seen[0]), first + int(seen[-1]) + 1
        if last - first >= long:
            lines.append(Line(row, first, last))
    return sorted(lines, key=lambda line: line.first - line.last)


def _share_along(edges: ByteArray, long: int) -> Float32Array:
    """Share of the columns within half a length to both sides that show the edge."""
    sums = [
        cv2.boxFilter(part, -1, (long, 1), normalize=False, borderType=cv2.BORDER_CONSTANT)
        for part in (edges.astype(np.float32), np.ones((1, edges.shape[1]), dtype=np.float32))
    ]
    return np.asarray(sums[0] / sums[1], dtype=np.float32)


def strip_colours(lab: Float32Array, line: Line, *, above: bool = False) -> Float32Array:
    """Mean colours ``(cols, 3)`` of the flat strip below a line, or above it."""
    first = line.row - _GAP - _INSIDE + 1 if above else line.row + _GAP
    return np.asarray(lab[max(0, first) : first + _INSIDE].mean(axis=0), dtype=np.float32)


def on_line(lab: Float32Array, row: int, columns: slice, settings: LabelSettings) -> float:
    """Share of the columns whose steepest change lies on the line at a row, 0 to 1.

    The edge of growth wanders by millimetres; that of paper does not.
    """
    first, last = row - _WANDER, row + _WANDER + 1
    if first < 1 or last >= len(lab):
        return 0.0
    rise = lab[first + 1 : last + 1, columns] - lab[first - 1 : last - 1, columns]
    change = summed(rise, rise)
    steep = change.max(axis=0) >= settings.step_min**2
    if not steep.any():
        return 0.0
    at = change.argmax(axis=0)
    return float(((np.abs(at - np.median(at[steep])) <= _ON_LINE) & steep).mean())
