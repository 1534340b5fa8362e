"""Fruit bodies that stand on top of the contents, behind the glass above the fill line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.scenes.glass import HIDDEN_MM, Profiles
from tests.scenes.meshes import JarFrame, MeshData, grid_mesh, merge
from tests.scenes.wall_paint import FruitBody, WallPaint

SPOKES = 28
CLEARANCE_MM = 0.4  # between a cap and the glass
STALK_ROWS = 4  # rows of the outline that belong to the stalk


@dataclass(frozen=True)
class _Outline:
    """Radius and height of a fruit body of height 1 and cap radius 1."""

    radius: np.ndarray
    height: np.ndarray


def _outline() -> _Outline:
    """A stalk that widens downwards, the flat underside of the cap, and its domed top."""
    turn = np.linspace(0.0, np.pi / 2.0, 9)
    radius = np.concatenate([[0.42, 0.36, 0.32, 0.3], [0.95], np.cos(turn)])
    height = np.concatenate([[0.0, 0.25, 0.5, 0.62], [0.6], 0.64 + 0.36 * np.sin(turn)])
    return _Outline(np.maximum(radius, 0.005), height)


def standing(frame: JarFrame, paint: WallPaint, shape: Profiles) -> MeshData:
    """All fruit bodies of a jar as one mesh; its ``v`` is below 0.5 on stalks and above on caps.

    Without any, one is parked out of sight so that every scene has the same parts.
    """
    bodies = paint.standing or (FruitBody(0.0, 0.0, 0.0, 4.0, 8.0),)
    lift = 0.0 if paint.standing else HIDDEN_MM
    return merge([_body(frame, paint, shape, body, lift=lift) for body in bodies])


def _body(
    frame: JarFrame, paint: WallPaint, shape: Profiles, body: FruitBody, *, lift: float
) -> MeshData:
    outline = _outline()
    angle = np.deg2rad(body.angle_deg)
    ground = float(np.interp(body.angle_deg, paint.angles_deg, paint.fill_height_mm))
    top = ground + body.tall_mm
    room = float(shape.inner_radius(np.array(top)))
    from_axis = max(room - CLEARANCE_MM - body.cap_radius_mm - body.back_mm, 0.0)
    around = np.linspace(0.0, 2.0 * np.pi, SPOKES + 1)[None, :]
    wide = (outline.radius * body.cap_radius_mm)[:, None]
    out, aside = from_axis + wide * np.cos(around), wide * np.sin(around)
    height = np.broadcast_to((ground - 1.5 + outline.height * (body.tall_mm + 1.5))[:, None] + lift,
                             out.shape)  # fmt: skip
    grid = frame.place(np.hypot(out, aside), angle + np.arctan2(aside, out), height)
    centre = frame.place(
        np.full(out.shape, from_axis), np.full(out.shape, angle), height - 0.3 * body.tall_mm
    )
    rows = len(outline.radius)
    v = np.where(np.arange(rows) < STALK_ROWS, 0.2, 0.8)[:, None]
    uv = np.stack([np.broadcast_to(around / (2.0 * np.pi), out.shape),
                   np.broadcast_to(v, out.shape)], axis=-1)  # fmt: skip
    return grid_mesh(grid, uv, outward=grid - centre)


def colours(paint: WallPaint) -> np.ndarray:
    """Picture of the fruit bodies' colours, stalk then cap, ``(8, 2, 3)`` linear reflectance."""
    stalk, cap = paint.standing[0].linear if paint.standing else ((0.7,) * 3, (0.4,) * 3)
    picture = np.empty((8, 2, 3), np.float32)
    picture[:4], picture[4:] = stalk, cap
    return picture
