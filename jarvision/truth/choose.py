"""Which walls to count next: those that teach most and, by lot, any other, with known chances.

Every wall keeps one random number for good, drawn from its photo's content, and has a chance: half
of it is the same for all, half goes by what a count of it teaches. Walls come in the order of
number over chance, and whoever counts the first ``n`` of that list has drawn a sample with chances
in proportion (order sampling with permanent random numbers: Ohlsson 1998, J. Off. Stat. 14:149-162;
Rosén 1997, J. Stat. Plan. Inference 62:159-191; both from memory). The list grows at its end and is
the same however often it is asked for, so nobody can draw again until a wall suits them. The equal
half bounds the weights: no wall counts for more than two (defensive mixture, Hesterberg 1995,
Technometrics 37:185-194; from memory).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from jarvision.truth.points import permanent_number

BAND_POINTS: Final = 20.0
"""Width of the bands of coverage over which counts are spread."""

EQUAL_SHARE: Final = 0.5
"""Share of each wall's chance that is the same for all."""


@dataclass(frozen=True)
class Candidate:
    """A wall that can be counted, as it was read.

    ``contents`` are the words of the register for what stands in the jar: substrate and species.
    """

    photo: str
    percent: float
    low: float
    high: float
    contents: tuple[str, str] = ("", "")


@dataclass(frozen=True)
class Pick:
    """A wall in the list of those to count; ``weight`` is what its count will stand for."""

    candidate: Candidate
    weight: float


def in_order(candidates: Sequence[Candidate]) -> tuple[Pick, ...]:
    """All walls in the order in which to count them."""
    if not candidates:
        return ()
    worth = _worth(candidates)
    total, even = math.fsum(worth), 1.0 / len(candidates)
    chances = [EQUAL_SHARE * even + (1 - EQUAL_SHARE) * each / total for each in worth]
    ranked = sorted(
        zip(candidates, chances, strict=True),
        key=lambda pair: permanent_number(pair[0].photo) / pair[1],
    )
    return tuple(Pick(wall, even / chance) for wall, chance in ranked)


def _worth(candidates: Sequence[Candidate]) -> list[float]:
    """What a count of each wall teaches, in no unit.

    The more, the wider its interval, the fewer walls lie in its band of coverage, and the fewer
    hold such contents.
    """
    bands = Counter(_band(wall) for wall in candidates)
    contents = Counter(wall.contents for wall in candidates)
    return [
        max(wall.high - wall.low, 1.0) / math.sqrt(bands[_band(wall)] * contents[wall.contents])
        for wall in candidates
    ]


def _band(wall: Candidate) -> int:
    return min(int(wall.percent / BAND_POINTS), int(100.0 / BAND_POINTS) - 1)
