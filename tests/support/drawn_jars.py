"""Photos of a jar before the card, by following every sight line: no renderer, exact geometry.

Each photo pixel's ray meets the outer glass, is bent to the inner wall and takes the paint that
stands there; else it meets the page, the table or the room. No lamp, no mirror image: only where
things are is true.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from jarvision.base.colourspace import byte_to_linear_table, srgb_encode
from jarvision.records import Photo
from jarvision.vision.card import marks as printed
from jarvision.vision.card.draw import card_marks
from jarvision.vision.card.layout import load_layout
from jarvision.vision.jar.glass import GlassCylinder

LAYOUT = load_layout()
CARD_PX_PER_MM = 8.0
PAGE_MM = (210.0, 297.0)
PAGE_FOOT_MM = (PAGE_MM[1] + LAYOUT.height_mm) / 2  # card y of the page's lower edge
FLOOR_MM = 6.0  # glass under the contents
SHAPE = (2016, 1512)
FIELD_LIGHT = np.array([0.02, 0.03, 0.2])  # card's field seen through the empty glass, linear
PAPER, TABLE, ROOM = (0.8, 0.8, 0.8), (0.25, 0.17, 0.1), (0.35, 0.36, 0.34)
GREY = (0.5, 0.5, 0.5)
NECK_MM, LID_MM = 12.0, 16.0  # heights of the neck above the shoulder and of the lid above both


@dataclass(frozen=True)
class DrawnJar:
    """The jar and the phone. ``axis_z_mm`` is from the page's foot, ``lean_deg`` the page's.

    ``trim_mm`` is cut off the page below, and it hangs ``lift_mm`` above the table. A thick foot
    shows bright and dark arcs under the contents; without it the table shows through. The phone is
    ``eye_mm`` above the table.

    ``neck_mm`` is the radius above the straight wall; ``label_deg`` and ``label_mm`` bound a paper
    label by wall angle and height; ``other_x_mm`` is the axis of a second jar, of the same kind.
    """

    axis_x_mm: float = 95.0
    axis_z_mm: float = -70.0
    outer_radius_mm: float = 40.0
    glass_mm: float = 3.0
    wall_mm: float = 120.0
    fill_mm: float = 85.0
    lean_deg: float = 1.5
    distance_mm: float = 430.0
    focal_px: float = 1500.0
    aside_mm: float = 0.0
    present: bool = True
    neck_mm: float | None = None
    lid_rgb: tuple[float, float, float] | None = None
    label_deg: tuple[float, float] | None = None
    label_mm: tuple[float, float] = (30.0, 55.0)
    other_x_mm: float | None = None
    trim_mm: float = 0.0
    lift_mm: float = 0.0
    thick_foot: bool = False
    eye_mm: float = 130.0


@dataclass(frozen=True)
class DrawnPhoto:
    """A photo, and what is true of it: the checks painted on the wall.

    ``table_y_mm`` and the axis are in the upright frame whose origin is the card's.
    """

    photo: Photo
    jar: DrawnJar
    table_y_mm: float
    axis_x_mm: float
    axis_z_mm: float
    eye_mm: np.ndarray

    def places(self, pixels: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Wall angle (deg) and height (mm) that photo pixels ``(..., 2)`` show, exactly."""
        rays = _rays(pixels[..., 0].astype(float), pixels[..., 1].astype(float), self.jar)
        outer, _ = _outer_glass(self._glass, rays)
        angles, ys = self._glass.see_through(outer)
        return np.rad2deg(angles), self.table_y_mm - FLOOR_MM - ys

    @property
    def _glass(self) -> GlassCylinder:
        jar = self.jar
        return GlassCylinder(
            self.eye_mm, jar.axis_x_mm, self.axis_z_mm, jar.outer_radius_mm, jar.glass_mm
        )


def white_check(angles_deg: np.ndarray, heights_mm: np.ndarray) -> np.ndarray:
    """True where the wall is painted white: checks of 15 degrees and 10 mm."""
    return (np.floor(angles_deg / 15.0) + np.floor(heights_mm / 10.0)) % 2 == 0


@cache
def _card() -> np.ndarray:
    area_mm = np.array([LAYOUT.width_mm, LAYOUT.height_mm])
    rgb = printed.paint(card_marks(LAYOUT), area_mm=area_mm, dpi=CARD_PX_PER_MM * 25.4)
    linear = byte_to_linear_table()[rgb].astype(np.float32)
    return np.asarray(cv2.GaussianBlur(linear, (0, 0), 0.8))


