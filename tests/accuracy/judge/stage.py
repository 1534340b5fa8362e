"""The photo: card, table and room behind a glass jar, followed sight line by sight line.

Lengths in mm in the upright frame of the page's foot: x to the right, y down, z away from the
phone. The phone's picture is made of linear light: exposure, cast, tone curve, blur, noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from jarvision.base.colourspace import byte_to_linear_table, srgb_encode
from jarvision.records import BoolArray, ByteArray, Float32Array, FloatArray
from jarvision.vision.card import marks as printed
from jarvision.vision.card.draw import card_marks
from jarvision.vision.card.layout import load_layout
from jarvision.vision.jar.glass import GlassCylinder

from .families import RGB, Surface
from .noise import rough, smooth, step

SHAPE = (2016, 1512)
CARD_PX_PER_MM = 8.0
PAGE_MM = (210.0, 297.0)
FLOOR_MM = 5.0
PAPER: RGB = (0.82, 0.82, 0.80)
PX_PER_MM = 5.0  # of the wall's surface
TURN_DEG = 88.0  # how far round it is painted
TOP_SURFACE = 200


@dataclass(frozen=True)
class Shot:
    """Jar, phone and light of one photo; all of it random but the jar, which stays the same."""

    radius_mm: float
    glass_mm: float
    wall_mm: float
    fill_mm: float
    neck: float
    lid: RGB
    axis_x_mm: float
    axis_z_mm: float
    lean_deg: float
    distance_mm: float
    eye_up_mm: float
    aside_mm: float
    focal_px: float
    lamp: FloatArray
    ambient: float
    cast: RGB
    crosstalk: FloatArray
    exposure: float
    gamma: float
    tilt_light: tuple[float, float]
    window_deg: float
    window: float
    fog: float
    table: RGB
    room: RGB
    noise: float
    seed: int


@dataclass(frozen=True)
class Look:
    """What a photo shows at each pixel.

    ``rgb`` 8-bit; ``classes`` of the contents, 0 off them, TOP_SURFACE on their top.
    """

    rgb: ByteArray
    classes: ByteArray


@cache
def _card() -> Float32Array:
    layout = load_layout()
    area = np.array([layout.width_mm, layout.height_mm])
    rgb = printed.paint(card_marks(layout), area_mm=area, dpi=CARD_PX_PER_MM * 25.4)
    return _blurred(byte_to_linear_table()[rgb].astype(np.float32), 0.9)


def _blurred(picture: Float32Array, sigma: float) -> Float32Array:
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), sigma), np.float32)


def _at(picture: Float32Array, x: Float32Array, y: Float32Array) -> Float32Array:
    """The picture at fractional places; beyond its edges, the edge."""
    where = (x.astype(np.float32), y.astype(np.float32))
    edge = cv2.BORDER_REPLICATE
    return np.asarray(cv2.remap(picture, *where, cv2.INTER_LINEAR, borderMode=edge), np.float32)


def wall_grid(shot: Shot) -> tuple[Float32Array, Float32Array]:
    """Places of the wall's surface: x along the inner wall and height, mm, ``(rows, cols)``."""
    half = (shot.radius_mm - shot.glass_mm) * np.deg2rad(TURN_DEG)
    xs = np.arange(-half, half, 1.0 / PX_PER_MM, dtype=np.float32)
    ys = np.arange(shot.fill_mm + 3.0, -1.0, -1.0 / PX_PER_MM, dtype=np.float32)
    x, y = np.meshgrid(xs, ys)
    return x, y


def fill_line(shot: Shot, x: Float32Array) -> Float32Array:
    """Height of the contents' edge at the glass, mm."""
    return shot.fill_mm + 1.2 * rough(x, np.zeros_like(x), size=18.0, seed=shot.seed + 60)


