"""Chances on the surface -> how much of it is covered, and its areas of one kind."""

from __future__ import annotations

import math
from typing import Final

import cv2
import numpy as np

from jarvision.base.colourspace import linear_to_lab
from jarvision.records import BoolArray, Coverage, Float32Array, SurfacePatch
from jarvision.records.mouth import SurfacePicture
from jarvision.settings.surface import SurfaceSettings
from jarvision.vision.surface.network import (
    BARE,
    DISCOLOURED,
    GROWTH,
    POOL,
    SurfaceChances,
)

GROUND_FROM: Final = 0.5
"""Chance from which a place shows the ground, and no fruit body, rim or glass."""

_PATCH_FROM: Final = 0.5
_BARE_LEAST_CM2, _OFF_LEAST_CM2, _POOL_LEAST_CM2 = 0.5, 0.1, 0.2
_OFF_CHANCE_MIN: Final = 0.75
"""Areas less sure on average are mostly shade and dark contents: all three that were none on 32
rendered photos had 0.64 to 0.73, all fourteen true ones 0.78 and more."""

_OUTLINE_MM: Final = 0.3
_GREY, _DARK = 4.0, 42.0
"""Chroma and lightness (CIELAB) under which an off-colour area is black."""

_FAMILIES: Final = ((60.0, "pink"), (86.0, "stain"), (105.0, "yellow"), (250.0, "green"))
"""Up to which hue, degrees (CIELAB), an off-colour area is of which family; pink from there."""


def ground_shown(picture: SurfacePicture, chances: SurfaceChances) -> BoolArray:
    """Where the ground can be judged: seen, and no fruit body before it."""
    solid = chances.ground[[BARE, GROWTH, DISCOLOURED]].sum(axis=0)
    return np.asarray(picture.seen & (solid > GROUND_FROM))


def surface_coverage(
    picture: SurfacePicture, chances: SurfaceChances, *, settings: SurfaceSettings
) -> Coverage:
    """Share of the ground that growth covers, percent: of what fruit bodies do not hide.

    The sum of chances, as on the wall. The interval adds in quadrature what is always left over,
    the mean chance of a wrong answer, and a share of what cannot be seen; its upper end takes in
    areas of normal stain, which are no growth here.
    """
    shown = ground_shown(picture, chances)
    if not shown.any():
        return Coverage(percent=0.0, low=0.0, high=100.0, soft_percent=0.0, seen_percent=0.0)
    solid = chances.ground[[BARE, GROWTH, DISCOLOURED]].sum(axis=0)[shown]
    growth = chances.ground[GROWTH][shown] / solid
    percent = 100.0 * float(growth.mean(dtype=np.float64))
    doubt = 100.0 * float(np.minimum(growth, 1.0 - growth).mean(dtype=np.float64))
    seen = 100.0 * float(shown.sum()) / float(picture.within.sum())
    spread = math.hypot(
        settings.cover_floor_points,
        settings.cover_doubt_weight * doubt,
        settings.cover_hidden_weight * (100.0 - seen),
    )
    stained = sum(p.area_cm2 for p in off_colour_patches(picture, chances) if p.kind == "stain")
    shown_cm2 = float(shown.sum()) * picture.cell_mm**2 / 100.0
    return Coverage(
        percent=percent,
        low=max(0.0, percent - spread),
        high=min(100.0, percent + spread + 100.0 * stained / shown_cm2),
        soft_percent=percent,
        seen_percent=seen,
    )


def surface_patches(
    picture: SurfacePicture, chances: SurfaceChances, *, settings: SurfaceSettings
) -> tuple[SurfacePatch, ...]:
    """Off-colour, bare and wet areas, the largest first."""
    shown = ground_shown(picture, chances)
    bare, pool = chances.ground[BARE], chances.water[POOL]
    found = off_colour_patches(picture, chances, most=settings.patch_confidence_max)
    for kind, chance, least in (
        ("bare", bare, _BARE_LEAST_CM2), ("wet", pool, _POOL_LEAST_CM2),
    ):  # fmt: skip
        for cells in _areas((chance > _PATCH_FROM) & shown, picture, least):
            found.append(_patch(kind, cells, picture, float(chance[cells].mean())))
    return tuple(sorted(found, key=lambda patch: -patch.area_cm2))


def off_colour_patches(
    picture: SurfacePicture, chances: SurfaceChances, *, most: float = 1.0
) -> list[SurfacePatch]:
    """Areas of a colour that is neither contents nor growth, none surer than ``most``."""
    chance = chances.ground[DISCOLOURED]
    return [
        _patch(family, cells, picture, min(float(chance[cells].mean()), most))
        for cells, family in off_colour_areas(picture, chances)
    ]


def off_colour_areas(
    picture: SurfacePicture, chances: SurfaceChances
) -> list[tuple[BoolArray, str]]:
    """The cells of such areas, and the family of each."""
    chance = chances.ground[DISCOLOURED]
    areas = _areas((chance > _PATCH_FROM) & picture.seen, picture, _OFF_LEAST_CM2)
    sure = [cells for cells in areas if float(chance[cells].mean()) >= _OFF_CHANCE_MIN]
    return [(cells, family_of(picture.linear[cells])) for cells in sure]


def family_of(linear: Float32Array) -> str:
    """Off-colour family of linear sRGB colours ``(n, 3)``, by the hue of their median."""
    lightness, a, b = np.median(linear_to_lab(linear), axis=0)
    if math.hypot(a, b) < _GREY and lightness < _DARK:
        return "black"
    hue = math.degrees(math.atan2(b, a)) % 360.0
    return next((name for most, name in _FAMILIES if hue < most), "pink")


def _areas(mask: BoolArray, picture: SurfacePicture, least_cm2: float) -> list[BoolArray]:
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    least = least_cm2 * 100.0 / picture.cell_mm**2
    return [
        np.asarray(labels == number)
        for number in range(1, count)
        if stats[number][cv2.CC_STAT_AREA] >= least
    ]


def _patch(kind: str, cells: BoolArray, picture: SurfacePicture, sure: float) -> SurfacePatch:
    rows, cols = np.nonzero(cells)
    axis = picture.axis
    return SurfacePatch(
        kind,
        float(cells.sum()) * picture.cell_mm**2 / 100.0,
        float(axis[cols].mean()),
        float(axis[rows].mean()),
        sure,
        outline_of(cells, picture),
    )


def outline_of(cells: BoolArray, picture: SurfacePicture) -> tuple[tuple[float, float], ...]:
    """Closed outline of an area in the surface frame, mm."""
    contours, _ = cv2.findContours(cells.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    longest = max(contours, key=len)
    line = cv2.approxPolyDP(longest, _OUTLINE_MM / picture.cell_mm, closed=True)[:, 0]
    return tuple((float(picture.axis[x]), float(picture.axis[y])) for x, y in line)
