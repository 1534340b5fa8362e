"""Spoil photos of known truth by known amounts, one way at a time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property

import cv2
import numpy as np

from jarvision.base.colourspace import byte_to_linear_table, srgb_encode
from jarvision.records import ByteArray, CardFit, Float32Array, Photo, RawWall
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.card.pose import card_to_photo

FULL_WELL, READ_NOISE = 6000.0, 3.0  # electrons a working pixel, as in the scenes' usual phone
JPEG_QUALITY = 90
LAST = 65535  # steps of linear light before encoding
BESIDE_WALL, LID_SHARE, FOOT_SHARE = 0.12, 0.35, 0.15  # of the wall's width and height: its glass
SOFT_PX = 4.0  # least softness of the border of what is blurred
SKIN_RGB = (196, 148, 122)


@dataclass(frozen=True)
class Spoiler:
    """One way of spoiling, in rising steps; ``apply(scene, step, rng)`` returns the photo."""

    name: str
    steps: Sequence[float]
    apply: Callable[[Scene, float, np.random.Generator], Photo]


@dataclass(frozen=True)
class Scene:
    """A good photo with what was found in it."""

    photo: Photo
    card: CardFit
    wall: RawWall
    layout: CardLayout

    @cached_property
    def linear(self) -> Float32Array:
        """``(rows, cols, 3)`` linear light."""
        return byte_to_linear_table().astype(np.float32)[self.photo.rgb]

    def with_linear(self, linear: Float32Array) -> Photo:
        """The photo with other linear light, through JPEG."""
        return self.with_rgb(encoded(linear))

    def with_rgb(self, rgb: ByteArray) -> Photo:
        """The photo with other pixels, through JPEG."""
        data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])[1]
        again = np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), dtype=np.uint8)
        return replace(self.photo, rgb=np.ascontiguousarray(again[..., ::-1]), rgb16=None)

    @cached_property
    def plane_mm(self) -> Float32Array:
        """``(rows, cols, 2)`` place of every pixel in the card's plane, mm."""
        rows, cols = self.photo.rgb.shape[:2]
        grid = np.stack(np.meshgrid(np.arange(cols), np.arange(rows)), axis=-1).astype(float)
        return card_to_photo(grid, np.linalg.inv(self.card.homography)).astype(np.float32)

    @cached_property
    def card_places(self) -> Float32Array:
        """``(rows, cols, 2)`` place of every pixel in the card's plane, 0 to 1 over the card."""
        share = self.plane_mm / np.array([self.layout.width_mm, self.layout.height_mm])
        return np.clip(share, -0.2, 1.2).astype(np.float32)


def encoded(linear: Float32Array) -> ByteArray:
    """sRGB bytes of linear light, cut at both ends."""
    return _encoding()[np.clip(linear * np.float32(LAST), 0, LAST).astype(np.uint16)]


@cache
def _encoding() -> ByteArray:
    """sRGB byte of every 16-bit step of linear light."""
    return np.rint(255.0 * srgb_encode(np.arange(LAST + 1) / LAST)).astype(np.uint8)


def defocus(scene: Scene, sigma_mm: float, _: np.random.Generator) -> Photo:
    """Gaussian blur in linear light."""
    sigma = sigma_mm * scene.card.px_per_mm
    return scene.with_linear(cv2.GaussianBlur(scene.linear, (0, 0), sigma))


def jar_defocus(scene: Scene, sigma_mm: float, _: np.random.Generator) -> Photo:
    """Gaussian blur of the jar and its lid alone, with a soft border: the card stays sharp."""
    sigma = sigma_mm * scene.card.px_per_mm
    x, y = scene.wall.pixels.reshape(-1, 2).T
    aside, above = BESIDE_WALL * np.ptp(x), LID_SHARE * np.ptp(y)
    corners = (
        (x.min() - aside, y.min() - above),
        (x.max() + aside, y.max() + FOOT_SHARE * np.ptp(y)),
    )
    jar = np.zeros(scene.photo.rgb.shape[:2], np.float32)
    low, high = (tuple(round(float(at)) for at in corner) for corner in corners)
    cv2.rectangle(jar, low, high, 1.0, -1)
    jar = cv2.GaussianBlur(jar, (0, 0), max(SOFT_PX, sigma))[..., None]
    soft = cv2.GaussianBlur(scene.linear, (0, 0), sigma)
    return scene.with_linear(scene.linear * (1.0 - jar) + soft * jar)


def shake(scene: Scene, length_mm: float, rng: np.random.Generator) -> Photo:
    """Straight motion in a random direction, in linear light."""
    length = length_mm * scene.card.px_per_mm
    size = 2 * int(np.ceil(length / 2)) + 1
    angle = rng.uniform(0, np.pi)
    middle = (size - 1) / 2
    end = np.array([np.cos(angle), np.sin(angle)]) * length / 2
    fine = 8
    big = np.zeros((size * fine, size * fine), np.uint8)
    at = (middle + 0.5) * fine
    ends = [tuple(round(at + s * e * fine) for e in end) for s in (-1, 1)]
    cv2.line(big, ends[0], ends[1], 255, fine)
    kernel = cv2.resize(big, (size, size), interpolation=cv2.INTER_AREA).astype(float)
    return scene.with_linear(cv2.filter2D(scene.linear, -1, kernel / np.float32(kernel.sum())))


def dim(scene: Scene, ev: float, rng: np.random.Generator) -> Photo:
    """Less light on the same sensor: darker, and noisier for it."""
    light = scene.linear * np.float32(2.0**-ev)
    noise = np.sqrt(np.maximum(light, 0.0) / FULL_WELL + (READ_NOISE / FULL_WELL) ** 2)
    return scene.with_linear(light + noise * rng.standard_normal(light.shape, dtype=np.float32))