def photograph(shot: Shot, surface: Surface, classes: ByteArray) -> Look:
    """Make the photo of a jar whose wall has this surface and these classes."""
    rays, eye, tilt, foot = _camera(shot)
    scene = _behind(shot, rays, eye, tilt)
    seen = np.zeros(SHAPE, np.uint8)
    glass = GlassCylinder(eye, shot.axis_x_mm, foot + shot.axis_z_mm, shot.radius_mm, shot.glass_mm)
    _jar(scene, seen, shot, glass, rays, surface, classes)
    _lid(scene, seen, shot, glass, rays)
    return Look(_phone(scene, shot), seen)


def _camera(shot: Shot) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Rays ``(rows, cols, 3)``, eye, page-from-upright rotation, and z of the page's foot."""
    lean = np.deg2rad(shot.lean_deg)
    tilt = np.array([[1, 0, 0], [0, np.cos(lean), -np.sin(lean)], [0, np.sin(lean), np.cos(lean)]])
    layout = load_layout()
    page_foot = tilt.T @ np.array([layout.width_mm / 2, (PAGE_MM[1] + layout.height_mm) / 2, 0.0])
    eye = np.array([
        layout.width_mm / 2 + shot.aside_mm,
        page_foot[1] - shot.eye_up_mm,
        page_foot[2] + shot.axis_z_mm - shot.distance_mm,
    ])  # fmt: skip
    down = np.arctan2(shot.eye_up_mm - 118.0, shot.distance_mm - shot.axis_z_mm)
    rows, cols = SHAPE
    x, y = np.meshgrid(np.arange(cols, dtype=float), np.arange(rows, dtype=float))
    a, b = (x - (cols - 1) / 2) / shot.focal_px, (y - (rows - 1) / 2) / shot.focal_px
    rays = np.stack([a, b * np.cos(down) + np.sin(down), np.cos(down) - b * np.sin(down)], axis=-1)
    return rays, eye, tilt, float(page_foot[2])


def _table_y(shot: Shot, eye: FloatArray) -> float:
    return float(eye[1]) + shot.eye_up_mm


def _behind(shot: Shot, rays: FloatArray, eye: FloatArray, tilt: FloatArray) -> Float32Array:
    """Room, table and page, linear ``(rows, cols, 3)``."""
    layout = load_layout()
    start, way = tilt @ eye, rays @ tilt.T
    hit = start + (-start[2] / way[..., 2])[..., None] * way
    across, down = hit[..., 0], hit[..., 1]
    low = (PAGE_MM[1] + layout.height_mm) / 2
    page = (np.abs(across - layout.width_mm / 2) < PAGE_MM[0] / 2) & (down < low)
    page &= down > (layout.height_mm - PAGE_MM[1]) / 2
    scene = np.empty(rays.shape, np.float32)
    wallpaper = 1.0 + 0.08 * smooth(*_pixels(), size=220.0, seed=shot.seed + 61)
    scene[:] = np.array(shot.room, np.float32) * wallpaper[..., None]
    table = (rays[..., 1] > 0) & ((down >= low) | ~page & (down > low - 40.0))
    grain = 1.0 + 0.15 * rough(*_pixels(), size=60.0, seed=shot.seed + 62)
    scene[table] = (np.array(shot.table, np.float32) * grain[..., None])[table]
    card = _at(_card(), across * CARD_PX_PER_MM - 0.5, down * CARD_PX_PER_MM - 0.5)
    margin = (across < 0.0) | (across > layout.width_mm) | (down < 0.0) | (down > layout.height_mm)
    card[margin] = PAPER
    scene[page] = card[page]
    return scene


@cache
def _pixels() -> tuple[Float32Array, Float32Array]:
    x, y = np.meshgrid(np.arange(SHAPE[1], dtype=np.float32), np.arange(SHAPE[0], dtype=np.float32))
    return x, y


def _meet(glass: GlassCylinder, rays: FloatArray, radius: float) -> tuple[FloatArray, FloatArray]:
    """Where rays meet an upright cylinder, and how squarely: 1 head on, 0 or less beside it."""
    start, way = glass.eye_mm[[0, 2]] - [glass.axis_x_mm, glass.axis_z_mm], rays[..., [0, 2]]
    a, b = np.sum(way * way, axis=-1), way @ start
    inside = b * b - a * (start @ start - radius**2)
    far = (-b - np.sqrt(np.maximum(inside, 0.0))) / a
    return glass.eye_mm + far[..., None] * rays, inside / (a * radius**2)


