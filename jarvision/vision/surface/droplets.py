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

_OFFSETS: Final = np.array([0.3, 0.1, 0.003, 0.003, 0.3, 0.2])
_WEIGHTS: Final = np.array(
    [
        [-0.52, -0.10, -0.19, -0.11, -3.47, -1.55],
        [2.09, -1.43, -0.11, -0.09, -3.18, 0.32],
        [-1.04, 1.15, 0.09, -0.50, 5.62, 0.28],
        [-0.52, 0.38, 0.21, 0.69, 1.03, 0.94],
    ]
)
_BASE: Final = np.array([-1.12, -1.82, -1.67, 4.63])
"""Logistic regression of the four classes on the logarithms of :func:`_signs` and of the sure
droplets of the nearer look. All but the last column were fitted to 32 rendered photos of 900 px in
width (each counted five times) and 416 painted surfaces that the network had not learned from; the
last column and the base to 31 photos of 1200 px. Left out one by one, 27 of those were told right
(25 without the nearer look), and 17 of 19 where the likeliest class had 0.8 or more."""


def read_droplets(
    picture: SurfacePicture, chances: SurfaceChances, *, fine: SurfacePicture,
    fine_chances: SurfaceChances,
) -> Droplets | None:  # fmt: skip
    """Say how moist the ground in sight is; None where too little of it is.

    ``fine`` is a nearer look at the same surface, where fine droplets look as large as those that
    the network learned from; what it sees of larger ones there is less sure.

    Droplets finer than three pixels of the photo are mostly missed: ``per_cm2`` and
    ``diameter_mm`` are of those that are seen, the chances of the classes know of it.
    """
    shown = ground_shown(picture, chances)
    cm2 = float(shown.sum()) * picture.cell_mm**2 / 100.0
    if cm2 < _LEAST_CM2:
        return None
    sizes = _sizes(chances.water[DROPLET] > _DROPLET_FROM, shown, picture)
    signs = [*_signs(picture, chances, shown), _sure_per_cm2(fine, fine_chances)]
    said = _WEIGHTS @ np.log(np.array(signs) + _OFFSETS) + _BASE
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
    spots = _sizes(droplet > _SPOT_FROM, shown, picture)
    return np.array(
        [
            _sure_per_cm2(picture, chances),
            float((spots >= _LARGE_MM).sum()) / cm2,
            float(pool[shown].mean()),
            float((pool[shown] > _POOL_FROM).mean()),
            float(spots.mean()) if len(spots) else 0.0,
        ]
    )


def _sure_per_cm2(picture: SurfacePicture, chances: SurfaceChances) -> float:
    """Hills of the chance of a droplet that are sure ones, a cm2 of the ground in sight."""
    droplet, shown = chances.water[DROPLET], ground_shown(picture, chances)
    peak = (cv2.dilate(droplet, np.ones((3, 3), np.uint8)) == droplet) & shown
    cm2 = float(shown.sum()) * picture.cell_mm**2 / 100.0
    return float((peak & (droplet > _DROPLET_FROM)).sum()) / cm2 if cm2 > 0.0 else 0.0


def _sizes(mask: BoolArray, shown: BoolArray, picture: SurfacePicture) -> FloatArray:
    """Diameters, mm, of discs as large as what hangs together."""
    count, _, stats, _ = cv2.connectedComponentsWithStats(
        (mask & shown).astype(np.uint8), connectivity=4
    )
    cells = stats[1:count, cv2.CC_STAT_AREA].astype(float)
    return np.asarray(2.0 * np.sqrt(cells / np.pi) * picture.cell_mm)
