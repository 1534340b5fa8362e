"""Chances of water on the surface -> droplets per cm2, their size, and how moist the surface is."""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np

from jarvision.records import BoolArray, Droplets, FloatArray
from jarvision.records.mouth import SurfacePicture
from jarvision.vision.surface.cover import ground_shown
from jarvision.vision.surface.network import DROPLET, POOL, SurfaceChances

_LEAST_CM2: Final = 0.5
"""With less of the surface in sight nothing is said of its water."""

_DROPLET_FROM, _SPOT_FROM, _POOL_FROM = 0.5, 0.4, 0.5
_LARGE_MM: Final = 0.8

_OFFSETS: Final = np.array([0.3, 0.1, 0.003, 0.003, 0.3])
_WEIGHTS: Final = np.array(
    [
        [-0.52, -0.10, -0.19, -0.11, -3.47],
        [2.09, -1.43, -0.11, -0.09, -3.18],
        [-1.04, 1.15, 0.09, -0.50, 5.62],
        [-0.52, 0.38, 0.21, 0.69, 1.03],
    ]
)
_BASE: Final = np.array([-0.78, -1.47, -2.12, 4.38])
"""Logistic regression of the four classes on the logarithms of :func:`_signs`, fitted to 32
rendered photos (each counted five times) and 416 painted surfaces that the network had not learned
from. Where the likeliest class had 0.8 or more it was right on all 11 of those photos, with 0.4 to
0.8 on 14 of 21."""


def read_droplets(picture: SurfacePicture, chances: SurfaceChances) -> Droplets | None:
    """Say how moist the ground in sight is; None where too little of it is.

    Droplets finer than three pixels of the photo are mostly missed: ``per_cm2`` and
    ``diameter_mm`` are of those that are seen, the chances of the classes know of it.
    """
    shown = ground_shown(picture, chances)
    cm2 = float(shown.sum()) * picture.cell_mm**2 / 100.0
    if cm2 < _LEAST_CM2:
        return None
    sizes = _sizes(chances.water[DROPLET] > _DROPLET_FROM, shown, picture)
    said = _WEIGHTS @ np.log(_signs(picture, chances, shown) + _OFFSETS) + _BASE
    odds = np.exp(said - said.max())
    dry, moist, wet, standing = (float(part) for part in odds / odds.sum())
    return Droplets(
        per_cm2=len(sizes) / cm2,
        diameter_mm=float(sizes.mean()) if len(sizes) else None,
        chances=(dry, moist, wet, standing),
    )


def _signs(picture: SurfacePicture, chances: SurfaceChances, shown: BoolArray) -> FloatArray:
    """Sure droplets and large spots a cm2, mean chance and share of pools, spots' mean diameter."""
    droplet, pool = chances.water[DROPLET], chances.water[POOL]
    cm2 = float(shown.sum()) * picture.cell_mm**2 / 100.0
    peak = (cv2.dilate(droplet, np.ones((3, 3), np.uint8)) == droplet) & shown
    spots = _sizes(droplet > _SPOT_FROM, shown, picture)
    return np.array(
        [
            float((peak & (droplet > _DROPLET_FROM)).sum()) / cm2,
            float((spots >= _LARGE_MM).sum()) / cm2,
            float(pool[shown].mean()),
            float((pool[shown] > _POOL_FROM).mean()),
            float(spots.mean()) if len(spots) else 0.0,
        ]
    )


def _sizes(mask: BoolArray, shown: BoolArray, picture: SurfacePicture) -> FloatArray:
    """Diameters, mm, of discs as large as what hangs together."""
    count, _, stats, _ = cv2.connectedComponentsWithStats(
        (mask & shown).astype(np.uint8), connectivity=4
    )
    cells = stats[1:count, cv2.CC_STAT_AREA].astype(float)
    return np.asarray(2.0 * np.sqrt(cells / np.pi) * picture.cell_mm)
