"""``jarvision jars``: start the register, add jars to it."""

from __future__ import annotations

from typing import Annotated

import typer

from jarvision.app.cli.cells import takes_cells
from jarvision.app.cli.console import tell_lines
from jarvision.app.cli.options import AsJson, Quiet
from jarvision.app.cli.places import (
    REPORT,
    OutOption,
    RegisterOption,
    last_scoring,
    open_paperwork,
    register_path,
)
from jarvision.app.cli.plain import echo_json
from jarvision.base.text import counted, printable

JARS_NEW_EXAMPLE = "Example: jarvision jars new --register photos/jars.csv"
JARS_ADD_EXAMPLE = (
    "Example: jarvision jars add K08..K19 --kind spawn --species oyster --substrate rye "
    "--started 2026-03-01"
)

NewJars = Annotated[
    list[str], typer.Argument(metavar="JAR...", help="Names of the new jars; K01..K12 are a dozen.")
]

jars_app = typer.Typer(
    name="jars",
    help="The jar register: start and correct it, say what you saw.",
    no_args_is_help=True,
)


@jars_app.command("new", epilog=JARS_NEW_EXAMPLE)
def new(register: RegisterOption = None) -> None:
    """Write a register without jars, to be filled in. A file that is there is left alone.

    Exit codes: 0 done, 2 there is one already, 5 not writable.
    """
    from jarvision.register.edit import new_register

    path = new_register(register or register_path(None))
    typer.echo(printable(str(path)))


@jars_app.command("add", epilog=JARS_ADD_EXAMPLE)
@takes_cells
def add(
    names: NewJars,
    cells: dict[str, str],
    out: OutOption = REPORT,
    register: RegisterOption = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Add jars to the register: a line for each at its end.

    Nothing else is changed. The whole register is checked first; when a line is wrong, nothing is
    written.

    Exit codes: 0 done, 2 a wrong line or bad usage, 5 not writable.
    """
    from jarvision.register.edit import add_jars
    from jarvision.register.name_ranges import gathered, jars_meant
    from jarvision.verdict.kin import doubts_about

    shelf = open_paperwork(register)
    path = shelf.register_path
    added = add_jars(path, jars_meant(names), cells, is_known_species=shelf.species.knows)
    jars = [entry.jar for entry in added.entries]
    fed_by = added.entry.parent
    last = last_scoring(out, shelf) if fed_by else None
    doubts = [*added.warnings, *doubts_about(fed_by, last, shelf.outcomes.get(fed_by))]
    if as_json:
        document = {
            "jar": jars[0],
            "added": jars,
            "register": str(path),
            "jars": len(added.register),
            "notes": doubts,
        }
        echo_json(document)
    else:
        now = counted(len(added.register), "jar")
        told = " ".join(gathered(jars))
        typer.echo(printable(f"{told} added to {path}, which now holds {now}."))
    tell_lines([f"Note: {doubt}." for doubt in doubts], quiet=quiet)
