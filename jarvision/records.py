"""The frozen records that pass between the stages, in the order of the straight line.

Conventions used everywhere
---------------------------
- Pictures are arrays of shape ``(rows, cols, 3)``; pixel ``(row, col) = (0, 0)`` is the *centre*
  of the top left pixel. Points are ``(x, y) = (col, row)``.
- The **card frame** is right-handed, in mm: origin at the top left corner of the card's active
  area, x to the right, y down, z away from the viewer *into* the card. The camera and the jar
  are in front of the card, so their z is negative.
- The **wall frame** is the jar's inner wall: ``angle_deg`` is 0 where the wall faces the camera
  and grows to the right as the camera sees it; ``height_mm`` is 0 at the inner floor of the jar
  and grows upwards. Row 0 of a wall array is the top row.
- "linear" colour is linear-light sRGB, D65, with 1.0 for the card's perfect white.
- Colour differences are CIEDE2000 under D65 and the 2 degree observer.
- Dates and times are the photo's local time, without zone.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import IntEnum
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Float32Array = NDArray[np.float32]
ByteArray = NDArray[np.uint8]
BoolArray = NDArray[np.bool_]

View = Literal["front", "a", "b", "c", "d"]
TimeSource = Literal["exif", "name", "file"]
JarKind = Literal["spawn", "fruiting"]
VerdictWord = Literal["go", "wait", "check", "no-go"]
Trend = Literal["new", "closing", "still", "growing"]


# --------------------------------------------------------------------------- photo
@dataclass(frozen=True)
class Photo:
    """One decoded photo, upright and at working scale.

    Attributes
    ----------
    name
        Path relative to the scored folder, with forward slashes.
    rgb
        ``(rows, cols, 3)`` sRGB-encoded values, ``uint8``.
    scale
        Working pixels per full-size pixel (1.0 = decoded at full size).
    focal_px
        Focal length in working pixels.
    focal_known
        True when it came from EXIF, False when it is the stated default.
    rgb16
        The same picture in 16 bits, sRGB-encoded, when the file has them; else None.
    utc_offset
        What the clock of ``taken_at`` was ahead of UTC; None when the file does not say.
    notes
        What must be told about how the file was read, one sentence each without a full stop.
    """

    path: Path
    name: str
    digest: str
    rgb: ByteArray
    scale: float
    focal_px: float
    focal_known: bool
    taken_at: datetime
    time_source: TimeSource
    rgb16: NDArray[np.uint16] | None = None
    utc_offset: timedelta | None = None
    notes: tuple[str, ...] = ()

    @property
    def samples(self) -> ByteArray | NDArray[np.uint16]:
        """The finest samples that the file gave: 16 bits where it has them, else 8."""
        return self.rgb if self.rgb16 is None else self.rgb16


# --------------------------------------------------------------------------- card
@dataclass(frozen=True)
class CardFit:
    """Where the card is in a photo.

    Attributes
    ----------
    homography
        ``(3, 3)``: card mm ``(x, y, 1)`` to photo pixels.
    camera
        ``(3, 3)`` pinhole camera matrix, pixels.
    rotation, translation
        Card frame (mm) to camera frame (mm): ``X_cam = rotation @ X_card + translation``.
    markers
        Ids of the markers found (three or four).
    reprojection_px
        RMS distance between the marker corners found and those of the fitted homography, px.
    px_per_mm
        Scale at the middle of the card.
    """

    homography: FloatArray
    camera: FloatArray
    rotation: FloatArray
    translation: FloatArray
    markers: tuple[int, ...]
    reprojection_px: float
    px_per_mm: float

    @property
    def camera_position_mm(self) -> FloatArray:
        """Camera centre in the card frame, shape ``(3,)``, mm."""
        return -self.rotation.T @ self.translation


@dataclass(frozen=True)
class SwatchReadings:
    """What the camera saw of the card's swatches, in the order of the layout.

    Attributes
    ----------
    names
        ``n`` names of the swatches.
    linear
        ``(n, 3)`` median linear-light camera values, 0 to 1.
    spread
        ``(n,)`` robust relative spread inside each swatch (glare and shadow raise it).
    clipped
        ``(n,)`` share of pixels with a channel at 250 or more of 255.
    """

    names: tuple[str, ...]
    linear: FloatArray
    spread: FloatArray
    clipped: FloatArray


# --------------------------------------------------------------------------- colour
@dataclass(frozen=True)
class ColourFit:
    """The correction from camera values to linear sRGB, and how good it is.

    Attributes
    ----------
    matrix
        ``(3, 3)``: ``linear_srgb = matrix @ linear_camera``.
    used
        ``(n,)`` True for swatches that took part in the fit.
    de00
        ``(n,)`` CIEDE2000 between the corrected and the reference colour of each swatch.
    reference
        Which card values were used: ``nominal``, ``as-printed`` or ``measured``.
    light_slope
        ``(2,)`` relative rise of the light per mm to the right and per mm down the card,
        natural logarithm, about the card's middle.
    """

    matrix: FloatArray
    used: BoolArray
    de00: FloatArray
    reference: str
    light_slope: FloatArray

    @property
    def de00_median(self) -> float:
        """Median CIEDE2000 over all swatches, spoiled ones too."""
        return float(np.median(self.de00))


# --------------------------------------------------------------------------- jar
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


@dataclass(frozen=True)
class Wall:
    """The jar's wall unrolled to a regular grid, colour-corrected.

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
    filled
        ``(rows, cols)`` True where contents stand behind the glass.
    judged
        ``(rows, cols)`` True where the wall can be judged (filled, no glare, fog or label).
    pixels
        ``(rows, cols, 2)`` photo pixel ``(x, y)`` seen at each place.
    """

    linear: Float32Array
    angles_deg: FloatArray
    heights_mm: FloatArray
    radius_mm: float
    filled: BoolArray
    judged: BoolArray
    pixels: Float32Array

    @property
    def cell_cm2(self) -> float:
        """True area of one cell on the cylinder, cm2."""
        width_mm = self.radius_mm * float(np.deg2rad(self.angles_deg[1] - self.angles_deg[0]))
        height_mm = float(self.heights_mm[0] - self.heights_mm[1])
        return width_mm * height_mm / 100.0


# --------------------------------------------------------------------------- tissue
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
    """

    classes: ByteArray
    opacity: Float32Array


