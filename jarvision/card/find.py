"""Find the card in a photo by its corner marks, and read its swatches.

Position and orientation come from the marks alone, never from colour, which is what the card is
there to correct.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from jarvision.card.layout import CardLayout, Marker, load_layout
from jarvision.card.plane import MARKS_NEEDED, card_to_photo, fit_card, gather, scale_at, side_px
from jarvision.colourspace import linear_table
from jarvision.errors import PhotoRefusedError
from jarvision.records import ByteArray, CardFit, FloatArray, SampleArray, SwatchReadings

if TYPE_CHECKING:
    import cv2

# Long side of the picture that is searched, px: marks of 20 mm are then some 60 px wide, and the
# search takes a fraction of the decoding.
SEARCH_SIDE_PX = 1200

# Smallest perimeter of a mark, as a share of the picture's long side: 24 px marks.
_PERIMETER_MIN = 0.08

# Half-width of the window in which a corner is refined, in cells of the mark: the black border is
# one cell wide, so the window meets no other edge.
_WINDOW_CELLS = 0.45
_WINDOW_MIN_PX, _WINDOW_MAX_PX = 2, 12
_REFINE_STEPS, _REFINE_STOP_PX = 40, 0.005

# Samples per swatch: columns and rows over the inner part of it. The outer part is left to blur.
_INNER_SHARE = 0.6
_SAMPLES = (40, 20)

# An 8-bit channel this high may be clipped: JPEG and resizing smear 255 downwards.
_CLIPPED_FROM = 250

# Spread is the middle 80 % of the samples over what it is for a normal distribution, in sigmas: a
# shadow or glare over a tenth of the swatch raises it, single hot pixels do not.
_SPREAD_PERCENTILES, _SPREAD_SIGMAS = (10.0, 90.0), 2.563

# Floor of the spread's denominator, linear: below it sensor noise would rule.
_DARKEST_LINEAR = 1e-3


def find_card(rgb: ByteArray, focal_px: float, *, layout: CardLayout | None = None) -> CardFit:
    """Locate the card.

    Parameters
    ----------
    rgb
        ``(rows, cols, 3)`` sRGB bytes, upright.
    focal_px
        Focal length in pixels of this picture; the principal point is taken to be its middle.

    Raises
    ------
    PhotoRefusedError
        ``no_card``: fewer than three marks found, or marks that do not fit this card.
    """
    import cv2

    layout = layout or load_layout()
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    found = _find_marks(np.asarray(grey), layout)
    if len(found) < MARKS_NEEDED:
        raise PhotoRefusedError("no_card", _missing(found, layout))
    refined = {number: _refine(np.asarray(grey), seen) for number, seen in found.items()}
    fit = fit_card(gather(refined, layout))
    camera = _camera_matrix(rgb.shape, focal_px)
    rotation, translation = _pose(fit.corners.card_mm, fit.corners.photo_px, camera)
    return CardFit(
        homography=fit.homography,
        camera=camera,
        rotation=rotation,
        translation=translation,
        markers=fit.corners.marks,
        reprojection_px=fit.rms_px,
        px_per_mm=scale_at(fit.homography, layout.centre_mm),
    )


def read_swatches(
    rgb: SampleArray, card: CardFit, *, layout: CardLayout | None = None
) -> SwatchReadings:
    """Median linear-light colour of the inner part of every swatch.

    Pixels are decoded to linear light before the median is taken. A swatch that lies outside the
    picture by more than half reads zero, all clipped, with an infinite spread.
    """
    layout = layout or load_layout()
    pixels = np.rint(card_to_photo(_sample_grid(layout), card.homography)).astype(np.intp)
    cols, rows = pixels[..., 0], pixels[..., 1]
    inside = (cols >= 0) & (cols < rgb.shape[1]) & (rows >= 0) & (rows < rgb.shape[0])
    values = rgb[np.clip(rows, 0, rgb.shape[0] - 1), np.clip(cols, 0, rgb.shape[1] - 1)]

    linear = linear_table(values.dtype)[values]
    median = np.median(linear, axis=1)
    light = linear.mean(axis=2)
    low, high = np.percentile(light, _SPREAD_PERCENTILES, axis=1)
    middle = np.maximum(np.median(light, axis=1), _DARKEST_LINEAR)
    spread = (high - low) / _SPREAD_SIGMAS / middle
    clipped = (
        (values >= _CLIPPED_FROM * (np.iinfo(values.dtype).max // 255)).any(axis=2).mean(axis=1)
    )

    outside = inside.mean(axis=1) < 0.5
    return SwatchReadings(
        names=layout.names,
        linear=np.where(outside[:, None], 0.0, median),
        spread=np.where(outside, np.inf, spread),
        clipped=np.where(outside, 1.0, clipped),
    )


def _sample_grid(layout: CardLayout) -> FloatArray:
    """``(n, samples, 2)`` card points in the inner part of every swatch, mm."""
    across, down = (
        (np.arange(count) + 0.5) / count * _INNER_SHARE + (1.0 - _INNER_SHARE) / 2.0
        for count in _SAMPLES
    )
    unit = np.stack(np.meshgrid(across, down), axis=-1).reshape(1, -1, 2)
    corner = np.array([(s.x_mm, s.y_mm) for s in layout.swatches])[:, None, :]
    size = np.array([(s.width_mm, s.height_mm) for s in layout.swatches])[:, None, :]
    grid: FloatArray = corner + unit * size
    return grid


# --------------------------------------------------------------------------- marks
@cache
def _detector(family: str, ids: tuple[int, ...]) -> cv2.aruco.ArucoDetector:
    """A detector that knows the card's own marks only, numbered in the order of ``ids``."""
    import cv2

    whole = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, family))
    own = cv2.aruco.Dictionary(
        whole.bytesList[list(ids)], whole.markerSize, whole.maxCorrectionBits
    )
    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = _PERIMETER_MIN
    return cv2.aruco.ArucoDetector(own, parameters)


