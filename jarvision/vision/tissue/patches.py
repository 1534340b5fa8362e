"""Class map -> patches: connected areas of one kind on the wall, in cm2."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import BoolArray, Patch, Tissue, TissueClass, Wall

MIN_AREA_CM2 = 0.25
"""Smaller areas are not reported: a third of a rye kernel's face more than one kernel."""

_SMOOTH_CELLS = 3
"""Opening by this many cells (0.8 mm) drops specks and hairs."""

_JOIN_CELLS = 17
"""Pieces within 4.7 mm, a kernel, of one another are one area: threads across a bare island do
not make it several. Only the pieces themselves count as its area."""

KIND_OF_CLASS = {
    TissueClass.BARE: "bare",
    TissueClass.STAIN: "stain",
    TissueClass.GREEN: "green",
    TissueClass.BLACK: "black",
    TissueClass.PINK: "pink",
    TissueClass.YELLOW: "yellow",
    TissueClass.WET: "wet",
}


def find_patches(wall: Wall, tissue: Tissue) -> tuple[Patch, ...]:
    """All areas of at least 0.25 cm2, largest first within each kind."""
    found: list[Patch] = []
    for tissue_class, kind in KIND_OF_CLASS.items():
        found += _patches_of(tissue.classes == int(tissue_class), kind, wall=wall, tissue=tissue)
    return tuple(found)


def _patches_of(mask: BoolArray, kind: str, *, wall: Wall, tissue: Tissue) -> list[Patch]:
    if np.count_nonzero(mask) * wall.cell_cm2 < MIN_AREA_CM2:
        return []
    small, wide = (
        cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
        for size in (_SMOOTH_CELLS, _JOIN_CELLS)
    )
    left, top, width, height = cv2.boundingRect(mask.view(np.uint8))
    top, left = max(0, top - _JOIN_CELLS), max(0, left - _JOIN_CELLS)  # room to join
    near = np.s_[top : top + height + 2 * _JOIN_CELLS, left : left + width + 2 * _JOIN_CELLS]
    opened = cv2.morphologyEx(mask[near].astype(np.uint8), cv2.MORPH_OPEN, small)
    joined = cv2.morphologyEx(opened, cv2.MORPH_CLOSE, wide)
    count, labels = cv2.connectedComponents(joined, connectivity=8)
    own = np.bincount((labels * opened).ravel(), minlength=count)
    patches = []
    for label in range(1, count):
        area = float(own[label]) * wall.cell_cm2
        if area < MIN_AREA_CM2:
            continue
        x, y, w, h = cv2.boundingRect((labels == label).view(np.uint8))
        inside = labels[y : y + h, x : x + w] == label
        x, y = x + left, y + top
        own_cells = inside & mask[y : y + h, x : x + w]
        middle_x, middle_y = (
            inside.sum(axis=axis) @ np.arange(side) / np.count_nonzero(inside)
            for axis, side in enumerate((w, h))
        )
        patches.append(
            Patch(
                kind=kind,
                area_cm2=area,
                angle_deg=float(np.interp(x + middle_x, *_axis(wall.angles_deg))),
                height_mm=float(np.interp(y + middle_y, *_axis(wall.heights_mm))),
                confidence=float(tissue.certainty[y : y + h, x : x + w][own_cells].mean()),
                outline=_outline(inside, wall=wall, corner=(x, y)),
            )
        )
    return sorted(patches, key=lambda p: -p.area_cm2)


def _axis(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return np.arange(values.size), values


def _outline(
    inside: BoolArray, *, wall: Wall, corner: tuple[int, int]
) -> tuple[tuple[float, float], ...]:
    contours, _ = cv2.findContours(
        inside.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    largest = max(contours, key=cv2.contourArea)
    simple = cv2.approxPolyDP(largest, 1.5, closed=True)[:, 0, :] + np.array(corner)
    angles, heights = wall.angles_deg[simple[:, 0]], wall.heights_mm[simple[:, 1]]
    return tuple(zip(angles.tolist(), heights.tolist(), strict=True))
