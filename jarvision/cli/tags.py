"""``jarvision tags``: write sheets of numbered jar tags."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

EXAMPLE = "Example: jarvision tags --out print --first 1 --last 24"


def tags(
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="Folder for the files; made when missing.")
    ],
    first: Annotated[int, typer.Option(min=0, help="Number of the first tag.")] = 1,
    last: Annotated[int, typer.Option(min=0, help="Number of the last tag.")] = 24,
) -> None:
    """Write 20 mm jar tags to print: a tag's number is the jar's number."""
    from jarvision.card.tags import draw_tags

    files = draw_tags(out, first, last)
    for path in (files.pdf_a4, files.pdf_letter):
        typer.echo(path)
    typer.echo("Print at 100 % and stick one tag on each lid's front or shoulder, flat.", err=True)
