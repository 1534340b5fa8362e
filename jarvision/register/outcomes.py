"""What became of the jars: ``outcomes.csv`` beside the register, kept for good.

Lines are only ever added. The last line of a jar and day counts, so that a slip is put right by
recording that day again; weighings of different days are flushes and add up. A line ``undone``
takes back what was recorded of its jar and day before it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, Final, Literal, cast, get_args

from jarvision.base.csv_text import CsvCell
from jarvision.base.days import read_day
from jarvision.base.errors import UsageError
from jarvision.base.ledger import open_ledger
from jarvision.base.text import counted, printable
from jarvision.records import JarEntry, ShelfResult, VerdictWord

OUTCOMES_NAME: Final = "outcomes.csv"
OUTCOME_COLUMNS: Final = (
    "jar",
    "outcome",
    "date",
    "grams",
    "dry_grams",
    "note",
    "verdict",
    "verdict_date",
)

OutcomeWord = Literal["clean", "contaminated", "harvested", "discarded"]
OUTCOMES: Final[Mapping[OutcomeWord, str]] = {
    "clean": "it was opened and used, and nothing was wrong with it",
    "contaminated": "it was contaminated",
    "harvested": "it fruited; each day of picking is one line",
    "discarded": "it was thrown out, and nobody looked what was wrong with it",
}
UNDONE: Final = "undone"
"""Takes back what was recorded of a jar and day: a word of the file, and no outcome."""

_VERDICTS: Final[tuple[str, ...]] = get_args(VerdictWord)
_MOST_GRAMS: Final = 100_000.0


@dataclass(frozen=True)
class Outcome:
    """One line of ``outcomes.csv``.

    Attributes
    ----------
    outcome
        None on a line that takes back those of its jar and day before it.
    grams
        Fresh weight picked on that day, g; None when not weighed.
    dry_grams
        Dry weight of the jar's substrate, g; None when not told on this line.
    verdict, verdict_date
        What the last scoring said before the outcome was known, and its day; None when there
        was none.
    """

    jar: str
    outcome: OutcomeWord | None
    day: date
    grams: float | None = None
    dry_grams: float | None = None
    note: str = ""
    verdict: VerdictWord | None = None
    verdict_date: date | None = None


@dataclass(frozen=True)
class JarOutcome:
    """All lines of one jar taken together.

    Attributes
    ----------
    outcome
        Its last one. Mould on a jar that has been harvested is no longer the spawn's fault: such
        a jar stays ``harvested``.
    flushes
        Day and fresh weight, g, of each weighing; one of 0 g takes a slip back.
    verdict, verdict_date
        Of the first line that has one: what was known before anybody looked inside.
    harvests
        Every day of picking, weighed or not.
    closed
        The day on which a jar that was harvested was recorded as something else since: it gives no
        flush more. None where it was not.
    """

    jar: str
    outcome: OutcomeWord
    day: date
    flushes: tuple[tuple[date, float], ...]
    dry_grams: float | None
    verdict: VerdictWord | None
    verdict_date: date | None
    harvests: tuple[date, ...] = ()
    closed: date | None = None

    @property
    def fresh_grams(self) -> float | None:
        """Fresh weight of all flushes, g; None when nothing was weighed."""
        return sum(grams for _, grams in self.flushes) if self.flushes else None

    @property
    def biological_efficiency_percent(self) -> float | None:
        """Fresh weight of all flushes over dry weight of the substrate, percent.

        The trade's usual definition; it may exceed 100 %, since mushrooms are mostly water.
        """
        if self.fresh_grams is None or self.dry_grams is None:
            return None
        return 100.0 * self.fresh_grams / self.dry_grams


def read_outcomes(path: Path, *, names: Mapping[str, str] | None = None) -> tuple[Outcome, ...]:
    """Read ``outcomes.csv``, in the order of its lines; empty when there is no such file.

    ``names`` are those of today by the former ones, under which older lines may stand.

    Raises
    ------
    UsageError
        With the line number, when a line is wrong.
    """
    return _of_today(open_ledger(path, OUTCOME_COLUMNS).read(_outcome), names)


def add_outcome(
    path: Path,
    outcome: Outcome,
    *,
    entry: JarEntry,
    today: date,
    names: Mapping[str, str] | None = None,
) -> JarOutcome:
    """Append a line to ``outcomes.csv``, whole or not at all; older lines are never touched.

    Parameters
    ----------
    entry
        The jar's line in the register.
    today
        No outcome lies ahead of it.
    names
        As for :func:`read_outcomes`.

    Returns
    -------
    The jar's outcome with the new line.

    Raises
    ------
    UsageError
        When the outcome contradicts itself or the register, or the file has a wrong line.
    NotWritableError
        When the file cannot be written.
    """
    _check(outcome, entry, today)
    ledger = open_ledger(path, OUTCOME_COLUMNS)
    before = _of_today(ledger.read(_outcome), names)
    ledger.add([_row(outcome)])
    return taken_together((*before, outcome))[outcome.jar]


def undo_outcome(
    path: Path, jar: str, day: date | None = None, *, names: Mapping[str, str] | None = None
) -> tuple[date, JarOutcome | None]:
    """Take back what was recorded of a jar on a day; the lines stay, and one that says so is added.

    Parameters
    ----------
    day
        None: the last one that has an outcome.

    Returns
    -------
    The day, and what is left of the jar's outcome; None where nothing is.

    Raises
    ------
    UsageError
        Nothing was recorded of the jar, or not on that day; or the file has a wrong line.
    NotWritableError
        When the file cannot be written.
    """
    ledger = open_ledger(path, OUTCOME_COLUMNS)
    before = _of_today(ledger.read(_outcome), names)
    days = sorted(_by_day(before).get(jar, {}))
    if not days:
        raise UsageError(
            f"Nothing is recorded of jar '{printable(jar)}'", "There is nothing to take back."
        )
    if day is not None and day not in days:
        told = ", ".join(map(str, days))
        raise UsageError(
            f"Nothing is recorded of jar '{printable(jar)}' on {day}",
            f"It has {counted(len(days), 'day')} with an outcome: {told}.",
        )
    undone = Outcome(jar, None, day or days[-1])
    ledger.add([_row(undone)])
    return undone.day, taken_together((*before, undone)).get(jar)


def taken_together(outcomes: Iterable[Outcome]) -> dict[str, JarOutcome]:
    """Sum up each jar: the last line of a day counts, flushes add up.

    Its verdict is that of its first line that was not taken back.
    """
    found = {}
    for jar, by_day in _by_day(outcomes).items():
        lines = [by_day[day][-1] for day in sorted(by_day)]
        every = sorted((told for day in by_day.values() for told in day), key=lambda t: t.number)
        judged = next((told for told in every if told.line.verdict), None)
        dry = [told.line.dry_grams for told in every if told.line.dry_grams is not None]
        harvested = [told for told in lines if told.word == "harvested"]
        since = harvested and lines[-1].line.day > harvested[-1].line.day
        last = (harvested or lines)[-1]
        found[jar] = JarOutcome(
            jar=jar,
            outcome=last.word,
            day=last.line.day,
            flushes=tuple((t.line.day, t.line.grams) for t in harvested if t.line.grams),
            dry_grams=dry[-1] if dry else None,
            verdict=judged.line.verdict if judged else None,
            verdict_date=judged.line.verdict_date if judged else None,
            harvests=tuple(told.line.day for told in harvested),
            closed=lines[-1].line.day if since else None,
        )
    return found


@dataclass(frozen=True)
class _Told:
    """A line that was not taken back, with its place among all lines."""

    number: int
    word: OutcomeWord
    line: Outcome


def _by_day(outcomes: Iterable[Outcome]) -> dict[str, dict[date, list[_Told]]]:
    """The lines of each jar and day, without those that were taken back."""
    found: dict[str, dict[date, list[_Told]]] = {}
    for number, line in enumerate(outcomes):
        days = found.setdefault(line.jar, {})
        if line.outcome is None:
            days.pop(line.day, None)
        else:
            days.setdefault(line.day, []).append(_Told(number, line.outcome, line))
    return {jar: days for jar, days in found.items() if days}


def verdict_before(
    result: ShelfResult, jar: str, day: date
) -> tuple[VerdictWord | None, date | None]:
    """A jar's verdict and its day, unless the scoring is younger than ``day``.

    A verdict that already knew the outcome would praise itself.
    """
    verdict = result.verdict_of(jar)
    if verdict is None or result.scored_on > day:
        return None, None
    return verdict, result.scored_on


# --------------------------------------------------------------------------- one line
def _check(outcome: Outcome, entry: JarEntry, today: date) -> None:
    """Raise for what cannot be."""
    if outcome.day > today:
        raise UsageError(f"{outcome.day} lies ahead", "Record an outcome once it is known.")
    if entry.started and outcome.day < entry.started:
        raise UsageError(
            f"{outcome.day} lies before jar '{outcome.jar}' was started ({entry.started})",
            "Correct the date, or the register.",
        )
    if outcome.grams is not None and outcome.outcome != "harvested":
        raise UsageError("Only a harvest has grams", "Record it as harvested.")
    _weight("grams", outcome.grams, least=0.0)
    _weight("dry-grams", outcome.dry_grams, least=1.0)
    if not outcome.note.isprintable():
        raise UsageError("The note holds a line break or the like", "Write it on one line.")


def _weight(name: str, grams: float | None, *, least: float) -> None:
    if grams is not None and not least <= grams <= _MOST_GRAMS:  # not a number is no weight either
        raise UsageError(
            f"--{name} must lie between {least:g} and {_MOST_GRAMS:g} g",
            "Give the weight in grams.",
        )


def _row(outcome: Outcome) -> dict[str, CsvCell]:
    return {
        "jar": outcome.jar,
        "outcome": outcome.outcome or UNDONE,
        "date": outcome.day.isoformat(),
        "grams": "" if outcome.grams is None else f"{outcome.grams:g}",
        "dry_grams": "" if outcome.dry_grams is None else f"{outcome.dry_grams:g}",
        "note": outcome.note,
        "verdict": outcome.verdict or "",
        "verdict_date": outcome.verdict_date.isoformat() if outcome.verdict_date else "",
    }


def _of_today(outcomes: Iterable[Outcome], names: Mapping[str, str] | None) -> tuple[Outcome, ...]:
    """The lines by the names that their jars have now."""
    return tuple(replace(line, jar=(names or {}).get(line.jar, line.jar)) for line in outcomes)


def _outcome(cells: Mapping[str, str]) -> Outcome:
    word, verdict = cells["outcome"], cells["verdict"]
    if not cells["jar"]:
        raise ValueError("the jar has no name")
    _one_of("outcome", word, (*OUTCOMES, UNDONE))
    _one_of("verdict", verdict, ("", *_VERDICTS))
    told = cells["verdict_date"]
    return Outcome(
        jar=cells["jar"],
        outcome=None if word == UNDONE else cast(Any, word),
        day=read_day(cells["date"]),
        grams=_grams("grams", cells["grams"]),
        dry_grams=_grams("dry_grams", cells["dry_grams"]),
        note=cells["note"],
        verdict=cast(Any, verdict or None),
        verdict_date=read_day(told) if told else None,
    )


def _one_of(name: str, word: str, words: Sequence[str]) -> None:
    if word not in words:
        raise ValueError(f"{name} '{word}' is none of {', '.join(w for w in words if w)}")


def _grams(name: str, text: str) -> float | None:
    if not text:
        return None
    grams = float(text.replace(",", "."))  # as some spreadsheets write it
    if not math.isfinite(grams) or grams < 0 or (name == "dry_grams" and grams == 0):
        raise ValueError(f"{name} '{text}' is no weight")
    return grams
