"""``jarvision card``: write the reference card and the ring for photos from above."""

from __future__ import annotations

import typer

from jarvision.app.cli.console import tell_lines
from jarvision.app.cli.options import OutFolder, Quiet

CARD_EXAMPLE = "Example: jarvision card --out print"


def card(
    out: OutFolder,
    quiet: Quiet = False,
) -> None:
    """Write the reference card and the ring to print.

    The card stands behind the jar; the ring lies around its mouth, for photos from above. Each as
    PDF for A4 and for US Letter, and alone as a picture: card.png and ring.png (300 dpi).

    Exit codes: 0 done, 2 bad usage, 5 folder not writable.
    """
    from jarvision.vision.card.draw import draw_card, draw_ring

    for files in (draw_card(out), draw_ring(out)):
        for path in (files.pdf_a4, files.pdf_letter, files.png):
            typer.echo(path)
    tell_lines(
        ["Print one PDF of each at 100 % on matt paper and check its 100 mm bar with a ruler."],
        quiet=quiet,
    )
