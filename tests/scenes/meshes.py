"""Triangle meshes of the scene as plain numpy arrays (world frame, mm)."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

SEGMENTS = 384  # around the jar: the chord stays within 0.002 mm of a 50 mm circle


@dataclass(frozen=True)
class MeshData:
    """``points`` (n, 3), ``normals`` (n, 3), ``uv`` (n, 2) and ``faces`` (m, 3)."""

    points: FloatArray
    normals: FloatArray
    uv: FloatArray
    faces: NDArray[np.uint32]


@dataclass(frozen=True)
class JarFrame:
    """The jar's upright axis in the world, and the direction its wall angles count from.

    ``toward`` is the horizontal unit vector from the axis to the camera (wall angle 0), and
    ``right`` the one at wall angle +90 degrees. ``floor_y`` is the world y of the inner floor.
    """

    axis_x: float
    axis_z: float
    floor_y: float
    toward: FloatArray
    right: FloatArray

    @staticmethod
    def facing(*, axis_x: float, axis_z: float, floor_y: float, camera: FloatArray) -> JarFrame:
        """Frame of a jar whose wall angle 0 faces a camera at ``camera`` (world, mm)."""
        away = np.array([camera[0] - axis_x, 0.0, camera[2] - axis_z])
        toward = away / np.linalg.norm(away)
        right = np.cross(np.array([0.0, 1.0, 0.0]), -toward)
        return JarFrame(axis_x, axis_z, floor_y, toward, right)

    def place(self, radius: FloatArray, angle: FloatArray, height: FloatArray) -> FloatArray:
        """World points of cylinder coordinates (mm, radians, mm above the inner floor)."""
        horizontal = np.cos(angle)[..., None] * self.toward + np.sin(angle)[..., None] * self.right
        points = radius[..., None] * horizontal
        points[..., 0] += self.axis_x
        points[..., 2] += self.axis_z
        points[..., 1] += self.floor_y - height
        return points

    def cylinder(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Wall angle (degrees) and height (mm) of world points, shapes ``points.shape[:-1]``."""
        offset = points - np.array([self.axis_x, 0.0, self.axis_z])
        angle = np.arctan2(offset @ self.right, offset @ self.toward)
        return np.rad2deg(angle), self.floor_y - points[..., 1]


def grid_faces(rows: int, cols: int) -> NDArray[np.uint32]:
    """Two triangles per cell of a grid of ``rows`` x ``cols`` vertices, shape ``(m, 3)``."""
    index = np.arange(rows * cols, dtype=np.uint32).reshape(rows, cols)
    a, b = index[:-1, :-1].ravel(), index[:-1, 1:].ravel()
    c, d = index[1:, :-1].ravel(), index[1:, 1:].ravel()
    return np.concatenate([np.stack([a, c, b], 1), np.stack([b, c, d], 1)])


def grid_normals(grid: FloatArray) -> FloatArray:
    """Unit normals of a ``(rows, cols, 3)`` grid of points by central differences."""
    down = np.gradient(grid, axis=0)
    right = np.gradient(grid, axis=1)
    normal = np.cross(down, right)
    length = np.linalg.norm(normal, axis=-1, keepdims=True)
    return normal / np.maximum(length, 1e-12)


def grid_mesh(grid: FloatArray, uv: FloatArray, *, outward: FloatArray | None = None) -> MeshData:
    """Mesh of a grid of points; normals are turned to agree with ``outward`` where given."""
    rows, cols = grid.shape[:2]
    normals = grid_normals(grid)
    faces = grid_faces(rows, cols)
    if outward is not None and (normals * outward).sum() < 0:
        normals = -normals
    if outward is not None:
        triangle = grid.reshape(-1, 3)[faces]
        geometric = np.cross(triangle[:, 1] - triangle[:, 0], triangle[:, 2] - triangle[:, 0])
        mean = normals.reshape(-1, 3)[faces].mean(axis=1)
        if (geometric * mean).sum() < 0:
            faces = faces[:, ::-1].copy()
    return MeshData(grid.reshape(-1, 3), normals.reshape(-1, 3), uv.reshape(-1, 2), faces)


