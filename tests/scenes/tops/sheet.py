"""The printed sheet around the mouth: its picture, its size, the circles that it is cut along."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from jarvision.records import ByteArray, FloatArray
from jarvision.vision.card.draw import draw_ring
from jarvision.vision.card.layout import load_ring

PLAIN_PX_PER_MM = 10.0


@dataclass(frozen=True)
class Sheet:
    """``picture`` is ``(rows, cols, 3)`` sRGB of the whole sheet; ``holes_mm`` are diameters."""

    picture: ByteArray
    width_mm: float
    height_mm: float
    holes_mm: tuple[float, ...] = ()

    @property
    def corners_mm(self) -> FloatArray:
        """``(4, 3)`` corners in the sheet's frame, from the top left one on."""
        w, h = self.width_mm, self.height_mm
        return np.array([[0.0, 0.0, 0.0], [w, 0.0, 0.0], [w, h, 0.0], [0.0, h, 0.0]])

    def hole_mm(self, outer_mm: float) -> float:
        """Diameter of the smallest circle that a mouth of this outer width goes through."""
        fitting = [hole for hole in self.holes_mm if hole >= outer_mm]
        return min(fitting) if fitting else outer_mm + 1.0


def printed_ring() -> Sheet:
    """The package's own ring, as it is drawn."""
    layout = load_ring()
    with tempfile.TemporaryDirectory() as folder:
        picture = np.asarray(Image.open(draw_ring(Path(folder)).png).convert("RGB"))
    holes = layout.mouth.diameters_mm if layout.mouth else ()
    return Sheet(picture, layout.width_mm, layout.height_mm, holes)


def plain_sheet(side_mm: float = 160.0) -> Sheet:
    """A white sheet with four dark corner squares: for tests of the geometry."""
    px = round(side_mm * PLAIN_PX_PER_MM)
    picture = np.full((px, px, 3), 240, np.uint8)
    near, size = round(4.0 * PLAIN_PX_PER_MM), round(20.0 * PLAIN_PX_PER_MM)
    for y in (near, px - near - size):
        for x in (near, px - near - size):
            picture[y : y + size, x : x + size] = 25
    return Sheet(picture, side_mm, side_mm)
