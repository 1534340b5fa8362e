"""Photos of a jar's mouth in the printed ring, each sight line followed to what it meets first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from jarvision.base.colourspace import byte_to_linear_table, srgb_encode
from jarvision.records import Photo
from jarvision.vision.card import marks as printed
from jarvision.vision.card.draw import card_marks
from jarvision.vision.card.layout import load_ring

RING = load_ring()
PX_PER_MM = 12.0
SIZE = (1134, 1512)  # rows, columns
FOCAL_PX = 26.0 / 43.267 * float(np.hypot(*SIZE))


@dataclass(frozen=True)
class DrawnTop:
    """A mouth, how deep its surface lies, and where the phone is. Lengths in mm, angles in deg."""

    inner_mm: float = 70.0
    glass_mm: float = 3.0
    hole_mm: float = 79.0
    rim_above_mm: float = 5.0
    below_rim_mm: float = 20.0
    aside_mm: tuple[float, float] = (0.0, 0.0)
    distance_mm: float = 330.0
    lean_deg: float = 0.0
    lean_to_deg: float = 0.0
    turn_deg: float = 0.0
    covered: float = 0.6
    light: float = 0.75
    warm: float = 1.0
    blur_px: float = 0.8
    seed: int = 0
    veil: float = 0.0  # of a hood: share of its own light

    @property
    def axis_mm(self) -> np.ndarray:
        return np.array(RING.centre_mm) + np.array(self.aside_mm)


@cache
def printed_ring() -> np.ndarray:
    area = np.array([RING.width_mm, RING.height_mm])
    rgb = printed.paint(card_marks(RING), area_mm=area, dpi=PX_PER_MM * 25.4)
    return byte_to_linear_table()[rgb].astype(np.float32)


def camera(top: DrawnTop) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Camera matrix, rotation (ring to camera) and camera centre in the ring frame."""
    matrix = np.array(
        [[FOCAL_PX, 0, (SIZE[1] - 1) / 2], [0, FOCAL_PX, (SIZE[0] - 1) / 2], [0, 0, 1.0]]
    )
    lean, to = np.deg2rad([top.lean_deg, top.lean_to_deg])
    away = np.array([np.sin(lean) * np.cos(to), np.sin(lean) * np.sin(to), -np.cos(lean)])
    centre = np.array([*RING.centre_mm, 0.0]) + top.distance_mm * away
    ahead = -away
    turn = np.deg2rad(top.turn_deg)
    right = np.array([np.cos(turn), np.sin(turn), 0.0])
    right -= (right @ ahead) * ahead
    right /= np.linalg.norm(right)
    return matrix, np.stack([right, np.cross(ahead, right), ahead]), centre


def surface_cover(top: DrawnTop) -> tuple[np.ndarray, np.ndarray]:
    """Linear colour ``(n, n, 3)`` and growth ``(n, n)`` of the surface, 4 cells a mm."""
    n = round((top.inner_mm + 4) * 4)
    rng = np.random.default_rng([top.seed, 3])
    fine = cv2.GaussianBlur(rng.standard_normal((n, n)), (0, 0), 2.5)
    slow = cv2.GaussianBlur(rng.standard_normal((n, n)), (0, 0), 14.0)
    grown = slow > np.quantile(slow, 1.0 - top.covered)
    straw = np.array([0.32, 0.22, 0.10]) * np.exp(0.5 * fine / fine.std())[..., None]
    white = np.array([0.80, 0.78, 0.70]) * np.exp(0.04 * fine / fine.std())[..., None]
    return np.where(grown[..., None], white, straw).astype(np.float32), grown


def shoot_top(top: DrawnTop) -> np.ndarray:
    """sRGB bytes ``(rows, cols, 3)``."""
    matrix, rotation, centre = camera(top)
    cols, rows = np.meshgrid(np.arange(SIZE[1]), np.arange(SIZE[0]))
    rays = np.stack([cols, rows, np.ones_like(cols)], axis=-1) @ np.linalg.inv(matrix).T @ rotation

    def plane(z: float) -> np.ndarray:
        return centre[:2] + rays[..., :2] * ((z - centre[2]) / rays[..., 2])[..., None]

    def off_axis(at: np.ndarray) -> np.ndarray:
        return np.hypot(*np.moveaxis(at - top.axis_mm, -1, 0))

    inner, outer = top.inner_mm / 2, top.inner_mm / 2 + top.glass_mm
    at_rim, at_ring = plane(-top.rim_above_mm), plane(0.0)
    at_surface = plane(top.below_rim_mm - top.rim_above_mm)
    light = np.empty((*SIZE, 3), np.float32)
    light[:] = (0.25, 0.20, 0.15)  # the table
    ring = cv2.remap(
        printed_ring(),
        (at_ring[..., 0] * PX_PER_MM - 0.5).astype(np.float32),
        (at_ring[..., 1] * PX_PER_MM - 0.5).astype(np.float32),
        cv2.INTER_LINEAR,
    )
    sheet = ((at_ring > 0) & (at_ring < RING.width_mm)).all(axis=-1)
    hole = np.hypot(*np.moveaxis(at_ring - RING.centre_mm, -1, 0)) < top.hole_mm / 2
    light[sheet] = ring[sheet]
    light[hole] = 0.06
    at_rim_off = off_axis(at_rim)
    light[(off_axis(at_ring) < outer) & (at_rim_off >= outer)] = (0.14, 0.16, 0.15)
    angle = np.arctan2(*np.moveaxis(at_rim - top.axis_mm, -1, 0))
    sparkle = 0.35 + 0.25 * np.sin(3 * angle + top.seed) + 0.15 * np.sin(11 * angle)
    rim = (at_rim_off < outer) & (at_rim_off >= inner)
    light[rim] = sparkle[rim][:, None]
    inside = at_rim_off < inner
    light[inside] = (0.20, 0.21, 0.20)  # the wall of the glass
    cover, _ = surface_cover(top)
    middle = (len(cover) - 1) / 2
    seen = inside & (off_axis(at_surface) < inner)
    place = ((at_surface - top.axis_mm) * 4 + middle).astype(np.float32)
    flat = cv2.remap(cover, place[..., 0], place[..., 1], cv2.INTER_LINEAR)
    light[seen] = flat[seen]
    if top.veil:
        near = at_rim_off < outer + 4
        light[near] = (1 - top.veil) * cv2.GaussianBlur(light, (0, 0), 6)[near] + top.veil * 0.6
    light = cv2.GaussianBlur(light, (0, 0), top.blur_px)
    light *= top.light * np.array([top.warm, 1.0, 1.0 / top.warm])
    light += 0.003 * np.random.default_rng(top.seed).standard_normal(light.shape)
    return np.rint(255 * srgb_encode(np.clip(light, 0, 1))).astype(np.uint8)


def top_photo(top: DrawnTop, name: str = "K07_2026-03-02_top.jpg") -> Photo:
    """The drawn photo as it is after decoding."""
    taken = datetime(2026, 3, 2, 18, 0)
    return Photo(Path(name), name, shoot_top(top), 1.0, FOCAL_PX, True, taken, "exif")
