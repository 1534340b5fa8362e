"""Counted walls against their readings: bias, concordance, error, how many intervals hold."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from jarvision.base.statistics import Z95
from jarvision.records import JarEntry
from jarvision.register.counts import CountedPoint
from jarvision.truth.adjust import FEWEST_WALLS, Adjustment, Compared, Rectifier, rectify
from jarvision.truth.hindsight import Share, share

Sort = Literal["substrate", "species"]


@dataclass(frozen=True)
class ComparedJar:
    """A counted wall with its photo and what the register says of its jar."""

    photo: str
    entry: JarEntry
    pair: Compared


@dataclass(frozen=True)
class ShelfCounts:
    """All that was counted on a shelf, held against what is read of the same photos today.

    Attributes
    ----------
    points
        Those that count.
    compared
        Walls that were counted to their end and are read by the network of today, first counts.
    left_out
        How many finished walls are not: their photos are gone, or cannot be read any more.
    adjustment
        How readings are put right; None before enough walls were counted.
    """

    points: tuple[CountedPoint, ...]
    compared: tuple[ComparedJar, ...]
    left_out: int
    adjustment: Adjustment | None


@dataclass(frozen=True)
class ErrorFigures:
    """How far readings are off, over some counted walls; all but counts in points of coverage.

    Attributes
    ----------
    bias
        What must be added to readings, from the walls that were drawn; None of fewer than two.
    mean_difference, spread
        Of reading less count, over all walls; ``spread`` is None of one wall.
    error, counting
        Root mean square of the differences, and what counting itself would give with readings that
        are right.
    concordance
        Lin's; None of fewer than three walls.
    hold
        Intervals that hold, the error of the count taken into account.
    """

    name: str
    walls: int
    points: int
    bias: Rectifier | None
    mean_difference: float
    spread: float | None
    error: float
    counting: float
    concordance: float | None
    hold: Share

    @property
    def own_error(self) -> float:
        """Error of the readings without that of the counts, points."""
        return math.sqrt(max(self.error**2 - self.counting**2, 0.0))

    @property
    def limits(self) -> tuple[float, float] | None:
        """Limits of agreement: 95 % of differences (Bland and Altman 1986, Lancet 1:307-310)."""
        if self.spread is None:
            return None
        half = Z95 * self.spread
        return self.mean_difference - half, self.mean_difference + half


def figures(name: str, jars: Sequence[ComparedJar]) -> ErrorFigures:
    """Hold counts and readings of one wall or more against each other."""
    pairs = [jar.pair for jar in jars]
    read = np.array([pair.read.percent for pair in pairs])
    count = np.array([pair.count.percent for pair in pairs])
    scatter = np.array([pair.count.sd_percent for pair in pairs])
    off = read - count
    drawn = [(pair.difference, pair.count.weight) for pair in pairs if pair.count.weight]
    many = len(drawn) >= FEWEST_WALLS
    return ErrorFigures(
        name=name,
        walls=len(pairs),
        points=sum(pair.count.of for pair in pairs),
        bias=rectify(*map(np.array, zip(*drawn, strict=True))) if many else None,
        mean_difference=float(off.mean()),
        spread=float(off.std(ddof=1)) if len(pairs) > 1 else None,
        error=float(np.sqrt(np.mean(off**2))),
        counting=float(np.sqrt(np.mean(scatter**2))),
        concordance=concordance(read.tolist(), count.tolist()),
        hold=share(sum(map(_holds, pairs)), len(pairs)),
    )


def _holds(pair: Compared) -> bool:
    """Whether reading and count agree within what both say of themselves."""
    off = pair.difference
    side = pair.read.high - pair.read.percent if off > 0 else pair.read.percent - pair.read.low
    return abs(off) <= math.hypot(side, Z95 * pair.count.sd_percent)


def concordance(ours: Sequence[float], theirs: Sequence[float]) -> float | None:
    """Lin's concordance correlation (Lin 1989, Biometrics 45:255-268).

    None of fewer than three walls, and where both are one and the same constant.
    """
    if len(ours) < 3:
        return None
    x, y = np.array(ours), np.array(theirs)
    apart = float(x.var() + y.var() + (x.mean() - y.mean()) ** 2)
    if apart == 0.0:
        return None
    return 2.0 * float(np.mean((x - x.mean()) * (y - y.mean()))) / apart


_SORTS: Final[Mapping[Sort, Callable[[JarEntry], str]]] = {
    "substrate": lambda entry: entry.contents,
    "species": lambda entry: entry.species.casefold(),
}


def figures_by(jars: Iterable[ComparedJar]) -> dict[Sort, tuple[ErrorFigures, ...]]:
    """The figures by kind of contents and by species, where the register tells them."""
    told = tuple(jars)
    found: dict[Sort, tuple[ErrorFigures, ...]] = {}
    for sort, name_of in _SORTS.items():
        members: dict[str, list[ComparedJar]] = {}
        for jar in told:
            if name := name_of(jar.entry):
                members.setdefault(name, []).append(jar)
        found[sort] = tuple(figures(name, members[name]) for name in sorted(members))
    return found
