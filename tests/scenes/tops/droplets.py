"""Water on the surface: droplets as refracting domes, standing water as a level disc."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.spatial import cKDTree

from jarvision.records import BoolArray, FloatArray
from tests.scenes.meshes import MeshData, grid_faces

from .spec import Mouth, Water
from .surface import Surface

SPOKES = 14
CLEAR_MM = 0.05  # between two droplets, and between droplet and glass
PARKED_MM = 4000.0  # absent parts lie so far below
_DOME = 6


@dataclass(frozen=True)
class Drops:
    """Droplets, ``(n,)`` each: foot on the surface (mouth frame), diameter and height, mm.

    ``aspect`` is the width along x over that along y; the diameter is that of the circle of the
    same area.
    """

    x_mm: FloatArray
    y_mm: FloatArray
    z_mm: FloatArray
    diameter_mm: FloatArray
    height_mm: FloatArray
    aspect: FloatArray

    def __len__(self) -> int:
        return len(self.x_mm)

    def where(self, kept: BoolArray) -> Drops:
        """Some of them."""
        return Drops(*(part[kept] for part in vars(self).values()))


def scatter(surface: Surface, water: Water, mouth: Mouth, *, seed: int) -> Drops:
    """Droplets at random places, denser here than there, none upon another or under water."""
    rng = np.random.default_rng([seed, 51])
    radius = mouth.radius_mm
    wanted = rng.poisson(water.per_cm2 * np.pi * radius**2 / 100.0) if water.per_cm2 > 0 else 0
    count = round(wanted * 1.6) + 8
    size = np.clip(np.exp(rng.normal(np.log(water.middle_mm), water.spread, count)),
                   water.least_mm, water.most_mm)  # fmt: skip
    far = (radius - size / 2.0 - CLEAR_MM) * np.sqrt(rng.random(count))
    turn = rng.uniform(0.0, 2.0 * np.pi, count)
    x, y = far * np.cos(turn), far * np.sin(turn)
    patchy = cv2.resize(rng.standard_normal((6, 6)).astype(np.float32), (64, 64),
                        interpolation=cv2.INTER_CUBIC)  # fmt: skip
    place = np.clip(((np.stack([x, y]) / radius + 1.0) * 32.0).astype(int), 0, 63)
    kept = rng.random(count) < 1.0 / (1.0 + np.exp(-patchy[place[1], place[0]] - 0.5))
    smooth = cv2.GaussianBlur(surface.z_mm, (0, 0), 0.3 / surface.cell_mm)
    z = surface.at(smooth, x, y)
    if surface.pool_z_mm is not None:
        kept &= z < surface.pool_z_mm - 0.3 * size
    kept &= _apart(np.stack([x, y], axis=-1), size)
    kept &= np.cumsum(kept) <= wanted
    drops = Drops(x, y, z, size, size * rng.uniform(0.34, 0.5, count),
                  np.exp(rng.normal(0.0, 0.06, count)))  # fmt: skip
    return drops.where(kept)


def _apart(places: FloatArray, size: FloatArray) -> BoolArray:
    """Which to keep so that no two overlap: the earlier one of a pair stays."""
    kept = np.ones(len(size), bool)
    pairs = cKDTree(places).query_pairs(float(size.max()) + CLEAR_MM, output_type="ndarray")
    if len(pairs) == 0:
        return kept
    gap = np.linalg.norm(places[pairs[:, 0]] - places[pairs[:, 1]], axis=1)
    close = gap < (size[pairs[:, 0]] + size[pairs[:, 1]]) / 2.0 * 1.06 + CLEAR_MM
    for first, second in np.sort(pairs[close], axis=1)[np.lexsort(pairs[close].T)]:
        if kept[first]:
            kept[second] = False
    return kept


def dome_mesh(drops: Drops) -> MeshData:
    """All droplets as one mesh in the mouth frame, ``faces_per_drop`` faces each.

    A half ellipsoid stands on a skirt that reaches into the contents, so that no gap is seen.
    """
    t = np.linspace(0.0, np.pi / 2.0, _DOME)
    wide = np.concatenate([[0.9, 1.0], np.cos(t[1:-1]), [0.02]])
    high = np.concatenate([[-0.9, 0.0], np.sin(t[1:-1]), [1.0]])
    turn = np.linspace(0.0, 2.0 * np.pi, SPOKES + 1)
    half = drops.diameter_mm / 2.0
    a, b = half * np.sqrt(drops.aspect), half / np.sqrt(drops.aspect)
    cos, sin = np.cos(turn)[None, :], np.sin(turn)[None, :]
    unit = np.stack([wide[:, None] * cos, wide[:, None] * sin,
                     np.repeat(-high[:, None], SPOKES + 1, axis=1)], axis=-1)  # fmt: skip
    scale = np.stack([a, b, drops.height_mm], axis=-1)[:, None, None]
    foot = np.stack([drops.x_mm, drops.y_mm, drops.z_mm], axis=-1)[:, None, None]
    points = foot + unit * scale
    sideways = unit.copy()
    sideways[0, :, 2] = 0.0  # the skirt is upright
    normals = sideways / scale
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
    faces = grid_faces(len(wide), SPOKES + 1)[:, ::-1]
    per = len(wide) * (SPOKES + 1)
    offset = (np.arange(len(drops), dtype=np.uint32) * np.uint32(per))[:, None, None]
    flat = points.reshape(-1, 3)
    return MeshData(flat, normals.reshape(-1, 3), np.zeros((len(flat), 2)),
                    (faces[None] + offset).reshape(-1, 3).astype(np.uint32))  # fmt: skip


def pool_mesh(surface: Surface, mouth: Mouth) -> MeshData:
    """The level top of the standing water, mouth frame; parked far below where there is none."""
    level = surface.pool_z_mm
    z = PARKED_MM if level is None else level
    radius = float(mouth.radius_at(0.0 if level is None else level)) - 0.12
    rings = np.linspace(0.001, 1.0, 12)[:, None]
    turn = np.linspace(0.0, 2.0 * np.pi, 97)[None, :]
    grid = np.stack([radius * rings * np.cos(turn), radius * rings * np.sin(turn),
                     np.full((12, 97), z)], axis=-1)  # fmt: skip
    up = np.broadcast_to([0.0, 0.0, -1.0], grid.shape)
    faces = grid_faces(12, 97)
    corner = grid.reshape(-1, 3)[faces[0]]
    if np.cross(corner[1] - corner[0], corner[2] - corner[0])[2] > 0:
        faces = faces[:, ::-1].copy()
    return MeshData(grid.reshape(-1, 3), up.reshape(-1, 3).copy(), np.zeros((12 * 97, 2)), faces)
