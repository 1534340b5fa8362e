"""Pins and caps as meshes of the mouth frame, and their colours."""

from __future__ import annotations

import numpy as np

from jarvision.records import Float32Array, FloatArray
from tests.scenes.meshes import MeshData, grid_faces, grid_normals, merge
from tests.scenes.textures import lab_to_linear

from .droplets import PARKED_MM
from .spec import Cap, Fruit, Pin
from .surface import Surface

PIN_SPOKES, CAP_SPOKES = 16, 72
VARIANTS = 6  # bodies of one jar differ a little in colour
SUNK_MM = 1.5  # feet reach so far into the contents
STALK_SHARE = 0.17  # radius of a stalk over that of its cap
_TILE = (64, 192)
_UNDER = 0.5  # v below: stalk and underside; above: the cap's top, 1 in its middle
_STALK_ROWS, _UNDER_ROWS, _TOP_ROWS = 7, 7, 14


def pins_mesh(pins: tuple[Pin, ...], surface: Surface) -> tuple[MeshData, int]:
    """All pins as one mesh, and the number of faces of each; one is parked where there is none."""
    parts = [_pin(pin, surface, number) for number, pin in enumerate(pins)]
    parts = parts or [_parked(_pin(Pin(0.0, 0.0, 4.0, 2.0), surface, 0))]
    return merge(parts), len(parts[0].faces)


def caps_mesh(caps: tuple[Cap, ...], surface: Surface) -> tuple[MeshData, int]:
    """All capped fruit bodies as one mesh, and the number of faces of each."""
    parts = [_capped(cap, surface, number) for number, cap in enumerate(caps)]
    if not parts:
        parts = [_parked(_capped(Cap(0.0, 0.0, 0.0, 0.0, -10.0, 20.0, 0.5), surface, 0))]
    return merge(parts), len(parts[0].faces)


def _parked(mesh: MeshData) -> MeshData:
    return MeshData(
        mesh.points + np.array([0.0, 0.0, PARKED_MM]), mesh.normals, mesh.uv, mesh.faces
    )


def _pin(pin: Pin, surface: Surface, number: int) -> MeshData:
    """A stalk with a small closed cap; the smallest are knobs. All have as many faces."""
    t = np.linspace(0.0, np.pi / 2.0, 7)
    if pin.height_mm < 2.5:
        wide = np.concatenate([[0.88, 0.91, 0.94, 0.97, 0.99], np.cos(t)])
        up = np.concatenate([[0.0, 0.1, 0.2, 0.3, 0.4], 0.45 + 0.55 * np.sin(t)])
    else:
        wide = np.concatenate([[0.72, 0.62, 0.56, 0.54, 0.94], np.cos(t)])
        up = np.concatenate([[0.0, 0.2, 0.42, 0.56, 0.6], 0.64 + 0.36 * np.sin(t)])
    wide = np.maximum(wide, 0.01)
    turn = np.linspace(0.0, 2.0 * np.pi, PIN_SPOKES + 1)[None, :]
    foot = np.array([pin.x_mm, pin.y_mm, _ground(surface, pin.x_mm, pin.y_mm)])
    axis = _leaning(pin.lean_deg, pin.lean_to_deg)
    along = up[:, None] * pin.height_mm - np.where(up[:, None] <= 0.0, SUNK_MM, 0.0)
    ring = np.stack([wide[:, None] * np.cos(turn), wide[:, None] * np.sin(turn),
                     np.zeros((len(wide), PIN_SPOKES + 1))], axis=-1)  # fmt: skip
    grid = foot + ring * pin.diameter_mm / 2.0 + along[..., None] * axis
    v = np.where(np.arange(len(wide)) < len(wide) - 7, 0.25, 0.55 + 0.4 * np.maximum(up, 0.0))
    return _loft(grid, np.broadcast_to(v[:, None], grid.shape[:2]), number)


def pin_tip(pin: Pin, surface: Surface) -> FloatArray:
    """Top of a pin, mouth frame, ``(3,)`` mm."""
    foot = np.array([pin.x_mm, pin.y_mm, _ground(surface, pin.x_mm, pin.y_mm)])
    return np.asarray(foot + pin.height_mm * _leaning(pin.lean_deg, pin.lean_to_deg))


