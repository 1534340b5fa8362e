"""From file to corrected colour: the photo, the card in it, its swatches, the correction."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from jarvision.records.arrays import BoolArray, ByteArray, FloatArray

TimeSource = Literal["exif", "name", "file"]


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
    ignored_day
        The day of a time in EXIF that cannot be right and was not used.
    colour_step
        Step in which the file keeps the mean colour of a square of 8 pixels, in levels of 8 bits;
        0 where it does not say.
    """

    path: Path
    name: str
    rgb: ByteArray
    scale: float
    focal_px: float
    focal_known: bool
    taken_at: datetime
    time_source: TimeSource
    rgb16: NDArray[np.uint16] | None = None
    utc_offset: timedelta | None = None
    notes: tuple[str, ...] = ()
    ignored_day: date | None = None
    colour_step: float = 0.0

    @property
    def samples(self) -> ByteArray | NDArray[np.uint16]:
        """The finest samples that the file gave: 16 bits where it has them, else 8."""
        return self.rgb if self.rgb16 is None else self.rgb16


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
    outline_px
        ``(4, 2)`` corners of the card in photo pixels; they may lie outside the photo.
    """

    homography: FloatArray
    camera: FloatArray
    rotation: FloatArray
    translation: FloatArray
    markers: tuple[int, ...]
    reprojection_px: float
    px_per_mm: float
    outline_px: FloatArray

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


@dataclass(frozen=True)
class ColourFit:
    """The correction from camera values to linear sRGB, and how good it is.

    Attributes
    ----------
    matrix
        ``(3, 4)``: linear sRGB from (R, G, B, 1) of the unbent, white-balanced camera signal.
    used
        ``(n,)`` True for swatches that took part in the fit.
    de00
        ``(n,)`` CIEDE2000 between the corrected and the reference colour of each swatch.
    reference
        Which card values were used: ``nominal``, ``as-printed`` or ``measured``.
    tone
        ``(3, 2)`` bends of the camera's tone curve, see
        :func:`jarvision.vision.colour.light.unbend`.
    gain
        ``(3,)`` unbent signal of a perfect white in the card's middle.
    light_field
        ``(3, 5)`` log light over the card, see :func:`jarvision.vision.colour.light.field_terms`.
    expected_de00
        Typical error of the card values themselves, CIEDE2000.
    """

    matrix: FloatArray
    used: BoolArray
    de00: FloatArray
    reference: str
    tone: FloatArray
    gain: FloatArray
    light_field: FloatArray
    expected_de00: float

    @property
    def de00_median(self) -> float:
        """Median CIEDE2000 over all swatches, spoiled ones too."""
        return float(np.median(self.de00))
