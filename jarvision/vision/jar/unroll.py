"""Jar -> RawWall: the inner wall of the jar, seen through the glass, laid flat in mm."""

from __future__ import annotations

from typing import cast

import cv2
import numpy as np

from jarvision.records import (
    HALF_VIEW_DEG,
    BoolArray,
    CardFit,
    ColourFit,
    Float32Array,
    FloatArray,
    JarFit,
    Photo,
    RawWall,
    SampleArray,
)
from jarvision.settings.tissue import MaskSettings
from jarvision.vision.colour.apply import correct
from jarvision.vision.jar.glass import GlassCylinder, Viewpoint

CELL_MM = 0.275
"""Side of a wall cell: about one and a half working pixels, a tenth of a kernel's width. The
network learned at 0.25 mm, with walls stretched by a tenth either way; it errs no more here, in a
sixth less time."""

_NODES_ACROSS, _NODES_UP = 41, 25
"""Exact sight lines; bilinear between them is off by less than 0.02 mm on a 60 mm jar."""


def glass_of(jar: JarFit, viewpoint: Viewpoint) -> GlassCylinder:
    """The refracting cylinder of a jar as the photo's camera sees it."""
    return GlassCylinder(
        eye_mm=viewpoint.eye_mm,
        axis_x_mm=jar.axis_x_mm,
        axis_z_mm=jar.axis_z_mm,
        outer_radius_mm=jar.radius_mm,
        glass_mm=jar.glass_mm,
    )


def unroll(
    photo: Photo, *, card: CardFit, colour: ColourFit, jar: JarFit, below_mm: float = 0.0
) -> RawWall:
    """Unroll the wall within 60 degrees, from the floor to the top of the straight wall.

    ``below_mm`` adds what lies under the expected floor, at negative heights.
    """
    viewpoint = Viewpoint.of_card(card, jar.card_to_jar)
    glass = glass_of(jar, viewpoint)
    columns = max(3, round(glass.inner_radius_mm * np.deg2rad(2 * HALF_VIEW_DEG) / CELL_MM))
    bottom_y = jar.floor_y_mm + below_mm
    tall_mm = bottom_y - jar.top_y_mm
    rows = max(3, round(tall_mm / CELL_MM))
    angles = _centres(-HALF_VIEW_DEG, HALF_VIEW_DEG, columns)
    ys = _centres(jar.top_y_mm, bottom_y, rows)
    pixels = _sight_map(glass, viewpoint=viewpoint, angles_deg=angles, ys_mm=ys)
    # x and y in one map is right for OpenCV, and unknown to its stubs
    seen = cv2.remap(photo.samples, pixels, None, cv2.INTER_LINEAR)  # type: ignore[call-overload]
    return RawWall(
        linear=correct(cast(SampleArray, seen), colour),
        angles_deg=angles,
        heights_mm=jar.floor_y_mm - ys,
        radius_mm=glass.inner_radius_mm,
        pixels=pixels,
        groove_mm=None if jar.groove_y_mm is None else jar.floor_y_mm - jar.groove_y_mm,
        foot_sd_mm=jar.foot_sd_mm,
    )


def _centres(low: float, high: float, count: int) -> FloatArray:
    edges = np.linspace(low, high, count + 1)
    return (edges[:-1] + edges[1:]) / 2


def _sight_map(
    glass: GlassCylinder, *, viewpoint: Viewpoint, angles_deg: FloatArray, ys_mm: FloatArray
) -> Float32Array:
    """Photo pixel ``(x, y)`` of every wall cell, shape ``(rows, cols, 2)``."""
    node_angles = np.linspace(angles_deg[0], angles_deg[-1], _NODES_ACROSS)
    node_ys = np.linspace(ys_mm[0], ys_mm[-1], _NODES_UP)
    grid_angles, grid_ys = np.meshgrid(np.deg2rad(node_angles), node_ys)
    nodes = viewpoint.project(glass.aim_at(grid_angles, grid_ys)).astype(np.float32)
    across = _between(_NODES_ACROSS, angles_deg.size)
    up = _between(_NODES_UP, ys_mm.size)
    return (up @ (across @ nodes).reshape(_NODES_UP, -1)).reshape(ys_mm.size, -1, 2)


def _between(nodes: int, cells: int) -> Float32Array:
    """Weights ``(cells, nodes)`` that interpolate linearly between evenly spaced nodes."""
    place = np.linspace(0, nodes - 1, cells)
    weights = 1.0 - np.abs(place[:, None] - np.arange(nodes))
    return np.maximum(weights, 0.0).astype(np.float32)


def burnt_out(wall: RawWall, photo: Photo, *, settings: MaskSettings) -> BoolArray:
    """Where all three channels of the camera are at their end, ``(rows, cols)``."""
    # x and y in one map, as above
    seen = cv2.remap(photo.rgb, wall.pixels, None, cv2.INTER_NEAREST)  # type: ignore[call-overload]
    highest = (255.0,) * 3
    return np.asarray(cv2.inRange(seen, (float(settings.clipped_level),) * 3, highest)) > 0
