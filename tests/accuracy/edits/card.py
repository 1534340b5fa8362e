"""The card: faded, stained, cut, printed at another size, or not the only one."""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import BoolArray, ByteArray, Float32Array, FloatArray
from jarvision.vision.card.pose import card_to_photo
from tests.accuracy.spoil import encoded
from tests.accuracy.white_looks import cloud

from .scene import Apply, Edit, JarScene, Saved, blend

PAGE_BEYOND_MM = (14.5, 21.0)  # A4 and Letter reach no farther than this beyond the active area
MARGIN_MM = 6.0  # of bare paper around the active area, on A4 and on Letter
EDGE_PX = 1.0


def on_card(scene: JarScene, linear: Float32Array, *, beyond_mm: float = 0.0) -> ByteArray:
    """Other light on the card, behind the jar."""
    share = scene.soft(scene.card_mask(beyond_mm) & ~scene.whole, EDGE_PX)
    return encoded(np.asarray(scene.linear + (linear - scene.linear) * share, np.float32))


def faded(share: float) -> Apply:
    """All inks faded towards the paper."""
    return lambda scene, _: on_card(
        scene, np.asarray(scene.linear * (1.0 - share) + scene.paper * share, np.float32)
    )


def tinted_page(*gains: float) -> Apply:
    """Paper of another colour: yellowed, or pink to begin with."""
    return lambda scene, _: on_card(
        scene, np.asarray(scene.linear * np.float32(gains), np.float32), beyond_mm=10.0
    )


def behind_jar(scene: JarScene, plate: ByteArray) -> ByteArray:
    """The jar as it was, before another picture."""
    return blend(plate, scene.photo.rgb, scene.soft(scene.whole, EDGE_PX))


def moved_card(scene: JarScene, change: FloatArray) -> ByteArray:
    """The card's plane under a map of its mm ``(3, 3)``; the jar stays as it is."""
    rows, cols = scene.shape
    whole = scene.card.homography @ change @ np.linalg.inv(scene.card.homography)
    plate = cv2.warpPerspective(
        scene.plate, whole, (cols, rows), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )  # fmt: skip
    return behind_jar(scene, np.asarray(plate, np.uint8))


