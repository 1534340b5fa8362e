"""The jar's glass, lid, label, fog and droplets, and the heap of contents, as meshes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tests.scenes.meshes import (
    SEGMENTS,
    JarFrame,
    MeshData,
    grid_mesh,
    merge,
    resample,
    revolve,
    rounded,
)
from tests.scenes.spec import Extras, Jar
from tests.scenes.wall_paint import WallPaint

FloatArray = NDArray[np.float64]

RIM_CLEARANCE_MM = 0.05  # the contents never touch the glass: an air gap stays everywhere
HIDDEN_MM = -4000.0  # height at which absent parts are parked, far below the table


@dataclass(frozen=True)
class Profiles:
    """Outer and inner outline of the glass, ``(k, 2)`` of (radius, height above inner floor)."""

    outer: FloatArray
    inner: FloatArray
    shoulder_mm: float  # top of the straight inner wall
    rim_mm: float
    neck_mm: float  # outer radius of the neck

    def inner_radius(self, height: FloatArray) -> FloatArray:
        """Inner radius of the glass at heights above the inner floor, mm."""
        return np.interp(height, self.inner[:, 1], self.inner[:, 0])


def profiles(jar: Jar, *, radius_mm: float, wall_mm: float) -> Profiles:
    """Outline of the glass around a straight inner wall of ``radius_mm`` and height ``wall_mm``."""
    outer_radius = radius_mm + jar.glass_mm
    shoulder = wall_mm
    slope_top = shoulder + jar.shoulder_rise_mm
    height_mm = slope_top + jar.lid_height_mm + 2.0
    neck = outer_radius * min(jar.neck_fraction, 0.985)
    soft = 0.45 * (slope_top - shoulder) + 2.0
    foot = -jar.floor_mm
    outer = rounded(
        np.array(
            [
                [0.0, foot + 1.5],
                [outer_radius - 12.0, foot + 1.5],  # push-up: the jar stands on a ring
                [outer_radius - 8.0, foot],
                [outer_radius, foot],
                [outer_radius, shoulder],
                [neck, slope_top],
                [neck, height_mm],
                [neck - jar.glass_mm / 2.0, height_mm + 0.5],
            ]
        ),
        np.array([0.0, 2.0, 2.0, jar.foot_round_mm, soft, soft, 0.8, 0.0]),
    )
    inner_neck = neck - jar.glass_mm
    inner = rounded(
        np.array(
            [
                [0.0, 0.0],
                [radius_mm, 0.0],
                [radius_mm, shoulder],
                [inner_neck, slope_top],
                [inner_neck, height_mm],
                [neck - jar.glass_mm / 2.0, height_mm + 0.5],
            ]
        ),
        np.array([0.0, max(1.0, jar.foot_round_mm - 1.0), soft, soft, 0.8, 0.0]),
    )
    return Profiles(outer, inner, shoulder, height_mm, neck)


def shell(frame: JarFrame, jar: Jar, shape: Profiles, *, rng: np.random.Generator) -> MeshData:
    """The closed glass shell: up the outer wall, over the rim, down the inner wall.

    Moulded glass is not an exact cylinder: its outer surface waves by ``wobble_mm``, its inner
    wall stays exact so that wall coordinates are.
    """
    outer = resample(shape.outer, 1.2)
    inner = resample(shape.inner, 1.2)[::-1]
    wave = _moulding(len(outer), jar.wobble_mm, rng)
    straight = np.clip((shape.shoulder_mm - outer[:, 1]) / 5.0, 0.0, 1.0)
    straight *= np.clip((outer[:, 1] + jar.floor_mm) / 8.0, 0.0, 1.0)
    wave *= straight[:, None]
    if jar.groove_depth_mm > 0:
        centre = shape.shoulder_mm - jar.groove_below_shoulder_mm
        ring = np.exp(-(((outer[:, 1] - centre) / 1.8) ** 2))
        wave -= jar.groove_depth_mm * ring[:, None] * (outer[:, :1] > shape.neck_mm * 0.9)
    return merge([revolve(frame, outer, wave=wave), revolve(frame, inner)])


def _moulding(rows: int, amount: float, rng: np.random.Generator) -> FloatArray:
    """Slow random waves ``(rows, SEGMENTS + 1)``, periodic around the jar, mm."""
    noise = rng.standard_normal((rows, SEGMENTS))
    noise = ndimage.gaussian_filter(noise, (14.0, 18.0), mode=("nearest", "wrap"))
    noise *= amount / max(float(noise.std()), 1e-9) / 2.0
    return np.concatenate([noise, noise[:, :1]], axis=1)


def lid(frame: JarFrame, jar: Jar, shape: Profiles) -> MeshData:
    """A screw lid with a knurled skirt and rounded edge, open below."""
    radius = shape.neck_mm + 1.4
    top = shape.rim_mm + 1.6
    low = top - jar.lid_height_mm
    outline = rounded(
        np.array(
            [
                [radius - 1.0, low + 0.3],
                [radius - 0.4, low],
                [radius + 0.5, low],
                [radius + 0.5, low + 1.6],
                [radius, low + 2.2],
                [radius, top],
                [radius - 3.0, top + 0.01],
                [radius - 4.0, top - 0.8],
                [0.01, top - 0.8],
            ]
        ),
        np.array([0.0, 0.3, 0.4, 0.4, 0.3, 1.8, 0.5, 0.5, 0.0]),
        steps=5,
    )
    outline = resample(outline, 1.5)
    angle = np.linspace(-np.pi, np.pi, SEGMENTS + 1)
    skirt = np.clip((outline[:, 1] - low - 2.5) / 0.8, 0.0, 1.0)
    skirt *= np.clip((top - 2.4 - outline[:, 1]) / 0.8, 0.0, 1.0)
    skirt *= outline[:, 0] > radius - 0.2
    wave = 0.22 * skirt[:, None] * np.cos(jar.knurls * angle)[None, :]
    return revolve(frame, outline, wave=wave)


def filter_disc(frame: JarFrame, jar: Jar, shape: Profiles) -> MeshData:
    """The breathing filter: a white disc stuck on the lid."""
    top = shape.rim_mm + 1.6 - 0.8
    radius = jar.filter_mm / 2.0
    outline = rounded(
        np.array([[radius, top - 0.2], [radius, top + 1.6], [0.01, top + 1.6]]),
        np.array([0.0, 0.5, 0.0]),
    )
    return revolve(frame, resample(outline, 2.0))


def contents(frame: JarFrame, paint: WallPaint, shape: Profiles) -> MeshData:
    """The surface behind the glass: the wall of the jar less the relief, up to the fill line.

    The mesh's ``uv`` are the paint's own array coordinates (0 to 1 across columns and down the
    rows), so any hit can be looked up in the paint's arrays.
    """
    rows, cols = paint.relief_mm.shape
    angle, relief, fill = _closed_ring(paint)
    t = np.linspace(0.0, 1.0, rows)[:, None]
    height = t * fill[None, :]
    row = (1.0 - height / paint.height_mm) * rows - 0.5
    column = np.broadcast_to(np.arange(cols + 1, dtype=np.float64), row.shape)
    depth = ndimage.map_coordinates(relief, [row, column], order=1, mode="nearest")
    radius = np.minimum(paint.radius_mm, shape.inner_radius(height))
    radius = np.maximum(radius - np.maximum(depth, RIM_CLEARANCE_MM), 0.5)
    grid = frame.place(radius, np.broadcast_to(angle, radius.shape), height + RIM_CLEARANCE_MM)
    u = np.broadcast_to((angle + np.pi) / (2.0 * np.pi), radius.shape)
    uv = np.stack([u, 1.0 - height / paint.height_mm], axis=-1)
    return grid_mesh(grid, uv, outward=grid - frame.place(radius * 0, radius * 0, height))


def heap(frame: JarFrame, paint: WallPaint, shape: Profiles, *, rings: int = 60) -> MeshData:
    """The top of the contents: lumpy, coloured as the contents just below the fill line are."""
    rows, cols = paint.relief_mm.shape
    angle, relief, fill = _closed_ring(paint)
    edge_depth = ndimage.map_coordinates(
        relief,
        [(1.0 - fill / paint.height_mm) * rows - 0.5, np.arange(cols + 1, dtype=np.float64)],
        order=1,
        mode="nearest",
    )
    edge = np.minimum(paint.radius_mm, shape.inner_radius(fill))
    edge = np.maximum(edge - np.maximum(edge_depth, RIM_CLEARANCE_MM), 0.5)
    share = np.linspace(1.0, 0.0, rings)[:, None]
    radius = np.maximum(edge[None, :] * share, 0.02)
    inward = edge[None, :] - radius
    below = np.abs((inward * 0.9 + 4.0) % 24.0 - 12.0) + 1.0  # to and fro under the fill line
    sample = np.clip(fill[None, :] - below, 0.0, None)
    row = (1.0 - sample / paint.height_mm) * rows - 0.5
    column = np.broadcast_to(np.arange(cols + 1, dtype=np.float64), row.shape)
    lumps = ndimage.map_coordinates(relief, [row, column], order=1, mode="nearest")
    fade = np.clip(inward / 4.0, 0.0, 1.0) * np.clip(share * 4.0, 0.0, 1.0)
    mean_fill = float(fill.mean())
    height = fill[None, :] * share + mean_fill * (1.0 - share) - lumps * fade
    grid = frame.place(radius, np.broadcast_to(angle, radius.shape), height + RIM_CLEARANCE_MM)
    u = np.broadcast_to((angle + np.pi) / (2.0 * np.pi), radius.shape)
    uv = np.stack([u, 1.0 - sample / paint.height_mm], axis=-1)
    return grid_mesh(grid, uv, outward=np.broadcast_to([0.0, -1.0, 0.0], grid.shape))


def _closed_ring(paint: WallPaint) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Angles (radians), relief and fill heights with the first column repeated at the end."""
    step = 2.0 * np.pi / paint.relief_mm.shape[1]
    angle = np.deg2rad(paint.angles_deg)
    return (
        np.append(angle, angle[-1] + step),
        np.concatenate([paint.relief_mm, paint.relief_mm[:, :1]], axis=1).astype(np.float64),
        np.append(paint.fill_height_mm, paint.fill_height_mm[0]).astype(np.float64),
    )