def _lit(shot: Shot, surface: Surface, x_mm: Float32Array, radius: float) -> Float32Array:
    """The surface under the lamp, linear ``(rows, cols, 3)``, as seen head on."""
    relief = cv2.GaussianBlur(surface.height_mm, (0, 0), 0.8)
    down, across = np.gradient(relief * np.float32(PX_PER_MM))
    turn = x_mm / np.float32(radius)
    sin, cos = np.sin(turn), np.cos(turn)
    nx, ny, nz = sin - across * cos, -down, cos + across * sin
    size = np.sqrt(nx * nx + ny * ny + nz * nz)
    lamp = shot.lamp / np.linalg.norm(shot.lamp)
    facing = (nx * lamp[0] + ny * lamp[1] + nz * lamp[2]) / size
    hollow = np.clip(1.0 + 0.25 * (relief - cv2.GaussianBlur(relief, (0, 0), 9.0)), 0.45, 1.15)
    light = shot.ambient * hollow + (1.0 - shot.ambient) * np.maximum(facing, 0.0) * 1.2
    shine = np.maximum(facing, 0.0) ** 24 * surface.gloss * 0.5
    return np.asarray(surface.rgb * light[..., None] + shine[..., None], np.float32)


def _jar(
    scene: Float32Array, seen: ByteArray, shot: Shot, glass: GlassCylinder, rays: FloatArray,
    surface: Surface, classes: ByteArray,
) -> None:  # fmt: skip
    """Paint the jar's body over the scene, in place."""
    outer, square = _meet(glass, rays, shot.radius_mm)
    table_y = _table_y(shot, glass.eye_mm)
    body = (square > 0.0) & (outer[..., 1] < table_y) & (outer[..., 1] > table_y - shot.wall_mm)
    angles, ys = glass.see_through(outer)
    heights = (table_y - FLOOR_MM - ys).astype(np.float32)
    inner = glass.inner_radius_mm
    x_mm = (angles * inner).astype(np.float32)
    grid_x, _ = wall_grid(shot)
    places = ((x_mm - grid_x[0, 0]) * PX_PER_MM, (shot.fill_mm + 3.0 - heights) * PX_PER_MM)
    lit = _at(_lit(shot, surface, grid_x, inner), *places)
    kinds = cv2.remap(classes, *places, cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE)
    full = body & (heights > 0.0) & (heights < fill_line(shot, x_mm))
    tint = np.array([0.86, 0.89, 0.87], np.float32)
    scene[body] = scene[body] * tint
    top = body & ~full & (heights > 0.0) & _on_top(shot, glass, rays, angles, ys, table_y)
    scene[top] = _top_light(lit, full)
    scene[full], seen[full], seen[top] = lit[full], kinds[full], TOP_SURFACE
    graze = np.clip(1.0 - square, 0.0, 1.0).astype(np.float32)
    veil = _fog(shot, x_mm, heights) + _mirror(shot, glass, outer)
    scene[body] = (scene * (1.0 - 0.7 * graze**7)[..., None] + veil)[body]


def _top_light(lit: Float32Array, full: BoolArray) -> Float32Array:
    """Mean colour of the contents, in the shade of the jar."""
    return np.asarray(0.75 * lit[full].mean(axis=0), np.float32)


