"""Find the card in a photo by its corner marks, and read its swatches.

Position and orientation come from the marks alone, never from colour, which is what the card is
there to correct.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jarvision.base.colourspace import linear_table
from jarvision.base.errors import PhotoRefusedError
from jarvision.records import ByteArray, CardFit, FloatArray, SampleArray, SwatchReadings
from jarvision.vision.card.camera import camera_matrix, pose_of
from jarvision.vision.card.layout import CardLayout, Marker, load_layout
from jarvision.vision.card.pose import (
    MARKS_NEEDED,
    card_to_photo,
    fit_card,
    gather,
    scale_at,
    side_px,
)
from jarvision.vision.card.squares import Squares, find_squares

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
_SPREAD, _SPREAD_SIGMAS = (0.1, 0.9), 2.563

# Floor of the spread's denominator, linear: below it sensor noise would rule.
_DARKEST_LINEAR = 1e-3


def find_card(
    rgb: ByteArray,
    focal_px: float,
    *,
    layout: CardLayout | None = None,
    squares: Squares | None = None,
) -> CardFit:
    """Locate the card.

    Parameters
    ----------
    rgb
        ``(rows, cols, 3)`` sRGB bytes, upright.
    focal_px
        Focal length in pixels of this picture; the principal point is taken to be its middle.
    squares
        Those of this picture, when they are known already.

    Raises
    ------
    PhotoRefusedError
        ``no_card``: fewer than three marks found, or marks that do not fit this card.
    """
    layout = layout or load_layout()
    squares = squares or find_squares(rgb, layout=layout)
    marks = squares.marks_of(layout)
    if len(marks) < MARKS_NEEDED:
        raise PhotoRefusedError("no_card", _missing(marks, layout))
    refined = {number: _refine(squares.grey, seen) for number, seen in marks.items()}
    fit = fit_card(gather(refined, layout))
    camera = camera_matrix(rgb.shape, focal_px)
    rotation, translation = pose_of(fit.corners.card_mm, fit.corners.photo_px, camera)
    return CardFit(
        homography=fit.homography,
        camera=camera,
        rotation=rotation,
        translation=translation,
        markers=fit.corners.marks,
        reprojection_px=fit.rms_px,
        px_per_mm=scale_at(fit.homography, layout.centre_mm),
        outline_px=card_to_photo(layout.corners_mm, fit.homography),
    )


def read_swatches(
    rgb: SampleArray, card: CardFit, *, layout: CardLayout | None = None
) -> SwatchReadings:
    """Median linear-light colour of the inner part of every swatch.

    Pixels are decoded to linear light before the median is taken. A swatch that lies outside the
    picture by more than half reads zero, all clipped, with an infinite spread.
    """
    layout = layout or load_layout()
    cols, rows = _sample_pixels(layout, card.homography)
    inside = (cols >= 0) & (cols < rgb.shape[1]) & (rows >= 0) & (rows < rgb.shape[0])
    high, wide = rgb.shape[0], rgb.shape[1]
    at = np.clip(rows, 0, high - 1) * wide + np.clip(cols, 0, wide - 1)
    values = rgb.reshape(-1, 3).take(at, axis=0)

    table = linear_table(values.dtype)
    bands = np.ascontiguousarray(np.moveaxis(values, 2, 0))
    # ranks are the same before and after decoding, and bytes are ranked faster
    middle = (bands.shape[2] - 1) // 2
    halves = np.partition(bands, (middle, min(middle + 1, bands.shape[2] - 1)), axis=2)
    median = _at_share(halves, 0.5, table).T
    of_band = (table / 3.0).astype(np.float32)
    light = np.sort(of_band[bands[0]] + of_band[bands[1]] + of_band[bands[2]], axis=1)
    low, half, high = (_at_share(light, share) for share in (_SPREAD[0], 0.5, _SPREAD[1]))
    spread = (high - low) / _SPREAD_SIGMAS / np.maximum(half, _DARKEST_LINEAR)
    brightest = np.maximum(np.maximum(bands[0], bands[1]), bands[2])
    clipped = (brightest >= _CLIPPED_FROM * (np.iinfo(values.dtype).max // 255)).mean(axis=1)

    outside = inside.mean(axis=1) < 0.5
    return SwatchReadings(
        names=layout.names,
        linear=np.where(outside[:, None], 0.0, median),
        spread=np.where(outside, np.inf, spread),
        clipped=np.where(outside, 1.0, clipped),
    )


def _at_share(ranked: NDArray[Any], share: float, table: FloatArray | None = None) -> FloatArray:
    """Value below which a share of ``(..., n)`` rising values lies, ``(...)``, interpolated.

    ``table`` is what the values stand for.
    """
    place = share * (ranked.shape[-1] - 1)
    below = int(place)
    low, high = ranked[..., below], ranked[..., min(below + 1, ranked.shape[-1] - 1)]
    if table is not None:
        low, high = table[low], table[high]
    value: FloatArray = low + (high - low) * (place - below)
    return value


def _sample_pixels(
    layout: CardLayout, homography: FloatArray
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Column and row in the photo of samples ``(n, samples)`` in the inner part of every swatch."""
    across, down = (
        (np.arange(count) + 0.5) / count * _INNER_SHARE + (1.0 - _INNER_SHARE) / 2.0
        for count in _SAMPLES
    )
    box = np.array([(s.x_mm, s.y_mm, s.width_mm, s.height_mm) for s in layout.swatches])
    x_mm = (box[:, 0:1] + across * box[:, 2:3])[:, None, :]
    y_mm = (box[:, 1:2] + down * box[:, 3:4])[:, :, None]
    x, y, depth = (a * x_mm + (b * y_mm + c) for a, b, c in homography)
    cols, rows = (np.rint(at / depth).astype(np.intp).reshape(len(box), -1) for at in (x, y))
    return cols, rows


# --------------------------------------------------------------------------- marks
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
    if lost == below and layout.mouth is None:
        told += " (out of view, or behind a wide jar: step back to 55 cm)"
    return told


def _place(marker: Marker, layout: CardLayout) -> str:
    middle_x, middle_y = layout.centre_mm
    vertical = "top" if marker.y_mm < middle_y else "bottom"
    return f"{vertical} {'left' if marker.x_mm < middle_x else 'right'}"