def draw(jar: DrawnJar, *, seed: int = 0) -> DrawnPhoto:
    """Draw the photo."""
    lean = np.deg2rad(jar.lean_deg)
    # Upright frame to card frame: the page's top leans away from the phone, about its origin.
    tilt = np.array(
        [[1, 0, 0], [0, np.cos(lean), -np.sin(lean)], [0, np.sin(lean), np.cos(lean)]]
    )  # X_card = tilt @ X_upright
    foot = tilt.T @ np.array([95.0, PAGE_FOOT_MM - jar.trim_mm, 0.0])
    table_y, axis_z = float(foot[1]) + jar.lift_mm, float(foot[2]) + jar.axis_z_mm
    eye = np.array([95.0 + jar.aside_mm, table_y - jar.eye_mm, axis_z - jar.distance_mm])
    rows, cols = SHAPE
    x, y = np.meshgrid(np.arange(cols, dtype=float), np.arange(rows, dtype=float))
    rays = _rays(x, y, jar)

    linear = _behind(eye, rays, tilt=tilt, table_y=table_y, page_foot=PAGE_FOOT_MM - jar.trim_mm)
    if jar.present:
        for x in (jar.other_x_mm, jar.axis_x_mm):
            if x is not None:
                glass = GlassCylinder(eye, x, axis_z, jar.outer_radius_mm, jar.glass_mm)
                _paint_jar(linear, glass, rays, jar=jar, table_y=table_y, seed=seed)
                _paint_top(linear, glass, rays, jar=jar, table_y=table_y)
    linear = cv2.GaussianBlur(linear * 0.8, (0, 0), 0.7)
    noise = np.random.default_rng([seed, 1]).normal(0.0, 1.2, linear.shape)
    rgb = np.clip(np.rint(255.0 * srgb_encode(linear) + noise), 0, 255).astype(np.uint8)
    photo = Photo(
        path=Path("drawn.jpg"), name="drawn.jpg", rgb=rgb, scale=1.0,
        focal_px=jar.focal_px, focal_known=True, taken_at=datetime(2026, 3, 1, 12),
        time_source="exif",
    )  # fmt: skip
    return DrawnPhoto(photo, jar, table_y, jar.axis_x_mm, axis_z, eye)


def _rays(x: np.ndarray, y: np.ndarray, jar: DrawnJar) -> np.ndarray:
    """Sight lines ``(..., 3)`` of photo pixels, upright frame."""
    rows, cols = SHAPE
    across, down = (x - (cols - 1) / 2) / jar.focal_px, (y - (rows - 1) / 2) / jar.focal_px
    return np.stack([across, down, np.ones_like(across)], axis=-1)


