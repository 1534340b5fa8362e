"""Thresholds of points counted by eye: how many, and from when on they put readings right."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from jarvision.settings.limits import Limits


@dataclass(frozen=True)
class CountSettings:
    """What counts of the grower's own are worth."""

    per_wall: Annotated[int, Limits(25, 100)] = 50
    """Points on a wall: with 50 a count is off by about 4 points of coverage, in two minutes; twice
    as many would take twice the time, and walls differ by as much."""

    least_walls: Annotated[int, Limits(2, 1000)] = 6
    """From so many walls on, drawn and counted to the end, readings of the shelf are put right."""

    prior_walls: Annotated[float, Limits(0, 1000)] = 6.0
    """The width of the intervals as read counts as much as so many counted walls."""

    least_stretch: Annotated[float, Limits(0, 1)] = 0.3
    """However well counts and readings agree, intervals keep this share of their width."""
