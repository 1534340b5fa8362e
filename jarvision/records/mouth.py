"""From ring to surface: the jar's mouth, and the surface in it laid flat. Heavy records."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jarvision.records.arrays import BoolArray, Float32Array, FloatArray
from jarvision.records.surface import Measured


@dataclass(frozen=True, kw_only=True)
class MouthFit:
    """The jar's mouth in the ring frame: the card frame of the ring, z down the jar.

    Attributes
    ----------
    axis_mm
        ``(2,)`` where the jar's axis meets the ring's plane.
    rim_z_mm
        z of the rim: negative, above the ring.
    inner_mm
        Inner diameter of the mouth.
    below_rim_mm
        How far the edge of the surface lies below the rim; None where the view does not tell.
    untold
        Why ``below_rim_mm`` is None, a sentence without a full stop; else empty.
    surface_z_mm
        z of the plane in which the surface is laid flat: as found, or the usual depth.
    scale_sd
        Standard uncertainty of lengths on the surface, as a share of them.
    rim_seen
        False where the rim was not seen and the ring's hole stands for it.
    rim_px
        ``(k, 2)`` its closed outline in photo pixels, for drawing.
    """

    axis_mm: FloatArray
    rim_z_mm: float
    inner_mm: Measured
    below_rim_mm: Measured | None
    untold: str
    surface_z_mm: float
    scale_sd: float
    rim_seen: bool
    rim_px: FloatArray

    @property
    def outline_px(self) -> Float32Array:
        """The rim's outline."""
        return self.rim_px.astype(np.float32)

    @property
    def radius_mm(self) -> float:
        """Inner radius of the mouth."""
        return self.inner_mm.value / 2.0


@dataclass(frozen=True, kw_only=True)
class SurfacePicture:
    """The surface laid flat, colour-corrected, as the ring lies: x right, y down, mouth central.

    Attributes
    ----------
    linear
        ``(n, n, 3)`` linear sRGB.
    cell_mm
        Side of a cell.
    pixels
        ``(n, n, 2)`` photo pixel ``(x, y)`` seen at each place.
    within
        ``(n, n)`` True on the surface within the mouth.
    seen
        ``(n, n)`` True where it can be judged: within, past the rim, no glare, no deep shade.
    glare, shade
        ``(n, n)`` True where a mirrored lamp burns out, and where the rim's shade is too deep.
    """

    linear: Float32Array
    cell_mm: float
    pixels: Float32Array
    within: BoolArray
    seen: BoolArray
    glare: BoolArray
    shade: BoolArray

    @property
    def axis(self) -> FloatArray:
        """``(n,)`` x of the columns' centres and y of the rows', mm."""
        n = len(self.within)
        return np.asarray((np.arange(n) - (n - 1) / 2.0) * self.cell_mm)

    @property
    def surface_cm2(self) -> float:
        """Area of the surface within the mouth, hidden parts and all, cm2."""
        return float(self.within.sum()) * self.cell_mm**2 / 100.0

    @property
    def seen_cm2(self) -> float:
        """The part of it that can be judged, cm2."""
        return float(self.seen.sum()) * self.cell_mm**2 / 100.0
