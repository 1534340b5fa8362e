"""The jar's mouth, the surface in it, the printed sheet around it and the hood, as meshes.

All in the mouth frame.
"""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import Float32Array, FloatArray
from tests.scenes.meshes import MeshData, grid_mesh, merge, resample, rounded

from .droplets import PARKED_MM
from .spec import Hood, Mouth, Ring
from .surface import Surface

GAP_MM = 0.1  # between contents and glass
SEGMENTS = 256
SEEN_MM = 85.0  # so much of the glass is there
FILM_MM = 0.15
STEP_MM = 0.3  # of the surface's mesh


def _turned(profile: FloatArray) -> MeshData:
    """Surface of revolution of ``(k, 2)`` radius and z; outwards lies left of the way."""
    turn = np.linspace(0.0, 2.0 * np.pi, SEGMENTS + 1)[None, :]
    radius, z = profile[:, :1], profile[:, 1:]
    grid = np.stack([radius * np.cos(turn), radius * np.sin(turn),
                     np.broadcast_to(z, (len(profile), SEGMENTS + 1))], axis=-1)  # fmt: skip
    along = np.gradient(profile, axis=0)
    slope = np.stack([-along[:, 1], along[:, 0]], axis=1)
    slope /= np.maximum(np.linalg.norm(slope, axis=1, keepdims=True), 1e-12)
    upright = np.broadcast_to(slope[:, 1:], (len(profile), SEGMENTS + 1))
    outward = np.stack([slope[:, :1] * np.cos(turn), slope[:, :1] * np.sin(turn), upright], axis=-1)
    uv = np.zeros((len(profile), SEGMENTS + 1, 2))
    mesh = grid_mesh(grid, uv, outward=outward)
    return MeshData(mesh.points, outward.reshape(-1, 3).copy(), mesh.uv, mesh.faces)


def glass_mesh(mouth: Mouth) -> MeshData:
    """The upper part of the glass as a closed shell: up the outside, over the rim, down inside."""
    depth = np.linspace(2.0, SEEN_MM, 40)
    inner = np.stack([mouth.radius_at(depth), depth], axis=1)
    outer = inner + np.array([mouth.glass_mm, 0.0])
    top = [[mouth.radius_mm + mouth.glass_mm, 0.0], [mouth.radius_mm, 0.0]]
    line = np.concatenate([outer[::-1], top, inner, outer[-1:]])
    radii = np.zeros(len(line))
    radii[len(outer) : len(outer) + 2] = 0.48 * mouth.glass_mm
    line = rounded(line, radii, steps=6)
    return _turned(resample(line, 2.0))


def ground_mesh(surface: Surface, mouth: Mouth) -> MeshData:
    """The surface as a height field; beyond the glass it turns down along it."""
    n = round(surface.side_mm / STEP_MM) + 1
    edge = surface.side_mm / 2.0 - surface.cell_mm
    axis = np.linspace(-edge, edge, n)
    x, y = np.meshgrid(axis, axis)
    z = surface.at(surface.z_mm, x, y)
    far = np.hypot(x, y)
    limit = mouth.radius_at(z) - GAP_MM
    over = np.maximum(far - limit, 0.0)
    pull = np.where(over > 0.0, limit / np.maximum(far, 1e-9), 1.0)
    grid = np.stack([x * pull, y * pull, z + np.minimum(15.0 * over, 70.0)], axis=-1)
    half = surface.side_mm / 2.0
    uv = np.stack([(grid[..., 0] + half) / (2 * half), (grid[..., 1] + half) / (2 * half)], axis=-1)
    return grid_mesh(grid, uv, outward=np.broadcast_to([0.0, 0.0, -1.0], grid.shape))


def sheet_mesh(ring: Ring, *, width_mm: float, height_mm: float, hole_mm: float) -> MeshData:
    """The printed sheet with its hole; ``uv`` are shares of its width and height."""
    turn = np.linspace(-np.pi, np.pi, 8 * 32 + 1)[None, :]
    cos, sin = np.cos(turn), np.sin(turn)
    half = np.array([width_mm, height_mm]) / 2.0
    reach = np.minimum(half[0] / np.maximum(np.abs(cos), 1e-9),
                       half[1] / np.maximum(np.abs(sin), 1e-9))  # fmt: skip
    share = np.linspace(0.0, 1.0, 24)[:, None]
    far = hole_mm / 2.0 + share * (reach - hole_mm / 2.0)
    flat = np.stack([far * cos, far * sin], axis=-1)
    uv = flat / (2.0 * half) + 0.5
    sag = ring.sag_mm * (far / float(np.hypot(*half))) ** 2
    local = np.concatenate([flat, sag[..., None]], axis=-1)
    grid = local + np.array([ring.x_mm, ring.y_mm, ring.below_mm])
    return grid_mesh(grid, uv, outward=np.broadcast_to([0.0, 0.0, -1.0], grid.shape))


