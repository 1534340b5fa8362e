"""Where the names of a chart's lines stand: none over another, none led to by what looks like data.

Lines that reach the last day are named in a column beyond it. One that ends before is named at its
end: a leader from there to the column would read as data.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

# In heights of a line of text.
NEAR_LEVEL: Final = 0.6  # nearer to its line's end than this a name needs no leader
ABOVE, BELOW = 0.8, 1.6  # from the end of a line to the foot of a name beside it


@dataclass(frozen=True)
class LineEnd:
    """The end of a line, in the chart's days and percent, and the width of its name in days."""

    name: str
    day: float
    percent: float
    width: float


@dataclass(frozen=True)
class Place:
    """Where a name stands: the left of its baseline; ``leader``: whether a line leads there."""

    day: float
    percent: float
    leader: bool = False


def column_places(
    ends: Sequence[LineEnd], *, day: float, step: float, top: float
) -> dict[str, Place]:
    """Names in a column, ``step`` apart and below ``top``, near their lines' ends."""
    ranked = sorted(ends, key=lambda end: end.percent)
    levels: list[float] = []
    for end in ranked:
        wanted = end.percent - step / 2.6
        levels.append(max(wanted, levels[-1] + step) if levels else max(wanted, 0.0))
    limit = top - step
    for at in reversed(range(len(levels))):
        levels[at] = min(levels[at], limit)
        limit = levels[at] - step
    return {
        end.name: Place(day, level, abs(level + step / 2.6 - end.percent) > NEAR_LEVEL * step)
        for end, level in zip(ranked, levels, strict=True)
    }


def places_at_ends(ends: Sequence[LineEnd], *, step: float, top: float) -> dict[str, Place]:
    """Names just above the ends of their lines, or just below; where others stand, farther off."""
    found: dict[str, Place] = {}
    taken: list[tuple[float, float, float]] = []
    rows = [step * row for row in range(int(top / step))]
    for end in sorted(ends, key=lambda end: -end.percent):
        left = max(end.day - end.width / 2, 0.0)
        right = left + end.width
        others = [row for first, last, row in taken if first < right and left < last]
        above, below = end.percent + ABOVE * step, end.percent - BELOW * step
        near = sorted(rows, key=lambda row: abs(row - above))
        free = (
            row
            for row in (above, below, *near)
            if 0.0 <= row <= top - step and all(abs(row - other) >= step for other in others)
        )
        row = next(free, near[0])
        taken.append((left, right, row))
        found[end.name] = Place(left, row)
    return found
