"""Light that droplets gather: the path tracer lets lamp light pass water straight on, so the light
and dark crescents under a droplet are worked out here and printed on the surface.

Parallel rays of each lamp are refracted by Snell's law into a half ellipsoid of water and followed
to its foot; what misses it goes straight on, so that a shadow lies behind it.
"""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import Float32Array, FloatArray
from tests.scenes.spec import WATER_INDEX, Lamp, Room

from .droplets import Drops
from .spec import TO_WORLD

REACH = 1.6  # half the side of a stamp, in radii of the droplet
BINS = 64
RAYS = 480  # along each side
MEAN_TALL = 0.84  # height of a droplet over its radius, about
LOWEST = 0.2  # least cosine of a lamp's direction off the vertical
MOST = 0.97  # no albedo becomes greater


def stamp(toward: FloatArray, *, tall: float = MEAN_TALL, softness: float = 0.0) -> Float32Array:
    """Light on and around the foot of a droplet of radius 1, 1 where there is no droplet.

    Parameters
    ----------
    toward
        Unit vector to the lamp; its third number counts upwards.
    tall
        Height over radius.
    softness
        Angular radius of the lamp, radians: blurs the pattern.

    Returns
    -------
    array
        ``(BINS, BINS)``: rows along y, columns along x, from ``-REACH`` to ``REACH``.
    """
    axis = (np.arange(RAYS) + 0.5) / RAYS * 6.0 - 3.0
    x, y = (part.ravel() for part in np.meshgrid(axis, axis))
    a = toward[0] ** 2 + toward[1] ** 2 + (toward[2] / tall) ** 2
    b = x * toward[0] + y * toward[1]
    inside = b * b - a * (x * x + y * y - 1.0)
    way = (-b + np.sqrt(np.maximum(inside, 0.0))) / a
    hit = (inside > 0.0) & (way > 0.0)
    point = np.stack([x, y, np.zeros_like(x)], axis=-1) + way[:, None] * toward
    normal = point / np.array([1.0, 1.0, tall**2])
    normal /= np.maximum(np.linalg.norm(normal, axis=-1, keepdims=True), 1e-12)
    cosine = np.clip(normal @ toward, 0.0, 1.0)
    ratio = 1.0 / WATER_INDEX
    within = np.sqrt(1.0 - ratio**2 * (1.0 - cosine**2))
    bent = -ratio * toward + (ratio * cosine - within)[:, None] * normal
    foot = point[:, :2] + (point[:, 2] / np.maximum(-bent[:, 2], 1e-6))[:, None] * bent[:, :2]
    parallel = (WATER_INDEX * cosine - within) / (WATER_INDEX * cosine + within + 1e-12)
    across = (cosine - WATER_INDEX * within) / (cosine + WATER_INDEX * within + 1e-12)
    passed = 1.0 - (parallel**2 + across**2) / 2.0  # Fresnel's equations, unpolarised
    land = np.where(hit[:, None], foot, np.stack([x, y], axis=-1))
    edges = np.linspace(-REACH, REACH, BINS + 1)
    light, _, _ = np.histogram2d(land[:, 1], land[:, 0], bins=(edges, edges),
                                 weights=np.where(hit, passed, 1.0))  # fmt: skip
    light = light / (RAYS / 6.0 * 2.0 * REACH / BINS) ** 2
    blur = max(0.6, 0.5 * softness * BINS / (2.0 * REACH))
    return np.asarray(cv2.GaussianBlur(light, (0, 0), blur, borderType=cv2.BORDER_REPLICATE),
                      np.float32)  # fmt: skip


def stamp_of(lamps: tuple[Lamp, ...], room: Room) -> Float32Array:
    """The stamp of a kitchen: all lamps by their share of the light, and ambience that is even."""
    total = np.full((BINS, BINS), room.ambient_share, np.float32)
    whole = room.ambient_share
    for lamp in lamps:
        place = TO_WORLD.T @ np.array(lamp.position_mm)
        distance = float(np.linalg.norm(place))
        toward = place * [1.0, 1.0, -1.0] / distance
        toward[2] = max(toward[2], LOWEST)
        toward /= np.linalg.norm(toward)
        size = np.sqrt(lamp.width_mm * lamp.height_mm) / 2.0
        total += np.float32(lamp.share) * stamp(toward, softness=float(size / distance))
        whole += lamp.share
    return np.asarray(total / max(whole, 1e-9), np.float32)


def lit(albedo: Float32Array, side_mm: float, drops: Drops, light: Float32Array) -> Float32Array:
    """The surface's picture with the droplets' light and shade on it; ``(n, n, 3)``."""
    n = len(albedo)
    gain = np.ones((n, n), np.float32)
    per_mm = n / side_mm
    for x, y, wide in zip(drops.x_mm, drops.y_mm, drops.diameter_mm, strict=True):
        reach = REACH * wide / 2.0 * per_mm
        column, row = ((v + side_mm / 2.0) * per_mm - 0.5 for v in (x, y))
        first = np.array([int(np.floor(row - reach)), int(np.floor(column - reach))])
        last = np.array([int(np.ceil(row + reach)) + 1, int(np.ceil(column + reach)) + 1])
        if (first < 0).any() or (last > n).any():
            continue
        scale = BINS / (2.0 * reach)
        start = (first[::-1] - np.array([column, row]) + reach + 0.5) * scale - 0.5
        to = np.array([[scale, 0.0, start[0]], [0.0, scale, start[1]]])
        size = (int(last[1] - first[1]), int(last[0] - first[0]))
        fine = cv2.GaussianBlur(light, (0, 0), 0.4 * scale) if scale > 2.0 else light
        patch = cv2.warpAffine(fine, to, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                               borderMode=cv2.BORDER_CONSTANT, borderValue=1.0)  # fmt: skip
        gain[first[0] : last[0], first[1] : last[1]] *= patch
    return np.minimum(albedo * gain[..., None], np.maximum(albedo, MOST)).astype(np.float32)
