"""Light and colour: lamps on the jar alone, casts, filters and shadows."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import ByteArray
from tests.accuracy.spoil import brighten, dim, encoded, noise

from .scene import Apply, Edit, JarScene

SOFT_MM = 1.5  # border of the light on the jar


def jar_light(*gains: float) -> Apply:
    """Other light on the jar alone: factors on linear red, green, blue."""

    def apply(scene: JarScene, _: np.random.Generator) -> ByteArray:
        share = scene.soft(scene.whole, SOFT_MM * scene.jar_px_per_mm)
        lit = scene.linear * (1.0 + (np.array(gains, np.float32) - 1.0) * share)
        return encoded(np.asarray(lit, np.float32))

    return apply


def all_light(*gains: float) -> Apply:
    """A cast over the whole picture."""
    return lambda scene, _: encoded(np.asarray(scene.linear * np.float32(gains), np.float32))


def one_side(low: float) -> Apply:
    """A soft-edged shadow over one half of the picture."""

    def apply(scene: JarScene, rng: np.random.Generator) -> ByteArray:
        cols = scene.shape[1]
        at = (np.arange(cols) - scene.upright[0][0]) / (0.03 * cols)
        at = at if rng.integers(2) else -at
        gain = low + (1.0 - low) / (1.0 + np.exp(-np.clip(at, -30.0, 30.0)))
        return encoded(np.asarray(scene.linear * gain[None, :, None], np.float32))

    return apply


def saturated(share: float) -> Apply:
    """Colours made stronger (over 1) or weaker, as encoded."""

    def apply(scene: JarScene, _: np.random.Generator) -> ByteArray:
        picture = scene.photo.rgb.astype(np.float32)
        grey = (picture @ np.array([0.299, 0.587, 0.114], np.float32))[..., None]
        return _bytes(grey + share * (picture - grey))

    return apply


def bent_tone(power: float) -> Apply:
    """An editor's gamma."""
    table = np.rint(255.0 * (np.arange(256) / 255.0) ** power).astype(np.uint8)
    return lambda scene, _: table[scene.photo.rgb]


def clahe(scene: JarScene, _: np.random.Generator) -> ByteArray:
    """Local contrast pulled up, as HDR modes do."""
    lab = cv2.cvtColor(scene.photo.rgb, cv2.COLOR_RGB2LAB)
    lab[..., 0] = cv2.createCLAHE(1.5, (6, 6)).apply(np.ascontiguousarray(lab[..., 0]))
    return np.asarray(cv2.cvtColor(lab, cv2.COLOR_LAB2RGB), np.uint8)


def negative(scene: JarScene, _: np.random.Generator) -> ByteArray:
    """Light for dark."""
    return np.asarray(255 - scene.photo.rgb, np.uint8)


def _bytes(picture: np.ndarray) -> ByteArray:
    return np.asarray(np.rint(np.clip(picture, 0.0, 255.0)), np.uint8)


EDITS = (
    Edit("grow_pink", "pink grow light on the jar alone", "light", jar_light(1.25, 0.5, 1.2)),
    Edit("grow_blue", "blue grow light on the jar alone", "light", jar_light(0.55, 0.65, 1.4)),
    Edit("grow_amber", "amber light on the jar alone", "light", jar_light(1.25, 0.85, 0.4)),
    Edit("jar_x035", "jar in a third of the card's light", "light", jar_light(0.35, 0.35, 0.35)),
    Edit("jar_x15", "jar in half again the card's light", "light", jar_light(1.5, 1.5, 1.5)),
    Edit("jar_warm", "warm light on the jar alone", "light", jar_light(1.12, 1.0, 0.72)),
    Edit("jar_cool", "cool light on the jar alone", "light", jar_light(0.85, 1.0, 1.2)),
    Edit("green_cast", "green cast over all", "light", all_light(0.7, 1.0, 0.7)),
    Edit("warm_cast", "white balance too warm", "light", all_light(1.0, 0.85, 0.6), harm=False),
    Edit("half_shadow", "half the picture in a shadow of 40 %", "light", one_side(0.4)),
    Edit("deep_shadow", "half the picture in a shadow of 15 %", "light", one_side(0.15)),
    Edit("vivid", "colours 1.6 times as strong", "light", saturated(1.6)),
    Edit("colours_20", "colours at 20 %", "light", saturated(0.2)),
    Edit("colours_5", "colours at 5 %", "light", saturated(0.05)),
    Edit("gamma_08", "an editor's gamma of 0.8", "light", bent_tone(0.8), harm=False),
    Edit("gamma_125", "an editor's gamma of 1.25", "light", bent_tone(1.25), harm=False),
    Edit("clahe", "local contrast pulled up", "light", clahe, harm=False),
    Edit("negative", "negative", "light", negative),
    Edit("noisy", "noise of three stops less light", "light",
         lambda scene, rng: noise(scene, 3.0, rng).rgb, harm=False),
    Edit("dark", "two stops too dark", "light", lambda scene, rng: dim(scene, 2.0, rng).rgb,
         harm=False),
    Edit("bright", "0.7 stops too bright", "light",
         lambda scene, rng: brighten(scene, 0.7, rng).rgb),
)  # fmt: skip
