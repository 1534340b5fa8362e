"""The table of jars that grow by other laws: forecasts by law, alarms, verdicts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from jarvision.register.species import find_profile

from .plans import GOOD, day
from .table import LEVELS, Forecasts, bad_called_go, delays, false_alarms, good_called, held_against
from .telling import Said, Told

RIGHT_TO_ASK = frozenset({
    "overdue", "pins", "old_photo", "newer_refused", "dated_ahead", "dated_before_start",
    "date_ignored", "little_seen", "late",
})  # fmt: skip
"""Findings that ask for a look with reason: the jar, or its photos, are not in order."""


def true_forecasts(told: Sequence[Told], level: int) -> Forecasts:
    """Collect forecasts of good jars on the first photo with a true coverage, before ready."""
    first = []
    for jar in told:
        ready, percents = jar.truth.ready_day, jar.truth.percents
        if jar.plan.story not in GOOD or ready is None:
            continue
        since = 0
        if jar.plan.shake_percent is not None:
            since = int(np.argmax(np.diff(percents) < -5)) + 4
        said = [s for s in jar.said if s.number >= since and percents[s.number] >= level]
        if not said or said[0].number >= ready or _after_turn(jar, said[0]):
            continue
        first.append((said[0].growth, day(ready)))
    return held_against(level, first)


def _after_turn(jar: Told, said: Said) -> bool:
    """Say whether the jar shows another side before it is ready: no forecast can know that."""
    turned, ready = jar.plan.turned, jar.truth.ready_day
    return turned is not None and ready is not None and said.number < turned[0] <= ready


def idle_checks(told: Sequence[Told]) -> tuple[int, int, dict[str, int]]:
    """Return days of good jars in check (or no-go) without a reason, all days, and the words."""
    idle, days = 0, 0
    words: dict[str, int] = {}
    for jar in told:
        if jar.plan.story not in GOOD:
            continue
        for said in jar.said:
            days += 1
            found = set(said.words) - RIGHT_TO_ASK
            if said.verdict in ("check", "no-go") and found:
                idle += 1
                for word in found:
                    words[word] = words.get(word, 0) + 1
    return idle, days, words


def of_one_spawn(told: Sequence[Told]) -> list[Told]:
    """The same jars as they are heard of where all of a shelf were fed from one spawn jar."""

    def heard(said: Said) -> Said:
        words = said.words if said.with_kin == said.verdict else (*said.words, "bad_kin")
        return replace(said, verdict=said.with_kin, words=words)

    return [replace(jar, said=tuple(map(heard, jar.said))) for jar in told]


def soon_go(told: Sequence[Told], *, registered: bool) -> tuple[list[str], list[str], int]:
    """Return good jars go within two days of the first photo after their rest, all, and too early.

    ``registered``: else the default profile's rest counts, and its level of ready.
    """
    soon, asked, early = [], [], 0
    for jar in told:
        if jar.plan.story not in GOOD:
            continue
        go = [s.number for s in jar.said if s.verdict == "go"]
        ready = jar.truth.ready_day
        early += bool(go) and (ready is None or go[0] < ready - 2)
        if ready is None:
            continue
        rest = find_profile(jar.plan.entry.species if registered else "").consolidation_days
        after = [s.number for s in jar.said if s.number >= ready + rest]
        if not after or after[0] > ready + rest + 3:
            continue
        asked.append(jar.plan.entry.jar)
        if any(after[0] - 2 <= n <= after[0] + 2 for n in go):
            soon.append(jar.plan.entry.jar)
    return soon, asked, early


def rows(told: Sequence[Told], *, registered: bool) -> Iterator[tuple[str, str]]:
    """Yield the table as (what, result)."""
    good = [t for t in told if t.plan.story in GOOD]
    yield "jars (good); days with a photo", f"{len(told)} ({len(good)}); {_days(told)}"
    laws = sorted({t.plan.law for t in told})
    for law in ("all", *laws):
        some = [t for t in told if law in ("all", t.plan.law)]
        found = [true_forecasts(some, level) for level in LEVELS]
        yield f"forecast at 25 / 50 / 75 %, {law}", _told_forecasts(found)
    for name, stories, flags in (
        ("stall", ("stalled",), ("stall",)),
        ("slow stall", ("slowed",), ("stall",)),
        ("dead patch", ("dead patch",), ("dead_patch", "bare_doubt")),
        ("mould", ("white mould", "slow mould"), ("off_colour", "fast_front")),
        ("wet bottom", ("wet",), ("wet",)),
    ):  # fmt: skip
        late = np.array(delays(told, stories, flags))
        if late.size:
            middle, most = np.quantile(late, [0.5, 0.9], method="lower")
            never = int(np.isinf(late).sum())
            yield f"{name} to flag ({late.size} jars)", f"{middle:.0f}; {most:.0f}; {never} never"
    starts, days, by_flag = false_alarms(told)
    kinds = ", ".join(f"{k} {v}" for k, v in by_flag.items() if v)
    yield "false alarms per 100 healthy jar-days", f"{100 * starts / days:.2f} ({kinds} in {days})"
    yield from _verdicts(told, registered=registered)
    if registered:
        for what, result in _verdicts(of_one_spawn(told), registered=True):
            yield f"of one spawn: {what}", result


def _verdicts(told: Sequence[Told], *, registered: bool) -> Iterator[tuple[str, str]]:
    """Yield how right the verdicts are."""
    good = [t for t in told if t.plan.story in GOOD]
    bad = len(told) - len(good)
    idle, days, words = idle_checks(told)
    most_said = sorted(words.items(), key=lambda w: -w[1])[:8]
    kinds = ", ".join(f"{k} {v}" for k, v in most_said)
    yield "days in check or no-go with nothing wrong", f"{100 * idle / days:.1f} % ({kinds})"
    never = good_called(told, "no-go")
    yield "good jars ever no-go", f"{len(never)} of {len(good)}: {' '.join(never[:12])}"
    shown = bad_called_go(told, shown=True)
    yield "bad jars go once it could be seen", f"{len(shown)} of {bad}: {' '.join(shown)}"
    yield "... before", f"{len(bad_called_go(told, shown=False))} of {bad}"
    soon, asked, early = soon_go(told, registered=registered)
    share = len(soon) / max(len(asked), 1)
    yield "good jars go within 2 days of rested", f"{len(soon)} of {len(asked)} ({share:.0%})"
    yield "... too early by more than 2 days", f"{early}"


def _days(told: Sequence[Told]) -> int:
    return sum(len(jar.said) for jar in told)


def _told_forecasts(found: Sequence[Forecasts]) -> str:
    def each(value: object, form: str) -> str:
        values = [value(f) if f.errors_days else float("nan") for f in found]  # type: ignore[operator]
        return " / ".join(form.format(v) for v in values)

    median = each(lambda f: np.median(np.abs(f.errors_days)), "{:.0f}")
    mean = each(lambda f: np.mean(np.abs(f.errors_days)), "{:.1f}")
    bias = each(lambda f: np.mean(f.errors_days), "{:+.1f}")
    held = each(lambda f: 100 * np.mean(f.held), "{:.0f}")
    wide = each(lambda f: np.median(f.widths_days), "{:.0f}")
    silent = " / ".join(str(f.silent) for f in found)
    count = " / ".join(str(len(f.errors_days)) for f in found)
    return (
        f"median {median}, mean {mean}, bias {bias} days; holds {held} %, {wide} days wide; "
        f"of {count}, none given {silent}"
    )
