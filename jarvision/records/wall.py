"""From jar to patches: the glass, its unrolled wall, what stands there, how much is covered."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

import numpy as np

from jarvision.records.arrays import BoolArray, ByteArray, Float32Array, FloatArray

HALF_VIEW_DEG: Final = 60.0
"""A photo judges the wall this far to both sides of its middle; beyond, glass and foreshortening
hide too much. Coverage is defined so, and so are pictures and thumbnails: it is no setting."""

NO_NUMBER_FROM: Final = 50.0
"""Width of an interval, points, from which people are shown its ends and no number: half of all
that there is. The middle of such an interval says nothing, and is read as if it did."""


@dataclass(frozen=True)
class JarShape:
    """What the grower says of a jar's glass; None where nothing is said. It guides the fit.

    Attributes
    ----------
    name
        Name of the shape in ``jar_profiles.toml``, empty for a jar measured by itself.
    diameter_mm, diameter_sd_mm
        Outer diameter of the straight wall, and its standard uncertainty.
    height_mm
        From the table to the rim, without the lid.
    groove_mm
        Height of the groove or shoulder above the table: contents should stand above it.
    volume_ml
        Brimful; only held against the other sizes.
    glass_mm
        Thickness of the wall.
    """

    name: str = ""
    diameter_mm: float | None = None
    height_mm: float | None = None
    groove_mm: float | None = None
    volume_ml: float | None = None
    glass_mm: float | None = None
    diameter_sd_mm: float | None = None


@dataclass(frozen=True)
class JarFit:
    """The jar in front of the card, as an upright cylinder.

    The card leans a little and the jar does not: lengths are in the **jar frame**, the card frame
    turned about its origin until y runs along the jar's axis.

    Attributes
    ----------
    card_to_jar
        ``(3, 3)`` rotation: ``X_jar = card_to_jar @ X_card``.
    axis_x_mm, axis_z_mm
        Where the axis stands (z is negative: before the card).
    radius_mm
        Outer radius of the straight wall.
    glass_mm
        Thickness of the glass.
    floor_y_mm, top_y_mm
        y of the inner floor and of the top of the contents' straight part (y grows downwards).
    radius_sd_mm
        Standard uncertainty of the radius; areas inherit twice its relative size.
    outline_px
        ``(k, 2)`` closed outline of the jar's body in photo pixels, for drawing.
    groove_y_mm
        y of the groove or shoulder that the contents should cover; None when not known.
    shape_conflict
        How the photo contradicts what the grower says of the glass, one sentence; empty when not.
    foot_sd_mm
        Standard uncertainty of the table's height where the jar's own foot does not show it.
    notes
        What must be told of lens and page, one sentence each without a full stop.
    """

    card_to_jar: FloatArray
    axis_x_mm: float
    axis_z_mm: float
    radius_mm: float
    glass_mm: float
    floor_y_mm: float
    top_y_mm: float
    radius_sd_mm: float
    outline_px: Float32Array
    groove_y_mm: float | None = None
    shape_conflict: str = ""
    foot_sd_mm: float = 0.0
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class RawWall:
    """The jar's wall unrolled to a regular grid, colour-corrected: what stands there is not known.

    Attributes
    ----------
    linear
        ``(rows, cols, 3)`` linear sRGB.
    angles_deg
        ``(cols,)`` wall angle of each column's centre.
    heights_mm
        ``(rows,)`` height of each row's centre, falling.
    radius_mm
        Inner radius: the grid's columns are ``radius * delta angle`` wide.
    pixels
        ``(rows, cols, 2)`` photo pixel ``(x, y)`` seen at each place.
    groove_mm
        Height of the groove or shoulder that the contents should cover; None when not known.
    foot_sd_mm
        Standard uncertainty of the expected floor beyond that of the glass.
    """

    linear: Float32Array
    angles_deg: FloatArray
    heights_mm: FloatArray
    radius_mm: float
    pixels: Float32Array
    groove_mm: float | None = None
    foot_sd_mm: float = 0.0

    @property
    def step_mm(self) -> float:
        """Height of a cell, mm."""
        return float(self.heights_mm[0] - self.heights_mm[1])

    def columns_within(self, angle_deg: float) -> slice:
        """Columns whose centres lie within an angle of the middle, on both sides."""
        inside = np.flatnonzero(np.abs(self.angles_deg) < angle_deg)
        return slice(int(inside[0]), int(inside[-1]) + 1) if inside.size else slice(0, 0)

    @property
    def cell_cm2(self) -> float:
        """True area of one cell on the cylinder, cm2."""
        width_mm = self.radius_mm * float(np.deg2rad(self.angles_deg[1] - self.angles_deg[0]))
        return width_mm * self.step_mm / 100.0

    def with_contents(
        self,
        *,
        floor_row: int,
        filled: BoolArray,
        judged: BoolArray,
        line_sd_mm: float,
        floor_sd_mm: float,
    ) -> Wall:
        """The wall cut at its floor, once the contents were found on all of it.

        ``floor_row``: rows from there on are the glass under the contents. Both masks are given for
        the whole of this wall.
        """
        floor_mm = float(self.heights_mm[floor_row - 1]) - self.step_mm / 2
        return Wall(
            linear=self.linear[:floor_row],
            angles_deg=self.angles_deg,
            heights_mm=self.heights_mm[:floor_row] - floor_mm,
            radius_mm=self.radius_mm,
            pixels=self.pixels[:floor_row],
            groove_mm=None if self.groove_mm is None else self.groove_mm - floor_mm,
            filled=filled[:floor_row],
            judged=judged[:floor_row],
            foot_sd_mm=self.foot_sd_mm,
            line_sd_mm=line_sd_mm,
            floor_sd_mm=floor_sd_mm,
        )


@dataclass(frozen=True, kw_only=True)
class Wall(RawWall):
    """A wall whose contents are known: it ends at the inner floor, where heights begin.

    Attributes
    ----------
    filled
        ``(rows, cols)`` True where contents stand behind the glass.
    judged
        ``(rows, cols)`` True where the wall can be judged (filled, no glare, fog or label).
    line_sd_mm, floor_sd_mm
        Standard uncertainty of the fill line and of the floor.
    """

    filled: BoolArray
    judged: BoolArray
    line_sd_mm: float = 0.0
    floor_sd_mm: float = 0.0


class TissueClass(IntEnum):
    """What stands at a place of the wall. Values are stored in class maps: never renumber."""

    OUTSIDE = 0
    UNJUDGED = 1
    BARE = 2
    MYCELIUM = 3
    STAIN = 4
    GREEN = 5
    BLACK = 6
    PINK = 7
    YELLOW = 8
    WET = 9


COVERED = (TissueClass.MYCELIUM, TissueClass.STAIN)
"""White growth and the species' normal staining count as covered; mould does not."""

