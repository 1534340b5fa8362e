"""Exact measures of a painted wall, by the definitions that the program's readings follow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from skimage import measure

from jarvision.records import BoolArray, TissueClass

from .wall_paint import WallPaint

COVERED = (TissueClass.MYCELIUM, TissueClass.STAIN)
PATCH_KINDS = {
    "bare": TissueClass.BARE,
    "green": TissueClass.GREEN,
    "black": TissueClass.BLACK,
    "pink": TissueClass.PINK,
    "yellow": TissueClass.YELLOW,
    "wet": TissueClass.WET,
    "stain": TissueClass.STAIN,
}


@dataclass(frozen=True)
class TruePatch:
    """A connected region of one kind: area on the cylinder and centroid in the wall frame."""

    kind: str
    area_cm2: float
    angle_deg: float
    height_mm: float


def _turned(paint: WallPaint, centre_deg: float) -> int:
    """Columns to roll so that ``centre_deg`` comes to stand in the middle."""
    cols = paint.classes.shape[1]
    columns: int = round(centre_deg / 360.0 * cols)
    return -columns


def _window(paint: WallPaint, half_width_deg: float) -> BoolArray:
    return np.abs(paint.angles_deg) <= half_width_deg


def true_coverage(
    paint: WallPaint, *, centre_deg: float = 0.0, half_width_deg: float = 60.0
) -> float:
    """Percent of the filled wall within the window that is mycelium or normal stain.

    All cells have the same true area, so counting them is exact. An empty window gives 0.
    """
    classes = np.roll(paint.classes, _turned(paint, centre_deg), axis=1)
    classes = classes[:, _window(paint, half_width_deg)]
    filled = int((classes != TissueClass.OUTSIDE).sum())
    return 100.0 * float(np.isin(classes, COVERED).sum()) / filled if filled else 0.0


def true_soft_coverage(
    paint: WallPaint, *, centre_deg: float = 0.0, half_width_deg: float = 60.0
) -> float:
    """Mean opacity of the filled wall within the window, percent."""
    turn = _turned(paint, centre_deg)
    window = _window(paint, half_width_deg)
    filled = np.roll(paint.classes, turn, axis=1)[:, window] != TissueClass.OUTSIDE
    opacity = np.roll(paint.opacity, turn, axis=1)[:, window]
    return 100.0 * float(opacity[filled].mean(dtype=np.float64)) if filled.any() else 0.0


def true_patches(
    paint: WallPaint,
    *,
    min_cm2: float = 0.25,
    centre_deg: float = 0.0,
    half_width_deg: float = 60.0,
) -> tuple[TruePatch, ...]:
    """Connected regions (8 neighbours) of each kind within the window, the largest first.

    Angles are wall angles. With a window of 180 degrees a region across the far seam counts as
    two.
    """
    classes = np.roll(paint.classes, _turned(paint, centre_deg), axis=1)
    classes = classes[:, _window(paint, half_width_deg)]
    angles = paint.angles_deg[_window(paint, half_width_deg)] + centre_deg
    found: list[TruePatch] = []
    for kind, tissue in PATCH_KINDS.items():
        labels = measure.label(classes == tissue, connectivity=2)  # type: ignore[no-untyped-call]
        for region in measure.regionprops(labels):  # type: ignore[no-untyped-call]
            area = float(region.area) * paint.cell_cm2
            if area < min_cm2:
                continue
            row, col = region.centroid
            angle = float(np.interp(col, np.arange(len(angles)), angles))
            height = float(np.interp(row, np.arange(len(paint.heights_mm)), paint.heights_mm))
            found.append(TruePatch(kind, area, (angle + 180.0) % 360.0 - 180.0, height))
    return tuple(sorted(found, key=lambda patch: -patch.area_cm2))
