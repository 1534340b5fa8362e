"""The colours and the size of the user's own print of the card."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, Literal, TypeVar

from jarvision.base.colourspace import linear_to_lab
from jarvision.records import FloatArray
from jarvision.vision.card.layout import (
    Box,
    CardLayout,
    Marker,
    ScaleBar,
    SlantedSquare,
    load_layout,
)

Reference = Literal["nominal", "as-printed", "measured"]

NOMINAL_DE00 = 6.0
"""What a home print is off its nominal colours, CIEDE2000 (common practice, no source)."""

MEASURED_DE00 = 1.0
"""What two hand-held instruments differ by, and what adapting D50 values to D65 costs, CIEDE2000
(common practice, no source)."""

Part = TypeVar("Part", bound=Box | Marker | ScaleBar | SlantedSquare)


@dataclass(frozen=True)
class CardValues:
    """What the swatches of the user's card are.

    Attributes
    ----------
    linear
        ``(n, 3)`` linear sRGB in the order of the layout; 1.0 is the perfect white.
    reference
        Where they come from.
    expected_de00
        Typical error of one swatch's value, CIEDE2000.
    source
        Name of the file, empty for nominal values.
    print_scale
        Size of the print over its nominal size, by the ruler on the 100 mm bar.
    """

    linear: FloatArray
    reference: Reference
    expected_de00: float
    source: str = ""
    print_scale: float = 1.0

    @property
    def lab(self) -> FloatArray:
        """``(n, 3)`` CIELAB (D65)."""
        return linear_to_lab(self.linear)


def nominal_values(layout: CardLayout | None = None) -> CardValues:
    """The values that the card was designed with."""
    return CardValues((layout or load_layout()).nominal_linear, "nominal", NOMINAL_DE00)


def scale_layout(layout: CardLayout, print_scale: float) -> CardLayout:
    """The card as it came out of the printer: every length times ``print_scale``."""
    if print_scale == 1.0:
        return layout
    return replace(
        layout,
        width_mm=layout.width_mm * print_scale,
        height_mm=layout.height_mm * print_scale,
        markers=tuple(_scaled(part, print_scale) for part in layout.markers),
        field=_scaled(layout.field, print_scale),
        scale_bar=_scaled(layout.scale_bar, print_scale),
        slanted_square=_scaled(layout.slanted_square, print_scale),
        swatches=tuple(_scaled(part, print_scale) for part in layout.swatches),
        mouth=layout.mouth and layout.mouth.scaled(print_scale),
    )


def _scaled(part: Part, factor: float) -> Part:
    lengths: dict[str, Any] = {
        f.name: getattr(part, f.name) * factor for f in fields(part) if f.name.endswith("_mm")
    }
    return replace(part, **lengths)
