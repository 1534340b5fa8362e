"""The table: how good forecasts, flags and verdicts are on simulated jars."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from jarvision.records import Growth

from .plans import GOOD, day
from .telling import Told

ALARMS = ("off_colour", "wet", "dead_patch", "stall", "fast_front")
LEVELS = (25, 50, 75)


@dataclass(frozen=True)
class Forecasts:
    """Forecasts made on the first day on which a coverage was read."""

    level: int
    errors_days: tuple[float, ...]
    held: tuple[bool, ...]
    widths_days: tuple[float, ...]
    silent: int


def forecasts(told: Sequence[Told], level: int) -> Forecasts:
    """Collect the forecasts of good jars at a level of coverage, before they are ready."""
    first = []
    for jar in told:
        ready = jar.truth.ready_day
        if jar.plan.story not in GOOD or ready is None:
            continue
        since = _settled(jar)
        said = [s for s in jar.said if since <= s.number < ready and s.percent >= level]
        said = [s for s in said if s.number != jar.plan.bad_reading_day]
        if not said:
            continue
        first.append((said[0].growth, day(ready)))
    return held_against(level, first)


def held_against(level: int, first: Iterable[tuple[Growth, date]]) -> Forecasts:
    """Forecasts of a level, each held against the day on which the jar was ready."""
    errors, held, widths, silent = [], [], [], 0
    for growth, true in first:
        if growth.ready_date is None:
            silent += 1
            continue
        low = growth.ready_low or growth.ready_date
        high = growth.ready_high or growth.ready_date + timedelta(days=120)
        errors.append(float((growth.ready_date - true).days))
        held.append(low <= true <= high)
        widths.append(float((high - low).days))
    return Forecasts(level, tuple(errors), tuple(held), tuple(widths), silent)


def _settled(jar: Told) -> int:
    """Return the day from which a jar grows in one piece: two days after its shake."""
    if jar.plan.shake_percent is None:
        return 0
    return int(np.argmax(np.diff(jar.truth.percents) < -5)) + 3


def delays(told: Sequence[Told], stories: Sequence[str], flags: Sequence[str]) -> list[float]:
    """Return days from the true onset to the first of the flags; infinite where none came."""
    out = []
    for jar in told:
        if jar.plan.story in stories and jar.truth.fault_day is not None:
            first = jar.first(*flags, since=jar.truth.fault_day)
            out.append(float("inf") if first is None else float(first - jar.truth.fault_day))
    return out


def leads(told: Sequence[Told]) -> list[float]:
    """Return how many days before 1 cm2 of green each white mould was flagged; negative: after."""
    out = []
    for jar in told:
        truth = jar.truth
        if jar.plan.story == "white mould" and truth.green_day is not None:
            first = jar.first("fast_front", "off_colour", since=truth.fault_day or 0)
            out.append(float("-inf") if first is None else float(truth.green_day - first))
    return out


def false_alarms(told: Sequence[Told]) -> tuple[int, int, dict[str, int]]:
    """Return false alarms (days on which one begins) of good jars, their jar-days, and by flag."""
    days, by_flag = 0, dict.fromkeys(ALARMS, 0)
    starts = 0
    for jar in told:
        if jar.plan.story not in GOOD:
            continue
        before: frozenset[str] = frozenset()
        for said in jar.said:
            days += 1
            fresh = (said.flags - before) & set(ALARMS)
            starts += bool(fresh)
            for flag in fresh:
                by_flag[flag] += 1
            before = said.flags
    return starts, days, by_flag


def good_called(told: Sequence[Told], verdict: str) -> list[str]:
    """Return the good jars that were called ``verdict`` on any day."""
    good = [t for t in told if t.plan.story in GOOD]
    return [t.plan.entry.jar for t in good if any(s.verdict == verdict for s in t.said)]


def bad_called_go(told: Sequence[Told], *, shown: bool) -> list[str]:
    """Return the bad jars that were called go after their fault.

    ``shown``: after a photo could show it; else before any could, which no reader can help.
    """
    names = []
    for jar in told:
        fault, by = jar.truth.fault_day, jar.shown_day
        if jar.plan.story in GOOD or fault is None:
            continue
        days = [s.number for s in jar.said if s.verdict == "go" and s.number >= fault]
        late = [d for d in days if by is not None and d >= by]
        if late if shown else set(days) - set(late):
            names.append(jar.plan.entry.jar)
    return names


def cost_of_kin(told: Sequence[Told]) -> tuple[int, int, int, int]:
    """Return go days of good jars that kin made a check, all; good jars go, without kin or with.

    Faults are drawn apart for every jar here, so that the rule has nothing to gain: the worst case.
    """
    good = [t for t in told if t.plan.story in GOOD]
    days = [s for t in good for s in t.said if s.verdict == "go"]
    doubted = sum(s.with_kin == "check" for s in days)
    ever = sum(any(s.verdict == "go" for s in t.said) for t in good)
    still = sum(any(s.with_kin == "go" for s in t.said) for t in good)
    return doubted, len(days), ever, still


def errors_of(told: Sequence[Told], *, together: bool) -> tuple[float, float, float, float]:
    """Return mean and 95th percentile of the error, share held (percent), and width, in points.

    ``together``: of each day by the light of those before; else by its own photos.
    """
    found = [
        (cover.percent - true, cover.low <= true <= cover.high, cover.high - cover.low)
        for jar in told
        for said in jar.said
        if (cover := said.together if together else said.read) is not None
        for true in (float(jar.truth.percents[said.number]),)
    ]
    error, held, width = np.array(found, dtype=float).T
    size = np.abs(error)
    return (
        float(size.mean()),
        float(np.quantile(size, 0.95)),
        100.0 * float(held.mean()),
        float(width.mean()),
    )


def rows(told: Sequence[Told]) -> list[tuple[str, str]]:
    """Return the table as (what, result)."""
    out = [("jars; jar-days", f"{len(told)}; {sum(len(t.said) for t in told)}")]
    for what, together in (("a day read alone", False), ("... with the days before", True)):
        mean, p95, held, width = errors_of(told, together=together)
        result = f"off by {mean:.2f} points on average, {p95:.1f} at the 95th percentile"
        out.append((what, f"{result}; held {held:.1f} %, {width:.1f} points wide"))
    for level in LEVELS:
        f = forecasts(told, level)
        size = np.abs(f.errors_days)
        out.append(
            (
                f"forecast at {level} % coverage ({len(size)} jars; {f.silent} without)",
                f"off by {np.median(size):.0f} days at the median, {size.mean():.1f} on average, "
                f"{np.quantile(size, 0.9):.0f} at the 90th percentile; 80 % interval holds "
                f"{np.mean(f.held):.0%}, {np.mean(f.widths_days):.1f} days wide",
            )
        )
    moulds = ("white mould", "slow mould", "mould under stain")
    for name, stories, flags in (
        ("stall to flag", ("stalled",), ("stall",)),
        ("mould to flag", moulds, ("off_colour", "fast_front")),
        ("dead patch to flag", ("dead patch",), ("dead_patch",)),
        ("wet bottom to flag", ("wet",), ("wet",)),
    ):  # fmt: skip
        d = np.array(delays(told, stories, flags))
        if d.size:
            never = int(np.isinf(d).sum())
            out.append(
                (f"days from true {name} ({d.size} jars)",
                 f"median {np.median(d):.0f}, 90th percentile "
                 f"{np.quantile(d, 0.9, method='lower'):.0f}; {never} never")
            )  # fmt: skip
    lead = np.array(leads(told))
    if lead.size:
        out.append(
            (f"white mould flagged before 1 cm2 of green ({lead.size} jars)",
             f"{np.mean(lead >= 1):.0%} a day or more before, median {np.median(lead):.0f} days")
        )  # fmt: skip
    starts, days, by_flag = false_alarms(told)
    out.append(
        ("false alarms per 100 healthy jar-days",
         f"{100 * starts / days:.2f} ({', '.join(f'{k} {v}' for k, v in by_flag.items() if v)} "
         f"in {days})")
    )  # fmt: skip
    good = sum(t.plan.story in GOOD for t in told)
    bad = len(told) - good
    for what, names, asked in (
        ("bad jars called go", bad_called_go(told, shown=True), bad),
        ("... before any photo could show the fault", bad_called_go(told, shown=False), bad),
        ("good jars called no-go", good_called(told, "no-go"), good),
        ("good jars called go in the end", good_called(told, "go"), good),
    ):
        out.append((what, f"{len(names)} of {asked} ({len(names) / max(asked, 1):.1%})"))
    doubted, days, ever, still = cost_of_kin(told)
    seen = sum(any(s.with_kin == "go" for s in t.said) for t in told if t.plan.story not in GOOD)
    out += [
        ("six jars of one spawn: go days of good jars that kin made a check",
         f"{doubted} of {days} ({doubted / max(days, 1):.0%})"),
        ("... good jars that were go, and with kin", f"{ever}; {still}"),
        ("... bad jars go on any day, with kin", f"{seen} of {bad}"),
    ]  # fmt: skip
    return out
