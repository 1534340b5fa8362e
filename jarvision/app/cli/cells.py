"""Options for what the register says of a jar: the same wherever its line is written."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from functools import wraps
from typing import Annotated, Any, Final

import typer

CELL_OPTIONS: Final[Mapping[str, Any]] = {
    "kind": typer.Option(help="spawn, fruiting or bare. Not told: as its batch, else spawn."),
    "species": typer.Option(help="Common or Latin name."),
    "substrate": typer.Option(help="What is in the jar."),
    "started": typer.Option(metavar="DATE", help="Day of inoculation, as 2026-01-31."),
    "parent": typer.Option(metavar="JAR", help="Jar whose spawn it got; must be registered."),
    "profile": typer.Option(help="Shape of the jar."),
    "notes": typer.Option(help="Anything else."),
}
"""By column of the register."""


def takes_cells(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command an option for each column; those that were given come to it as ``cells``."""
    own = inspect.signature(command, eval_str=True).parameters.values()

    @wraps(command)
    def told(**given: Any) -> None:
        texts = {column: given.pop(column) for column in CELL_OPTIONS}
        cells = {column: text for column, text in texts.items() if text is not None}
        command(cells=cells, **given)

    options = [
        inspect.Parameter(
            column,
            inspect.Parameter.POSITIONAL_OR_KEYWORD,
            default=None,
            annotation=Annotated[str | None, option],
        )
        for column, option in CELL_OPTIONS.items()
    ]
    shown = [p for one in own for p in (options if one.name == "cells" else [one])]
    told.__signature__ = inspect.Signature(shown)  # type: ignore[attr-defined]
    return told
