"""``jarvision tags``: write sheets of numbered jar tags."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from jarvision.app.cli.console import tell_lines
from jarvision.app.cli.options import OutFolder, Quiet
from jarvision.app.cli.values import a_count

MOST_TAG = 100_000  # the sheets themselves end earlier, and say so
TAGS_EXAMPLE = "Example: jarvision tags --out print --first 1 --last 24"


def _number(option: str, *, example: int, what: str) -> Any:
    """An option that takes the number of a tag."""
    read = a_count(option, example=f"{option} {example}", least=0, most=MOST_TAG)
    return typer.Option(option, parser=read, metavar="N", help=what)


def tags(
    out: OutFolder,
    first: Annotated[int, _number("--first", example=1, what="Number of the first tag.")] = 1,
    last: Annotated[int, _number("--last", example=24, what="Number of the last tag.")] = 24,
    quiet: Quiet = False,
) -> None:
    """Write numbered jar tags to print.

    They are 20 mm wide, for the lids: a tag's number is the jar's number. PDF for A4 and for US
    Letter.

    Exit codes: 0 done, 2 bad usage, 5 folder not writable.
    """
    from jarvision.vision.card.tags import draw_tags

    files = draw_tags(out, first, last)
    for path in (files.pdf_a4, files.pdf_letter):
        typer.echo(path)
    tell_lines(
        ["Print at 100 % and stick one tag on each lid's front or shoulder, flat."],
        quiet=quiet,
    )