def noise(scene: Scene, ev: float, rng: np.random.Generator) -> Photo:
    """Shot noise as if the phone had amplified the picture by ``ev`` stops."""
    light, well = scene.linear, np.float32(FULL_WELL * 2.0**-ev)
    spread = np.sqrt(np.maximum(light, 0.0) / well + (READ_NOISE / well) ** 2)
    return scene.with_linear(light + spread * rng.standard_normal(light.shape, dtype=np.float32))


def brighten(scene: Scene, ev: float, _: np.random.Generator) -> Photo:
    """More light than the sensor holds."""
    return scene.with_linear(scene.linear * np.float32(2.0**ev))


def slope(scene: Scene, log_ratio: float, rng: np.random.Generator) -> Photo:
    """Light that falls off over the card by a factor, in a random direction."""
    along = _along(scene, rng)
    return scene.with_linear(scene.linear * np.exp(np.float32(-log_ratio) * along)[..., None])


def two_lamps(scene: Scene, log_ratio: float, rng: np.random.Generator) -> Photo:
    """Light whose red over green rises and blue over green falls over the card by a factor."""
    along = _along(scene, rng)
    gains = np.stack([(along - 1.0), np.zeros_like(along), -along], axis=-1) * np.float32(log_ratio)
    return scene.with_linear(scene.linear * np.exp(gains))


def _along(scene: Scene, rng: np.random.Generator) -> Float32Array:
    places = scene.card_places[..., rng.integers(2)]
    return places if rng.integers(2) else 1.0 - places


def shrink(scene: Scene, px_per_mm: float, _: np.random.Generator) -> Photo:
    """Taken from farther away."""
    share = px_per_mm / scene.card.px_per_mm
    if share >= 1.0:
        return scene.photo
    small = cv2.resize(scene.photo.rgb, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    return replace(
        scene.with_rgb(np.asarray(small, np.uint8)),
        scale=scene.photo.scale * share,
        focal_px=scene.photo.focal_px * share,
    )


def flash(scene: Scene, share: float, rng: np.random.Generator) -> Photo:
    """Mirrored lamps that burn out a share of the jar's wall."""
    rows, cols = scene.wall.pixels.shape[:2]
    burnt = np.zeros((rows, cols), np.uint8)
    while burnt.mean() < share:
        at = (int(rng.integers(cols)), int(rng.integers(rows)))
        axes = (int(rng.integers(8, 24)), int(rng.integers(16, 80)))
        cv2.ellipse(burnt, at, axes, 0.0, 0.0, 360.0, 1, -1)
    pixels = np.rint(scene.wall.pixels[burnt > 0]).astype(int)
    spot = np.zeros(scene.photo.rgb.shape[:2], np.float32)
    spot[pixels[:, 1], pixels[:, 0]] = 1.0
    spot = cv2.GaussianBlur(cv2.morphologyEx(spot, cv2.MORPH_CLOSE, np.ones((3, 3))), (0, 0), 1.2)
    return scene.with_linear(scene.linear + 1.3 * spot[..., None])


def thumb(scene: Scene, swatches: float, rng: np.random.Generator) -> Photo:
    """A hand over so many swatches, from the lowest upwards, on one side."""
    side = ("left", "right")[rng.integers(2)]
    left = scene.layout.centre_mm[0]
    column = [s for s in scene.layout.swatches if (s.x_mm < left) == (side == "left")]
    hidden = sorted(column, key=lambda s: -s.y_mm)[: int(swatches)]
    if not hidden:
        return scene.photo
    x, y = hidden[0].x_mm, hidden[-1].y_mm
    low = hidden[0].y_mm + hidden[0].height_mm
    outer = (x - 25.0, x + 21.0) if side == "left" else (x - 1.0, x + 45.0)
    box = np.array([(outer[0], y), (outer[1], y), (outer[1], low), (outer[0], low)])
    corners = np.rint(card_to_photo(box, scene.card.homography)).astype(np.int32)
    rgb = cv2.fillConvexPoly(scene.photo.rgb.copy(), corners, SKIN_RGB)
    return scene.with_rgb(np.asarray(rgb, np.uint8))


SPOILERS = (
    Spoiler("defocus", (0.15, 0.25, 0.35, 0.45, 0.55, 0.65), defocus),
    Spoiler("jar out of focus", (0.3, 0.6, 0.9, 1.2, 2.4), jar_defocus),
    Spoiler("shake", (0.6, 1.0, 1.4, 1.8, 2.3), shake),
    Spoiler("dim", (1.0, 2.0, 3.0, 4.0, 5.0, 6.0), dim),
    Spoiler("noise", (2.0, 3.0, 4.0, 5.0, 6.0), noise),
    Spoiler("brighten", (0.4, 0.7, 1.0, 1.3, 1.6, 2.0), brighten),
    Spoiler("slope", (0.4, 0.8, 1.2, 1.6, 2.0, 2.5), slope),
    Spoiler("two lamps", (0.2, 0.4, 0.6, 0.8, 1.1, 1.5), two_lamps),
    Spoiler("shrink", (3.3, 2.8, 2.4, 2.0, 1.7, 1.4), shrink),
    Spoiler("flash", (0.01, 0.02, 0.04, 0.07, 0.1, 0.15, 0.25), flash),
    Spoiler("thumb", (2, 4, 6, 8, 10, 13), thumb),
)
