"""The surface laid flat: a square grid in mm as the ring lies, and what of it can be judged."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import BoolArray, ColourFit, Float32Array, FloatArray, Photo
from jarvision.records.mouth import MouthFit, SurfacePicture
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.surface.sight import Above, sample

SURFACE_CELL_MM = 0.25
_MARGIN_MM = 1.0
"""Shown beyond the mouth, on every side."""

_RIM_MM = 0.4
"""The rim's blur and its bevel: the surface counts as seen so far past its edge."""

_GLARE_MIN_MM2 = 3.0
"""Smaller burnt-out spots are the lamp in droplets and wet fibres, which tell something."""

_AROUND_MM, _GAP_MM = 2.0, 0.75
_AROUND_MAX = 0.7
"""A burnt-out spot amid lighter things is growth in strong light, and no mirror."""

_SHADE_MM = 1.5
"""Light is averaged over so much: gaps between the pieces of the contents are no shade."""


def flatten(
    photo: Photo, above: Above, *, colour: ColourFit, mouth: MouthFit, settings: PhotoSettings,
    cell_mm: float = SURFACE_CELL_MM,
) -> SurfacePicture:  # fmt: skip
    """Lay the surface flat in the plane of its edge."""
    half = int(np.ceil((mouth.radius_mm + _MARGIN_MM) / cell_mm))
    one = np.arange(-half, half + 1) * cell_mm
    x, y = np.meshgrid(one, one)
    places = np.stack([x, y], axis=-1)
    points = mouth.axis_mm + places
    pixels = above.in_photo(points, mouth.surface_z_mm).astype(np.float32)
    linear = sample(photo, pixels, colour)
    within = np.asarray(np.hypot(x, y) <= mouth.radius_mm)
    past = _past_rim(points, above, mouth)
    last = np.array(photo.rgb.shape[1::-1], np.float32) - 1.0
    inside = ((pixels >= 0) & (pixels <= last)).all(axis=-1)
    glare = _glare(photo, pixels, linear, settings, cell_mm=cell_mm) & within
    shade = _shade(linear, settings.surface.shade_share_max, cell_mm=cell_mm) & within
    return SurfacePicture(
        linear=linear,
        cell_mm=cell_mm,
        pixels=pixels,
        within=within,
        seen=within & past & inside & ~glare & ~shade,
        glare=glare,
        shade=shade,
    )


def _past_rim(points: FloatArray, above: Above, mouth: MouthFit) -> BoolArray:
    """Where the rim does not hide the surface: both as seen in the ring's plane."""
    rim = above.in_plane(mouth.axis_mm, mouth.rim_z_mm)
    radius = mouth.radius_mm * above.shrinks(mouth.rim_z_mm)
    away = np.linalg.norm(above.in_plane(points, mouth.surface_z_mm) - rim, axis=-1)
    return np.asarray(away < radius - _RIM_MM)


def _glare(
    photo: Photo, pixels: Float32Array, linear: Float32Array, settings: PhotoSettings, *,
    cell_mm: float,
) -> BoolArray:  # fmt: skip
    seen = cv2.remap(photo.rgb, pixels[..., 0], pixels[..., 1], cv2.INTER_NEAREST)
    burnt = np.asarray(seen).min(axis=-1) >= settings.masks.clipped_level
    count, labels, stats, _ = cv2.connectedComponentsWithStats(burnt.astype(np.uint8))
    light = linear.mean(axis=-1)
    found: BoolArray = np.zeros(burnt.shape, dtype=np.bool_)
    for label in range(1, count):
        if stats[label][cv2.CC_STAT_AREA] * cell_mm**2 < _GLARE_MIN_MM2:
            continue
        spot = (labels == label).astype(np.uint8)
        wide, near = (cv2.dilate(spot, _disc(mm / cell_mm)) for mm in (_AROUND_MM, _GAP_MM))
        around = (wide > 0) & (near == 0) & ~burnt
        if around.any() and float(light[around].mean()) < _AROUND_MAX:
            found |= near > 0
    return found


def _shade(linear: Float32Array, least: float, *, cell_mm: float) -> BoolArray:
    smooth = cv2.GaussianBlur(linear.mean(axis=-1), (0, 0), _SHADE_MM / cell_mm)
    return np.asarray(np.less(smooth, least), dtype=np.bool_)


def _disc(radius: float) -> np.ndarray:
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * round(radius) + 1,) * 2)
