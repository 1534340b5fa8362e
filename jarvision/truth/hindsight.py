"""How often ``go`` and ``no-go`` were right, by what the grower found in the jars."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from jarvision.register.outcomes import JarOutcome

CONFIDENCE: Final = 0.95


@dataclass(frozen=True)
class Share:
    """How many of how many, with the interval of the share, percent; no interval of nothing."""

    count: int
    of: int
    low_percent: float | None
    high_percent: float | None

    @property
    def percent(self) -> float | None:
        """The share itself, percent; None of nothing."""
        return 100.0 * self.count / self.of if self.of else None


@dataclass(frozen=True)
class Hindsight:
    """Verdicts against outcomes, one jar each.

    Attributes
    ----------
    go
        Jars called go that were clean or harvested, of all called go.
    no_go
        Jars called no-go that were contaminated, of all called no-go.
    wrong_go, wrong_no_go
        The jars that were otherwise.
    undecided
        Jars with an outcome that were called wait or check: neither right nor wrong.
    without_verdict
        Jars with an outcome but no verdict from before it.
    discarded
        Jars that were thrown out, and nobody looked: they prove no verdict right or wrong.
    """

    go: Share
    no_go: Share
    wrong_go: tuple[str, ...]
    wrong_no_go: tuple[str, ...]
    undecided: int
    without_verdict: int
    discarded: int = 0


def look_back(jars: Iterable[JarOutcome]) -> Hindsight:
    """Count how often the verdicts were right."""
    told = tuple(jars)
    jars = tuple(jar for jar in told if jar.outcome != "discarded")
    go = [jar for jar in jars if jar.verdict == "go"]
    no_go = [jar for jar in jars if jar.verdict == "no-go"]
    wrong_go = tuple(jar.jar for jar in go if jar.outcome == "contaminated")
    wrong_no_go = tuple(jar.jar for jar in no_go if jar.outcome != "contaminated")
    return Hindsight(
        go=share(len(go) - len(wrong_go), len(go)),
        no_go=share(len(no_go) - len(wrong_no_go), len(no_go)),
        wrong_go=wrong_go,
        wrong_no_go=wrong_no_go,
        undecided=sum(jar.verdict in ("wait", "check") for jar in jars),
        without_verdict=sum(jar.verdict is None for jar in jars),
        discarded=len(told) - len(jars),
    )


def share(count: int, of: int) -> Share:
    """Return a share with its 95 % interval (Wilson 1927, J. Am. Stat. Assoc. 22:209-212).

    It holds for few jars too, and never says 100 % sure: 5 of 5 is 57 to 100 %.
    """
    if not of:
        return Share(count, of, None, None)
    from scipy.stats import binomtest

    ends = binomtest(count, of).proportion_ci(confidence_level=CONFIDENCE, method="wilson")
    return Share(count, of, 100.0 * float(ends.low), 100.0 * float(ends.high))
