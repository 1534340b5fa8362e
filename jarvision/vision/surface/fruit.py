"""Chances on the surface -> pins and caps, each with its place and diameter.

What touches is parted where it is narrow. A cap's edge is fitted by a circle through what of its
outline borders on no other cap; it stands above the surface and looks larger than it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from skimage.morphology import h_maxima, label
from skimage.segmentation import watershed

from jarvision.base.statistics import Z95
from jarvision.records import BoolArray, Float32Array, FloatArray, FruitBody, Measured
from jarvision.records.mouth import SurfacePicture
from jarvision.vision.surface.hole import fit_circle
from jarvision.vision.surface.network import CAP, PIN, SurfaceChances

PIN_FROM: Final = 0.4
CAP_FROM: Final = 0.5
"""Chances from which a cell belongs to a pin, or to a cap."""

_PIN_NECK_MM, _CAP_NECK_MM = 0.25, 0.5
"""Two bodies are told apart where what joins them is narrower than both by so much."""

_PIN_LEAST_MM, _CAP_LEAST_MM = 1.0, 4.0
"""Smaller ones are specks."""

_CAP_HEIGHT, _CAP_HEIGHT_SD = 1.15, 0.3
"""A cap's edge stands so many of its own diameters above the surface."""

_PIN_HEIGHT: Final = 1.6
_EDGE_POINTS_MIN: Final = 12


@dataclass(frozen=True)
class _Part:
    """One body's cells, and its outline ``(k, 2)`` in mm where it borders on none of its kind."""

    cells: BoolArray
    edge_mm: FloatArray
    chance: float


def find_fruit(
    picture: SurfacePicture, chances: SurfaceChances, *, distance_mm: float, scale_sd: float
) -> tuple[FruitBody, ...]:
    """Pins and caps, the largest first.

    ``distance_mm`` is from the camera to the surface, ``scale_sd`` the standard uncertainty of
    lengths on it, as a share.
    """
    pins, caps = chances.ground[PIN], chances.ground[CAP]
    found = [
        _pin(part, picture, distance_mm, scale_sd)
        for part in _parts(pins, PIN_FROM, picture, neck_mm=_PIN_NECK_MM, least_mm=_PIN_LEAST_MM)
    ]
    found += [
        _cap(part, picture, distance_mm, scale_sd)
        for part in _parts(caps, CAP_FROM, picture, neck_mm=_CAP_NECK_MM, least_mm=_CAP_LEAST_MM)
    ]
    return tuple(sorted(found, key=lambda body: -body.diameter_mm.value))


def _parts(
    chance: Float32Array, least: float, picture: SurfacePicture, *, neck_mm: float, least_mm: float
) -> list[_Part]:
    cell = picture.cell_mm
    mask = (chance >= least) & picture.within
    deep = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5) * cell
    seeds = label(h_maxima(deep, neck_mm))
    labels = watershed(-deep, seeds, mask=mask)
    parts = []
    for number in range(1, int(labels.max()) + 1):
        cells = labels == number
        area = float(cells.sum()) * cell**2
        if area < np.pi * (least_mm / 2.0) ** 2:
            continue
        others = cv2.dilate(((labels > 0) & ~cells).astype(np.uint8), np.ones((3, 3))) > 0
        inside = cv2.erode(picture.within.astype(np.uint8), np.ones((7, 7))) > 0
        edge = cells & (cv2.erode(cells.astype(np.uint8), np.ones((3, 3))) == 0) & ~others & inside
        rows, cols = np.nonzero(edge)
        axis = picture.axis
        parts.append(_Part(
            cells, np.column_stack([axis[cols], axis[rows]]), float(chance[cells].mean())
        ))  # fmt: skip
    return parts


def _pin(part: _Part, picture: SurfacePicture, distance: float, scale_sd: float) -> FruitBody:
    seen = 2.0 * np.sqrt(part.cells.sum() / np.pi) * picture.cell_mm
    size = seen / (1.0 + _PIN_HEIGHT * seen / distance)
    x, y = _middle(part, picture)
    half = Z95 * np.hypot(0.4, scale_sd * size)
    return FruitBody(
        "pin", x, y, Measured(size, max(size - half, 0.0), size + half), part.chance
    )


def _cap(part: _Part, picture: SurfacePicture, distance: float, scale_sd: float) -> FruitBody:
    if len(part.edge_mm) >= _EDGE_POINTS_MIN:
        middle, radius, off = fit_circle(part.edge_mm)
        x, y = float(middle[0]), float(middle[1])
    else:
        x, y = _middle(part, picture)
        radius, off = float(np.sqrt(part.cells.sum() / np.pi) * picture.cell_mm), 1.0
    seen = 2.0 * radius + picture.cell_mm
    size = seen / (1.0 + _CAP_HEIGHT * seen / distance)
    half = Z95 * np.hypot(0.5, size * np.hypot(scale_sd, _CAP_HEIGHT_SD * size / distance))
    return FruitBody(
        "cap", x, y, Measured(size, max(size - half, 0.0), size + half), part.chance
    )


def _middle(part: _Part, picture: SurfacePicture) -> tuple[float, float]:
    rows, cols = np.nonzero(part.cells)
    return float(picture.axis[cols].mean()), float(picture.axis[rows].mean())