def revolve(
    frame: JarFrame,
    profile: FloatArray,
    *,
    segments: int = SEGMENTS,
    wave: FloatArray | None = None,
) -> MeshData:
    """Surface of revolution of a polyline ``(k, 2)`` of (radius, height).

    Seen along the polyline the outside lies to its right when radii grow to the right and
    heights upwards (walk up the outer wall). ``wave`` ``(k, segments + 1)`` is added to the
    radius (knurls, moulding). Normals are smooth along the profile.
    """
    angle = np.linspace(-np.pi, np.pi, segments + 1)
    radius = np.repeat(profile[:, :1], segments + 1, axis=1)
    if wave is not None:
        radius = radius + wave
    height = np.repeat(profile[:, 1:], segments + 1, axis=1)
    grid = frame.place(radius, np.broadcast_to(angle, radius.shape), height)
    tangent = np.gradient(profile, axis=0)
    slope = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)
    slope /= np.maximum(np.linalg.norm(slope, axis=1, keepdims=True), 1e-12)
    flat = frame.place(
        np.broadcast_to(slope[:, :1], radius.shape),
        np.broadcast_to(angle, radius.shape),
        np.broadcast_to(slope[:, 1:], radius.shape),
    )
    normals = flat - np.array([frame.axis_x, frame.floor_y, frame.axis_z])
    if wave is not None:
        outward = normals
        normals = grid_normals(grid)
        flip = np.sign((normals * outward).sum(axis=-1, keepdims=True))
        normals = np.where(flip == 0, outward, normals * flip)
    uv = np.stack(
        [
            np.broadcast_to((angle + np.pi) / (2 * np.pi), radius.shape),
            np.repeat(np.linspace(0, 1, len(profile))[:, None], segments + 1, axis=1),
        ],
        axis=-1,
    )
    faces = grid_faces(len(profile), segments + 1)
    triangle = grid.reshape(-1, 3)[faces]
    geometric = np.cross(triangle[:, 1] - triangle[:, 0], triangle[:, 2] - triangle[:, 0])
    mean = normals.reshape(-1, 3)[faces].mean(axis=1)
    if (geometric * mean).sum() < 0:
        faces = faces[:, ::-1].copy()
    return MeshData(grid.reshape(-1, 3), normals.reshape(-1, 3), uv.reshape(-1, 2), faces)


def rounded(polyline: FloatArray, radii: FloatArray, *, steps: int = 10) -> FloatArray:
    """Polyline ``(k, 2)`` with its inner corners rounded by circular arcs of ``radii`` ``(k,)``."""
    out = [polyline[0]]
    for before, corner, after, radius in zip(
        polyline[:-2], polyline[1:-1], polyline[2:], radii[1:-1], strict=True
    ):
        to_before, to_after = before - corner, after - corner
        u = to_before / np.linalg.norm(to_before)
        v = to_after / np.linalg.norm(to_after)
        half = np.arccos(np.clip(u @ v, -1.0, 1.0)) / 2.0
        if radius <= 0 or half > np.pi / 2 - 1e-3:
            out.append(corner)
            continue
        reach = min(
            radius / np.tan(half), 0.49 * np.linalg.norm(to_before), 0.49 * np.linalg.norm(to_after)
        )
        actual = reach * np.tan(half)
        bisector = (u + v) / np.linalg.norm(u + v)
        centre = corner + bisector * actual / np.sin(half)
        start, end = corner + u * reach - centre, corner + v * reach - centre
        angle = np.arctan2(start[0] * end[1] - start[1] * end[0], start @ end)
        for turn in np.linspace(0.0, angle, steps + 1):
            c, s = np.cos(turn), np.sin(turn)
            out.append(
                centre + np.array([c * start[0] - s * start[1], s * start[0] + c * start[1]])
            )
    out.append(polyline[-1])
    return np.array(out)


def resample(polyline: FloatArray, step: float) -> FloatArray:
    """Polyline with extra points so that no piece is longer than ``step``; corners stay."""
    pieces = [polyline[:1]]
    for a, b in itertools.pairwise(polyline):
        count = max(1, int(np.ceil(np.linalg.norm(b - a) / step)))
        pieces.append(a + (b - a) * (np.arange(1, count + 1) / count)[:, None])
    return np.concatenate(pieces)


def rectangle(
    centre: FloatArray, x_axis: FloatArray, y_axis: FloatArray, *, cells: int = 1
) -> MeshData:
    """Flat rectangle ``centre +- x_axis +- y_axis``; its normal is ``y_axis x x_axis``."""
    t = np.linspace(-1.0, 1.0, cells + 1)
    grid = centre + t[None, :, None] * x_axis + t[:, None, None] * y_axis
    uv = np.stack(np.meshgrid((t + 1) / 2, (t + 1) / 2), axis=-1)
    return grid_mesh(grid, uv, outward=np.cross(y_axis, x_axis))


def box(low: FloatArray, high: FloatArray) -> MeshData:
    """Axis-aligned box with flat faces."""
    centre, half = (low + high) / 2, (high - low) / 2
    sides = []
    for axis in range(3):
        for sign in (-1.0, 1.0):
            out = np.zeros(3)
            out[axis] = sign * half[axis]
            a, b = np.zeros(3), np.zeros(3)
            a[(axis + 1) % 3] = half[(axis + 1) % 3]
            b[(axis + 2) % 3] = half[(axis + 2) % 3]
            x_axis, y_axis = (b, a) if sign > 0 else (a, b)
            sides.append(rectangle(centre + out, x_axis, y_axis))
    return merge(sides)


def merge(parts: list[MeshData]) -> MeshData:
    """One mesh of several."""
    offsets = np.cumsum([0] + [len(p.points) for p in parts[:-1]])
    return MeshData(
        np.concatenate([p.points for p in parts]),
        np.concatenate([p.normals for p in parts]),
        np.concatenate([p.uv for p in parts]),
        np.concatenate([p.faces + np.uint32(o) for p, o in zip(parts, offsets, strict=True)]),
    )
