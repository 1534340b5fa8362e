"""``jarvision jars seen``: what a person looked at and found fine."""

from __future__ import annotations

from datetime import date
from typing import Annotated

import typer

from jarvision.app.cli.console import tell_lines
from jarvision.app.cli.options import AsJson, Quiet
from jarvision.app.cli.places import (
    REPORT,
    OutOption,
    RegisterOption,
    find_story,
    needed_scoring,
    open_paperwork,
)
from jarvision.app.cli.plain import echo_json
from jarvision.base.errors import UsageError
from jarvision.base.text import printable

JARS_SEEN_EXAMPLE = "Example: jarvision jars seen K07 --fine --note 'amber drops, smells fresh'"


def seen(
    jar: Annotated[str, typer.Argument(metavar="JAR", help="The jar that was looked at.")],
    fine: Annotated[bool, typer.Option("--fine", help="Nothing was wrong with it.")] = False,
    note: Annotated[str, typer.Option(help="What was seen.")] = "",
    out: OutOption = REPORT,
    register: RegisterOption = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Say that JAR was looked at, and that its doubts are fine.

    Every finding of the last scoring that a look can settle becomes a line of seen.csv beside the
    register, and is no doubt any more until it grows. Mould that is sure, and whatever else ends a
    jar, is settled by nothing.

    Exit codes: 0 done, 2 nothing that a look settles, or bad usage, 5 not writable.
    """
    from jarvision.records.wording import PLAIN
    from jarvision.register.looks import add_looks
    from jarvision.verdict.settled import looks_at

    if not fine:
        raise UsageError(
            "What was seen is not told",
            "Say --fine, or record what was wrong with jarvision outcome JAR contaminated.",
        )
    if not note.isprintable():
        raise UsageError("The note holds a line break or the like", "Write it on one line.")
    shelf = open_paperwork(register, needed=False)
    jar = shelf.past.now(jar)
    story = find_story(needed_scoring(out, shelf), jar)
    verdict, day = story.verdict, date.today()
    if verdict.verdict != "check":
        raise UsageError(
            f"The verdict on '{printable(jar)}' is {verdict.verdict}, which no look settles",
            "Only a check asks for a look; jarvision explain tells what to do.",
        )
    looks = looks_at(verdict, day=day, note=note.strip())
    left = [f for f in verdict.findings if f.word not in {look.finding for look in looks}]
    if not looks:
        raise UsageError(
            f"What '{printable(jar)}' is in doubt for is not settled by a look: {left[0].sentence}",
            f"jarvision explain {printable(jar)} says what settles it.",
        )
    add_looks(shelf.looks_path, looks)
    settled = [f.tell_short(PLAIN) for f in verdict.findings if f not in left]
    if as_json:
        echo_json({
            "jar": jar,
            "date": day.isoformat(),
            "findings": [look.finding for look in looks],
            "left": [finding.word for finding in left],
        })  # fmt: skip
    else:
        typer.echo(printable(f"{jar}, found fine: {'; '.join(settled)}."))
    tell_lines(
        [
            *(f"Still to be settled: {finding.sentence}" for finding in left),
            "The next jarvision score counts it.",
        ],
        quiet=quiet,
    )
