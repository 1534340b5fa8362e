"""Truth files of rendered photos, and the truth at the places where a photo was read."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from jarvision.records import BoolArray, ByteArray, Float32Array, FloatArray, RawWall, TissueClass
from jarvision.vision.jar.glass import GlassCylinder

RENDERED_GLASS_INDEX = 1.5
MAP_SCALE = 4  # photo pixels per pixel of the ``seen`` map


@dataclass(frozen=True)
class TruePlaces:
    """The truth on the grid of a wall, each ``(rows, cols)``.

    Attributes
    ----------
    classes
        What a careful eye could tell: OUTSIDE above the fill line or off the jar, UNJUDGED behind
        label, fog or drops.
    beneath
        What stands there, whatever hides it: never UNJUDGED.
    opacity
        Of the mycelium, 0 to 1, whatever hides it.
    pins
        Caps of fruit bodies at the glass, and what stands above the fill line.
    """

    classes: ByteArray
    beneath: ByteArray
    opacity: Float32Array
    pins: BoolArray


@dataclass(frozen=True)
class PhotoTruth:
    """What is in one rendered photo.

    Attributes
    ----------
    numbers
        Coverage, patches, jar, card, camera and scene, as written by the renderer.
    classes, opacity
        ``(rows, cols)`` the wall's classes and opacity (0 to 1), in paint coordinates.
    angles_deg, heights_mm
        Of the columns and rows; heights fall.
    seen
        Classes in the photo at a quarter of its resolution: UNJUDGED behind label and fog.
    pins, pins_seen
        Caps at the glass, in paint coordinates; with those above the fill line, in the photo.
    """

    name: str
    numbers: dict[str, Any]
    classes: ByteArray
    opacity: Float32Array
    angles_deg: FloatArray
    heights_mm: FloatArray
    seen: ByteArray
    pins: BoolArray
    pins_seen: BoolArray

    @classmethod
    def read(cls, stem: Path) -> PhotoTruth:
        """Read ``STEM.json`` and ``STEM.npz``."""
        numbers = json.loads(stem.with_name(f"{stem.name}.json").read_text())
        with np.load(stem.with_name(f"{stem.name}.npz")) as data:
            classes, seen = data["classes"], data["seen"]
            return cls(
                name=stem.name,
                numbers=numbers,
                classes=classes,
                opacity=data["opacity"].astype(np.float32) / 255.0,
                angles_deg=data["angles_deg"].astype(np.float64),
                heights_mm=data["heights_mm"].astype(np.float64),
                seen=seen,
                pins=_unpacked(data["pins"], classes.shape),
                pins_seen=_unpacked(data["pins_seen"], seen.shape),
            )

    @property
    def coverage_percent(self) -> float:
        """True coverage within 60 degrees."""
        return float(self.numbers["coverage_percent"])

    def at(self, wall: RawWall, *, photo_scale: float = 1.0) -> TruePlaces:
        """What is true at the places that a wall was read from.

        ``photo_scale`` is working pixels per full-size pixel.
        """
        full = wall.pixels / np.float32(photo_scale)
        angles, heights = self.places(full.astype(np.float64))
        step_deg = self.angles_deg[1] - self.angles_deg[0]
        step_mm = self.heights_mm[0] - self.heights_mm[1]
        col = np.rint((angles - self.angles_deg[0]) / step_deg).astype(int)
        row = np.rint((self.heights_mm[0] - heights) / step_mm).astype(int)
        rows, cols = self.classes.shape
        off = (row < 0) | (row >= rows) | (col < 0) | (col >= cols) | ~np.isfinite(angles)
        row, col = np.clip(row, 0, rows - 1), np.clip(col, 0, cols - 1)
        beneath, opacity = self.classes[row, col].copy(), self.opacity[row, col].copy()
        beneath[off], opacity[off] = TissueClass.OUTSIDE, 0.0
        quarter = ((full - (MAP_SCALE - 1) / 2) / MAP_SCALE).astype(np.float32)
        seen, caps = (
            cv2.remap(picture, quarter[..., 0], quarter[..., 1], cv2.INTER_NEAREST)
            for picture in (self.seen, self.pins_seen.astype(np.uint8))
        )
        hidden = (seen == TissueClass.UNJUDGED) & (beneath != TissueClass.OUTSIDE)
        classes = np.where(hidden, np.uint8(TissueClass.UNJUDGED), beneath)
        pins = np.where(beneath == TissueClass.OUTSIDE, caps > 0, self.pins[row, col] & ~off)
        return TruePlaces(classes=classes, beneath=beneath, opacity=opacity, pins=pins)

    def places(self, pixels: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Wall angle (deg) and height (mm) seen by photo pixels ``(..., 2)``, exactly."""
        jar, camera = self.numbers["jar"], self.numbers["camera"]
        foot, top = np.array(jar["axis_foot_card_mm"]), np.array(jar["axis_top_card_mm"])
        down = (foot - top) / np.linalg.norm(foot - top)
        right = np.array([1.0, 0.0, 0.0]) - down[0] * down
        right /= np.linalg.norm(right)
        turn = np.stack([right, down, np.cross(right, down)])
        eye = turn @ np.array(camera["position_card_mm"])
        foot = turn @ foot
        ones = np.ones((*pixels.shape[:-1], 1))
        rays = np.concatenate([pixels, ones], axis=-1) @ np.linalg.inv(camera["matrix"]).T
        rays = rays @ np.array(camera["rotation"]) @ turn.T
        glass = GlassCylinder(
            eye_mm=eye,
            axis_x_mm=float(foot[0]),
            axis_z_mm=float(foot[2]),
            outer_radius_mm=jar["outer_radius_mm"],
            glass_mm=jar["glass_mm"],
            index=RENDERED_GLASS_INDEX,
        )
        start, way = eye[[0, 2]] - foot[[0, 2]], rays[..., [0, 2]]
        a, b = np.sum(way * way, axis=-1), way @ start
        c = start @ start - jar["outer_radius_mm"] ** 2
        inside = b * b - a * c
        step = (-b - np.sqrt(np.maximum(inside, 0.0))) / a
        angles, ys = glass.see_through(eye + step[..., None] * rays)
        angles = np.where(inside > 0.0, np.rad2deg(angles), np.nan)
        return angles, foot[1] - ys


def _unpacked(bits: ByteArray, shape: tuple[int, ...]) -> BoolArray:
    return np.asarray(np.unpackbits(bits, count=int(np.prod(shape))).reshape(shape) > 0)
