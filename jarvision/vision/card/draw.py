"""The cards drawn: PDF for A4 and Letter, and a picture of their active area."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from jarvision.base.errors import NotWritableError
from jarvision.vision.card import marks as printed
from jarvision.vision.card.layout import (
    CardLayout,
    Field,
    Mouth,
    ScaleBar,
    lab_to_rgb8,
    load_layout,
    load_ring,
)

PNG_DPI = 300

_CUT_RGB = (170, 170, 170)
_CUT_MM = 0.15
_WHITE = (255, 255, 255)
_CIRCLE_TEXT_MM = 1.8
_CIRCLE_GAP_MM = (2.8, 1.8)
"""Each circle is broken by its number; the next one is 2 mm away."""
_CIRCLE_DEG = 8.0
"""Numbers of neighbouring circles stand this far apart."""


@dataclass(frozen=True)
class CardFiles:
    """The files that were written of one card."""

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
    return _draw(out_dir, layout or load_layout(), name="card")


def draw_ring(out_dir: Path) -> CardFiles:
    """Write ``ring-a4.pdf``, ``ring-letter.pdf`` and ``ring.png``, as :func:`draw_card` does."""
    return _draw(out_dir, load_ring(), name="ring")


def _draw(out_dir: Path, layout: CardLayout, *, name: str) -> CardFiles:
    from PIL import Image

    marks = card_marks(layout)
    area_mm = np.array([layout.width_mm, layout.height_mm])
    files = CardFiles(*(out_dir / f"{name}{end}" for end in ("-a4.pdf", "-letter.pdf", ".png")))
    title = f"jarvision {name}, version {layout.version}"
    try:
        out_dir.mkdir(parents=True, exist_ok=True)
        for path, paper in ((files.pdf_a4, printed.A4), (files.pdf_letter, printed.LETTER)):
            printed.write_pdf(path, [marks], paper=paper, area_mm=area_mm, title=title)
        picture = printed.paint(marks, area_mm=area_mm, dpi=PNG_DPI)
        Image.fromarray(picture).save(files.png, dpi=(PNG_DPI, PNG_DPI), optimize=True)
    except OSError as error:
        raise NotWritableError(
            f"the {name} cannot be written to {out_dir}", "Choose another folder with --out."
        ) from error
    return files


def card_marks(layout: CardLayout) -> list[printed.Mark]:
    """Everything printed on a card, in painting order."""
    square = layout.slanted_square
    corners = tuple((float(x), float(y)) for x, y in square.corners_mm)
    return [
        *_field(layout.field, layout.mouth),
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
        *(_cuts(layout) if layout.mouth else ()),
    ]


def _field(field: Field, mouth: Mouth | None) -> list[printed.Mark]:
    """The plain field: a box behind the jar, or a disc around its mouth with circles to cut."""
    if mouth is None:
        box = (field.x_mm, field.y_mm, field.width_mm, field.height_mm)
        return [printed.Boxes((box,), field.rgb8)]
    x, y = field.centre_mm
    marks: list[printed.Mark] = [printed.Disc(x, y, field.width_mm / 2.0, field.rgb8)]
    half = mouth.line_mm / 2.0
    for width in sorted(mouth.diameters_mm, reverse=True):
        marks.append(printed.Disc(x, y, width / 2.0 + half, _WHITE))
        marks.append(printed.Disc(x, y, width / 2.0 - half, field.rgb8))
    wide, high = _CIRCLE_GAP_MM
    count = len(mouth.diameters_mm)
    for place, width in enumerate(mouth.diameters_mm):
        angle = np.deg2rad(_CIRCLE_DEG * (place - (count - 1) / 2.0))
        left = x + width / 2.0 * float(np.cos(angle)) - wide / 2.0
        middle = y + width / 2.0 * float(np.sin(angle))
        marks.append(printed.Boxes(((left, middle - high / 2.0, wide, high),), field.rgb8))
        base = middle + 0.36 * _CIRCLE_TEXT_MM  # half the height of a digit
        marks.append(printed.Text(left + 0.2, base, _CIRCLE_TEXT_MM, f"{width:.0f}", rgb=_WHITE))
    return marks


def _cuts(layout: CardLayout) -> list[printed.Mark]:
    """The ring's outline, and its slit from the left edge to the smallest circle."""
    mouth = layout.mouth
    if mouth is None:
        return []
    wide, high, line = layout.width_mm, layout.height_mm, _CUT_MM
    x, y = layout.field.centre_mm
    end = x - min(mouth.diameters_mm) / 2.0
    return [
        printed.Boxes(
            ((0.0, 0.0, wide, line), (0.0, high - line, wide, line),
             (0.0, 0.0, line, high), (wide - line, 0.0, line, high),
             (0.0, y - line / 2.0, layout.field.x_mm, line)),
            _CUT_RGB,
        ),
        printed.Boxes(
            ((layout.field.x_mm, y - mouth.line_mm / 2.0, end - layout.field.x_mm, mouth.line_mm),),
            _WHITE,
        ),
    ]  # fmt: skip


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
