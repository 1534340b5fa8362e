"""``jarvision jars list``: every jar, those whose story is over too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import TYPE_CHECKING

from jarvision.app.cli.console import tell_lines
from jarvision.app.cli.options import AsJson, Quiet
from jarvision.app.cli.places import (
    REPORT,
    OutOption,
    RegisterOption,
    last_scoring,
    open_paperwork,
)
from jarvision.app.cli.plain import echo_json, iso
from jarvision.base.text import counted, printable

if TYPE_CHECKING:
    from jarvision.records import Ending, JarEntry, ShelfResult
    from jarvision.run.shelf import Shelf

JARS_LIST_EXAMPLE = "Example: jarvision jars list --register photos/jars.csv"
FINISHED = "finished"


@dataclass(frozen=True)
class JarRow:
    """One line of the list.

    Attributes
    ----------
    state
        The verdict of the last scoring, ``not scored`` or ``finished``.
    age_days
        Days from its start to today, or to its end; None where one of them is not known.
    outcome, ended
        How its story ended, and the day; empty and None where it goes on.
    last_photo
        Day of its last usable photo in the last scoring.
    """

    jar: str
    kind: str
    state: str
    age_days: int | None
    outcome: str
    ended: str | None
    last_photo: str | None


def list_jars(
    out: OutOption = REPORT,
    register: RegisterOption = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """List every jar: state, age, outcome, last photo.

    Jars on the shelf come first, then those whose story is over.

    Exit codes: 0 done, 2 bad usage.
    """
    shelf = open_paperwork(register)
    result = last_scoring(out, shelf)
    rows = _rows(shelf, result)
    if as_json:
        echo_json({"jars": [asdict(row) for row in rows]})
    else:
        _print(rows)
    if result is None:
        tell_lines([f"{out} holds no scoring: no jar's state is known."], quiet=quiet)


def _rows(shelf: Shelf, result: ShelfResult | None) -> list[JarRow]:
    """Every jar of the register, and of the last scoring, in the order of the register."""
    from jarvision.base.days import machine_day
    from jarvision.register.endings import ending_of
    from jarvision.register.lineage import JarState

    scored = {s.verdict.jar: s for s in result.all_stories} if result else {}
    entries = {**shelf.register, **{jar: s.history.entry for jar, s in scored.items()}}
    today = machine_day()
    rows = []
    for jar, entry in entries.items():
        ending = ending_of(jar, shelf.register, shelf.outcomes, today=today)
        story = scored.get(jar)
        state = JarState.of(story.verdict.verdict if story else None, ending)
        last = story.history.days[-1].day if story and story.history.days else None
        rows.append(_row(entry, ending if state.over else None, state.verdict, last, today))
    return sorted(rows, key=lambda row: row.state == FINISHED)  # stable: register order


def _row(
    entry: JarEntry, ending: Ending | None, verdict: str, last: date | None, today: date
) -> JarRow:
    until = ending.day if ending else today
    age = (until - entry.started).days if until and entry.started else None
    return JarRow(
        jar=entry.jar,
        kind=entry.kind,
        state=FINISHED if ending else verdict,
        age_days=age,
        outcome=ending.word if ending else "",
        ended=iso(ending.day) if ending else None,
        last_photo=iso(last),
    )


def _print(rows: Sequence[JarRow]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table
    from rich.text import Text

    from jarvision.app.cli.console import stdout

    console = stdout()
    table = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 1), expand=False)
    table.add_column("jar", max_width=14, overflow="ellipsis", no_wrap=True)
    table.add_column("kind", no_wrap=True)
    table.add_column("state", no_wrap=True)
    table.add_column("days", justify="right", no_wrap=True)
    table.add_column("what became of it", overflow="fold")
    table.add_column("last photo", no_wrap=True)
    for row in rows:
        became = ", ".join(told for told in (row.outcome, row.ended) if told)
        age = "-" if row.age_days is None else str(row.age_days)
        cells = (printable(row.jar), row.kind, row.state, age, became or "-", row.last_photo or "-")
        table.add_row(*map(Text, cells))
    console.print(table)
    over = sum(row.state == FINISHED for row in rows)
    on_shelf = counted(len(rows) - over, "jar")
    console.print(f"{on_shelf} on the shelf, {over} finished.")
