"""Tissue -> Tissue in which stain and wet stand on evidence: without it both are bare.

Amber, brown and dark contents look like stain, or wet, to a network that never saw them. A stain is
a state of growth, so it lies amid growth; water gathers at the foot, or makes the contents darker
than they were. Mould needs no such proof, and no place of it is touched here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import cv2
import numpy as np

from jarvision.records import OFF_COLOUR, BareLook, BoolArray, Tissue, TissueClass, Wall
from jarvision.settings.evidence import EvidenceSettings
from jarvision.vision.tissue.inputs import SPREAD, colour_logs

_JOIN_MM = 2.0  # bits of one kind so near to each other are one area


@dataclass(frozen=True)
class _Area:
    """An area of one class: its window of the wall, and its places in that window."""

    window: tuple[slice, slice]
    places: BoolArray


def weigh_evidence(
    wall: Wall, tissue: Tissue, *, settings: EvidenceSettings, bare: BareLook | None = None
) -> Tissue:
    """Take stain and wet back to bare where nothing on the photo speaks for them.

    A stain taken back leaves its chance to the bare contents, and is kept in ``unproven``: the
    days before may still prove it.

    Parameters
    ----------
    bare
        What this jar's contents look like where nothing grows; None: not known.
    """
    unproven = np.zeros(tissue.classes.shape, dtype=np.bool_)
    dry = np.zeros_like(unproven)
    for area in _areas(tissue.classes == TissueClass.STAIN, wall):
        if not _amid_growth(area, tissue, wall, settings):
            unproven[area.window] |= area.places
    for area in _areas(tissue.classes == TissueClass.WET, wall):
        if not (_pooled(area, tissue, wall, settings) or _darker(area, wall, bare, settings)):
            dry[area.window] |= area.places
    if not unproven.any() and not dry.any():
        return tissue
    left = np.maximum(tissue.covered - tissue.certainty, np.float32(settings.unproven_chance))
    covered = np.where(unproven, np.minimum(tissue.covered, left), tissue.covered)
    return replace(
        tissue,
        classes=np.where(unproven | dry, np.uint8(TissueClass.BARE), tissue.classes),
        opacity=np.where(unproven, np.minimum(tissue.opacity, covered), tissue.opacity),
        covered=covered,
        certainty=np.where(unproven | dry, 1.0 - covered, tissue.certainty),
        unproven=unproven if unproven.any() else None,
    )


def unproven_cm2(wall: Wall, tissue: Tissue) -> float:
    """Area that looks like stain while nothing on the photo shows growth there."""
    if tissue.unproven is None:
        return 0.0
    return float(np.count_nonzero(tissue.unproven)) * wall.cell_cm2


def _areas(mask: BoolArray, wall: Wall) -> Iterator[_Area]:
    """The connected areas of a mask ``(rows, cols)``, bits near to each other as one."""
    if not mask.any():
        return
    joined = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, _disc(_JOIN_MM / 2, wall))
    whole = np.maximum(joined, mask.view(np.uint8))  # closing leaves out what touches the border
    count, labels, stats, _ = cv2.connectedComponentsWithStats(whole, connectivity=8)
    for label in range(1, count):
        x, y, width, height = (int(v) for v in stats[label][:4])
        window = slice(y, y + height), slice(x, x + width)
        yield _Area(window, (labels[window] == label) & mask[window])


def _amid_growth(area: _Area, tissue: Tissue, wall: Wall, settings: EvidenceSettings) -> bool:
    """Say whether growth, of whatever colour, makes up most of what is judged around an area."""
    reach = _cells(settings.rim_mm, wall)
    rows, cols = (slice(max(0, part.start - reach), part.stop + reach) for part in area.window)
    inside = np.zeros(tissue.classes[rows, cols].shape, dtype=np.uint8)
    top, left = area.window[0].start - rows.start, area.window[1].start - cols.start
    high, wide = area.places.shape
    inside[top : top + high, left : left + wide] = area.places
    near = np.asarray(cv2.dilate(inside, _disc(settings.rim_mm, wall))) > 0
    around = tissue.classes[rows, cols][near]
    grown = np.count_nonzero(np.isin(around, (TissueClass.MYCELIUM, *OFF_COLOUR)))
    bare = np.count_nonzero(np.isin(around, (TissueClass.BARE, TissueClass.WET)))
    least = settings.rim_area_share * np.count_nonzero(inside)
    return bool(grown >= max(1.0, least, settings.rim_growth_share * (grown + bare)))


def _pooled(area: _Area, tissue: Tissue, wall: Wall, settings: EvidenceSettings) -> bool:
    """Say whether an area stands on the foot, ends below the top, and has nothing dry below it."""
    near = max(1, _cells(settings.foot_mm, wall))
    below = wall.filled[::-1].cumsum(axis=0)[::-1][area.window]  # filled rows from here down
    above = wall.filled.cumsum(axis=0)[area.window]
    wide = np.count_nonzero(area.places.any(axis=0))
    on_foot = np.count_nonzero((area.places & (below <= near)).any(axis=0))
    to_top = np.count_nonzero((area.places & (above <= near)).any(axis=0))
    if on_foot < settings.foot_width_share * wide or to_top >= settings.foot_width_share * wide:
        return False
    rows, cols = area.window
    under = tissue.classes[rows.start :, cols].copy()
    under[: len(area.places)][~np.logical_or.accumulate(area.places, axis=0)] = TissueClass.OUTSIDE
    under[:, ~area.places.any(axis=0)] = TissueClass.OUTSIDE
    dry, wet = (np.count_nonzero(under == kind) for kind in (TissueClass.BARE, TissueClass.WET))
    return bool(dry <= settings.dry_below_share * (dry + wet))


def _darker(area: _Area, wall: Wall, bare: BareLook | None, settings: EvidenceSettings) -> bool:
    """Say whether an area is clearly darker than this jar's contents were."""
    if bare is None:
        return False
    logs = colour_logs(wall.linear[area.window])[0][area.places]
    usual = np.mean([colour[0] for colour in bare.colours])
    return bool((usual - np.median(logs)) * SPREAD[0] >= settings.wet_darker)


def _disc(radius_mm: float, wall: Wall) -> np.ndarray:
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * _cells(radius_mm, wall) + 1,) * 2)


def _cells(length_mm: float, wall: Wall) -> int:
    return round(length_mm / wall.step_mm)
