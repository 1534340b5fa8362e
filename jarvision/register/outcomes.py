"""What became of the jars: ``outcomes.csv`` beside the register, kept for good.

Lines are only ever added. The last line of a jar and day counts, so that a slip is put right by
recording that day again; weighings of different days are flushes and add up.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final, Literal, cast, get_args

from jarvision.base.csv_text import Row, read_table, to_csv, to_lines
from jarvision.base.days import read_day
from jarvision.base.errors import UsageError
from jarvision.base.files import write_whole
from jarvision.base.text import printable
from jarvision.base.text_files import TextFile, read_text_file
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
_VERDICTS: Final[tuple[str, ...]] = get_args(VerdictWord)
_MOST_GRAMS: Final = 100_000.0


@dataclass(frozen=True)
class Outcome:
    """One line of ``outcomes.csv``.

    Attributes
    ----------
    grams
        Fresh weight picked on that day, g; None when not weighed.
    dry_grams
        Dry weight of the jar's substrate, g; None when not told on this line.
    verdict, verdict_date
        What the last scoring said before the outcome was known, and its day; None when there
        was none.
    """

    jar: str
    outcome: OutcomeWord
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
    """

    jar: str
    outcome: OutcomeWord
    day: date
    flushes: tuple[tuple[date, float], ...]
    dry_grams: float | None
    verdict: VerdictWord | None
    verdict_date: date | None

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


def read_outcomes(path: Path) -> tuple[Outcome, ...]:
    """Read ``outcomes.csv``, in the order of its lines; empty when there is no such file.

    Raises
    ------
    UsageError
        With the line number, when a line is wrong.
    """
    if not path.exists():
        return ()
    found = []
    for line, cells in read_table(path, OUTCOME_COLUMNS).rows:
        try:
            found.append(_outcome(cells))
        except ValueError as error:
            raise UsageError(
                f"{path.name}, line {line}: {printable(str(error))}", "Correct this line."
            ) from error
    return tuple(found)


def add_outcome(path: Path, outcome: Outcome, *, entry: JarEntry, today: date) -> JarOutcome:
    """Append a line to ``outcomes.csv``, whole or not at all; older lines are never touched.

    Parameters
    ----------
    entry
        The jar's line in the register.
    today
        No outcome lies ahead of it.

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
    path = path.resolve()  # a link stays a link
    before = read_outcomes(path)
    there = path.exists()
    table = read_table(path, OUTCOME_COLUMNS) if there else None
    file = read_text_file(path) if there else TextFile(to_csv(OUTCOME_COLUMNS, ()))
    old = path.read_bytes() if there else file.encode(file.text)
    cells = dict(zip(OUTCOME_COLUMNS, _row(outcome), strict=True))
    columns = table.columns if table else OUTCOME_COLUMNS
    line = to_lines([[cells.get(name, "") for name in columns]], table.delimiter if table else ",")
    gap = "" if file.text.endswith(("\n", "\r")) else "\n"
    try:
        write_whole(path, old + file.encode(gap + line))
    except UnicodeEncodeError:
        raise UsageError(
            f"{printable(path.name)} is not saved as UTF-8 and cannot hold this note",
            "Nothing was written; save it as CSV, UTF-8.",
        ) from None
    return taken_together((*before, outcome))[outcome.jar]


def taken_together(outcomes: Iterable[Outcome]) -> dict[str, JarOutcome]:
    """Sum up each jar: the last line of a day counts, flushes add up."""
    days: dict[str, dict[date, Outcome]] = {}
    verdicts: dict[str, tuple[VerdictWord, date | None]] = {}
    dry: dict[str, float] = {}
    for line in outcomes:
        days.setdefault(line.jar, {})[line.day] = line
        if line.verdict:
            verdicts.setdefault(line.jar, (line.verdict, line.verdict_date))
        if line.dry_grams is not None:
            dry[line.jar] = line.dry_grams
    found = {}
    for jar, by_day in days.items():
        lines = [by_day[day] for day in sorted(by_day)]
        verdict, verdict_date = verdicts.get(jar, (None, None))
        harvested = [line for line in lines if line.outcome == "harvested"]
        last = (harvested or lines)[-1]
        found[jar] = JarOutcome(
            jar=jar,
            outcome=last.outcome,
            day=last.day,
            flushes=tuple((line.day, line.grams) for line in harvested if line.grams),
            dry_grams=dry.get(jar),
            verdict=verdict,
            verdict_date=verdict_date,
        )
    return found


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


def _row(outcome: Outcome) -> Row:
    return (
        outcome.jar,
        outcome.outcome,
        outcome.day.isoformat(),
        "" if outcome.grams is None else f"{outcome.grams:g}",
        "" if outcome.dry_grams is None else f"{outcome.dry_grams:g}",
        outcome.note,
        outcome.verdict or "",
        outcome.verdict_date.isoformat() if outcome.verdict_date else "",
    )


def _outcome(cells: Mapping[str, str]) -> Outcome:
    word, verdict = cells["outcome"], cells["verdict"]
    if not cells["jar"]:
        raise ValueError("the jar has no name")
    _one_of("outcome", word, tuple(OUTCOMES))
    _one_of("verdict", verdict, ("", *_VERDICTS))
    told = cells["verdict_date"]
    return Outcome(
        jar=cells["jar"],
        outcome=cast(Any, word),
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
