"""Counted points -> the coverage of each counted wall, and how far two counts of it agree."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain, combinations
from operator import itemgetter

from jarvision.base.statistics import Z95
from jarvision.register.counts import POINT_WORDS, CountedPoint


@dataclass(frozen=True)
class WallCount:
    """One wall, counted once by one person.

    ``weight`` is that of :class:`~jarvision.register.counts.CountedPoint`.
    """

    photo: str
    who: str
    round_: int
    white: int
    bare: int
    off_colour: int
    unsure: int
    sd_percent: float
    weight: float | None = None

    @property
    def of(self) -> int:
        """Points with an answer, whatever it was."""
        return self.white + self.bare + self.off_colour + self.unsure

    @property
    def told(self) -> int:
        """Points of which it could be told what stands there."""
        return self.of - self.unsure

    @property
    def percent(self) -> float:
        """Coverage, percent: the share of white among the points that could be told."""
        return 100.0 * self.white / self.told

    @property
    def low(self) -> float:
        """Low end of the 95 % interval, percent, were all points bare that could not be told."""
        return 100.0 * wilson(self.white, self.of)[0]

    @property
    def high(self) -> float:
        """High end, percent, were all of them white."""
        return 100.0 * wilson(self.white + self.unsure, self.of)[1]


def wilson(count: int, of: int) -> tuple[float, float]:
    """95 % interval of a share (Wilson 1927, J. Am. Stat. Assoc. 22:209-212).

    For points drawn at random; those of a regular grid scatter less, so that it is on the safe
    side.
    """
    share, weight = count / of, Z95**2 / of
    middle = (share + weight / 2) / (1 + weight)
    half = Z95 * math.sqrt(share * (1 - share) / of + weight / (4 * of)) / (1 + weight)
    return max(middle - half, 0.0), min(middle + half, 1.0)


def walls_of(points: Iterable[CountedPoint]) -> tuple[WallCount, ...]:
    """The walls that were counted to their end, by photo, person and round.

    One of whose points none could be told counts nowhere.
    """
    parts: dict[tuple[str, str, int], list[CountedPoint]] = {}
    for point in points:
        parts.setdefault((point.photo, point.who, point.round_), []).append(point)
    walls = (_wall(part) for part in parts.values() if is_finished(part))
    return tuple(wall for wall in walls if wall.told)


def is_finished(points: Sequence[CountedPoint]) -> bool:
    """Whether all points of a wall have an answer, in one round of one person."""
    return len(points) >= points[0].points


def _wall(points: Sequence[CountedPoint]) -> WallCount:
    answers = Counter(point.answer for point in points)
    first = points[0]
    return WallCount(
        photo=first.photo,
        who=first.who,
        round_=first.round_,
        white=answers["white"],
        bare=answers["bare"],
        off_colour=answers["off-colour"],
        unsure=answers["cannot tell"],
        sd_percent=100.0 * _sd(points),
        weight=first.weight,
    )


# --------------------------------------------------------------------------- how sure a count is
def _sd(points: Sequence[CountedPoint]) -> float:
    """Standard deviation of the share that a regular grid finds, were it laid again elsewhere.

    Each point is held against its neighbours on the grid: how often they differ says how ragged the
    white is at that pitch, which is what a grid can miss (successive differences, Wolter 2007,
    Introduction to Variance Estimation, ch. 8; from memory). Half the mean squared difference takes
    the place of the binomial ``p (1 - p)``, which it never exceeds. Points that could not be told
    may all be white, or none: a uniform share of them is added.
    """
    told = {point.place: point.answer == "white" for point in points
            if point.answer != "cannot tell"}  # fmt: skip
    if not told:
        return 1.0
    share = sum(told.values()) / len(told)
    pairs = _neighbours(list(told))
    differ = sum(told[one] != told[other] for one, other in pairs)
    ragged = (differ + 1) / (len(pairs) + 2) / 2  # Laplace's rule: none of few is not never
    spread = share * (1 - share) + 1 / (4 * len(told))
    unsure = 1.0 - len(told) / len(points)
    return math.sqrt(min(ragged, spread) / len(told) + unsure**2 / 12)


def _neighbours(
    places: Sequence[tuple[float, float]],
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Pairs of points that stand next to each other in a row or in a column of their grid."""
    pairs = []
    for along in (0, 1):
        lines: dict[float, list[tuple[float, float]]] = {}
        for place in places:
            lines.setdefault(place[1 - along], []).append(place)
        steps = [
            (one, other)
            for line in lines.values()
            for one, other in zip(sorted(line), sorted(line)[1:], strict=False)
        ]
        if steps:
            pitch = min(other[along] - one[along] for one, other in steps)
            pairs += [(a, b) for a, b in steps if b[along] - a[along] < 1.5 * pitch]
    return pairs