def label(frame: JarFrame, jar: Jar, extras: Extras, shape: Profiles, radius: float) -> MeshData:
    """A paper label stuck on the outside; parked out of sight when its size is zero."""
    there = extras.label_width_deg > 0 and extras.label_height_mm > 0
    half = np.deg2rad(max(extras.label_width_deg, 1.0) / 2.0)
    middle = np.deg2rad(extras.label_angle_deg)
    centre = extras.label_centre_fraction * shape.shoulder_mm if there else HIDDEN_MM
    tall = max(extras.label_height_mm, 1.0)
    angle = np.linspace(middle - half, middle + half, 61)[None, :]
    height = np.linspace(centre + tall / 2.0, centre - tall / 2.0, 13)[:, None]
    angle, height = np.broadcast_arrays(angle, height)
    away = radius + jar.glass_mm + 0.2 + jar.wobble_mm
    grid = frame.place(np.full(angle.shape, away), angle, height)
    uv = np.stack(np.meshgrid(np.linspace(0, 1, 61), np.linspace(0, 1, 13)), axis=-1)
    return grid_mesh(grid, uv, outward=grid - frame.place(0 * height, angle, height))


def fog_film(frame: JarFrame, extras: Extras, shape: Profiles) -> MeshData:
    """A thin scattering film just inside the inner wall, from near the floor to the neck.

    Its v coordinate is 1 at the inner floor and 0 at the rim.
    """
    lift = 0.0 if extras.fog_opacity > 0 else HIDDEN_MM
    height = np.linspace(2.0, shape.rim_mm - 3.0, 48)
    outline = np.stack([shape.inner_radius(height) - 0.025, height], axis=1)
    mesh = revolve(frame, outline + np.array([0.0, lift]), segments=192)
    uv = mesh.uv.copy()
    uv[:, 1] = np.repeat(1.0 - height / shape.rim_mm, 193)
    return MeshData(mesh.points, mesh.normals, uv, mesh.faces)


