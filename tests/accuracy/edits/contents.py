"""What is in the jar, painted over: white things that never grew, pale contents, tinted growth."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import COVERED, ByteArray, Float32Array
from tests.accuracy.repaint import paint_shape, picture_at, repaint
from tests.accuracy.spoil import encoded
from tests.accuracy.white_looks import LOOKS

from .scene import Apply, Edit, JarScene

LEAST_GROWN, WHITE_ALBEDO = 0.03, 0.75  # with less growth in view its usual brightness is taken
WHITE = ("rice", "flour", "milk")
"""The whole list is that of :mod:`tests.accuracy.white_contents`."""


def filled_with(look: str) -> Apply:
    """White contents in which nothing grows."""

    def apply(scene: JarScene, rng: np.random.Generator) -> ByteArray:
        paint = LOOKS[look](paint_shape(scene.sight), rng)
        return repaint(scene.sight, paint, seed=int(rng.integers(2**31)))

    return apply


def growth_share(scene: JarScene) -> Float32Array:
    """``(rows, cols, 1)`` how much of each photo pixel of the contents the program calls grown."""
    wall, tissue = scene.wall, scene.sight.tissue
    grown = np.isin(tissue.classes, COVERED).astype(np.float32)
    step_deg = float(wall.angles_deg[1] - wall.angles_deg[0])
    angle = np.rad2deg(scene.places.x_mm / wall.radius_mm)
    col = (angle - np.float32(wall.angles_deg[0])) / np.float32(step_deg)
    row = (np.float32(wall.heights_mm[0]) - scene.places.height_mm) / np.float32(wall.step_mm)
    soft = cv2.GaussianBlur(grown, (0, 0), 1.0)
    return np.asarray(picture_at(soft, col, row)[..., None], np.float32)


def pale(share: float) -> Apply:
    """Bare places recoloured to so much of the growth's brightness, their texture kept."""

    def apply(scene: JarScene, _: np.random.Generator) -> ByteArray:
        grown, seen = growth_share(scene), scene.places.seen
        albedo = scene.linear / np.maximum(scene.light, 1e-3)
        bare = seen & (grown[..., 0] < 0.2)
        full = seen & (grown[..., 0] > 0.8)
        if not bare.any():
            return scene.photo.rgb
        known = full.sum() > LEAST_GROWN * seen.sum()
        white = float(np.median(albedo[full])) if known else WHITE_ALBEDO
        grey = albedo.mean(axis=2, keepdims=True)
        even = grey + 0.35 * (albedo - grey)
        # texture at 40 % of its contrast, as pale grains show it
        middle = float(np.median(grey[bare]))
        lighter = (share * white) * (even / middle) ** 0.4
        mixed = np.where(seen[..., None], lighter + (albedo - lighter) * grown, albedo)
        return np.where(
            seen[..., None], encoded(np.asarray(mixed * scene.light, np.float32)), scene.photo.rgb
        )  # fmt: skip

    return apply


def tinted_growth(*gains: float) -> Apply:
    """Growth of another colour: cream, pink or grey strains."""

    def apply(scene: JarScene, _: np.random.Generator) -> ByteArray:
        share = growth_share(scene) * scene.places.seen[..., None]
        tint = 1.0 + (np.array(gains, np.float32) - 1.0) * share
        return encoded(np.asarray(scene.linear * tint, np.float32))

    return apply


EDITS = (
    *(
        Edit(look, f"filled with {look}, nothing grown", "contents",
             filled_with(look), bare=True)
        for look in WHITE
    ),
    Edit("pale_90", "bare places at 90 % of the growth's brightness", "contents", pale(0.9)),
    Edit("cream_growth", "cream-coloured growth", "contents", tinted_growth(1.0, 0.93, 0.78)),
    Edit("pink_growth", "pinkish growth", "contents", tinted_growth(1.0, 0.86, 0.86)),
)  # fmt: skip
