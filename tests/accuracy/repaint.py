"""The contents of a photographed jar painted over: same jar, glass, light and phone.

The paint is laid on the inner wall by following each photo pixel's sight line through the glass, as
far as the wall is seen; it takes the photo's own light (smooth over the wall) and colours.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from jarvision.base.colourspace import byte_to_linear_table, srgb_encode
from jarvision.records import BoolArray, ByteArray, Float32Array
from jarvision.vision.jar.glass import Viewpoint
from jarvision.vision.jar.unroll import glass_of
from jarvision.vision.read import PhotoAnalysis
from jarvision.vision.tissue.fill import fill_height_mm

from .white_looks import PX_PER_MM

TURN_DEG = 95.0  # the paint reaches so far to both sides
SMOOTH_MM = 12.0
ROOM = 0.15  # of the body's longer side
FAINT = 1e-3  # weight of the mean light beside that of the neighbourhood
NOISE = 1.0  # of 255
QUALITY = 92


@dataclass(frozen=True)
class Places:
    """Which photo pixels look at the contents, and where on the wall, each ``(rows, cols)``.

    ``glass`` is True wherever a sight line meets the cylinder of the jar, above and below the
    contents too; ``x_mm`` is along the inner wall from the place that faces the eye.
    """

    glass: BoolArray
    seen: BoolArray
    x_mm: Float32Array
    height_mm: Float32Array


def paint_shape(sight: PhotoAnalysis) -> tuple[int, int]:
    """Rows and columns of paint that covers the wall, at ``PX_PER_MM``."""
    width = 2.0 * sight.wall.radius_mm * np.deg2rad(TURN_DEG)
    tall = fill_height_mm(sight.wall)
    return round(tall * PX_PER_MM) + 2, round(width * PX_PER_MM) + 2


def places_of(sight: PhotoAnalysis) -> Places:
    """All photo pixels that show contents, as far as 85 degrees to the sides."""
    view = Viewpoint.of_card(sight.card, sight.jar.card_to_jar)
    glass = glass_of(sight.jar, view)
    part = _around(sight)
    x, y = np.meshgrid(*(np.arange(s.start, s.stop, dtype=float) for s in reversed(part)))
    rays = np.stack([x, y, np.ones_like(x)], axis=-1) @ np.linalg.inv(view.camera).T
    rays = rays @ view.rotation
    start = glass.eye_mm[[0, 2]] - [glass.axis_x_mm, glass.axis_z_mm]
    way = rays[..., [0, 2]]
    a, b = np.sum(way * way, axis=-1), way @ start
    hit = b * b - a * (start @ start - glass.outer_radius_mm**2)
    on = (hit > 0.0) & (hit / (a * glass.outer_radius_mm**2) > 0.01)
    step = np.where(on, (-b - np.sqrt(np.maximum(hit, 0.0))) / a, np.nan)
    angles, ys = glass.see_through(glass.eye_mm + step[..., None] * rays)
    heights = sight.jar.floor_y_mm - ys
    shape = sight.photo.rgb.shape[:2]
    seen, met = np.zeros(shape, np.bool_), np.zeros(shape, np.bool_)
    x_mm, height_mm = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    met[part] = on
    seen[part] = on & (heights > 0.0) & (heights < fill_height_mm(sight.wall))
    x_mm[part] = np.nan_to_num(angles * glass.inner_radius_mm)
    height_mm[part] = np.nan_to_num(heights)
    return Places(glass=met, seen=seen, x_mm=x_mm, height_mm=height_mm)


def _around(sight: PhotoAnalysis) -> tuple[slice, slice]:
    """Rows and columns of the photo with the jar's body and some room: all else is left out."""
    low, high = sight.jar.outline_px.min(axis=0), sight.jar.outline_px.max(axis=0)
    room = ROOM * float((high - low).max())
    shape = sight.photo.rgb.shape
    ends = [(max(0, int(low[i] - room)), min(shape[1 - i], int(high[i] + room))) for i in (0, 1)]
    return slice(*ends[1]), slice(*ends[0])