OFF_COLOUR = (TissueClass.GREEN, TissueClass.BLACK, TissueClass.PINK, TissueClass.YELLOW)


@dataclass(frozen=True)
class Tissue:
    """Class and mycelial opacity at every place of the wall.

    Attributes
    ----------
    classes
        ``(rows, cols)`` of :class:`TissueClass`, ``uint8``.
    opacity
        ``(rows, cols)`` share of the contents hidden by mycelium, 0 to 1, ``float32``.
    covered
        ``(rows, cols)`` chance that mycelium or its normal stain covers the place, 0 to 1,
        ``float32``; said of what fog, label or a mirrored lamp hides, too, but far less surely.
    certainty
        ``(rows, cols)`` chance that the class is right, 0 to 1, ``float32``.
    caps
        ``(rows, cols)`` chance that the cap of a fruit body stands at the place, 0 to 1,
        ``float32``; said above the fill line, too.
    unproven
        ``(rows, cols)`` True where a stain was seen for which nothing on the photo speaks: bare, in
        ``classes``; None where there is none.
    novelty
        How unlike known contents the bare ones look; None where too little of them shows.
    forecast_points
        Error of the coverage that the networks for strange contents expect, as far as it counts.
    dispute_points
        How far apart the coverages are that these networks say, as far as it counts.
    look_known
        Whether it was known what this jar's contents look like where nothing grows.
    veiled
        ``(rows, cols)`` True where fog or a label was taken for contents at first: UNJUDGED in
        ``classes``, and nothing is known of what stands there; None where there is none.
    doubted
        ``(rows, cols)`` True where what was taken for growth is as smooth and as grey as a veil: it
        may be bare behind it; None where there is none.
    less_head_down_points
        By how much less coverage is said of the rest of the wall with its contents head down.
    outshone_points
        By how much more may be covered, if what was read as growth is a veil that outshines it.
    """

    classes: ByteArray
    opacity: Float32Array
    covered: Float32Array
    certainty: Float32Array
    caps: Float32Array
    unproven: BoolArray | None = None
    novelty: float | None = None
    forecast_points: float = 0.0
    dispute_points: float = 0.0
    look_known: bool = False
    veiled: BoolArray | None = None
    doubted: BoolArray | None = None
    less_head_down_points: float = 0.0
    outshone_points: float = 0.0


@dataclass(frozen=True)
class Coverage:
    """Mycelial coverage of the filled wall within 60 degrees, percent, with a 95 % interval."""

    percent: float
    low: float
    high: float
    soft_percent: float
    seen_percent: float

    @property
    def is_told(self) -> bool:
        """Whether the interval is narrow enough for one number to stand for it."""
        return self.high - self.low < NO_NUMBER_FROM

    def in_words(self, decimals: int = 0) -> str:
        """``56``, or ``27 to 85`` where no number is told; without the unit."""
        if self.is_told:
            return f"{self.percent:.{decimals}f}"
        return f"{self.low:.{decimals}f} to {self.high:.{decimals}f}"


@dataclass(frozen=True)
class Patch:
    """A connected area of one kind on the wall.

    Attributes
    ----------
    kind
        ``bare``, ``wet``, ``stain``, an off-colour family (``green``, ``black``, ``pink``,
        ``yellow``) or ``pins``: a group of young fruit bodies, at the glass or above the contents.
    angle_deg, height_mm
        Centroid in the wall frame.
    confidence
        0 to 1.
    outline
        Closed polygon of ``(angle_deg, height_mm)`` points, for drawing and for tracking.
    """

    kind: str
    area_cm2: float
    angle_deg: float
    height_mm: float
    confidence: float
    outline: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class WallThumbnail:
    """The wall of one photo in small, packed: a few kilobytes that may cross processes and be kept.

    Cells are 2 degrees by 2 mm and cover 60 degrees to both sides; the last row stands on the
    floor. :mod:`jarvision.vision.tissue.thumbnail` packs and unpacks it.

    Attributes
    ----------
    rows, cols
        Cells of the maps of opacity and class.
    radius_mm
        Inner radius of the jar.
    packed
        The maps and the pattern of the contents, compressed.
    """

    rows: int
    cols: int
    radius_mm: float
    packed: bytes


def radius_mm(area_cm2: float) -> float:
    """The radius of the disc of equal area, mm."""
    return 10.0 * math.sqrt(max(area_cm2, 0.0) / math.pi)
