"""Caps of young fruit bodies at the glass: a few smooth, dark, rounded spots on white growth.

A weak witness: a kernel that shows through growth looks much alike, and white pins on white growth
do not show at all. So it may ask for a look, and nothing more.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from jarvision.photo_settings import PinSettings
from jarvision.records import BoolArray, ByteArray, Float32Array, Patch, Tissue, TissueClass, Wall
from jarvision.tissue.coverage import COVERED

_LUMINANCE = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
_LIGHT_FLOOR = np.float32(0.004)  # keeps the noise of near-black places small
_CONFIDENCE = 0.5
_SHRINK = 8  # the ground is smooth: an eighth of the wall's cells is enough for it


@dataclass(frozen=True)
class _Spot:
    """One dark spot: middle ``(col, row)``, area in cells, hull ``(n, 2)``, and is it a cap."""

    middle: tuple[float, float]
    cells: int
    hull: np.ndarray
    cap: bool


def find_pins(wall: Wall, tissue: Tissue, *, settings: PinSettings) -> tuple[Patch, ...]:
    """Return the group of caps as one patch of kind ``pins``; empty when there is none.

    Notes
    -----
    The light is held against that of the growth around. What is darker by ``contrast`` is a spot; a
    spot is a cap when the network, which knows no pins, wavers between growth and contents there,
    and it is round, even and alone on bright ground. Pins come in groups on growth that is
    otherwise clean: among many other dark spots, kernels and cracks, caps cannot be told.
    """
    growth = np.isin(tissue.classes, COVERED)
    if np.count_nonzero(growth) < settings.covered_min * np.count_nonzero(wall.filled):
        return ()
    step_mm = float(wall.heights_mm[0] - wall.heights_mm[1])
    contrast = _contrast(wall, growth, step_mm=step_mm, settings=settings)
    spots = _spots(contrast, wall, tissue, step_mm=step_mm, settings=settings)
    caps = [spot for spot in spots if spot.cap]
    if len(caps) < max(settings.caps_min, settings.clean_share * len(spots)):
        return ()
    places = np.array([spot.middle for spot in caps]) * step_mm
    apart = np.linalg.norm(places[:, None] - places[None, :], axis=2)
    near = apart < settings.group_mm
    group = [caps[i] for i in np.flatnonzero(near[near.sum(axis=1).argmax()])]
    if len(group) < settings.caps_min:
        return ()
    return (_patch_of(group, wall),)


def _contrast(
    wall: Wall, growth: BoolArray, *, step_mm: float, settings: PinSettings
) -> Float32Array:
    """Log light of each place over that of the growth around it, ``(rows, cols)``."""
    light = np.log(np.maximum(wall.linear @ _LUMINANCE, 0.0) + _LIGHT_FLOOR)
    weight = growth.astype(np.float32)
    small = tuple(max(1, side // _SHRINK) for side in light.shape[::-1])
    share, ground = (
        cv2.GaussianBlur(
            cv2.resize(picture, small, interpolation=cv2.INTER_AREA),
            (0, 0),
            settings.ground_mm / step_mm / _SHRINK,
        )
        for picture in (weight, light * weight)
    )
    ground = cv2.resize(ground / np.maximum(share, 1e-3), light.shape[::-1])
    smooth = cv2.GaussianBlur(light, (0, 0), settings.smooth_mm / step_mm)
    return np.asarray(smooth - ground, dtype=np.float32)


def _spots(
    contrast: Float32Array, wall: Wall, tissue: Tissue, *, step_mm: float, settings: PinSettings
) -> list[_Spot]:
    """All dark spots from the size of a cap on; none where there are too many."""
    dark = ((contrast < -settings.contrast) & wall.filled).astype(np.uint8)
    small = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3))
    dark = np.asarray(cv2.morphologyEx(dark, cv2.MORPH_OPEN, small), dtype=np.uint8)
    count, labels, stats, middles = cv2.connectedComponentsWithStats(dark, connectivity=4)
    least, most = (np.pi / 4 * (mm / step_mm) ** 2 for mm in (settings.least_mm, settings.most_mm))
    margin = round(settings.ring_mm / step_mm) + 2
    big = [label for label in range(1, count) if stats[label, cv2.CC_STAT_AREA] >= least]
    if len(big) > settings.spots_max:
        return []
    found = []
    for label in big:
        x, y, width, height, cells = (int(v) for v in stats[label])
        window = (
            slice(max(0, y - margin), y + height + margin),
            slice(max(0, x - margin), x + width + margin),
        )
        spot = np.asarray(labels[window] == label)
        if -float(np.median(contrast[window][spot])) < settings.deep:
            continue  # a shadow in the growth's own relief
        hull = cv2.convexHull(np.argwhere(spot)[:, ::-1].astype(np.int32))[:, 0]
        cap = cells <= most and _is_cap(
            spot, contrast[window], tissue.classes[window], step_mm=step_mm, settings=settings
        )
        middle = (float(middles[label][0]), float(middles[label][1]))
        corner = np.array([window[1].start, window[0].start])
        found.append(_Spot(middle, cells, hull + corner, cap))
    return found


def _is_cap(
    spot: BoolArray,
    contrast: Float32Array,
    classes: ByteArray,
    *,
    step_mm: float,
    settings: PinSettings,
) -> bool:
    """Tell whether a spot is of no other kind, round, even inside, and bright all around."""
    grown, bare = (
        float(np.mean(classes[spot] == kind)) for kind in (TissueClass.MYCELIUM, TissueClass.BARE)
    )
    if grown < settings.growth_share or grown + bare < settings.plain_share:
        return False
    mask = spot.astype(np.uint8)
    inside = cv2.erode(mask, np.ones((3, 3), np.uint8), borderValue=0) > 0
    if np.count_nonzero(inside) < 6:
        return False
    deep = -float(np.median(contrast[inside]))
    if float(contrast[inside].std()) > settings.uneven_max * deep:
        return False
    outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(outlines, key=cv2.contourArea)
    solid = cv2.contourArea(outline) / max(cv2.contourArea(cv2.convexHull(outline)), 1.0)
    if len(outline) < 5 or solid < settings.solid_min:
        return False
    _, axes, _ = cv2.fitEllipse(outline)
    if max(axes) > settings.long_max * max(min(axes), 1e-3):
        return False
    reach = round(settings.ring_mm / step_mm)
    far = cv2.dilate(mask, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1,) * 2))
    ring = (far > 0) & (cv2.dilate(mask, np.ones((5, 5), np.uint8)) == 0)
    return bool(np.mean(contrast[ring] > -settings.contrast / 2) > settings.ring_share)


def _patch_of(group: list[_Spot], wall: Wall) -> Patch:
    points = cv2.convexHull(np.concatenate([spot.hull for spot in group]).astype(np.int32))[:, 0]
    middle = np.mean([spot.middle for spot in group], axis=0)
    rows, cols = wall.filled.shape
    return Patch(
        kind="pins",
        area_cm2=sum(spot.cells for spot in group) * wall.cell_cm2,
        angle_deg=float(np.interp(middle[0], np.arange(cols), wall.angles_deg)),
        height_mm=float(np.interp(middle[1], np.arange(rows), wall.heights_mm)),
        confidence=_CONFIDENCE,
        outline=tuple((float(wall.angles_deg[x]), float(wall.heights_mm[y])) for x, y in points),
    )
