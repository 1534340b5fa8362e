"""Young fruit bodies in the jar: caps that press against the glass, or stand above the contents.

The network says of each place how likely a cap stands there; here the places become spots, and the
spots a group. A jar that pins is late, not bad, so they ask for a look and nothing more.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from jarvision.records import BoolArray, Float32Array, Patch, Tissue, Wall
from jarvision.settings.tissue import PinSettings


@dataclass(frozen=True)
class _Spot:
    """Places that hang together: middle ``(col, row)``, area in cells, hull ``(n, 2)``, chance."""

    middle: tuple[float, float]
    cells: int
    hull: np.ndarray
    chance: float


def find_pins(wall: Wall, tissue: Tissue, *, settings: PinSettings) -> tuple[Patch, ...]:
    """The largest group of caps as one patch of kind ``pins``; empty when there is none.

    Its area is that of the caps, its confidence the mean chance over them. Pins come in groups: a
    single small spot is more often a kernel or a drop that looks like one, a large one is enough.
    """
    likely = tissue.caps >= settings.chance_min
    least = settings.spot_min_mm2 / wall.step_mm**2
    spots = _spots(likely, tissue.caps, wall.filled, least=least) if likely.any() else []
    if not spots:
        return ()
    places = np.array([spot.middle for spot in spots]) * wall.step_mm
    near = np.linalg.norm(places[:, None] - places[None, :], axis=2) < settings.group_mm
    areas = near @ np.array([spot.cells for spot in spots])
    group = [spots[i] for i in np.flatnonzero(near[areas.argmax()])]
    if areas.max() * wall.cell_cm2 < settings.area_min_cm2:
        return ()
    return (_patch_of(group, wall),)


def _spots(
    likely: BoolArray, caps: Float32Array, filled: BoolArray, *, least: float
) -> list[_Spot]:
    """The connected spots of at least so many cells.

    Spots above the contents that the side of the wall cuts off are left out: there the card's
    print shows through the glass.
    """
    count, labels, stats, middles = cv2.connectedComponentsWithStats(
        likely.astype(np.uint8), connectivity=8
    )
    found = []
    for label in range(1, count):
        x, y, width, height, cells = (int(v) for v in stats[label])
        if cells < least:
            continue
        window = slice(y, y + height), slice(x, x + width)
        if (x == 0 or x + width == likely.shape[1]) and not filled[window].any():
            continue
        spot = labels[window] == label
        hull = cv2.convexHull(np.argwhere(spot)[:, ::-1].astype(np.int32))[:, 0]
        middle = (float(middles[label][0]), float(middles[label][1]))
        chance = float(caps[window][spot].mean())
        found.append(_Spot(middle, cells, hull + np.array([x, y]), chance))
    return found


def _patch_of(group: list[_Spot], wall: Wall) -> Patch:
    points = cv2.convexHull(np.concatenate([spot.hull for spot in group]).astype(np.int32))[:, 0]
    cells = np.array([spot.cells for spot in group])
    middle = np.average([spot.middle for spot in group], axis=0, weights=cells)
    rows, cols = wall.filled.shape
    return Patch(
        kind="pins",
        area_cm2=float(cells.sum()) * wall.cell_cm2,
        angle_deg=float(np.interp(middle[0], np.arange(cols), wall.angles_deg)),
        height_mm=float(np.interp(middle[1], np.arange(rows), wall.heights_mm)),
        confidence=float(np.average([spot.chance for spot in group], weights=cells)),
        outline=tuple((float(wall.angles_deg[x]), float(wall.heights_mm[y])) for x, y in points),
    )
