"""A jar out of focus is refused, however sharp the card is."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data
from walls import COLS, ROWS, flat_wall, photographed

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import TissueClass, Wall
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.photo import read_photo
from jarvision.vision.quality.gate import accept_focus
from jarvision.vision.quality.jar_focus import jar_blur_mm
from jarvision.vision.read import look

SAMPLES = Path(__file__).parents[3] / "sample_images"
SETTINGS = PhotoSettings()
LIMIT_MM = SETTINGS.sight.jar_blur_max_mm


def edges(sigma_mm: float, *, noise: float = 0.0) -> Wall:
    """Grey squares of 15 mm behind glass, blurred by a known width; noise comes after the lens."""
    rows, cols = np.mgrid[0:ROWS, 0:COLS] // 60
    grey = np.where((rows + cols) % 2, np.float32(0.5), np.float32(0.15))
    wall = flat_wall(np.full((ROWS, COLS), TissueClass.BARE, dtype=np.uint8))
    encoded = cv2.GaussianBlur(np.sqrt(grey), (0, 0), sigma_mm / wall.step_mm)
    encoded += np.random.default_rng(3).normal(0.0, noise, grey.shape).astype(np.float32)
    return replace(wall, linear=np.repeat(encoded[..., None] ** 2, 3, axis=2))


@pytest.mark.parametrize("sigma_mm", [0.3, 0.6, 1.2])
def test_the_width_of_a_known_blur_is_found(sigma_mm: float) -> None:
    assert jar_blur_mm(edges(sigma_mm)) == pytest.approx(sigma_mm, rel=0.2)


def test_noise_makes_no_blurred_jar_sharp() -> None:
    """It comes after the lens, and what it steepens by chance is among the strongest edges."""
    assert jar_blur_mm(edges(1.2, noise=0.02)) > 1.5 * LIMIT_MM


def test_a_real_surface_seems_the_more_blurred_the_more_it_is() -> None:
    sharp = photographed(np.tile(skimage.data.gravel(), (2, 2)), 0.0)
    blurred = [
        replace(sharp, linear=cv2.GaussianBlur(sharp.linear, (0, 0), mm / sharp.step_mm))
        for mm in (0.9, 1.5)
    ]
    widths = [jar_blur_mm(wall) for wall in (sharp, *blurred)]
    assert widths == sorted(widths)
    assert widths[0] < 0.2 < LIMIT_MM < widths[1]


def test_a_wall_without_any_edge_is_not_refused() -> None:
    plain = flat_wall(np.full((ROWS, COLS), TissueClass.MYCELIUM, dtype=np.uint8))
    accept_focus(plain, settings=SETTINGS)
    nothing = flat_wall(np.full((ROWS, COLS), TissueClass.OUTSIDE, dtype=np.uint8))
    assert np.isnan(jar_blur_mm(nothing))
    accept_focus(nothing, settings=SETTINGS)


@pytest.mark.parametrize("name", ["SL03_2026-03-05", "SL02_2026-03-09"])  # partly and fully grown
def test_a_jar_out_of_focus_before_a_sharp_card_is_refused(name: str) -> None:
    path = SAMPLES / f"{name}.jpg"
    if not path.is_file():
        pytest.skip("needs sample_images")
    photo = read_photo(path, name=path.name)
    sharp = look(photo)
    x, y = sharp.wall.pixels.reshape(-1, 2).T
    jar = np.zeros(photo.rgb.shape[:2], np.float32)
    aside, above = 0.15 * np.ptp(x), 0.3 * np.ptp(y)
    corners = (int(x.min() - aside), int(y.min() - above)), (int(x.max() + aside), int(y.max()))
    cv2.rectangle(jar, *corners, 1.0, -1)
    sigma_px = 1.2 * sharp.card.px_per_mm
    jar = cv2.GaussianBlur(jar, (0, 0), sigma_px)[..., None]
    soft = cv2.GaussianBlur(photo.rgb, (0, 0), sigma_px)
    mixed = np.rint(photo.rgb * (1.0 - jar) + soft * jar).astype(np.uint8)
    with pytest.raises(PhotoRefusedError, match="jar is blurred") as refusal:
        look(replace(photo, rgb=mixed, rgb16=None))
    assert refusal.value.reason == "blurred"