def _find_marks(grey: ByteArray, layout: CardLayout) -> dict[int, FloatArray]:
    """Corners ``(4, 2)`` in full pixels of each mark seen, by id; searched small, then full."""
    import cv2

    shrink = min(1.0, SEARCH_SIDE_PX / max(grey.shape))
    small = cv2.resize(grey, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    found = _detect(np.asarray(small), layout)
    # true ratio of the sides: the resized picture has whole pixels
    ratio = np.array(grey.shape[::-1]) / np.array(small.shape[::-1])
    found = {number: (seen + 0.5) * ratio - 0.5 for number, seen in found.items()}
    if len(found) < len(layout.markers) and shrink < 1.0:
        found = _detect(grey, layout) | found
    return found


def _detect(grey: ByteArray, layout: CardLayout) -> dict[int, FloatArray]:
    ids = tuple(marker.id for marker in layout.markers)
    corners, indices, _ = _detector(layout.marker_family, ids).detectMarkers(grey)
    if not corners:  # then the indices are None, whatever their type says
        return {}
    found: dict[int, FloatArray] = {}
    # smallest first: of two marks with one id the larger, nearer one stays
    for index, seen in sorted(
        zip(indices.ravel(), corners, strict=True), key=lambda pair: side_px(pair[1][0])
    ):
        found[ids[int(index)]] = np.asarray(seen[0], dtype=np.float64)
    return found


def _refine(grey: ByteArray, corners: FloatArray) -> FloatArray:
    """Corners to a fraction of a pixel: where the grey gradients around them meet at right angles.

    Source: Förstner and Gülch 1987 (from memory), as in ``cv2.cornerSubPix``.
    """
    import cv2

    cell_px = side_px(corners) / 7.0  # five cells and the border on both sides
    half = int(np.clip(round(_WINDOW_CELLS * cell_px), _WINDOW_MIN_PX, _WINDOW_MAX_PX))
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, _REFINE_STEPS, _REFINE_STOP_PX)
    start = corners.astype(np.float32).reshape(-1, 1, 2)
    refined = cv2.cornerSubPix(grey, start, (half, half), (-1, -1), stop)
    return np.asarray(refined, dtype=np.float64).reshape(4, 2)


def _missing(found: Mapping[int, FloatArray], layout: CardLayout) -> str:
    """One sentence on which marks were not seen."""
    lost = [_place(marker, layout) for marker in layout.markers if marker.id not in found]
    if len(lost) == len(layout.markers):
        return "none of the card's corner marks was found"
    told = f"corner marks not found: {', '.join(lost)}"
    below = [_place(m, layout) for m in layout.markers if m.y_mm > layout.height_mm / 2]
    if lost == below:
        told += " (out of view, or behind a wide jar: step back to 55 cm)"
    return told


def _place(marker: Marker, layout: CardLayout) -> str:
    middle_x, middle_y = layout.centre_mm
    vertical = "top" if marker.y_mm < middle_y else "bottom"
    return f"{vertical} {'left' if marker.x_mm < middle_x else 'right'}"


# --------------------------------------------------------------------------- pose
def _camera_matrix(shape: tuple[int, ...], focal_px: float) -> FloatArray:
    rows, cols = shape[:2]
    return np.array(
        [[focal_px, 0.0, (cols - 1) / 2.0], [0.0, focal_px, (rows - 1) / 2.0], [0.0, 0.0, 1.0]]
    )


def _pose(
    card_mm: FloatArray, seen_px: FloatArray, camera: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Rotation and translation, card to camera: plane-based start, then least squares in px.

    Source of the start: Collins and Bartoli 2014, infinitesimal plane-based pose estimation
    (from memory), as in OpenCV.
    """
    import cv2

    flat = np.column_stack([card_mm, np.zeros(len(card_mm))])
    done, turn, shift = cv2.solvePnP(flat, seen_px, camera, None, flags=cv2.SOLVEPNP_IPPE)
    if not done:
        raise PhotoRefusedError("no_card", "the card's position could not be worked out")
    turn, shift = cv2.solvePnPRefineLM(flat, seen_px, camera, None, turn, shift)
    rotation, _ = cv2.Rodrigues(turn)
    return np.asarray(rotation, dtype=np.float64), np.asarray(shift, dtype=np.float64).ravel()
