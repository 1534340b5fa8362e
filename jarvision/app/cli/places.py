"""Where the paperwork lies: the register, and the folder of the last scoring."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from jarvision.base.errors import UsageError
from jarvision.base.text import did_you_mean, printable

if TYPE_CHECKING:
    from jarvision.records import JarStory, ShelfResult
    from jarvision.run.shelf import Shelf

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


def register_path(register: Path | None) -> Path:
    """Path of the register that was named, else of the first usual one that is there."""
    return register or next((path for path in REGISTERS if path.is_file()), REGISTERS[0])


def open_paperwork(
    register: Path | None, *, needed: bool = True, settings_file: Path | None = None
) -> Shelf:
    """Load the register and what lies beside it.

    Raises
    ------
    UsageError
        When there is no register where one was named or is needed, or something there is wrong.
    """
    from jarvision.run.shelf import open_shelf

    path = register_path(register)
    named = path if needed or register is not None else None
    return open_shelf(path.parent, register=named, settings_file=settings_file)


def last_scoring(out: Path, shelf: Shelf) -> ShelfResult | None:
    """The last scoring, with what register and outcomes say today, each jar under today's name.

    None when there is none. Jars that were taken out since are left out.

    What the store keeps comes first; the tables are read where there is no such store.

    Raises
    ------
    UsageError
        A table has a wrong line.
    """
    from jarvision.base.days import clock_day
    from jarvision.report.read_back import holds_tables, read_result
    from jarvision.run.former_names import under_todays_names
    from jarvision.run.results import last_result
    from jarvision.verdict.lives import with_lives

    result = last_result(out, shelf)
    if result is None and holds_tables(out):
        result = read_result(out, shelf.by_photo_names, species=shelf.species)
    if result is None:
        return None
    named = under_todays_names(result, shelf)
    return with_lives(
        named,
        shelf.register,
        shelf.outcomes,
        looks=shelf.looks,
        today=clock_day(),
        limits=shelf.settings.verdict,
        fruiting=shelf.settings.fruiting,
    )


def needed_scoring(out: Path, shelf: Shelf) -> ShelfResult:
    """The last scoring as :func:`last_scoring` finds it.

    Raises
    ------
    UsageError
        The folder holds none, or a table has a wrong line.
    """
    from jarvision.report.read_back import no_scoring

    result = last_scoring(out, shelf)
    if result is None:
        raise no_scoring(out)
    return result


def find_story(result: ShelfResult, jar: str) -> JarStory:
    """Return the story of a jar, whether it goes on or is over.

    Raises
    ------
    UsageError
        When the jar was not scored.
    """
    for story in result.all_stories:
        if story.verdict.jar == jar:
            return story
    scored = [story.verdict.jar for story in result.all_stories]
    known = ", ".join(map(printable, scored)) or "none"
    hint = did_you_mean(jar, scored) or f"Scored were: {known}."
    raise UsageError(f"Jar '{printable(jar)}' was not scored", hint)
