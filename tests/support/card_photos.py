"""Photos of the drawn card, with and without a drawn jar before it."""

from __future__ import annotations

from datetime import datetime
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from jarvision.base.colourspace import byte_to_linear_table, srgb_encode
from jarvision.vision.card import marks as printed
from jarvision.vision.card.draw import card_marks
from jarvision.vision.card.layout import TAG_FAMILY, load_layout

LAYOUT = load_layout()
PX_PER_MM = 5.0
EXIF_IFD, ORIGINAL = 0x8769, 0x9003


@cache
def drawn_card() -> np.ndarray:
    """Linear light of the card as drawn, 5 px/mm."""
    area_mm = np.array([LAYOUT.width_mm, LAYOUT.height_mm])
    rgb = printed.paint(card_marks(LAYOUT), area_mm=area_mm, dpi=PX_PER_MM * 25.4)
    return byte_to_linear_table()[rgb]


def shoot(
    card: np.ndarray,
    path: Path,
    *,
    ink: np.ndarray | None = None,
    warm: float = 1.0,
    day: int = 1,
    light: float = 0.7,
    blur_px: float = 0.8,
) -> Path:
    """Save a photo of the card: its inks changed by powers, a tinted light, a wall around it."""
    linear = card if ink is None else card**ink
    linear = linear * np.array([warm, 1.0, 1.0 / warm]) * light
    room = np.full((1750, 1120, 3), 0.2)  # the table in front of the jar shows
    rows, cols = card.shape[:2]
    room[100 : 100 + rows, 85 : 85 + cols] = linear
    room = cv2.GaussianBlur(room, (0, 0), blur_px)
    noise = np.random.default_rng(day).normal(0, 1.5, room.shape)
    rgb = np.clip(np.rint(255 * srgb_encode(room) + noise), 0, 255).astype(np.uint8)
    exif = Image.Exif()
    exif.get_ifd(EXIF_IFD)[ORIGINAL] = datetime(2026, 3, day, 12).strftime("%Y:%m:%d %H:%M:%S")
    Image.fromarray(rgb).save(path, quality=95, exif=exif)
    return path


def with_jar(card: np.ndarray, *, seed: int = 0) -> np.ndarray:
    """The card with a speckled block 88 mm wide and 148 mm high before it: jar enough."""
    rng = np.random.default_rng(seed)
    speckles = cv2.resize(
        rng.uniform(0.05, 0.4, (60, 36)), (440, 740), interpolation=cv2.INTER_CUBIC
    )
    behind = card.copy()
    top, left = 550, 255
    behind[top : top + 740, left : left + 440] = speckles[..., None] * np.array([1.0, 0.8, 0.5])
    return behind


def tag_picture(number: int, side_px: int) -> np.ndarray:
    """Grey values of a jar tag."""
    family = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, TAG_FAMILY))
    return np.asarray(cv2.aruco.generateImageMarker(family, number, side_px))


def photo_with_tag(path: Path, number: int) -> Path:
    """A plain photo with one jar tag of 120 px in it, and no card."""
    picture = np.full((1000, 750), 235, np.uint8)
    picture[300:420, 300:420] = tag_picture(number, 120)
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = "2026:03:05 18:00:00"
    Image.fromarray(picture).convert("RGB").save(path, quality=95, exif=exif)
    return path


def stick_tag(path: Path, number: int) -> Path:
    """Put a jar tag on white paper into the margin below the card of a photo."""
    with Image.open(path) as image:
        picture, exif = np.array(image), image.getexif()
    picture[1406:1494, 300:388] = 235
    picture[1418:1482, 312:376] = tag_picture(number, 64)[..., None]
    Image.fromarray(picture).save(path, quality=95, exif=exif)
    return path