def printed_at(scale: float) -> Apply:
    """A print that is too small or too large, and nobody told: the page is as ever."""

    def apply(scene: JarScene, _: np.random.Generator) -> ByteArray:
        middle = np.array(scene.layout.centre_mm, np.float32)
        area = np.array([scene.layout.width_mm, scene.layout.height_mm], np.float32)
        printed = middle + (scene.plane_mm - middle) / np.float32(scale)
        at = card_to_photo(
            np.clip(printed, -MARGIN_MM, area + MARGIN_MM).astype(float), scene.card.homography
        ).astype(np.float32)
        seen = cv2.remap(
            scene.plate, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        share = scene.soft(scene.card_mask(MARGIN_MM) & ~scene.whole, EDGE_PX)
        return behind_jar(scene, blend(scene.photo.rgb, np.asarray(seen, np.uint8), share))

    return apply


def mirrored_print(scene: JarScene, _: np.random.Generator) -> ByteArray:
    """Printed mirrored, as for transfer paper."""
    flip = np.array([[-1.0, 0.0, scene.layout.width_mm], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    card = moved_card(scene, flip)
    return blend(scene.photo.rgb, card, scene.soft(scene.card_mask(), EDGE_PX))


def without_margin(scene: JarScene, gone: BoolArray) -> ByteArray:
    """A part of the page painted over with what lies beyond the page's edge, mirrored there."""
    x, y = scene.plane_mm[..., 0], scene.plane_mm[..., 1]
    aside, above = PAGE_BEYOND_MM
    wide, high = scene.layout.width_mm + aside, scene.layout.height_mm + above
    across, down = _beyond(x, -aside, wide), _beyond(y, -above, high)
    at = _pixels(scene, across, down)
    # where the picture ends before the page does, the other side of the card is taken
    missing = (at[..., 0] < 0.0) | (at[..., 0] > scene.shape[1] - 1)
    at[missing] = _pixels(scene, scene.layout.width_mm - across, down)[missing]
    seen = cv2.remap(
        scene.plate, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT
    )  # fmt: skip
    share = scene.soft(gone & ~scene.whole, EDGE_PX)
    return behind_jar(scene, blend(scene.photo.rgb, np.asarray(seen, np.uint8), share))


def _pixels(scene: JarScene, x_mm: Float32Array, y_mm: Float32Array) -> Float32Array:
    """Photo pixels of places in the card's plane."""
    places = np.stack([x_mm, y_mm], axis=-1).astype(float)
    return card_to_photo(places, scene.card.homography).astype(np.float32)


def _beyond(at: Float32Array, low: float, high: float) -> Float32Array:
    """Places mirrored at the nearer border where they are outside the card, else as they are."""
    size = high - (-low)  # the active area ends at 0 and at this
    out = np.where(at < 0.0, 2.0 * low - at, np.where(at > size, 2.0 * high - at, at))
    return np.asarray(out, np.float32)


def page(scene: JarScene) -> BoolArray:
    """Pixels of the page, or what could be one."""
    x, y = scene.plane_mm[..., 0], scene.plane_mm[..., 1]
    aside, above = PAGE_BEYOND_MM
    inside = (x > -aside) & (x < scene.layout.width_mm + aside)
    return inside & (y > -above) & (y < scene.layout.height_mm + above)


def trimmed(scene: JarScene, _: np.random.Generator) -> ByteArray:
    """The page cut to the card's active area."""
    return without_margin(scene, page(scene) & ~scene.card_mask())


def cut_below(beyond_mm: float) -> Apply:
    """The page cut so far below the lower marks."""

    def apply(scene: JarScene, _: np.random.Generator) -> ByteArray:
        low = max(float(mark.corners_mm[:, 1].max()) for mark in scene.layout.markers)
        return without_margin(scene, page(scene) & (scene.plane_mm[..., 1] > low + beyond_mm))

    return apply


def covered_marks(count: int) -> Apply:
    """Marks under a thumb or a pin."""

    def apply(scene: JarScene, rng: np.random.Generator) -> ByteArray:
        rgb = scene.photo.rgb.copy()
        for number in rng.permutation(len(scene.layout.markers))[:count]:
            mark = scene.layout.markers[number]
            middle = card_to_photo(mark.corners_mm.mean(axis=0, keepdims=True),
                                   scene.card.homography)[0]  # fmt: skip
            size = round(0.72 * mark.size_mm * scene.card.px_per_mm)
            at = (round(float(middle[0])), round(float(middle[1])))
            cv2.ellipse(rgb, at, (size, round(1.2 * size)), 20.0, 0.0, 360.0, (186, 140, 116), -1)
        return np.asarray(behind_jar(scene, rgb), np.uint8)

    return apply


def torn(scene: JarScene, rng: np.random.Generator) -> ByteArray:
    """An upper corner of the page torn off, through the mark's edge."""
    x = scene.plane_mm[..., 0]
    x = x if rng.integers(2) else scene.layout.width_mm - x
    return without_margin(scene, page(scene) & (x + scene.plane_mm[..., 1] < 9.0))


def coffee(scene: JarScene, rng: np.random.Generator) -> ByteArray:
    """A cup's ring and a spill over one column of swatches."""
    centre = np.array([rng.choice((8.0, 182.0)), rng.uniform(70.0, 190.0)])
    far = np.linalg.norm(scene.plane_mm - centre.astype(np.float32), axis=-1)
    spill = 0.6 / (1.0 + np.exp(np.clip(far - 14.0, -30.0, 30.0)))
    ring = np.exp(-(((far - 32.0) / 2.5) ** 2)) + spill
    depth = np.minimum(ring, 1.0)[..., None]
    stain = np.array([0.62, 0.42, 0.22], np.float32) ** depth
    return on_card(scene, np.asarray(scene.linear * stain, np.float32), beyond_mm=10.0)


def spare_card(shift_mm: tuple[float, float], scale: float) -> Apply:
    """A smaller second card behind the first, moved by so many mm in its plane."""

    def apply(scene: JarScene, rng: np.random.Generator) -> ByteArray:
        change = _shifted(scene, shift_mm, scale, rng)
        farther = _with_card(scene, change, scene.photo.rgb, aside=0)
        before = scene.soft(page(scene) | scene.whole, EDGE_PX)
        return blend(farther, scene.photo.rgb, before)

    return apply


def card_beside(scene: JarScene, rng: np.random.Generator) -> ByteArray:
    """A second card beside the first; to make room, the picture's sides are repeated."""
    change = _shifted(scene, (215.0, 0.0), 1.0, rng)
    aside = round(0.8 * scene.shape[1])
    wide = cv2.copyMakeBorder(scene.photo.rgb, 0, 0, aside, aside, cv2.BORDER_REPLICATE)
    return _with_card(scene, change, np.asarray(wide, np.uint8), aside=aside)


def _shifted(
    scene: JarScene, shift_mm: tuple[float, float], scale: float, rng: np.random.Generator
) -> FloatArray:
    """A place for another card in the plane of the first, to one side or the other."""
    x, side = scene.layout.centre_mm[0], 1.0 if rng.integers(2) else -1.0
    return np.array([[scale, 0.0, x - scale * x + side * shift_mm[0]],
                     [0.0, scale, shift_mm[1]], [0.0, 0.0, 1.0]])  # fmt: skip


def _with_card(scene: JarScene, change: FloatArray, below: ByteArray, *, aside: int) -> ByteArray:
    """Print another card on a picture that has ``aside`` more columns on both sides."""
    shift = np.array([[1.0, 0.0, aside], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    shape = (below.shape[0], below.shape[1])
    colours, there = scene.printed_card(shift @ scene.card.homography @ change, shape=shape)
    there[:, aside : aside + scene.shape[1]] &= ~scene.whole
    light = np.median(scene.paper[scene.card_mask()], axis=0)
    paper = encoded(np.asarray(colours * light, np.float32))
    share = cv2.GaussianBlur(there.astype(np.float32), (0, 0), EDGE_PX)[..., None]
    return blend(below, paper, share)


def screen(scene: JarScene, rng: np.random.Generator) -> ByteArray:
    """A photo of a screen that shows the photo: stripes of its pixels, pale blacks."""
    rows, cols = scene.shape
    grid = np.float32(rng.uniform(2.3, 3.1))
    x, y = np.arange(cols, dtype=np.float32), np.arange(rows, dtype=np.float32)
    stripes = 1.0 + 0.06 * np.sin(2.0 * np.pi * x / grid)[None, :, None]
    stripes = stripes * (1.0 + 0.05 * np.sin(2.0 * np.pi * y / (1.07 * grid))[:, None, None])
    uneven = 1.0 + 0.05 * cloud((rows // 8, cols // 8), rng, scale_mm=8.0)
    uneven = cv2.resize(uneven, (cols, rows))[..., None]
    return encoded(np.asarray(0.012 + 0.97 * scene.linear * stripes * uneven, np.float32))


EDITS = (
    Edit("faded_30", "card faded by 30 % to white", "card", faded(0.3)),
    Edit("faded_50", "card faded by 50 % to white", "card", faded(0.5)),
    Edit("yellowed", "paper yellowed", "card", tinted_page(1.0, 0.94, 0.76), harm=False),
    Edit("pink_paper", "printed on pink paper", "card", tinted_page(1.0, 0.82, 0.86)),
    Edit("coffee", "coffee on one column of swatches", "card", coffee, harm=False),
    Edit("print_94", "printed at 94 %, not told", "card", printed_at(0.94)),
    Edit("print_97", "printed at 97 %, not told", "card", printed_at(0.97)),
    Edit("print_103", "printed at 103 %, not told", "card", printed_at(1.03)),
    Edit("print_mirrored", "the print alone mirrored", "card", mirrored_print),
    Edit("trimmed", "page trimmed to the card's active area", "card", trimmed),
    Edit("cut_4", "page cut 4 mm below the marks", "card", cut_below(4.0), harm=False),
    Edit("cut_12", "page cut 12 mm below the marks", "card", cut_below(12.0), harm=False),
    Edit("torn", "a corner torn off", "card", torn, harm=False),
    Edit("mark_covered", "one mark covered", "card", covered_marks(1), harm=False),
    Edit("marks_covered", "two marks covered", "card", covered_marks(2)),
    Edit("second_card", "a second card beside the first", "card",
         card_beside, saved=Saved(focal=0.0)),
    Edit("second_card_far", "a smaller second card, behind, partly hidden", "card",
         spare_card((125.0, 60.0), 0.55)),
    Edit("screen", "a photo of a screen", "card", screen),
)  # fmt: skip
