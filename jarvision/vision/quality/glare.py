"""How much of the jar's wall a mirrored lamp hides."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.base.colourspace import byte_to_linear_table
from jarvision.records import BoolArray, Photo, RawWall
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.jar.unroll import burnt_out

_RING_FROM_MM, _RING_TO_MM = 0.75, 2.0
"""What surrounds a burnt-out spot is looked at from here, past the blur of its edge, to there."""

_RING_LINEAR_MAX = 0.7
"""Growth that burns out lies amid growth that nearly does; a mirrored lamp amid darker things."""


def glare_share(wall: RawWall, photo: Photo, *, settings: PhotoSettings) -> float:
    """Share of the wall, 0 to 1, that is burnt out and stands out from what surrounds it."""
    burnt = burnt_out(wall, photo, settings=settings.masks)
    if not burnt.any():
        return 0.0
    # nothing beyond the ring of the outermost spots has a say
    reach = 1 + round(_RING_TO_MM / wall.step_mm)
    x, y, width, height = cv2.boundingRect(burnt.astype(np.uint8))
    near = np.s_[max(0, y - reach) : y + height + reach, max(0, x - reach) : x + width + reach]
    cells_of_wall, burnt = burnt.size, burnt[near]
    count, labels = cv2.connectedComponents(burnt.astype(np.uint8), connectivity=8)
    # the dilation of the labels names the spot that a place of the ring belongs to
    owner = cv2.dilate(labels.astype(np.float32), _disc(_RING_TO_MM / wall.step_mm)).astype(np.intp)
    ring = (owner > 0) & ~_grown(burnt, _RING_FROM_MM / wall.step_mm)
    at = wall.pixels[near]
    seen = cv2.remap(photo.rgb, at[..., 0], at[..., 1], cv2.INTER_NEAREST)
    light = byte_to_linear_table()[np.asarray(seen)[ring]].mean(axis=-1)
    cells = np.bincount(owner[ring], minlength=count)
    mean = np.bincount(owner[ring], weights=light, minlength=count) / np.maximum(cells, 1)
    lamp = (cells > 0) & (mean < _RING_LINEAR_MAX)
    lamp[0] = False
    return float(np.count_nonzero(lamp[labels]) / cells_of_wall)


def _grown(mask: BoolArray, cells: float) -> BoolArray:
    return np.asarray(cv2.dilate(mask.astype(np.uint8), _disc(cells)) > 0)


def _disc(radius: float) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    size = 2 * max(1, round(radius)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)), dtype=np.uint8)