def _on_top(
    shot: Shot, glass: GlassCylinder, rays: FloatArray, angles: FloatArray, ys: FloatArray,
    table_y: float,
) -> BoolArray:  # fmt: skip
    """Where a sight line that enters above the contents comes down on them."""
    toward = glass.eye_mm[[0, 2]] - [glass.axis_x_mm, glass.axis_z_mm]
    toward = toward / np.linalg.norm(toward)
    right = np.array([-toward[1], toward[0]])
    r = glass.inner_radius_mm
    sx = r * (np.cos(angles) * toward[0] + np.sin(angles) * right[0])
    sz = r * (np.cos(angles) * toward[1] + np.sin(angles) * right[1])
    fall = (table_y - FLOOR_MM - shot.fill_mm) - ys
    way = rays / np.maximum(rays[..., 1:2], 1e-6)
    ex, ez = sx + fall * way[..., 0], sz + fall * way[..., 2]
    return np.asarray((rays[..., 1] > 1e-3) & (fall > 0.0) & (ex * ex + ez * ez < r * r))


def _fog(shot: Shot, x_mm: Float32Array, heights: Float32Array) -> Float32Array:
    """Scattered light of fog on the glass, ``(rows, cols, 1)``: most of it above the contents."""
    cloud = 0.5 + 0.5 * rough(x_mm, heights, size=16.0, seed=shot.seed + 63)
    band = 0.35 + 0.65 * step(shot.fill_mm - 12.0, shot.fill_mm + 6.0, heights)
    return (shot.fog * cloud * band)[..., None]


def _mirror(shot: Shot, glass: GlassCylinder, outer: FloatArray) -> Float32Array:
    """A window and the room mirrored in the glass, ``(rows, cols, 1)``."""
    turn = np.rad2deg(
        np.arctan2(outer[..., 0] - glass.axis_x_mm, -(outer[..., 2] - glass.axis_z_mm))
    )
    height = _table_y(shot, glass.eye_mm) - outer[..., 1]
    strip = step(4.0, 2.0, np.abs(turn - shot.window_deg).astype(np.float32))
    tall = step(shot.wall_mm * 0.55, shot.wall_mm * 0.65, height.astype(np.float32))
    soft = 0.012 + 0.01 * np.cos(np.deg2rad(turn * 2.0 - shot.window_deg))
    return np.asarray(shot.window * strip * tall + soft, np.float32)[..., None]


def _lid(
    scene: Float32Array, seen: ByteArray, shot: Shot, glass: GlassCylinder, rays: FloatArray
) -> None:
    """Neck and lid above the wall, in place."""
    table_y = _table_y(shot, glass.eye_mm)
    neck = shot.radius_mm * shot.neck
    shoulder = table_y - shot.wall_mm
    parts = (
        (neck, shoulder, shoulder - 10.0, None),
        (neck + 2.0, shoulder - 8.0, shoulder - 26.0, shot.lid),
    )
    for radius, low, high, paint in parts:
        outer, square = _meet(glass, rays, radius)
        part = (square > 0.0) & (outer[..., 1] < low) & (outer[..., 1] > high)
        graze = np.clip(1.0 - square[part], 0.0, 1.0)[:, None]
        if paint is None:
            scene[part] *= 0.85 * (1.0 - 0.7 * graze**6)
        else:
            scene[part], seen[part] = np.array(paint) * (1.0 - 0.55 * graze), 0


def _phone(scene: Float32Array, shot: Shot) -> ByteArray:
    """Linear light to the phone's 8-bit picture."""
    x, y = _pixels()
    across, down = x / SHAPE[1] - 0.5, y / SHAPE[0] - 0.5
    fall = np.exp(shot.tilt_light[0] * across + shot.tilt_light[1] * down)
    light = scene * fall[..., None] * np.array(shot.cast, np.float32) * shot.exposure
    mixing = np.eye(3) + shot.crosstalk - np.diag(shot.crosstalk.sum(axis=1))
    light = _blurred((light @ mixing.T).astype(np.float32), 0.9)
    bent = np.clip(light, 0.0, None) ** shot.gamma
    rng = np.random.default_rng([shot.seed, 64])
    signal = 255.0 * srgb_encode(np.clip(bent, 0.0, 1.0))
    signal += rng.standard_normal(signal.shape, dtype=np.float32) * shot.noise
    return np.clip(np.rint(signal), 0, 255).astype(np.uint8)