# --------------------------------------------------------------------------- two counts of one wall
@dataclass(frozen=True)
class Agreement:
    """Two counts of the same points.

    Attributes
    ----------
    kappa
        Cohen's, of the four answers; None where both gave one and the same answer throughout.
    difference_percent, sd_percent
        Coverage of the second count less that of the first, and its standard error: of the points
        on which one said white and the other did not (McNemar 1947, Psychometrika 12:153-157).
    """

    points: int
    alike: int
    kappa: float | None
    difference_percent: float
    sd_percent: float


def agreement(first: Iterable[CountedPoint], second: Iterable[CountedPoint]) -> Agreement | None:
    """Hold two counts of one wall, or of several, against each other; None without a common point.

    Kappa: Cohen 1960, Educ. Psychol. Meas. 20:37-46.
    """
    ours, theirs = ({(p.photo, p.place): p.answer for p in count} for count in (first, second))
    pairs = [(ours[key], theirs[key]) for key in ours if key in theirs]
    if not pairs:
        return None
    of = len(pairs)
    alike = sum(one == other for one, other in pairs)
    by_chance = sum(
        sum(one == word for one, _ in pairs) * sum(other == word for _, other in pairs)
        for word in POINT_WORDS
    ) / (of * of)
    gained = sum(one != "white" and other == "white" for one, other in pairs)
    lost = sum(one == "white" and other != "white" for one, other in pairs)
    return Agreement(
        points=of,
        alike=alike,
        kappa=None if by_chance == 1.0 else (alike / of - by_chance) / (1.0 - by_chance),
        difference_percent=100.0 * (gained - lost) / of,
        sd_percent=100.0 * math.sqrt(gained + lost - (gained - lost) ** 2 / of) / of,
    )


@dataclass(frozen=True)
class Repeat:
    """Walls that were counted twice: by whom, how many, and how far both counts agree."""

    people: tuple[str, str]
    walls: int
    found: Agreement

    @property
    def by_one(self) -> bool:
        """Whether one person counted them twice."""
        return self.people[0] == self.people[1]


def repeats_of(points: Iterable[CountedPoint]) -> tuple[Repeat, ...]:
    """Every two finished counts of the same wall held together, pooled by the people who counted.

    Of one person the earlier round comes first; of two people, whose first rounds are compared, the
    one whose name does.
    """
    counts: dict[str, dict[tuple[str, int], list[CountedPoint]]] = {}
    for point in points:
        wall = counts.setdefault(point.photo, {})
        wall.setdefault((point.who, point.round_), []).append(point)
    pooled: dict[tuple[str, str], list[tuple[list[CountedPoint], list[CountedPoint]]]] = {}
    for wall in counts.values():
        done = sorted(
            ((key, part) for key, part in wall.items() if is_finished(part)), key=itemgetter(0)
        )
        for (one, first), (other, second) in combinations(done, 2):
            if one[0] != other[0] and (one[1], other[1]) != (1, 1):
                continue
            pooled.setdefault((one[0], other[0]), []).append((first, second))
    found = []
    for people, pairs in sorted(pooled.items()):
        firsts, seconds = zip(*pairs, strict=True)
        both = agreement(chain(*firsts), chain(*seconds))
        if both is not None:
            found.append(Repeat(people, len(pairs), both))
    return tuple(found)


def first_counts(walls: Iterable[WallCount]) -> dict[str, WallCount]:
    """Of each wall the first count that was finished: repeats test the ruler, not the tool."""
    found: dict[str, WallCount] = {}
    for wall in walls:
        found.setdefault(wall.photo, wall)
    return found
