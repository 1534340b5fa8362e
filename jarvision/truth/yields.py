"""What jars gave: by flush, against jars like them, and against how they stood before.

All of it is of this grower's own jars, and of few of them: every figure has its interval.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import NormalDist, fmean, stdev
from typing import Final

from jarvision.records import FruitingDay, JarEntry, JarStory
from jarvision.register.outcomes import JarOutcome
from jarvision.settings.fruiting import FruitingSettings
from jarvision.truth.groups import Mean, mean
from jarvision.truth.hindsight import CONFIDENCE

FEWEST_PEERS: Final = 3
"""Of fewer jars like it no range can be told in which a next one would lie."""

FEWEST_PAIRS: Final = 5
"""Of fewer jars nothing at all can be said of how two things go together."""


@dataclass(frozen=True)
class Flush:
    """Pickings of a few days together; ``number`` is 1 for the first."""

    number: int
    first: date
    last: date
    grams: float


@dataclass(frozen=True)
class Efficiency:
    """A jar's biological efficiency beside those of the other jars of its species and substrate.

    ``low_percent`` and ``high_percent`` are where the next such jar would lie with 95 % chance, by
    the others; None where these are too few.
    """

    jar: str
    percent: float
    like: str
    others: int
    others_percent: float | None = None
    low_percent: float | None = None
    high_percent: float | None = None


@dataclass(frozen=True)
class Together:
    """How yields go together with something: Spearman's rank correlation, 95 % interval.

    ``rho`` and its ends are None where the jars are too few, or all alike.
    """

    what: str
    jars: int
    rho: float | None = None
    low: float | None = None
    high: float | None = None

    @property
    def proven(self) -> bool:
        """Whether the interval leaves out that they have nothing to do with each other."""
        return self.low is not None and self.high is not None and self.low * self.high > 0


def flushes_of(jar: JarOutcome, settings: FruitingSettings | None = None) -> tuple[Flush, ...]:
    """The jar's flushes: pickings few days apart are one."""
    apart = (settings or FruitingSettings()).same_flush_days
    found: list[Flush] = []
    for day, grams in jar.flushes:
        if found and (day - found[-1].last).days <= apart:
            last = found[-1]
            found[-1] = Flush(last.number, last.first, day, last.grams + grams)
        else:
            found.append(Flush(len(found) + 1, day, day, grams))
    return tuple(found)


def mean_by_flush(
    jars: Iterable[JarOutcome], settings: FruitingSettings | None = None
) -> dict[int, Mean]:
    """Fresh weight of the first, second, ... flush, g, over the jars that gave one."""
    grams: dict[int, list[float]] = {}
    for jar in jars:
        for flush in flushes_of(jar, settings):
            grams.setdefault(flush.number, []).append(flush.grams)
    return {number: told for number, own in sorted(grams.items()) if (told := mean(own))}


def among_its_like(
    jars: Iterable[JarOutcome], register: Mapping[str, JarEntry]
) -> tuple[Efficiency, ...]:
    """Each jar's biological efficiency beside those of its species and substrate."""
    known = {
        jar.jar: (percent, _like(register[jar.jar]))
        for jar in jars
        if (percent := jar.biological_efficiency_percent) is not None and jar.jar in register
    }
    found = []
    for name, (percent, like) in known.items():
        others = [p for other, (p, kind) in known.items() if kind == like and other != name]
        found.append(_beside(name, percent, like, others))
    return tuple(found)


def _like(entry: JarEntry) -> str:
    on = f" on {entry.contents}" if entry.substrate else ""
    return f"{entry.species.casefold() or 'an unknown species'}{on}"


def _beside(jar: str, percent: float, like: str, others: Sequence[float]) -> Efficiency:
    """With the interval of one more draw from a normal distribution (Student's t)."""
    if len(others) < FEWEST_PEERS:
        return Efficiency(jar, percent, like, len(others), fmean(others) if others else None)
    from scipy.stats import t

    middle, many = fmean(others), len(others)
    half = float(t.ppf((1 + CONFIDENCE) / 2, many - 1)) * stdev(others) * math.sqrt(1 + 1 / many)
    return Efficiency(jar, percent, like, many, middle, max(middle - half, 0.0), middle + half)


# --------------------------------------------------------------------------- what goes together
def _surface_before(story: JarStory) -> float | None:
    """Coverage of the surface on its last day before fruiting conditions, percent."""
    before = {d.day for d in _days(story) if d.stage in ("recovering", "ready")}
    levels = [top.top.coverage.percent for top in story.history.tops if top.day in before]
    return levels[-1] if levels else None


def _wall_covered(story: JarStory) -> float | None:
    """Coverage of the wall on the last photo before pins, percent."""
    pins = next((d.day for d in _days(story) if d.stage in ("pinning", "hood-off")), None)
    levels = [d.level.percent for d in story.history.days if pins is None or d.day < pins]
    return levels[-1] if levels else None


def _rest_days(story: JarStory) -> float | None:
    """Days from a covered surface to fruiting conditions."""
    ready = story.profile.ready_percent
    full = next((t.day for t in story.history.tops if t.top.coverage.percent >= ready), None)
    begun = next((d.day for d in _days(story) if d.stage not in ("recovering", "ready")), None)
    return None if full is None or begun is None else float(max((begun - full).days, 0))


def _moist_share(story: JarStory) -> float | None:
    """Share of the days in fruiting conditions, before pins, on which it was moist enough."""
    waiting = [d for d in _days(story) if d.flush == 1 and d.stage in ("dry", "moist", "wet")]
    return fmean(d.stage == "moist" for d in waiting) if waiting else None


def _days(story: JarStory) -> tuple[FruitingDay, ...]:
    return story.fruiting.days if story.fruiting else ()


_AGAINST: Final[Mapping[str, Callable[[JarStory], float | None]]] = {
    "surface covered before fruiting": _surface_before,
    "wall covered before pins": _wall_covered,
    "days of rest before fruiting": _rest_days,
    "share of days moist enough": _moist_share,
}


def go_together(
    stories: Iterable[JarStory], outcomes: Mapping[str, JarOutcome]
) -> tuple[Together, ...]:
    """How yields go together with coverage, rest and moisture, over the jars that were weighed.

    The yield is the biological efficiency where all of them have one, else the fresh weight.
    """
    told = [(story, outcomes[jar]) for story in stories if (jar := story.verdict.jar) in outcomes]
    weighed = [(story, jar) for story, jar in told if jar.fresh_grams is not None]
    dry = all(jar.dry_grams is not None for _, jar in weighed)
    yields = [
        (story, jar.biological_efficiency_percent if dry else jar.fresh_grams)
        for story, jar in weighed
    ]
    found = []
    for what, of in _AGAINST.items():
        pairs = [(x, y) for story, y in yields if y is not None and (x := of(story)) is not None]
        found.append(_together(what, pairs))
    return tuple(found)


def _together(what: str, pairs: Sequence[tuple[float, float]]) -> Together:
    """Spearman's rho; its interval by Bonett and Wright 2000 (Psychometrika 65:23-28)."""
    many = len(pairs)
    if many < FEWEST_PAIRS or any(len(set(side)) < 2 for side in zip(*pairs, strict=True)):
        return Together(what, many)
    from scipy.stats import spearmanr

    rho = float(spearmanr(*zip(*pairs, strict=True)).statistic)
    z = math.atanh(max(min(rho, 0.9999), -0.9999))
    half = NormalDist().inv_cdf((1 + CONFIDENCE) / 2) * math.sqrt((1 + rho**2 / 2) / (many - 3))
    return Together(what, many, rho, math.tanh(z - half), math.tanh(z + half))
