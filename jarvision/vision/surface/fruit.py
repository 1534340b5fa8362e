"""Chances on the surface -> pins and caps, each with its place and diameter.

Pins that touch are parted where they are narrow; caps are told apart by their edges
(:mod:`.caps`). Both stand above the surface and look larger than they are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import cv2
import numpy as np
from skimage.morphology import h_maxima, label
from skimage.segmentation import watershed

from jarvision.base.statistics import Z95
from jarvision.records import (
    BoolArray,
    ColourFit,
    Float32Array,
    FloatArray,
    FruitBody,
    Measured,
    Photo,
)
from jarvision.records.mouth import MouthFit, SurfacePicture
from jarvision.vision.surface.caps import CapCircle, find_caps
from jarvision.vision.surface.network import CAP, PIN, SurfaceChances
from jarvision.vision.surface.sight import Above

_FROM: Final = 0.5
"""Chance from which a cell belongs to a fruit body."""

_PIN_NECK_MM: Final = 0.12
"""Two pins are told apart where what joins them is narrower than both by so much."""

PIN_LEAST_MM: Final = 1.0
"""Smaller ones are specks."""

_PIN_RAW_MIN: Final = 0.3
_PIN_LOGIT: Final = (9.7, 0.93, -9.6)
_PIN_COUNTED_MM: Final = 4.0
"""Chance that it is a pin: logistic in the network's mean chance and the diameter up to 4 mm,
fitted to 141 spots on 33 rendered photos of which 57 were pins."""

TOLD_FROM: Final = 0.5
"""Pins less likely than this are not told."""

_CAP_SURE: Final = 0.82
_CAP_LEAST_CELLS: Final = 150
"""What hangs together as caps is one from this mean chance and size on: glints of a wet film had
0.74 to 0.77 on the tuning photos, caps 0.8 and more."""

_PIN_WIDER, _PIN_ADDS_MM, _PIN_SD_MM = 1.0, 0.2, 0.7
_PIN_HEIGHT: Final = 1.6
"""How a pin's own diameter follows from that of its cells, and how far it stands above the surface
in its own diameters: usual error on the tuning photos."""

_CAP_WIDER, _CAP_ADDS_MM, _CAP_SD_MM = 1.02, 0.3, 0.4
_CAP_HEIGHT, _CAP_HEIGHT_SD = 1.15, 0.3
"""The same of caps: leaning and waved edges look narrower than they are at their widest."""

_DULL_MM: Final = 6.0
"""Half a cap whose edge does not show may be off by so much more."""

_ROUGH, _ROUGH_FROM_MM = 4.0, 0.1
"""So many times what an edge lies off its circle, beyond so much, the diameter may be off: what is
no circle may be two caps."""

_BEYOND, _BEYOND_FROM = 0.6, 0.5
"""So much of a cap's diameter, by the share of its edge outside the mouth beyond a half, is in
doubt: there the network does not tell caps."""

_LEFT_OVER_MM2: Final = 150.0
_LEFT_OVER_WIDER: Final = 1.3
"""A piece of the caps' area as large as this, on which no circle was found, may belong to a cap so
many times as wide: of seven such photos of 29 the largest cap was too small on four."""


@dataclass(frozen=True)
class _Scale:
    """How far the camera is from the surface, mm, and the relative error of lengths on it."""

    distance_mm: float
    scale_sd: float

    def measured(self, seen_mm: float, own_sd_mm: float, height: float, sd: float) -> Measured:
        """True width of what stands so many of its own widths (with an error) above the surface."""
        size = seen_mm / (1.0 + height * seen_mm / self.distance_mm)
        rise = sd * size / self.distance_mm
        half = Z95 * float(np.hypot(own_sd_mm, size * np.hypot(self.scale_sd, rise)))
        return Measured(size, max(size - half, 0.0), size + half)


def find_fruit(
    picture: SurfacePicture, chances: SurfaceChances, photo: Photo, above: Above, *,
    colour: ColourFit, mouth: MouthFit,
) -> tuple[FruitBody, ...]:  # fmt: skip
    """Pins and caps, the largest first; their places are in the surface frame."""
    scale = _Scale(above.height_mm + mouth.surface_z_mm, mouth.scale_sd)
    mask = _cap_cells(chances.ground[CAP], picture)
    found: list[FruitBody] = []
    if mask.any():
        circles = find_caps(mask, picture, photo, above, colour=colour, mouth=mouth)
        caps = [
            _cap(circle, chances, picture, scale, mouth_mm=mouth.inner_mm.value)
            for circle in circles
        ]
        found += _widened(caps, _left_over_mm(mask, circles, picture))
    both = (chances.ground[PIN] + chances.ground[CAP] >= _FROM) & picture.within & ~mask
    found += _pins(both, chances.ground[PIN], picture, scale)
    return tuple(sorted(found, key=lambda body: -body.diameter_mm.value))


def looks_mm(body: FruitBody, *, distance_mm: float) -> float:
    """How wide a body looks in the plane of the surface, mm."""
    height = _CAP_HEIGHT if body.kind == "cap" else _PIN_HEIGHT
    size = body.diameter_mm.value
    return size / max(1.0 - height * size / distance_mm, 0.5)


def _cap_cells(chance: Float32Array, picture: SurfacePicture) -> BoolArray:
    """Cells of what is surely enough a cap."""
    cells = ((chance >= _FROM) & picture.within).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(cells)
    sure = np.zeros(count, bool)
    for number in range(1, count):
        large = stats[number][cv2.CC_STAT_AREA] >= _CAP_LEAST_CELLS
        sure[number] = large and float(chance[labels == number].mean()) >= _CAP_SURE
    return np.asarray(sure[labels])


def _cap(
    circle: CapCircle, chances: SurfaceChances, picture: SurfacePicture, scale: _Scale, *,
    mouth_mm: float,
) -> FruitBody:  # fmt: skip
    inside = (_away(picture, circle) <= circle.radius_mm) & picture.within
    seen = _CAP_WIDER * 2.0 * circle.radius_mm + _CAP_ADDS_MM
    rough = _ROUGH * max(circle.off_mm - _ROUGH_FROM_MM, 0.0)
    own = float(np.hypot(np.hypot(_CAP_SD_MM, rough), _DULL_MM * (1.0 - circle.sharp)))
    turn = np.arange(72) * (2.0 * np.pi / 72)
    edge_x, edge_y = (at + circle.radius_mm * way for at, way in
                      ((circle.x_mm, np.cos(turn)), (circle.y_mm, np.sin(turn))))  # fmt: skip
    beyond = float((np.hypot(edge_x, edge_y) > mouth_mm / 2.0).mean())
    own = float(np.hypot(own, _BEYOND * max(beyond - _BEYOND_FROM, 0.0) * seen))
    size = scale.measured(seen, own, _CAP_HEIGHT, _CAP_HEIGHT_SD)
    chance = float(chances.ground[CAP][inside].mean()) if inside.any() else _CAP_SURE
    return FruitBody("cap", circle.x_mm, circle.y_mm, size, chance)


def _left_over_mm(mask: BoolArray, circles: Sequence[CapCircle], picture: SurfacePicture) -> float:
    """Width, mm, of the largest piece of caps that no circle explains; 0 where it is small."""
    free = mask.copy()
    for circle in circles:
        free &= _away(picture, circle) > circle.radius_mm
    count, labels, stats, _ = cv2.connectedComponentsWithStats(free.astype(np.uint8))
    if count < 2:
        return 0.0
    largest = 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())
    if stats[largest][cv2.CC_STAT_AREA] * picture.cell_mm**2 < _LEFT_OVER_MM2:
        return 0.0
    points = np.argwhere(labels == largest).astype(np.float32)
    return 2.0 * float(cv2.minEnclosingCircle(points)[1]) * picture.cell_mm


def _widened(caps: Sequence[FruitBody], left_over_mm: float) -> list[FruitBody]:
    """The same, where the largest may be as wide as what no circle explains."""
    if not caps or left_over_mm == 0.0:
        return list(caps)
    ranked = sorted(caps, key=lambda cap: -cap.diameter_mm.value)
    size = ranked[0].diameter_mm
    wider = replace(size, high=max(size.high, _LEFT_OVER_WIDER * left_over_mm))
    return [replace(ranked[0], diameter_mm=wider), *ranked[1:]]


def _away(picture: SurfacePicture, circle: CapCircle) -> FloatArray:
    """Distance ``(n, n)`` of every cell from a circle's middle, mm."""
    axis = picture.axis
    return np.asarray(np.hypot(axis[None] - circle.x_mm, axis[:, None] - circle.y_mm))


