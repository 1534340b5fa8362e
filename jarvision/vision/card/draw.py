"""The card drawn: PDF for A4 and Letter, and a picture of its active area."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from jarvision.base.errors import NotWritableError
from jarvision.vision.card import marks as printed
from jarvision.vision.card.layout import CardLayout, ScaleBar, lab_to_rgb8, load_layout

PNG_DPI = 300


@dataclass(frozen=True)
class CardFiles:
    """The files that :func:`draw_card` wrote."""

    pdf_a4: Path
    pdf_letter: Path
    png: Path


def draw_card(out_dir: Path, *, layout: CardLayout | None = None) -> CardFiles:
    """Write ``card-a4.pdf``, ``card-letter.pdf`` and ``card.png`` (300 dpi, nominal sRGB).

    Raises
    ------
    NotWritableError
        When the folder or a file cannot be written.
    """
    from PIL import Image

    layout = layout or load_layout()
    marks = card_marks(layout)
    area_mm = np.array([layout.width_mm, layout.height_mm])
    files = CardFiles(*(out_dir / name for name in ("card-a4.pdf", "card-letter.pdf", "card.png")))
    title = f"jarvision card, version {layout.version}"
    try:
        out_dir.mkdir(parents=True, exist_ok=True)
        for path, paper in ((files.pdf_a4, printed.A4), (files.pdf_letter, printed.LETTER)):
            printed.write_pdf(path, [marks], paper=paper, area_mm=area_mm, title=title)
        picture = printed.paint(marks, area_mm=area_mm, dpi=PNG_DPI)
        Image.fromarray(picture).save(files.png, dpi=(PNG_DPI, PNG_DPI), optimize=True)
    except OSError as error:
        raise NotWritableError(
            f"the card cannot be written to {out_dir}", "Choose another folder with --out."
        ) from error
    return files


def card_marks(layout: CardLayout) -> list[printed.Mark]:
    """Everything printed on the card, in painting order."""
    field = layout.field
    square = layout.slanted_square
    corners = tuple((float(x), float(y)) for x, y in square.corners_mm)
    return [
        printed.Boxes(((field.x_mm, field.y_mm, field.width_mm, field.height_mm),), field.rgb8),
        *(
            printed.Boxes(((s.x_mm, s.y_mm, s.width_mm, s.height_mm),), s.rgb8)
            for s in layout.swatches
        ),
        *(
            printed.marker_cells(layout.marker_family, m.id, m.x_mm, m.y_mm, m.size_mm)
            for m in layout.markers
        ),
        printed.Polygon(corners, lab_to_rgb8(square.lab)),
        _scale_bar(layout.scale_bar),
        *(printed.Text(t.x_mm, t.y_mm, t.size_mm, t.text, bold=t.bold) for t in layout.labels),
    ]


def _scale_bar(bar: ScaleBar) -> printed.Boxes:
    """A line with ticks below it; the outer sides of the end ticks are the length apart."""
    rows = [(bar.x_mm, bar.y_mm - bar.line_mm / 2.0, bar.length_mm, bar.line_mm)]
    steps = round(bar.length_mm / bar.tick_every_mm)
    for step in range(steps + 1):
        at_end = step in (0, steps)
        length = bar.end_tick_mm if at_end else bar.tick_mm
        # inner ticks are centred on their mark, end ticks lie inside the length
        shift = bar.line_mm * step / steps if at_end else bar.line_mm / 2.0
        x = bar.x_mm + step * bar.tick_every_mm - shift
        rows.append((x, bar.y_mm - length / 2.0, bar.line_mm, length))
    return printed.Boxes(tuple(rows), printed.INK_RGB)