def droplets(
    frame: JarFrame, extras: Extras, shape: Profiles, radius: float, *, rng: np.random.Generator
) -> MeshData:
    """Water drops on the inner wall above and over the contents: closed, flattened lenses."""
    count = max(extras.droplets, 1)
    low = extras.fog_low_fraction * shape.shoulder_mm
    centre_height = rng.uniform(low, shape.shoulder_mm - 2.0, count)
    if extras.droplets == 0:
        centre_height += HIDDEN_MM
    centre_angle = rng.uniform(-np.pi, np.pi, count)
    size = np.clip(rng.lognormal(np.log(0.45), 0.5, count), 0.15, 1.6)
    rings, spokes = 5, 14
    r = np.linspace(1.0, 0.0, rings)
    profile = np.sqrt(np.clip(1.0 - r**2, 0.0, None)) * 0.42
    theta = np.linspace(0.0, 2.0 * np.pi, spokes + 1)
    across = r[:, None] * np.cos(theta)
    up = r[:, None] * np.sin(theta)
    parts = []
    for angle, height, scale in zip(centre_angle, centre_height, size, strict=True):
        wide = angle + across * scale / radius
        tall = height + up * scale * 1.08
        deep = radius - 0.03 - profile[:, None] * scale * np.ones_like(across)
        inner = frame.place(deep, wide, tall)
        back = frame.place(np.full_like(across, radius - 0.03), wide, tall)
        axis = frame.place(np.zeros_like(across), wide, tall)
        uv = np.zeros((*across.shape, 2))
        parts.append(grid_mesh(inner, uv, outward=axis - inner))
        parts.append(grid_mesh(back, uv, outward=back - axis))
    return merge(parts)