def _pins(
    mask: BoolArray, chance: Float32Array, picture: SurfacePicture, scale: _Scale
) -> list[FruitBody]:
    cell, axis = picture.cell_mm, picture.axis
    deep = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5) * cell
    seeds = label(h_maxima(deep, _PIN_NECK_MM))  # type: ignore[no-untyped-call]
    labels = watershed(-deep, seeds, mask=mask)  # type: ignore[no-untyped-call]
    pins = []
    for number in range(1, int(labels.max()) + 1):
        rows, cols = np.nonzero(labels == number)
        wide = 2.0 * float(np.sqrt(len(rows) / np.pi)) * cell
        if wide < PIN_LEAST_MM:
            continue
        raw = float(chance[rows, cols].mean())
        if raw < _PIN_RAW_MIN:  # what was no cap after all
            continue
        seen = _PIN_WIDER * wide + _PIN_ADDS_MM
        size = scale.measured(seen, _PIN_SD_MM, _PIN_HEIGHT, 0.3)
        by_raw, by_mm, rest = _PIN_LOGIT
        odds = by_raw * raw + by_mm * min(size.value, _PIN_COUNTED_MM) + rest
        sure = float(1.0 / (1.0 + np.exp(-odds)))
        if sure < TOLD_FROM:
            continue
        pins.append(
            FruitBody("pin", float(axis[cols].mean()), float(axis[rows].mean()), size, sure)
        )
    return pins
