"""Photos of 12 megapixels as a phone weighs them, made from the rendered samples.

The samples are enlarged, and the noise of the simulated phone is put in again at full size: a
picture that is only enlarged has nothing in its finest details, and decodes faster than any photo.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from jarvision.base.colourspace import byte_to_linear_table
from tests.scenes import camera
from tests.scenes.samples import photos
from tests.scenes.spec import Phone

SAMPLES = Path(__file__).parents[2] / "sample_images"
LONG_SIDE_PX = 4032  # 12.2 megapixels, 4:3
PHONE_QUALITY = 96  # a phone's JPEG of 12 megapixels weighs 3 to 5 MB (common practice, no source)


@cache
def _phones() -> dict[str, Phone]:
    return {f"{photo.name}.jpg": photo.spec.phone for photo in photos()}


def enlarge(rgb: np.ndarray, phone: Phone, *, seed: int = 0) -> np.ndarray:
    """A sample at 12 megapixels, sRGB bytes, with sensor noise and sharpening of full size."""
    zoom = LONG_SIDE_PX / max(rgb.shape)
    # the electrons of one pixel of the sample fall on ``zoom`` times ``zoom`` pixels here
    phone = replace(phone, full_well_electrons=phone.full_well_electrons / zoom**2)
    linear = byte_to_linear_table().astype(np.float32)[rgb]
    large = cv2.resize(linear, None, fx=zoom, fy=zoom, interpolation=cv2.INTER_CUBIC)
    noisy = camera.sensor_noise(large, phone, np.random.default_rng([seed, 12]))
    encoded = camera.tone(noisy, 0)  # the sample has its tone curve already
    sharp = camera.sharpen(encoded, phone, zoom=large.shape[1] / 1512.0)
    return np.clip(np.round(sharp * 255.0), 0, 255).astype(np.uint8)


def large_photo(name: str) -> bytes:
    """A sample photo as a phone's JPEG of 12 megapixels, with the sample's own EXIF."""
    with Image.open(SAMPLES / name) as image:
        exif = image.getexif()
        rgb = np.asarray(image.convert("RGB"))
    data = io.BytesIO()
    Image.fromarray(enlarge(rgb, _phones()[name])).save(
        data, "JPEG", quality=PHONE_QUALITY, exif=exif
    )
    return data.getvalue()


def large_photos(folder: Path, names: Sequence[str]) -> list[Path]:
    """Write samples as photos of 12 megapixels into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in names:
        (folder / name).write_bytes(large_photo(name))
    return [folder / name for name in names]


def linked(folder: Path, photos: Sequence[Path], count: int) -> list[Path]:
    """Fill a folder with links to photos under the names of other jars, ``count`` in all.

    Every turn through ``photos`` is a shelf of its own: ``SL01_2026-03-02.jpg`` is jar ``SL01x7``
    in the seventh.
    """
    folder.mkdir(parents=True, exist_ok=True)
    made = []
    for number in range(count):
        turn, place = divmod(number, len(photos))
        jar, rest = photos[place].name.split("_", 1)
        made.append(folder / f"{jar}x{turn}_{rest}")
        made[-1].hardlink_to(photos[place])
    return made


def good_samples() -> list[Path]:
    """The sample photos that are not spoiled, jar by jar."""
    return [path for path in sorted(SAMPLES.glob("*.jpg")) if path.stem.count("-") == 2]
