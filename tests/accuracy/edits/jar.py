"""The jar: turned over, leaning, gone, or in company."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import BoolArray, ByteArray, FloatArray

from .card import behind_jar
from .scene import Apply, Edit, JarScene, blend

EDGE_PX = 1.0
SKIN = (0.62, 0.42, 0.32)


def turned_over(rgb: ByteArray, mask: BoolArray, centre: FloatArray) -> ByteArray:
    """A part of a picture turned by 180 degrees in its place; turned twice it is as it was.

    What lies in the mask on one side of ``centre`` alone stays.
    """
    rows, cols = mask.shape
    twice = np.rint(2.0 * centre).astype(int)
    y, x = np.nonzero(mask)
    other_x, other_y = twice[0] - x, twice[1] - y
    inside = (other_x >= 0) & (other_x < cols) & (other_y >= 0) & (other_y < rows)
    x, y, other_x, other_y = (part[inside] for part in (x, y, other_x, other_y))
    both = mask[other_y, other_x]
    turned = rgb.copy()
    turned[y[both], x[both]] = rgb[other_y[both], other_x[both]]
    return turned


def upside_down(*, lid: bool) -> Apply:
    """The jar on its head: its body alone, or with the lid."""

    def apply(scene: JarScene, _: np.random.Generator) -> ByteArray:
        mask = scene.whole if lid else scene.body
        y, x = np.nonzero(mask)
        middle = np.array([x.min() + x.max(), y.min() + y.max()]) / 2.0
        return turned_over(scene.photo.rgb, mask, middle)

    return apply


def moved_jar(
    scene: JarScene, matrix: FloatArray, below: ByteArray, *, in_front: bool
) -> ByteArray:
    """A copy of the jar under an affine map of pixels ``(2, 3)``, before ``below``.

    ``in_front`` False leaves it behind the jar that is there.
    """
    rows, cols = scene.shape
    jar = cv2.warpAffine(scene.photo.rgb, matrix, (cols, rows), flags=cv2.INTER_LINEAR)
    share = cv2.warpAffine(scene.soft(scene.whole, EDGE_PX), matrix, (cols, rows))[..., None]
    seen = blend(below, np.asarray(jar, np.uint8), np.asarray(share, np.float32))
    return seen if in_front else behind_jar(scene, seen)


def leaning(degrees: float) -> Apply:
    """The jar leans on the table, the card does not."""

    def apply(scene: JarScene, rng: np.random.Generator) -> ByteArray:
        centre, up, _ = scene.upright
        foot = centre + scene.body_box[2] * up
        turn = degrees if rng.integers(2) else -degrees
        matrix = cv2.getRotationMatrix2D((float(foot[0]), float(foot[1])), turn, 1.0)
        return moved_jar(scene, matrix, scene.plate, in_front=True)

    return apply


def second(aside: float, *, scale: float = 1.0, below: float = 0.0) -> Apply:
    """A second jar, aside by so many widths of the first, a share of its height lower."""

    def apply(scene: JarScene, rng: np.random.Generator) -> ByteArray:
        centre, up, right = scene.upright
        left, end, foot, top = scene.body_box
        side = 1.0 if rng.integers(2) else -1.0
        move = side * aside * (end - left) * right - below * (top - foot) * up
        stand = centre + foot * up
        shift = stand + move - scale * stand
        matrix = np.array([[scale, 0.0, shift[0]], [0.0, scale, shift[1]]])
        return moved_jar(scene, matrix, scene.photo.rgb, in_front=scale >= 1.0)

    return apply


def beside_page(scene: JarScene, rng: np.random.Generator) -> ByteArray:
    """A second jar beside the page, as far as the picture shows it."""
    left, end, _, _ = scene.body_box
    half_page = (scene.layout.width_mm / 2.0 + 8.0) * scene.card.px_per_mm
    return second((half_page + (end - left) / 2.0) / (end - left))(scene, rng)


def gone(scene: JarScene, _: np.random.Generator) -> ByteArray:
    """No jar."""
    return scene.plate


def hand(scene: JarScene, rng: np.random.Generator) -> ByteArray:
    """Fingers around one side of the jar."""
    centre, up, right = scene.upright
    left, end, foot, top = scene.body_box
    side = 1.0 if rng.integers(2) else -1.0
    rgb = scene.photo.rgb.copy()
    wide, tall = end - left, top - foot
    light = np.clip(scene.light[scene.places.seen].mean(axis=0), 0.0, 1.0)
    skin = [int(v) for v in np.rint(255.0 * (np.array(SKIN) * light) ** (1 / 2.2))]
    for finger in range(4):
        along = foot + tall * (0.28 + 0.11 * finger)
        tip = centre + side * right * (0.18 + 0.05 * rng.uniform()) * wide + along * up
        root = centre + side * right * 0.75 * wide + (along - 0.05 * tall) * up
        ends = [tuple(round(float(v)) for v in at) for at in (tip, root)]
        cv2.line(rgb, ends[0], ends[1], skin, max(3, round(0.085 * tall)), cv2.LINE_AA)
    return np.asarray(rgb, np.uint8)


EDITS = (
    Edit("head_down_lid", "jar turned over, with its lid", "jar", upside_down(lid=True)),
    Edit("head_down", "jar's body turned over", "jar", upside_down(lid=False)),
    Edit("leaning_3", "jar leaning by 3 degrees", "jar", leaning(3.0)),
    Edit("second_beside", "a second jar beside the page", "jar", beside_page, harm=False),
    Edit("second_near", "a second jar half before the card", "jar", second(1.15)),
    Edit("second_behind", "a smaller second jar behind the first", "jar",
         second(0.55, scale=0.6)),
    Edit("no_jar", "no jar before the card", "jar", gone),
    Edit("hand", "fingers around one side of the jar", "jar", hand),
)  # fmt: skip
