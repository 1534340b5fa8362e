"""``jarvision trace``: who is related to a jar, and where to look first."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from jarvision.app.cli.console import tell_lines
from jarvision.app.cli.options import AsJson, Quiet
from jarvision.app.cli.places import (
    REPORT,
    OutOption,
    RegisterOption,
    last_scoring,
    open_paperwork,
)
from jarvision.app.cli.plain import echo_json
from jarvision.base.text import printable

if TYPE_CHECKING:
    from jarvision.records import ShelfResult
    from jarvision.register.lineage import JarState, Trace
    from jarvision.run.shelf import Shelf

NOT_RECORDED = ("", "used up")
"""Endings beside which the verdict still counts; a recorded one says more than any photo."""
TRACE_EXAMPLE = "Example: jarvision trace K07 --out report --register photos/jars.csv"


def trace_jar(
    jar: Annotated[str, typer.Argument(metavar="JAR", help="The jar that is bad.")],
    out: OutOption = REPORT,
    register: RegisterOption = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Say which jars to isolate or look at when JAR is bad.

    Nearest relatives come first.

    Exit codes: 0 done, 2 the jar is not in the register, or bad usage.
    """
    from jarvision.register import lineage

    shelf = open_paperwork(register)
    result = last_scoring(out, shelf)
    found = lineage.trace(shelf.register, shelf.past.now(jar), states=_states(result, shelf))
    if as_json:
        echo_json(asdict(found))
    else:
        _print(found)
    if result is None:
        tell_lines([f"{out} holds no scoring: no jar's state is known."], quiet=quiet)


def _states(result: ShelfResult | None, shelf: Shelf) -> dict[str, JarState]:
    from jarvision.base.days import machine_day
    from jarvision.register.endings import ending_of
    from jarvision.register.lineage import JarState

    today, stories = machine_day(), result.all_stories if result else ()
    said = {story.verdict.jar: story.verdict.verdict for story in stories}
    return {
        jar: JarState.of(said.get(jar), ending_of(jar, shelf.register, shelf.outcomes, today=today))
        for jar in shelf.register
    }


def _print(found: Trace) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table
    from rich.text import Text

    from jarvision.app.cli.console import stdout

    console = stdout()
    jar = printable(found.jar)
    told = "" if found.suspect else " Nothing wrong is known of it so far."
    console.print(f"If {jar} is bad, look in this order.{told}")
    table = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 1), expand=False)
    table.add_column("", justify="right", no_wrap=True)
    table.add_column("jar", max_width=14, overflow="ellipsis", no_wrap=True)
    table.add_column("relation", overflow="fold", max_width=16)
    table.add_column("state", overflow="fold", max_width=13)
    table.add_column("do", no_wrap=True)
    table.add_column("why", overflow="fold")
    for relative in found.relatives:
        known = (relative.state, relative.outcome) if relative.outcome in NOT_RECORDED else ()
        state = ", ".join(filter(None, known)) or relative.outcome
        action = "-" if relative.action == "none" else relative.action
        cells = (printable(relative.jar), relative.relation, state, action, printable(relative.why))
        table.add_row(str(relative.step), *(Text(cell) for cell in cells))
    console.print(table)