def cap_frame(cap: Cap) -> FloatArray:
    """Rows: two directions in the plane of the cap's edge, and the one out of its top."""
    up = _leaning(cap.tilt_deg, cap.tilt_to_deg)
    first = np.cross(up, [0.0, 1.0, 0.0])
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(up, first), up])


def cap_height(share: FloatArray, flattening: float) -> FloatArray:
    """Height of a cap's top over its edge circle at ``share`` of the radius, in radii."""
    dome = max(1.0 - flattening, 0.0) * np.sqrt(np.clip(1.0 - share**2, 0.0, None))
    return np.asarray(dome - max(flattening - 1.0, 0.0) * (1.0 - share**2.5))


def cap_edge(cap: Cap, turn: FloatArray) -> FloatArray:
    """Points of the cap's edge, mouth frame, ``(len(turn), 3)`` mm."""
    return _on_cap(cap, np.ones_like(turn), turn, np.zeros_like(turn))


def widest_mm(cap: Cap) -> float:
    """Greatest distance between two points of the edge."""
    edge = cap_edge(cap, np.linspace(0.0, 2.0 * np.pi, 361)[:-1])
    return float(np.linalg.norm(edge[:, None] - edge[None], axis=-1).max())


def _on_cap(cap: Cap, share: FloatArray, turn: FloatArray, height: FloatArray) -> FloatArray:
    """Points at ``share`` of the radius and ``height`` (in radii) over the edge's plane."""
    phase = cap.foot_x_mm + 1.7 * cap.foot_y_mm
    lobes = sum(
        np.sin(n * turn + (1.0 + 0.37 * n) * phase) / n**0.5 for n in (2.0, 3.0, 5.0, 8.0, 13.0)
    )
    lobes = 0.45 * lobes
    lift = 0.7 * np.sin(4.0 * turn + 1.9 * phase) + 0.3 * np.sin(7.0 * turn - phase)
    out = share * (1.0 + cap.wave * lobes * share**2)
    up = height + 0.9 * cap.wave * lift * share**3
    local = np.stack([out * np.cos(turn), out * np.sin(turn), up], axis=-1)
    middle = np.array([cap.x_mm, cap.y_mm, cap.z_mm])
    return np.asarray(middle + cap.diameter_mm / 2.0 * local @ cap_frame(cap))


def _capped(cap: Cap, surface: Surface, number: int) -> MeshData:
    """Stalk, underside and top lofted into one skin."""
    turn = np.linspace(0.0, 2.0 * np.pi, CAP_SPOKES + 1)[None, :]
    under = np.linspace(1.15 * STALK_SHARE, 0.995, _UNDER_ROWS)[:, None]
    top = np.cos(np.linspace(0.0, np.pi / 2.0, _TOP_ROWS))[:, None]
    top = np.maximum(top, 0.004)
    spread = np.ones_like(turn)
    below = cap_height(under, cap.flattening) - 0.17 * (1.0 - under**2) - 0.012
    low = _on_cap(cap, under * spread, turn * np.ones_like(under), below * spread)
    high = _on_cap(cap, top * spread, turn * np.ones_like(top),
                   cap_height(top, cap.flattening) * spread)  # fmt: skip
    foot = np.array([cap.foot_x_mm, cap.foot_y_mm,
                     _ground(surface, cap.foot_x_mm, cap.foot_y_mm) + SUNK_MM])  # fmt: skip
    neck = low[0].mean(axis=0)
    t = np.linspace(0.0, 1.0, _STALK_ROWS)[:, None]
    straight = foot + t * (neck - foot)
    straight[:, :2] += 0.25 * np.sin(np.pi * t) * (foot - neck)[None, :2]  # it bends upwards
    thick = cap.diameter_mm / 2.0 * STALK_SHARE * (1.25 - 0.35 * np.sin(np.pi * t / 2.0))
    ring = np.stack([np.cos(turn[0]), np.sin(turn[0]), 0.0 * turn[0]], axis=-1)
    stalk = straight[:, None] + thick[..., None] * ring[None]
    grid = np.concatenate([stalk, low, high])
    v = np.concatenate([np.full(_STALK_ROWS, 0.08), np.linspace(0.2, 0.46, _UNDER_ROWS),
                        _UNDER + 0.02 + 0.46 * (1.0 - top[:, 0])])  # fmt: skip
    return _loft(grid, np.broadcast_to(v[:, None], grid.shape[:2]), number)


