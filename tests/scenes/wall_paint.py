"""The unrolled wall of a jar: its grid, and what stands against the glass on one day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jarvision.records import BoolArray, ByteArray, Float32Array, FloatArray


@dataclass(frozen=True)
class WallGrid:
    """A regular grid over the whole inner wall; row 0 is the top, columns run -180 to 180 deg.

    Attributes
    ----------
    radius_mm
        Inner radius of the glass.
    height_mm
        Height of the grid above the inner floor.
    cell_mm
        Wanted cell size; the true one differs by less than a cell over the whole wall.
    """

    radius_mm: float
    height_mm: float
    cell_mm: float = 0.25

    @property
    def girth_mm(self) -> float:
        """Circumference of the inner wall."""
        return 2.0 * np.pi * self.radius_mm

    @property
    def rows(self) -> int:
        """Number of rows."""
        return max(2, round(self.height_mm / self.cell_mm))

    @property
    def cols(self) -> int:
        """Number of columns."""
        return max(2, round(self.girth_mm / self.cell_mm))

    @property
    def shape(self) -> tuple[int, int]:
        """``(rows, cols)``."""
        return self.rows, self.cols

    @property
    def step_mm(self) -> tuple[float, float]:
        """True cell height and width, mm."""
        return self.height_mm / self.rows, self.girth_mm / self.cols

    @property
    def angles_deg(self) -> FloatArray:
        """``(cols,)`` angle of each column's centre."""
        return np.asarray((np.arange(self.cols) + 0.5) * (360.0 / self.cols) - 180.0)

    @property
    def along_mm(self) -> FloatArray:
        """``(cols,)`` arc length of each column's centre, from -girth/2 to girth/2."""
        return np.asarray(np.deg2rad(self.angles_deg) * self.radius_mm, dtype=np.float64)

    @property
    def heights_mm(self) -> FloatArray:
        """``(rows,)`` height of each row's centre, falling."""
        return np.asarray(self.height_mm - (np.arange(self.rows) + 0.5) * self.step_mm[0])

    def offsets_mm(self, angle_deg: float, height_mm: float) -> tuple[FloatArray, FloatArray]:
        """Shortest way from a place to every cell.

        Returns
        -------
        tuple of arrays
            ``(1, cols)`` arc length and ``(rows, 1)`` height difference, mm.
        """
        turn = (self.angles_deg - angle_deg + 180.0) % 360.0 - 180.0
        along = np.deg2rad(turn) * self.radius_mm
        up = self.heights_mm - height_mm
        return np.asarray(along[None, :], dtype=np.float64), up[:, None]


@dataclass(frozen=True)
class FruitBody:
    """A young mushroom that stands on the contents, above the fill line.

    Attributes
    ----------
    angle_deg
        Where it stands around the jar.
    back_mm
        Way from the glass to its cap; 0 nearly touches.
    tall_mm, cap_radius_mm
        Height above the contents; half the width of the cap.
    linear
        Linear sRGB reflectance of stalk and cap.
    """

    angle_deg: float
    back_mm: float
    tall_mm: float
    cap_radius_mm: float
    linear: tuple[tuple[float, ...], tuple[float, ...]] = ((0.7,) * 3, (0.4,) * 3)


@dataclass(frozen=True)
class WallPaint:
    """One jar on one day: what stands against the inside of the glass, unrolled over 360 deg.

    Attributes
    ----------
    albedo
        ``(rows, cols, 3)`` linear sRGB reflectance; of no meaning above the fill line.
    relief_mm
        ``(rows, cols)`` depth of the surface behind the inner glass wall; 0 touches the glass.
    gloss
        ``(rows, cols)`` 0 matt to 1 wet.
    classes
        ``(rows, cols)`` :class:`jarvision.records.TissueClass`; OUTSIDE above the fill line.
    opacity
        ``(rows, cols)`` share of the contents hidden by mycelium, 0 to 1; 0 under coloured mould.
    fill_height_mm
        ``(cols,)`` height of the fill line above the inner floor.
    radius_mm, height_mm
        Inner radius, and height of the arrays: row 0 is at the top, columns run -180 to 180 deg.
    pins
        ``(rows, cols)`` True where the cap of a fruit body presses against the glass.
    standing
        Fruit bodies above the fill line.
    """

    albedo: Float32Array
    relief_mm: Float32Array
    gloss: Float32Array
    classes: ByteArray
    opacity: Float32Array
    fill_height_mm: Float32Array
    radius_mm: float
    height_mm: float
    pins: BoolArray
    standing: tuple[FruitBody, ...] = ()

    @property
    def angles_deg(self) -> FloatArray:
        """``(cols,)`` angle of each column's centre."""
        cols = self.classes.shape[1]
        return np.asarray((np.arange(cols) + 0.5) * (360.0 / cols) - 180.0)

    @property
    def heights_mm(self) -> FloatArray:
        """``(rows,)`` height of each row's centre, falling."""
        rows = self.classes.shape[0]
        return np.asarray(self.height_mm * (1.0 - (np.arange(rows) + 0.5) / rows))

    @property
    def cell_cm2(self) -> float:
        """True area of one cell on the cylinder."""
        rows, cols = self.classes.shape
        return float((2.0 * np.pi * self.radius_mm / cols) * (self.height_mm / rows) / 100.0)
