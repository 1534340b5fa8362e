"""``jarvision card``: write the reference card."""

from __future__ import annotations

import typer

from jarvision.app.cli.console import tell_lines
from jarvision.app.cli.options import OutFolder, Quiet

CARD_EXAMPLE = "Example: jarvision card --out print"


def card(
    out: OutFolder,
    quiet: Quiet = False,
) -> None:
    """Write the reference card to print.

    PDF for A4 and for US Letter, and card.png, the card alone (300 dpi).

    Exit codes: 0 done, 2 bad usage, 5 folder not writable.
    """
    from jarvision.vision.card.draw import draw_card

    files = draw_card(out)
    for path in (files.pdf_a4, files.pdf_letter, files.png):
        typer.echo(path)
    tell_lines(
        ["Print one of the PDFs at 100 % on matt paper and check its 100 mm bar with a ruler."],
        quiet=quiet,
    )