def _outer_glass(glass: GlassCylinder, rays: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where sight lines meet the outer glass, and how squarely: 1 head on, 0 or less beside it."""
    start, way = glass.eye_mm[[0, 2]] - [glass.axis_x_mm, glass.axis_z_mm], rays[..., [0, 2]]
    a, b = np.sum(way * way, axis=-1), way @ start
    inside = b * b - a * (start @ start - glass.outer_radius_mm**2)
    outer = glass.eye_mm + ((-b - np.sqrt(np.maximum(inside, 0.0))) / a)[..., None] * rays
    return outer, inside / (a * glass.outer_radius_mm**2)


def _columns(glass: GlassCylinder, rays: np.ndarray) -> slice:
    """The columns of the photo that show the cylinder: it stands upright, so all rows agree."""
    _, squarely = _outer_glass(glass, rays[:1])
    there = np.flatnonzero(squarely[0] > 0.0)
    return slice(there[0], there[-1] + 1) if there.size else slice(0)


def _behind(
    eye: np.ndarray, rays: np.ndarray, *, tilt: np.ndarray, table_y: float, page_foot: float
) -> np.ndarray:
    """Room, table and page, linear light ``(rows, cols, 3)``; the table ends under the page."""
    start, way = tilt @ eye, rays @ tilt.T
    hit = start + (-start[2] / way[..., 2])[..., None] * way
    margin_x, margin_y = ((p - a) / 2 for p, a in zip(PAGE_MM, (190.0, 260.0), strict=True))
    page = (np.abs(hit[..., 0] - 95.0) < 95.0 + margin_x) & (hit[..., 1] > -margin_y)
    page &= hit[..., 1] < page_foot
    end = tilt.T @ np.array([95.0, page_foot, 0.0])
    deep = (table_y - eye[1]) / np.where(rays[..., 1] > 0, rays[..., 1], np.nan)
    table = (eye[2] + deep < end[2]) & ~page
    linear = np.empty(rays.shape, dtype=np.float32)
    linear[:] = ROOM
    linear[table] = TABLE
    card = cv2.remap(
        _card(),
        (hit[..., 0] * CARD_PX_PER_MM - 0.5).astype(np.float32),
        (hit[..., 1] * CARD_PX_PER_MM - 0.5).astype(np.float32),
        cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=PAPER,
    )  # fmt: skip
    linear[page] = card[page]
    return linear


def _paint_jar(
    linear: np.ndarray, glass: GlassCylinder, rays: np.ndarray, *, jar: DrawnJar,
    table_y: float, seed: int,
) -> None:  # fmt: skip
    columns = _columns(glass, rays)
    linear = linear[:, columns]  # a view: what is painted on it stays
    outer, squarely = _outer_glass(glass, rays[:, columns])
    top_y = table_y - FLOOR_MM - jar.wall_mm
    body = (squarely > 0.0) & (outer[..., 1] > top_y) & (outer[..., 1] < table_y)
    angles, ys = glass.see_through(outer[body])
    heights = table_y - FLOOR_MM - ys
    rng = np.random.default_rng([seed, 2])
    kernels = cv2.resize(rng.uniform(0.7, 1.3, (60, 120)).astype(np.float32), (1200, 600))
    at = (
        np.clip(heights * 5.0, 0, 599).astype(int),
        np.clip((np.rad2deg(angles) + 120.0) * 5.0, 0, 1199).astype(int),
    )
    white = white_check(np.rad2deg(angles), heights)
    grain = np.where(white[:, None], np.array([0.75, 0.73, 0.68]), np.array([0.16, 0.09, 0.04]))
    colour = grain * kernels[at][:, None]
    if jar.label_deg is not None:
        low, high = np.deg2rad(jar.label_deg)
        colour[(angles > low) & (angles < high) & _between(heights, jar.label_mm)] = PAPER
    empty = (heights > jar.fill_mm) | (heights < 0.0)
    colour[empty] = 0.7 * linear[body][empty]
    if jar.thick_foot:
        for low, high, light in ((-1.0, 0.0, 0.05), (-3.0, -1.8, 0.6), (-FLOOR_MM, -4.6, 0.04)):
            colour[_between(heights, (low, high))] = light
    # Glass turns dark and bright where it is met at a grazing angle.
    graze = np.clip(1.0 - squarely[body], 0.0, 1.0)
    linear[body] = colour * (1.0 - 0.75 * graze[:, None] ** 6)


def _between(values: np.ndarray, bounds: tuple[float, float]) -> np.ndarray:
    return (values > bounds[0]) & (values < bounds[1])


def _paint_top(
    linear: np.ndarray, glass: GlassCylinder, rays: np.ndarray, *, jar: DrawnJar, table_y: float
) -> None:
    """The neck as a narrower cylinder of empty glass, the lid as a wider one of paint."""
    low = table_y - FLOOR_MM - jar.wall_mm
    neck = jar.neck_mm or jar.outer_radius_mm
    for radius, top, paint in (
        (neck, low - NECK_MM * (jar.neck_mm is not None), None),
        (neck + 1.5, low - NECK_MM * (jar.neck_mm is not None) - LID_MM, jar.lid_rgb),
    ):
        cylinder = replace(glass, outer_radius_mm=radius)
        columns = _columns(cylinder, rays)
        seen = linear[:, columns]
        outer, squarely = _outer_glass(cylinder, rays[:, columns])
        part = (squarely > 0.0) & _between(outer[..., 1], (top, low))
        graze = np.clip(1.0 - squarely[part], 0.0, 1.0)[:, None]
        if paint is not None:
            seen[part] = np.array(paint) * (1.0 - 0.6 * graze)
        elif jar.neck_mm is not None:
            seen[part] *= 0.85 * (1.0 - 0.75 * graze**6)
        low = top