def repaint(sight: PhotoAnalysis, albedo: Float32Array, *, seed: int) -> ByteArray:
    """The photo at working scale, with ``albedo`` (top row at the fill line) as contents."""
    at = places_of(sight)
    row = albedo.shape[0] - 1 - at.height_mm * np.float32(PX_PER_MM)
    col = albedo.shape[1] / 2.0 + at.x_mm * np.float32(PX_PER_MM)
    paint = picture_at(albedo, col, row)[at.seen]
    rgb = sight.photo.rgb.copy()
    rng = np.random.default_rng(seed)
    signal = 255.0 * srgb_encode(np.clip(paint * light_of(sight, at)[at.seen], 0.0, 1.0))
    signal = signal + rng.normal(0.0, NOISE, signal.shape)
    rgb[at.seen] = np.clip(np.rint(signal), 0, 255)
    return rgb


def picture_at(picture: Float32Array, col: Float32Array, row: Float32Array) -> Float32Array:
    """The picture at fractional places; beyond its edges, the edge."""
    where = (col.astype(np.float32), row.astype(np.float32))
    edge = cv2.BORDER_REPLICATE
    return np.asarray(cv2.remap(picture, *where, cv2.INTER_LINEAR, borderMode=edge), np.float32)


def light_of(sight: PhotoAnalysis, at: Places) -> Float32Array:
    """Photo signal of a perfect white at each place ``(rows, cols, 3)``: smooth over the wall.

    Far from what can be judged it is the mean.
    """
    wall = sight.wall
    shown = byte_to_linear_table()[
        cv2.remap(sight.photo.rgb, wall.pixels[..., 0], wall.pixels[..., 1], cv2.INTER_LINEAR)
    ].astype(np.float32)
    sigma = SMOOTH_MM / float(wall.heights_mm[0] - wall.heights_mm[1])
    use = (wall.filled & wall.judged).astype(np.float32)[..., None]
    camera, true = (
        cv2.GaussianBlur(np.asarray(part * use, np.float32), (0, 0), sigma)
        + np.float32(FAINT) * part[use[..., 0] > 0.0].mean(axis=0)
        for part in (shown, wall.linear)
    )
    gain = camera / np.maximum(true, 1e-4)
    shade = _shade(true.sum(axis=2), use[..., 0])
    step_deg = float(wall.angles_deg[1] - wall.angles_deg[0])
    step_mm = float(wall.heights_mm[0] - wall.heights_mm[1])
    angle = np.rad2deg(at.x_mm / wall.radius_mm)
    col = (angle - np.float32(wall.angles_deg[0])) / np.float32(step_deg)
    row = (np.float32(wall.heights_mm[0]) - at.height_mm) / np.float32(step_mm)
    return picture_at(np.asarray(gain * shade[..., None], np.float32), col, row)


def _shade(bright: Float32Array, use: Float32Array) -> Float32Array:
    """How the light falls off over the wall, 1 on average: a tilted plane, within bounds."""
    rows, cols = np.nonzero(use > 0.0)
    across = np.linspace(-1.0, 1.0, use.shape[1])[None, :]
    up = np.linspace(-1.0, 1.0, use.shape[0])[:, None]
    terms = np.stack(np.broadcast_arrays(1.0, across, across**2, up), axis=-1)
    known = np.log(np.maximum(bright[rows, cols], 1e-3))
    fit = np.linalg.lstsq(terms[rows, cols][::37], known[::37], rcond=None)[0]
    fit[0] = 0.0
    return np.asarray(np.clip(np.exp(terms @ fit), 0.6, 1.3), np.float32)


def save(rgb: ByteArray, path: Path, *, like: Path) -> None:
    """Write a JPEG with the EXIF of the photo that it was painted over."""
    with Image.open(io.BytesIO(like.read_bytes())) as first:
        exif = first.getexif()
    exif[274] = 1  # upright already
    Image.fromarray(rgb).save(path, quality=QUALITY, exif=exif)