@dataclass(frozen=True)
class Coverage:
    """Mycelial coverage of the filled wall within 60 degrees, percent, with a 95 % interval."""

    percent: float
    low: float
    high: float
    soft_percent: float
    seen_percent: float


@dataclass(frozen=True)
class Patch:
    """A connected area of one kind on the wall.

    Attributes
    ----------
    kind
        ``bare``, ``wet``, ``stain`` or an off-colour family: ``green``, ``black``, ``pink``,
        ``yellow``.
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


# --------------------------------------------------------------------------- reading
@dataclass(frozen=True)
class Reading:
    """One row of ``readings.csv``: what one photo said. Small and picklable.

    ``coverage`` and the other measurements are None when ``status`` is ``unusable``.
    ``overlay`` and ``wall_picture`` are paths relative to the output folder.
    """

    photo: str
    jar: str
    view: View
    taken_at: datetime
    time_source: TimeSource
    status: Literal["ok", "unusable"]
    reason: str = ""
    detail: str = ""
    coverage: Coverage | None = None
    patches: tuple[Patch, ...] = ()
    fill_height_mm: float | None = None
    colour_de00_median: float | None = None
    card_values: str = ""
    overlay: str = ""
    wall_picture: str = ""

    def area_cm2(self, *kinds: str) -> float:
        """Summed area of the patches of the given kinds, cm2."""
        return sum(p.area_cm2 for p in self.patches if p.kind in kinds)


OFF_COLOUR_KINDS = ("green", "black", "pink", "yellow")


# --------------------------------------------------------------------------- history
@dataclass(frozen=True)
class JarEntry:
    """One line of the jar register (``jars.csv``)."""

    jar: str
    kind: JarKind = "spawn"
    species: str = ""
    substrate: str = ""
    started: date | None = None
    parent: str = ""
    profile: str = ""
    notes: str = ""
    registered: bool = True


@dataclass(frozen=True)
class TrackedPatch:
    """A patch with an identity that lasts over days. ``patch`` is a name such as ``bare-1``."""

    patch: str
    kind: str
    area_cm2: float
    angle_deg: float
    height_mm: float
    trend: Trend


@dataclass(frozen=True)
class JarDay:
    """All views of one jar on one day, pooled (one row of ``days.csv``)."""

    jar: str
    day: date
    views: int
    coverage: Coverage
    patches: tuple[TrackedPatch, ...]
    fill_height_mm: float
    readings: tuple[Reading, ...]


@dataclass(frozen=True)
class JarHistory:
    """Everything known about one jar: its register line, its days in order, its refused photos."""

    entry: JarEntry
    days: tuple[JarDay, ...]
    refused: tuple[Reading, ...] = ()


@dataclass(frozen=True)
class Growth:
    """A growth curve fitted to one jar.

    Attributes
    ----------
    model
        ``logistic``, ``gompertz``, ``kjma-2``, ``kjma-3`` (nucleation and growth) or
        ``too-few-days``.
    day_numbers, curve_percent
        The curve sampled for plotting: days since ``origin`` and coverage.
    curve_low, curve_high
        80 % band of the curve, percent.
    rate_percent_per_day
        Rate of the last days.
    ready_date, ready_low, ready_high
        Date on which coverage reaches the species' ready level, with its 80 % interval; None
        when it cannot be told.
    stalled
        True when growth is below what the jar's own past predicts.
    stall_reason
        The numbers behind it, one sentence, empty when not stalled.
    stalled_days
        How long the stall has lasted at least, days; 0 when not stalled.
    """

    model: str
    origin: date | None = None
    day_numbers: tuple[float, ...] = ()
    curve_percent: tuple[float, ...] = ()
    curve_low: tuple[float, ...] = ()
    curve_high: tuple[float, ...] = ()
    rate_percent_per_day: float | None = None
    ready_date: date | None = None
    ready_low: date | None = None
    ready_high: date | None = None
    stalled: bool = False
    stall_reason: str = ""
    stalled_days: int = 0


@dataclass(frozen=True)
class Flag:
    """One row of ``flags.csv``; ``flag`` is a word of :data:`jarvision.flags.FLAGS`."""

    jar: str
    day: date | None
    flag: str
    message: str


@dataclass(frozen=True)
class Verdict:
    """What to do with one jar, with the reasons and their numbers (one row of ``verdicts.csv``)."""

    jar: str
    species: str
    verdict: VerdictWord
    reasons: tuple[str, ...]
    coverage: Coverage | None
    growth: Growth


@dataclass(frozen=True)
class JarStory:
    """All that the report needs of one jar."""

    history: JarHistory
    growth: Growth
    verdict: Verdict
    flags: tuple[Flag, ...]


@dataclass(frozen=True)
class ShelfResult:
    """The outcome of scoring one folder."""

    folder: str
    scored_on: date
    readings: tuple[Reading, ...]
    stories: tuple[JarStory, ...]
    warnings: tuple[str, ...] = field(default=())
