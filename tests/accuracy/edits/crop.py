"""Crops and borders: what editors, screenshots and stories cut off or put around a photo."""

from __future__ import annotations

import numpy as np

from jarvision.records import ByteArray

from .scene import Apply, Edit, JarScene, Saved

KEPT_MM = 2.0  # of page beyond the card's active area


def _bounds(scene: JarScene) -> tuple[int, int, int, int]:
    """Left, top, right, bottom of what a sensible crop keeps: the card and the jar's foot."""
    rows, cols = scene.shape
    y, x = np.nonzero(scene.card_mask(KEPT_MM) | scene.whole)
    reach = scene.card.px_per_mm * KEPT_MM
    left, top = max(0, int(x.min() - reach)), max(0, int(y.min() - reach))
    return left, top, min(cols, int(x.max() + reach)), min(rows, int(y.max() + reach))


def cropped(share: float) -> Apply:
    """A share of width and height cut off, from the sides that have room, EXIF as it was."""

    def apply(scene: JarScene, rng: np.random.Generator) -> ByteArray:
        rows, cols = scene.shape
        left, top, right, bottom = _bounds(scene)
        sides = []
        for before, after, size in ((left, cols - right, cols), (top, rows - bottom, rows)):
            cut = min(share * size, before + after)
            first = min(before, max(cut - after, round(cut * rng.uniform())))
            sides.append((int(first), int(size - (cut - first))))
        (x, x_end), (y, y_end) = sides
        return np.ascontiguousarray(scene.photo.rgb[y:y_end, x:x_end])

    return apply


def tight(scene: JarScene, _: np.random.Generator) -> ByteArray:
    """Cut to the card and the jar."""
    left, top, right, bottom = _bounds(scene)
    return np.ascontiguousarray(scene.photo.rgb[top:bottom, left:right])


def bars(scene: JarScene, _: np.random.Generator) -> ByteArray:
    """Black bars of 12 % above and below."""
    high = round(0.12 * scene.shape[0])
    return np.pad(scene.photo.rgb, ((high, high), (0, 0), (0, 0)))


EDITS = (
    Edit("crop_10", "10 % cut off, card whole", "crop", cropped(0.10), harm=False),
    Edit("crop_25", "25 % cut off where there is room, card whole", "crop", cropped(0.25),
         harm=False),
    Edit("crop_tight", "cut to the card, EXIF kept", "crop", tight),
    Edit("bars_12", "black bars of 12 % above and below", "crop", bars),
    Edit("bars_12_no_exif", "black bars as of a screenshot, EXIF lost", "crop", bars,
         saved=Saved(form="PNG", exif=False)),
)  # fmt: skip
