"""``jarvision card``: write the reference card."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

EXAMPLE = "Example: jarvision card --out print"


def card(
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="Folder for the files; made when missing.")
    ],
) -> None:
    """Write the reference card: PDF for A4 and US Letter, and card.png (300 dpi)."""
    from jarvision.card.draw import draw_card

    files = draw_card(out)
    for path in (files.pdf_a4, files.pdf_letter, files.png):
        typer.echo(path)
    typer.echo(
        "Print one of the PDFs at 100 % on matt paper and check its 100 mm bar with a ruler.",
        err=True,
    )