def _film_height(hood: Hood, mouth: Mouth, ring: Ring, *, seed: int) -> FloatArray:
    """Grid ``(rows, cols, 3)`` of the film: a crumpled dome, over the rim, out over the sheet."""
    rng = np.random.default_rng([seed, 71])
    outer = mouth.outer_mm / 2.0
    far = np.concatenate([np.linspace(0.3, outer, 70), np.linspace(outer + 0.6, outer + 30.0, 36)])
    turn = np.linspace(0.0, 2.0 * np.pi, 321)
    x, y = far[:, None] * np.cos(turn), far[:, None] * np.sin(turn)
    creases = np.zeros_like(x, dtype=np.float32)
    for cells, part in ((5, 1.0), (9, 0.6), (17, 0.3)):
        field = cv2.resize(rng.standard_normal((cells, cells)).astype(np.float32), (256, 256),
                           interpolation=cv2.INTER_CUBIC)  # fmt: skip
        place = [np.asarray((v / (outer + 31.0) + 1.0) * 127.5, np.float32) for v in (x, y)]
        creases += part * np.abs(cv2.remap(field, place[0], place[1], cv2.INTER_LINEAR))
    inside = np.clip(1.0 - (far / outer) ** 2, 0.0, 1.0)[:, None]
    dome = -0.8 - hood.lift_mm * np.sqrt(inside) - hood.crumple_mm * creases * np.sqrt(inside)
    lies = ring.below_mm - 1.2 - 0.8 * hood.crumple_mm * creases
    over = np.clip((far - outer) / 5.0, 0.0, 1.0)[:, None]
    z = np.where(far[:, None] <= outer, dome, (1.0 - over) * -0.8 + over * lies)
    z = z + (0.0 if hood.on else PARKED_MM)
    z[:, -1] = z[:, 0]
    return np.stack([x, y, z], axis=-1)


def hood_mesh(hood: Hood, mouth: Mouth, ring: Ring, *, seed: int) -> MeshData:
    """The clear film: two sides, ``FILM_MM`` apart."""
    grid = _film_height(hood, mouth, ring, seed=seed)
    uv = np.zeros((*grid.shape[:2], 2))
    up = np.broadcast_to([0.0, 0.0, -1.0], grid.shape)
    return merge([
        grid_mesh(grid - np.array([0.0, 0.0, FILM_MM]), uv, outward=up),
        grid_mesh(grid, uv, outward=-up),
    ])  # fmt: skip


def dew_mesh(hood: Hood, mouth: Mouth, ring: Ring, *, seed: int) -> MeshData:
    """Mist on the film's lower side; ``uv`` over its square."""
    grid = _film_height(hood, mouth, ring, seed=seed) + np.array([0.0, 0.0, 0.25])
    reach = mouth.outer_mm / 2.0 + 30.0
    uv = grid[..., :2] / (2.0 * reach) + 0.5
    return grid_mesh(grid, uv, outward=np.broadcast_to([0.0, 0.0, 1.0], grid.shape))


def dew_picture(hood: Hood, *, seed: int, pixels: int = 512) -> Float32Array:
    """Opacity of the mist: clouds of fine dots, clear where drops ran together."""
    rng = np.random.default_rng([seed, 73])
    cloud = cv2.resize(rng.standard_normal((7, 7)).astype(np.float32), (pixels, pixels),
                       interpolation=cv2.INTER_CUBIC)  # fmt: skip
    dots = cv2.GaussianBlur(rng.standard_normal((pixels, pixels)).astype(np.float32), (0, 0), 1.1)
    dots = dots / dots.std()
    mist = hood.dew * np.clip(0.65 + 0.3 * cloud, 0.0, 1.2) * np.clip(0.7 + 0.6 * dots, 0.05, 1.6)
    return np.clip(mist, 0.0, 0.95).astype(np.float32)[..., None]
