"""Where the paperwork lies: the register, and the folder of the last scoring."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from jarvision.base.errors import UsageError
from jarvision.base.text import printable

if TYPE_CHECKING:
    from jarvision.records import JarStory, ShelfResult
    from jarvision.register.jars import Register
    from jarvision.register.outcomes import JarOutcome
    from jarvision.register.species import SpeciesBook

REGISTERS: Final = (Path("jars.csv"), Path("photos") / "jars.csv")
REPORT: Final = Path("report")

RegisterOption = Annotated[
    Path | None,
    typer.Option(
        "--register",
        metavar="CSV",
        help="Jar register. Default: jars.csv here, else photos/jars.csv.",
    ),
]
OutOption = Annotated[
    Path, typer.Option("--out", metavar="OUT", help="Folder of the last scoring.")
]


@dataclass(frozen=True)
class Shelf:
    """What lies in one folder: the register, what became of its jars, species of the grower's."""

    folder: Path
    register: Register
    outcomes: dict[str, JarOutcome]
    species: SpeciesBook


def register_path(register: Path | None) -> Path:
    """Path of the register that was named, else of the first usual one that is there."""
    return register or next((path for path in REGISTERS if path.is_file()), REGISTERS[0])


def open_shelf(register: Path | None, *, needed: bool = True) -> Shelf:
    """Read the register and the outcomes beside it.

    Raises
    ------
    UsageError
        When there is no register where one was named or is needed, or a line is wrong.
    """
    from jarvision.register.jars import Register, read_register
    from jarvision.register.outcomes import OUTCOMES_NAME, read_outcomes, taken_together
    from jarvision.register.species import load_species

    path = register_path(register)
    there = path.is_file()
    if not there and (needed or register is not None):
        raise UsageError(
            f"There is no register {printable(str(path))}",
            "Name yours with --register, or start one with jarvision jars new.",
        )
    return Shelf(
        folder=path.parent,
        register=read_register(path) if there else Register(),
        outcomes=taken_together(read_outcomes(path.parent / OUTCOMES_NAME)),
        species=load_species(path.parent),
    )


def last_scoring(out: Path, shelf: Shelf) -> ShelfResult | None:
    """Read the last scoring; None when the folder holds none."""
    from jarvision.report.read_back import read_result

    if not (out / "verdicts.csv").is_file():
        return None
    return read_result(out, shelf.register, species=shelf.species)


def find_story(result: ShelfResult, jar: str) -> JarStory:
    """Return the story of a jar.

    Raises
    ------
    UsageError
        When the jar was not scored.
    """
    for story in result.stories:
        if story.verdict.jar == jar:
            return story
    known = ", ".join(printable(story.verdict.jar) for story in result.stories)
    raise UsageError(f"Jar '{printable(jar)}' was not scored", f"Scored were: {known or 'none'}.")


def tell_lines(lines: list[str], *, quiet: bool = False) -> None:
    """Say something to the user, one line each, on stderr; nothing when they want it quiet."""
    from jarvision.app.cli.console import stderr

    if quiet:
        return
    for line in lines:
        stderr().print(printable(line), soft_wrap=True)
