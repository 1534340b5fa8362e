"""Contamination and yield by batch, spawn source, substrate and species, with their intervals."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import Final, Literal

from jarvision.records import JarEntry
from jarvision.register.outcomes import JarOutcome
from jarvision.truth.hindsight import CONFIDENCE, Share, share

Grouping = Literal["batch", "spawn source", "substrate", "species"]
FEW_JARS: Final = 5
"""Of fewer jars nothing can be said but what became of each: the interval of 0 of 4 contaminated
reaches to 49 %."""


@dataclass(frozen=True)
class Mean:
    """Mean of some numbers, with its interval where two or more show how much they vary."""

    of: int
    value: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class JarGroup:
    """Jars with an outcome that share something.

    Attributes
    ----------
    contaminated
        Jars that were contaminated, of all that were looked into.
    discarded
        Jars that were thrown out, and nobody looked: they count nowhere else.
    fresh_grams
        Fresh weight a harvested jar, g; None where none was weighed.
    efficiency_percent
        Biological efficiency a harvested jar; None where a weight is missing of each.
    """

    name: str
    jars: tuple[str, ...]
    contaminated: Share
    discarded: int
    fresh_grams: Mean | None
    efficiency_percent: Mean | None

    @property
    def few(self) -> bool:
        """Whether they are too few to say anything of others like them."""
        return self.contaminated.of < FEW_JARS


def group_all(jars: Iterable[JarOutcome]) -> JarGroup:
    """All jars with an outcome together."""
    return _group("all jars", tuple(jars))


def group_by(
    jars: Iterable[JarOutcome], register: Mapping[str, JarEntry]
) -> dict[Grouping, tuple[JarGroup, ...]]:
    """Groups of the jars with an outcome; a jar of which the register does not tell is in none.

    A batch is what was started alike: kind, species, substrate and day.
    """
    told = [(jar, register[jar.jar]) for jar in jars if jar.jar in register]
    found: dict[Grouping, tuple[JarGroup, ...]] = {}
    for grouping, name_of in _NAMES.items():
        members: dict[str, list[JarOutcome]] = {}
        for jar, entry in told:
            if name := name_of(entry):
                members.setdefault(name, []).append(jar)
        found[grouping] = tuple(_group(name, tuple(members[name])) for name in sorted(members))
    return found


def batch_name(entry: JarEntry) -> str:
    """What was started with it: the day, kind, species and substrate; empty without a day."""
    if entry.started is None:
        return ""
    parts = (entry.kind, entry.species.casefold(), entry.contents)
    return f"{entry.started}, {' '.join(part for part in parts if part)}"


_NAMES: Final[Mapping[Grouping, Callable[[JarEntry], str]]] = {
    "batch": batch_name,
    "spawn source": lambda entry: entry.parent,
    "substrate": lambda entry: entry.contents,
    "species": lambda entry: entry.species.casefold(),
}


def _group(name: str, jars: tuple[JarOutcome, ...]) -> JarGroup:
    seen = [jar for jar in jars if jar.outcome != "discarded"]
    efficiencies = [jar.biological_efficiency_percent for jar in jars]
    return JarGroup(
        name=name,
        jars=tuple(jar.jar for jar in jars),
        contaminated=share(sum(jar.outcome == "contaminated" for jar in seen), len(seen)),
        discarded=len(jars) - len(seen),
        fresh_grams=mean([jar.fresh_grams for jar in jars if jar.fresh_grams is not None]),
        efficiency_percent=mean([percent for percent in efficiencies if percent is not None]),
    )


def mean(values: list[float]) -> Mean | None:
    """Return a mean with its 95 % interval by Student's t (1908, Biometrika 6:1-25).

    It takes jars as drawn from a normal distribution, which weights of one batch are about (common
    practice, no source); what lies below nought is left off.
    """
    if not values:
        return None
    middle = fmean(values)
    if len(values) == 1:
        return Mean(1, middle)
    from scipy.stats import t

    half = float(t.ppf((1 + CONFIDENCE) / 2, len(values) - 1)) * stdev(values)
    half /= math.sqrt(len(values))
    return Mean(len(values), middle, max(middle - half, 0.0), middle + half)
