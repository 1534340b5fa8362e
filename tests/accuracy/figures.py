"""Figures of merit over many answered photos, as text and as Markdown."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from jarvision.records import ByteArray, Coverage, FloatArray

from .matching import SIZES

CAPS_CM2, CAPS_SPECK_CM2 = 0.1, 0.02
"""Caps from this area on should be found; less than the second is as good as none."""


@dataclass(frozen=True)
class Answer:
    """One photo: truth and what the package said. ``reason`` is empty when it gave a reading.

    ``soft_seen_percent`` is the true soft coverage of what could be seen, ``caps_cm2`` the true
    area of caps of fruit bodies in view, ``pins`` whether some were told.
    """

    name: str
    fault: str
    true_percent: float
    true_seen_percent: float
    reason: str = ""
    coverage: Coverage | None = None
    agreement: float = 0.0
    counts: Counter[str] = field(default_factory=Counter)
    bad: bool = False
    verdict: str = ""
    caps_cm2: float = 0.0
    pins: bool = False
    kinds: tuple[str, ...] = ()
    soft_seen_percent: float = float("nan")
    tile: ByteArray | None = None

    @property
    def error(self) -> float:
        """Coverage minus truth, points."""
        return self.coverage.percent - self.true_percent if self.coverage else float("nan")


@dataclass(frozen=True)
class Errors:
    """Coverage errors of a set of photos, points, and how often the interval held the truth."""

    count: int
    mean: float
    bias: float
    p95: float
    worst: float
    concordance: float
    held_percent: float
    width: float

    @classmethod
    def of(cls, answers: Sequence[Answer]) -> Errors:
        """Sum up; photos without a reading do not count."""
        read = [(a, a.coverage) for a in answers if a.coverage is not None]
        error = np.array([a.error for a, _ in read])
        true = np.array([a.true_percent for a, _ in read])
        size = np.abs(error)
        held = [c.low <= a.true_percent <= c.high for a, c in read]
        return cls(
            count=len(read),
            mean=float(size.mean()),
            bias=float(error.mean()),
            p95=float(np.percentile(size, 95)),
            worst=float(size.max()),
            concordance=concordance(true, true + error),
            held_percent=100.0 * float(np.mean(held)),
            width=float(np.mean([c.high - c.low for _, c in read])),
        )


def concordance(truth: FloatArray, seen: FloatArray) -> float:
    """Lin's concordance correlation coefficient (Lin 1989, Biometrics 45:255-268; from memory).

    NaN where neither varies, and both are the same.
    """
    covariance = np.mean((truth - truth.mean()) * (seen - seen.mean()))
    spread = truth.var() + seen.var() + (truth.mean() - seen.mean()) ** 2
    return float(2.0 * covariance / spread) if spread > 0.0 else float("nan")


def summary(answers: Sequence[Answer]) -> list[tuple[str, str]]:
    """What and how much, line by line."""
    read = [a for a in answers if a.coverage is not None]
    errors = Errors.of(read)
    on_seen = np.array([a.coverage.percent - a.true_seen_percent for a in read if a.coverage])
    soft = np.array([a.coverage.soft_percent - a.soft_seen_percent for a in read if a.coverage])
    bad = [a for a in read if a.bad]
    wrong = [a.name for a in bad if a.verdict == "go"]
    good = [a for a in read if not a.bad and a.true_percent >= 99.0]
    lost = [a.name for a in good if a.verdict == "no-go"]
    pinning = [a.pins for a in read if a.caps_cm2 >= CAPS_CM2]
    plain = [a.pins for a in read if a.caps_cm2 < CAPS_SPECK_CM2]
    return [
        ("photos read", f"{len(read)} of {len(answers)}"),
        ("coverage error, mean of absolute values", f"{errors.mean:.2f} points"),
        ("bias", f"{errors.bias:+.2f} points"),
        ("95th percentile; worst", f"{errors.p95:.1f}; {errors.worst:.1f} points"),
        ("mean against what could be seen", f"{np.nanmean(np.abs(on_seen)):.2f} points"),
        (
            "soft coverage of what could be seen: mean; 95th",
            f"{np.nanmean(np.abs(soft)):.2f}; {np.nanpercentile(np.abs(soft), 95):.1f} points",
        ),
        ("Lin's concordance", f"{errors.concordance:.4f}"),
        ("95 % interval holds the truth", f"{errors.held_percent:.1f} % of photos"),
        ("its mean width", f"{errors.width:.1f} points"),
        ("places classed right", f"{100 * np.mean([a.agreement for a in read]):.1f} %"),
        (
            "jars with mould, a wet zone or a dead area called `go`",
            f"{len(wrong)} of {len(bad)}{_named(wrong)}",
        ),
        ("full, clean jars called `no-go`", f"{len(lost)} of {len(good)}{_named(lost)}"),
        (
            f"jars with {CAPS_CM2} cm2 of caps in view: pins found",
            f"{sum(pinning)} of {len(pinning)}",
        ),
        ("jars without caps: pins found", f"{sum(plain)} of {len(plain)}"),
    ]


def _named(names: Sequence[str]) -> str:
    return f" ({', '.join(names)})" if names else ""


def patch_rows(answers: Iterable[Answer]) -> list[tuple[str, str, str, str]]:
    """Kind, size, found of true, false of reported: for what there was any of."""
    counts: Counter[str] = sum((a.counts for a in answers), Counter())
    kinds = sorted({key.split("|")[0] for key in counts})
    rows = []
    for kind in kinds:
        for size in SIZES:
            true, found, said, false = (
                counts[f"{kind}|{size}|{what}"] for what in ("true", "found", "said", "false")
            )
            if true or said:
                rows.append((kind, f"{size} cm2", f"{found} of {true}", f"{false} of {said}"))
    return rows


def by_kind(answers: Sequence[Answer], *, least: int = 5) -> list[tuple[str, Errors]]:
    """Errors of each kind of jar that at least so many photos show, worst first."""
    kinds = sorted({kind for a in answers for kind in a.kinds})
    groups = ((kind, [a for a in answers if kind in a.kinds and a.coverage]) for kind in kinds)
    found = [(kind, Errors.of(group)) for kind, group in groups if len(group) >= least]
    return sorted(found, key=lambda pair: -pair[1].mean)


def refused(answers: Iterable[Answer]) -> list[str]:
    """One line for each photo without a reading."""
    return [f"{a.name} ({a.fault}): {a.reason}" for a in answers if a.reason]


def markdown(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)