def _loft(grid: FloatArray, v: FloatArray, number: int) -> MeshData:
    """A mesh of rings from foot to top with normals that point outwards."""
    rows, cols = grid.shape[:2]
    normals = grid_normals(grid)
    seam = normals[:, 0] + normals[:, -1]
    normals[:, 0] = normals[:, -1] = seam / np.maximum(
        np.linalg.norm(seam, axis=-1, keepdims=True), 1e-9
    )
    faces = grid_faces(rows, cols)
    # rings run round the same way: on the first one outwards is away from its own middle
    away = grid[1] - grid[1].mean(axis=0)
    if (normals[1] * away).sum() < 0:
        normals = -normals
    corner = grid.reshape(-1, 3)[faces]
    flat = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    if (flat * normals.reshape(-1, 3)[faces].mean(axis=1)).sum() < 0:
        faces = faces[:, ::-1].copy()
    u = (number % VARIANTS + np.linspace(0.02, 0.98, cols)) / VARIANTS
    uv = np.stack([np.broadcast_to(u[None], (rows, cols)), 1.0 - v], axis=-1)
    return MeshData(grid.reshape(-1, 3), normals.reshape(-1, 3), uv.reshape(-1, 2), faces)


def _leaning(lean_deg: float, to_deg: float) -> FloatArray:
    """Unit vector that leans off straight up (-z)."""
    lean, to = np.deg2rad(lean_deg), np.deg2rad(to_deg)
    return np.array([np.sin(lean) * np.cos(to), np.sin(lean) * np.sin(to), -np.cos(lean)])


def _ground(surface: Surface, x_mm: float, y_mm: float) -> float:
    return float(surface.at(surface.z_mm, np.array([x_mm]), np.array([y_mm]))[0])


def colours(fruit: Fruit, *, seed: int, young: bool) -> Float32Array:
    """Atlas of the bodies' colours, ``(rows, cols, 3)`` linear; row 0 is v = 0.

    Rows run from the middle of the cap's top over its edge and underside to the stalk.
    """
    rng = np.random.default_rng([seed, 61 + young])
    rows, cols = _TILE
    cap, stalk = np.array(fruit.cap_lab), np.array(fruit.stalk_lab)
    v = 1.0 - (np.arange(rows) + 0.5) / rows
    top = np.clip((v - _UNDER) / 0.5, 0.0, 1.0)[:, None, None]
    tiles = []
    for _ in range(VARIANTS):
        pale = float(rng.uniform(0.2, 0.85)) if young else float(rng.uniform(0.0, 0.2))
        shade = rng.normal(0.0, [3.5, 0.8, 1.8])
        fibres = np.repeat(rng.standard_normal((1, cols, 1)), rows, axis=0)
        mottle = rng.standard_normal((rows, cols, 1))
        mine = cap + shade + pale * (stalk - cap)
        on_top = mine + np.array([1.0, 0.0, 0.0]) * (1.1 * fibres + 1.4 * mottle - 7.0 * top**2)
        on_top = on_top + np.array([4.0, 0.0, 1.0]) * (top < 0.08)
        gills = stalk + np.array([-6.0, 1.0, 4.0]) * (1.0 + 0.8 * np.sign(fibres))
        plain = stalk + np.array([1.0, 0.2, 0.4]) * 1.5 * mottle
        low = np.where(v[:, None, None] < 0.15, plain, gills)
        lab = np.where(v[:, None, None] >= _UNDER, on_top, low)
        lab[..., 0] = np.clip(lab[..., 0], 8.0, 95.0)
        tiles.append(lab)
    return lab_to_linear(np.concatenate(tiles, axis=1))
