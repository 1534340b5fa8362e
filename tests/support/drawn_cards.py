"""Photos of the printed card alone, drawn under a known pose, blur and noise."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter

from jarvision.base.colourspace import byte_to_linear_table, srgb_encode
from jarvision.base.errors import PhotoRefusedError
from jarvision.records import CardFit, Photo, SwatchReadings
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.card import marks as printed
from jarvision.vision.card.draw import card_marks
from jarvision.vision.card.find import find_card, read_swatches
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.colour.light import paper_layout
from jarvision.vision.quality.gate import accept_card

DRAWN_DPI = 381.0  # 15 px a mm
DRAWN_PX_PER_MM = DRAWN_DPI / 25.4
CARD_MM = np.array([190.0, 260.0])
FRAME_MM = (310.0, 280.0)  # rows, columns of the photo at the card: room for a rolled card
BORDER_MM = 10.0  # of white paper around the card


def paint_card(layout: CardLayout) -> np.ndarray:
    """The card in linear light, with white paper around it."""
    area = np.array([layout.width_mm, layout.height_mm])
    rgb = printed.paint(card_marks(layout), area_mm=area, dpi=DRAWN_DPI)
    linear = byte_to_linear_table()[rgb].astype(np.float32)
    border = round(BORDER_MM * DRAWN_PX_PER_MM)
    return cv2.copyMakeBorder(linear, *(border,) * 4, cv2.BORDER_CONSTANT, value=(1.0,) * 3)


def pose(px_per_mm: float, *, roll: float = 0.0, tilt: float = 0.0) -> tuple[np.ndarray, float]:
    """Homography from card mm to px of a pinhole camera before the card, and its focal length."""
    rows, cols = (round(side * px_per_mm) for side in FRAME_MM)
    focal = 1.2 * rows
    turn, _ = cv2.Rodrigues(np.deg2rad([tilt, 0.7 * tilt, 0.0]))
    about, _ = cv2.Rodrigues(np.deg2rad([0.0, 0.0, roll]))
    rotation = turn @ about
    shift = np.array([0.0, 0.0, focal / px_per_mm]) - rotation @ np.array([95.0, 130.0, 0.0])
    camera = np.array([[focal, 0, (cols - 1) / 2], [0, focal, (rows - 1) / 2], [0, 0, 1]])
    return camera @ np.column_stack([rotation[:, :2], shift]), focal


def photographed(
    drawn: np.ndarray,
    px_per_mm: float,
    *,
    blur_px: tuple[float, float] = (0.8, 0.8),
    roll: float = 0.0,
    tilt: float = 0.0,
    gain: float = 0.7,
    noise: float = 0.004,
) -> tuple[np.ndarray, CardFit]:
    """A photo of the card with pixels that gather light, a blur (down, across) and a noise."""
    homography, focal = pose(px_per_mm, roll=roll, tilt=tilt)
    fine = 2
    larger = np.array([[fine, 0, (fine - 1) / 2], [0, fine, (fine - 1) / 2], [0, 0, 1.0]])
    size = np.array(drawn.shape[1::-1])
    smaller = np.minimum(size, np.rint(size * 2 * fine * px_per_mm / DRAWN_PX_PER_MM)).astype(int)
    drawn = cv2.resize(drawn, smaller.tolist(), interpolation=cv2.INTER_AREA)
    step = (CARD_MM + 2 * BORDER_MM) / smaller
    to_mm = np.diag([*step, 1.0])
    to_mm[:2, 2] = step / 2 - BORDER_MM
    rows, cols = (round(side * px_per_mm) for side in FRAME_MM)
    big = cv2.warpPerspective(
        drawn, larger @ homography @ to_mm, (cols * fine, rows * fine), borderValue=(0.4,) * 3
    )
    light = cv2.resize(big, (cols, rows), interpolation=cv2.INTER_AREA)
    light = gaussian_filter(light, (*blur_px, 0.0)) * gain
    grain = noise * np.random.default_rng(7).standard_normal(light.shape)
    rgb = np.rint(255.0 * srgb_encode(np.clip(light + grain, 0.0, 1.0))).astype(np.uint8)
    return rgb, find_card(rgb, focal)


def as_photo(rgb: np.ndarray) -> Photo:
    focal_px = 1.2 * rgb.shape[0]
    evening = datetime(2026, 3, 2, 18, 0)
    return Photo(Path("a.jpg"), "a.jpg", rgb, 1.0, focal_px, True, evening, "exif")


def judged(
    rgb: np.ndarray, card: CardFit, layout: CardLayout, swatches: SwatchReadings | None = None
) -> str:
    """Reason word of a photo, empty for a good one."""
    photo = as_photo(rgb)
    swatches = swatches or read_swatches(rgb, card, layout=layout)
    paper = read_swatches(rgb, card, layout=paper_layout(layout))
    try:
        accept_card(photo, card, swatches, paper, layout=layout, settings=PhotoSettings())
    except PhotoRefusedError as refusal:
        assert refusal.detail
        return refusal.reason
    return ""
