"""``jarvision jars set``, ``rename`` and ``remove``: the register put right, nothing lost."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jarvision.app.cli.cells import takes_cells
from jarvision.app.cli.console import tell_lines
from jarvision.app.cli.options import AsJson, Quiet
from jarvision.app.cli.places import RegisterOption, open_paperwork
from jarvision.app.cli.plain import echo_json, iso
from jarvision.base.errors import UsageError
from jarvision.base.text import printable

if TYPE_CHECKING:
    from jarvision.register.amend import Amended

JARS_SET_EXAMPLE = "Example: jarvision jars set K08 --species oyster --started 2026-03-01"
JARS_RENAME_EXAMPLE = "Example: jarvision jars rename K08 K09"
JARS_REMOVE_EXAMPLE = "Example: jarvision jars remove K08"

JarName = Annotated[str, typer.Argument(metavar="JAR", help="A jar of the register.")]
JarNames = Annotated[
    list[str],
    typer.Argument(metavar="JAR...", help="Jars of the register; K01..K12 are a dozen."),
]


@takes_cells
def set_jar(
    names: JarNames,
    cells: dict[str, str],
    register: RegisterOption = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Correct what the register says of jars; '' empties a cell.

    Nothing else in the file is changed, and what stood there goes into jars_history.csv beside it.

    Exit codes: 0 done, 2 a wrong line or bad usage, 5 not writable.
    """
    from jarvision.register.amend import Amended, set_cells
    from jarvision.register.name_ranges import jars_meant

    if not cells:
        raise UsageError("Nothing was given to change", JARS_SET_EXAMPLE)
    shelf = open_paperwork(register)
    jars = [shelf.past.now(jar) for jar in jars_meant(names)]
    done = set_cells(
        shelf.register_path,
        jars,
        cells,
        today=date.today(),
        is_known_species=shelf.species.knows,
    )
    changes = tuple(change for one in done for change in one.changes)
    thoughts = tuple(dict.fromkeys(thought for one in done for thought in one.warnings))
    _tell(
        Amended(done[0].entry, changes, thoughts),
        "\n".join(map(_told_cells, done)),
        as_json,
        quiet,
    )


def _told_cells(done: Amended) -> str:
    """What was changed of one jar, in a sentence."""
    jar = done.entry.jar
    told = "; ".join(f"{c.column} was '{c.before}', is '{c.after}'" for c in done.changes)
    return f"{jar}: {told}." if told else f"{jar} is so already."


def rename_jar(
    jar: JarName,
    name: Annotated[str, typer.Argument(metavar="NAME", help="Its new name.")],
    register: RegisterOption = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Give JAR another name. Its photos, outcomes and diary stay its own.

    Files are left as they are: wherever the former name stands, the new one is meant. Photos may
    bear either.

    Exit codes: 0 done, 2 a wrong line or bad usage, 5 not writable.
    """
    from jarvision.register.amend import rename

    shelf = open_paperwork(register)
    jar = shelf.past.now(jar)
    done = rename(shelf.register_path, jar, name, today=date.today())
    _tell(done, f"{jar} is now {done.entry.jar}; photos may bear either name.", as_json, quiet)


def remove_jar(
    jar: JarName,
    register: RegisterOption = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Take JAR out of the register; for slips only.

    Its photos stay where they are and are left out; its line is kept in jars_history.csv. Of a jar
    that was used, thrown out or harvested tell the outcome instead.

    Exit codes: 0 done, 2 a wrong line or bad usage, 5 not writable.
    """
    from jarvision.register.amend import remove

    shelf = open_paperwork(register)
    jar = shelf.past.now(jar)
    done = remove(shelf.register_path, jar, today=date.today())
    kept = _beside(shelf.register_path)
    told = f"{jar} was taken out of the register; its line is kept in {kept}."
    _tell(done, told, as_json, quiet)


def _beside(path: Path) -> str:
    from jarvision.register.changes import CHANGES_NAME

    return str(path.parent / CHANGES_NAME)


def _tell(done: Amended, sentence: str, as_json: bool, quiet: bool) -> None:
    if as_json:
        changes = [
            {
                "date": iso(change.day),
                "jar": change.jar,
                "change": change.change,
                "column": change.column,
                "before": change.before,
                "after": change.after,
            }
            for change in done.changes
        ]
        echo_json({"jar": done.entry.jar, "changes": changes, "notes": list(done.warnings)})
    else:
        for line in sentence.splitlines():
            typer.echo(printable(line))
    tell_lines([f"Note: {warning}." for warning in done.warnings], quiet=quiet)
