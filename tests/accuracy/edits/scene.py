"""A good photo with what was found in it, the regions that edits need, and what an edit is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import cv2
import numpy as np

from jarvision.records import BoolArray, ByteArray, Float32Array, FloatArray
from jarvision.vision.card import marks as printed
from jarvision.vision.card.draw import card_marks
from jarvision.vision.card.find import read_swatches
from jarvision.vision.card.layout import load_layout
from jarvision.vision.card.pose import card_to_photo
from jarvision.vision.colour.light import paper_layout
from jarvision.vision.jar.plane_view import blueness
from jarvision.vision.read import PhotoAnalysis
from tests.accuracy.repaint import Places, light_of, places_of
from tests.accuracy.spoil import Scene, encoded

Kind = Literal["lens", "crop", "codec", "blur", "veil", "label", "light", "card", "jar", "contents"]
FIELD_BLUE = 0.5  # of the field's own log ratio of blue to red and green, half
LID_STEPS, LID_MOST = 160, 1.2  # how finely and how far above the body, of its width, lids end
LID_SMOOTH_PX, SPECK_PX2 = 1.5, 9.0
STRIP = 0.3  # of the body's width to both sides of the axis
CARD_DPI = 4.0 * printed.MM_PER_INCH
PLATE_SHRINK = 4
PLATE_SMOOTH_MM = 1.0


@dataclass(frozen=True)
class Saved:
    """How an edited photo is written: file format, quality, and what is left of EXIF.

    ``focal`` is the factor on EXIF's focal length, None where it is lost, 0 where it is what it
    must be for a picture with more or fewer pixels of the same size.
    """

    form: Literal["JPEG", "PNG", "WEBP"] = "JPEG"
    quality: int = 92
    focal: float | None = 1.0
    exif: bool = True


Apply = Callable[["JarScene", np.random.Generator], ByteArray]


@dataclass(frozen=True)
class Edit:
    """One way to change a photo.

    Attributes
    ----------
    word, meaning, kind
        A stable word, one line for tables, and the group that it belongs to.
    apply
        Scene and random numbers -> ``(rows, cols, 3)`` sRGB bytes.
    harm
        False where a grower would not expect any: then a refusal counts as an error.
    saved
        How the file is written.
    bare
        True where what is painted into the jar has not grown: the truth is then 0 %.
    """

    word: str
    meaning: str
    kind: Kind
    apply: Apply
    harm: bool = True
    saved: Saved = Saved()
    bare: bool = False


@dataclass(frozen=True)
class JarScene(Scene):
    """A good photo with all that the program found in it.

    ``wall`` is that of ``sight``, with its contents.
    """

    sight: PhotoAnalysis

    @classmethod
    def of(cls, sight: PhotoAnalysis) -> JarScene:
        """The scene of a photo that was read."""
        return cls(sight.photo, sight.card, sight.wall, load_layout(), sight)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, cols = self.photo.rgb.shape[:2]
        return rows, cols

    @cached_property
    def places(self) -> Places:
        """Where on the wall each photo pixel looks."""
        return places_of(self.sight)

    @cached_property
    def light(self) -> Float32Array:
        """``(rows, cols, 3)`` photo signal of a perfect white on the wall, linear."""
        return light_of(self.sight, self.places)

    @property
    def body_mm(self) -> float:
        """Height of the straight wall above the inner floor."""
        return self.sight.jar.floor_y_mm - self.sight.jar.top_y_mm

    @cached_property
    def jar_px_per_mm(self) -> float:
        """Scale at the jar's wall, upright."""
        middle = self.wall.pixels[:, self.wall.pixels.shape[1] // 2]
        span_mm = float(self.wall.heights_mm[0] - self.wall.heights_mm[-1])
        return float(np.linalg.norm(middle[0] - middle[-1])) / span_mm

    @cached_property
    def upright(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Middle of the body, unit vector up along the jar, unit vector to its right, px."""
        middle = self.wall.pixels[:, self.wall.pixels.shape[1] // 2].astype(float)
        up = middle[0] - middle[-1]
        up /= np.linalg.norm(up)
        return self.sight.jar.outline_px.mean(axis=0).astype(float), up, np.array([-up[1], up[0]])

    @cached_property
    def body_box(self) -> tuple[float, float, float, float]:
        """Left, right, foot and top of the body along :attr:`upright`, px from its middle."""
        centre, up, right = self.upright
        off = self.sight.jar.outline_px.astype(float) - centre
        across, along = off @ right, off @ up
        return float(across.min()), float(across.max()), float(along.min()), float(along.max())

    @cached_property
    def lid_top_px(self) -> float:
        """Where the lid ends along the jar's axis, px from the body's middle.

        The card's field is looked for above the jar: the lid ends where it begins.
        """
        centre, up, right = self.upright
        left, end, _, top = self.body_box
        rows, cols = self.shape
        along = top + np.linspace(0.0, LID_MOST, LID_STEPS) * (end - left)
        across = np.linspace(-STRIP, STRIP, 41) * (end - left)
        at = centre + along[:, None, None] * up + across[None, :, None] * right
        inside = card_to_photo(at, np.linalg.inv(self.card.homography))[..., 1]
        x, y = np.rint(at[..., 0]).astype(int), np.rint(at[..., 1]).astype(int)
        seen = (y >= 0) & (y < rows) & (x >= 0) & (x < cols)
        rgb = self.photo.rgb[np.clip(y, 0, rows - 1), np.clip(x, 0, cols - 1)]
        blue = np.median(blueness(rgb, self.sight.colour), axis=1) > FIELD_BLUE
        known = seen.all(axis=1) & (inside.min(axis=1) > self.layout.field.y_mm + 1.0)
        hides = np.flatnonzero(known & ~blue)
        return float(along[hides.max()]) if hides.size else top

    def box_mask(self, box: tuple[float, float, float, float]) -> BoolArray:
        """Pixels in a box (left, right, foot, top) along the jar's axis."""
        centre, up, right = self.upright
        left, end, foot, top = box
        corners = [centre + a * right + b * up for a, b in
                   ((left, foot), (end, foot), (end, top), (left, top))]  # fmt: skip
        return self.polygon(np.array(corners))

    def polygon(self, corners_px: FloatArray | Float32Array) -> BoolArray:
        """Pixels inside a polygon ``(k, 2)``."""
        mask = np.zeros(self.shape, np.uint8)
        cv2.fillPoly(mask, [np.rint(corners_px).astype(np.int32)], 1)
        return mask > 0

    @cached_property
    def body(self) -> BoolArray:
        """Pixels of the jar's body, foot to shoulder."""
        return self.polygon(self.sight.jar.outline_px)

    @cached_property
    def whole(self) -> BoolArray:
        """Pixels of the jar with its lid: above the body, what hides the card's field."""
        left, end, _, top = self.body_box
        box = self.box_mask((left, end, top - 1.0, self.lid_top_px + 1.0))
        if not box.any():
            return self.body
        y, x = np.nonzero(box)
        part = (slice(y.min(), y.max() + 1), slice(x.min(), x.max() + 1))
        smooth = np.asarray(cv2.GaussianBlur(self.photo.rgb[part], (0, 0), LID_SMOOTH_PX), np.uint8)
        hides = blueness(smooth, self.sight.colour) < FIELD_BLUE
        within = self.plane_mm[part][..., 1] > self.layout.field.y_mm
        lid = ((hides | ~within) & box[part]).astype(np.uint8)
        shapes, _ = cv2.findContours(lid, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
        mask = self.body.copy()
        if shapes:  # glass shows the field: from the lid down to the body all is jar
            hull = cv2.convexHull(
                np.vstack([s for s in shapes if cv2.contourArea(s) > 9.0] or shapes)
            )
            filled = cv2.fillPoly(np.zeros_like(lid), [hull], 1) > 0
            mask[part] |= filled & box[part]
        return mask

    def soft(self, mask: BoolArray, sigma_px: float) -> Float32Array:
        """A mask with a soft border, ``(rows, cols, 1)``, 0 to 1."""
        grown = cv2.dilate(mask.astype(np.float32), np.ones((3, 3), np.uint8))
        return np.asarray(cv2.GaussianBlur(grown, (0, 0), sigma_px), np.float32)[..., None]

    def card_mask(self, beyond_mm: float = 0.0) -> BoolArray:
        """Pixels of the card's active area, or some way beyond it; the jar may hide them."""
        x, y = self.plane_mm[..., 0], self.plane_mm[..., 1]
        wide, high = self.layout.width_mm + beyond_mm, self.layout.height_mm + beyond_mm
        return (x > -beyond_mm) & (x < wide) & (y > -beyond_mm) & (y < high)

    @cached_property
    def paper(self) -> Float32Array:
        """``(rows, cols, 3)`` photo signal of the bare paper, a plane in log light."""
        where = paper_layout(self.layout)
        seen = read_swatches(self.photo.samples, self.card, layout=where)
        xy = where.centres_mm / 100.0
        terms = np.column_stack([np.ones(len(xy)), xy])
        fit = np.linalg.lstsq(terms, np.log(np.maximum(seen.linear, 1e-4)), rcond=None)[0]
        at = np.clip(self.plane_mm, -60.0, 330.0) / 100.0
        return np.exp(fit[0] + at @ fit[1:]).astype(np.float32)

    def printed_card(
        self, to_photo: FloatArray, *, shape: tuple[int, int] | None = None
    ) -> tuple[Float32Array, BoolArray]:
        """Another card, ``to_photo`` being the homography of its mm: colours and pixels.

        ``shape`` is that of the picture, this photo's when None.
        """
        area = np.array([self.layout.width_mm, self.layout.height_mm])
        picture = printed.paint(card_marks(self.layout), area_mm=area, dpi=CARD_DPI)
        step = printed.MM_PER_INCH / CARD_DPI
        to_mm = np.array([[step, 0.0, step / 2], [0.0, step, step / 2], [0.0, 0.0, 1.0]])
        rows, cols = shape or self.shape
        flat = (picture.astype(np.float32) / 255.0) ** 2.2
        seen = cv2.warpPerspective(flat, to_photo @ to_mm, (cols, rows), flags=cv2.INTER_AREA)
        corners = np.rint(card_to_photo(self.layout.corners_mm, to_photo)).astype(np.int32)
        there = cv2.fillPoly(np.zeros((rows, cols), np.uint8), [corners], 1)
        return np.asarray(seen, np.float32), np.asarray(there > 0)

    @cached_property
    def plate(self) -> ByteArray:
        """The photo without its jar: the card's field and what is around, filled in."""
        hole = cv2.dilate(self.whole.astype(np.uint8), np.ones((9, 9), np.uint8))
        rows, cols = self.shape
        size = (cols // PLATE_SHRINK, rows // PLATE_SHRINK)
        small = cv2.resize(self.photo.rgb, size, interpolation=cv2.INTER_AREA)
        gap = cv2.resize(hole, size, interpolation=cv2.INTER_NEAREST)
        filled = cv2.resize(cv2.inpaint(small, gap, 3, cv2.INPAINT_TELEA), (cols, rows))
        field, x, y = self.layout.field, self.plane_mm[..., 0], self.plane_mm[..., 1]
        inside = (x > field.x_mm) & (x < field.x_mm + field.width_mm)
        inside &= (y > field.y_mm) & (y < field.y_mm + field.height_mm)
        shown = inside & (hole == 0)
        if shown.any():
            ink = np.median(self.linear[shown] / self.paper[shown], axis=0)
            filled[inside] = encoded(np.asarray(ink * self.paper[inside], np.float32))
        soft = self.soft(hole > 0, PLATE_SMOOTH_MM * self.jar_px_per_mm)
        return np.asarray(np.rint(self.photo.rgb * (1.0 - soft) + filled * soft), np.uint8)


def blend(below: ByteArray, above: ByteArray, share: Float32Array) -> ByteArray:
    """Two pictures mixed as encoded; ``share`` ``(rows, cols, 1)`` is that of the second."""
    mixed = below + (above.astype(np.float32) - below) * share
    return np.asarray(np.rint(np.clip(mixed, 0.0, 255.0)), np.uint8)
