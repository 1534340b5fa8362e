"""Blur and smoothing: jars out of focus behind a sharp card, phones that make skin smooth."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import ByteArray
from tests.accuracy.spoil import defocus, encoded, jar_defocus, shake

from .scene import Apply, Edit, JarScene


def jar_blur(sigma_px: float) -> Apply:
    """The jar alone out of focus, by pixels of the photo."""
    return lambda scene, rng: jar_defocus(scene, sigma_px / scene.card.px_per_mm, rng).rgb


def bilateral(scene: JarScene, _: np.random.Generator) -> ByteArray:
    """Beauty smoothing: edges stay, texture goes."""
    rgb = scene.photo.rgb
    for _time in range(2):
        rgb = np.asarray(cv2.bilateralFilter(rgb, 9, 30.0, 5.0), np.uint8)
    return rgb


def guided(scene: JarScene, _: np.random.Generator) -> ByteArray:
    """Smoothing guided by the picture itself (He, Sun and Tang 2013, from memory)."""
    picture, side = scene.photo.rgb.astype(np.float32) / 255.0, (13, 13)
    mean = cv2.blur(picture, side)
    variance = cv2.blur(picture * picture, side) - mean * mean
    slope = variance / (variance + 0.04**2)
    smooth = cv2.blur(slope, side) * picture + cv2.blur((1.0 - slope) * mean, side)
    return np.asarray(np.rint(255.0 * np.clip(smooth, 0.0, 1.0)), np.uint8)


def median(side: int) -> Apply:
    """A median filter over the whole picture."""
    return lambda scene, _: np.asarray(cv2.medianBlur(scene.photo.rgb, side), np.uint8)


def portrait(scene: JarScene, _: np.random.Generator) -> ByteArray:
    """Portrait mode: all but the jar is blurred."""
    jar = scene.soft(scene.whole, 3.0)
    soft = cv2.GaussianBlur(scene.linear, (0, 0), 0.5 * scene.card.px_per_mm)
    return encoded(np.asarray(scene.linear * jar + soft * (1.0 - jar), np.float32))


def oversharp(scene: JarScene, _: np.random.Generator) -> ByteArray:
    """Sharpened far too much."""
    picture = scene.photo.rgb.astype(np.float32)
    sharp = picture + 1.8 * (picture - cv2.GaussianBlur(picture, (0, 0), 1.5))
    return np.asarray(np.rint(np.clip(sharp, 0.0, 255.0)), np.uint8)


EDITS = (
    Edit("jar_blur_2", "jar out of focus: blur of 2 px, card sharp", "blur", jar_blur(2.0)),
    Edit("jar_blur_4", "jar out of focus: blur of 4 px, card sharp", "blur", jar_blur(4.0)),
    Edit("jar_blur_8", "jar out of focus: blur of 8 px, card sharp", "blur", jar_blur(8.0)),
    Edit("smooth_bilateral", "beauty smoothing that keeps edges", "blur", bilateral),
    Edit("smooth_guided", "beauty smoothing, guided filter", "blur", guided),
    Edit("median_3", "median filter of 3 px", "blur", median(3), harm=False),
    Edit("portrait", "portrait mode: all but the jar blurred", "blur", portrait),
    Edit("oversharp", "sharpened far too much", "blur", oversharp),
    Edit("defocus", "whole photo a little soft (0.2 mm)", "blur",
         lambda scene, rng: defocus(scene, 0.2, rng).rgb, harm=False),
    Edit("shaken", "shaken by 0.9 mm", "blur", lambda scene, rng: shake(scene, 0.9, rng).rgb),
)  # fmt: skip
