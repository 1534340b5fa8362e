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

ONE_PHOTO = (
    "SL01_2026-03-04.jpg", "SL02_2026-03-06.jpg", "SL03_2026-03-05.jpg",
    "SL05_2026-03-07.jpg", "SL06_2026-03-05.jpg", "SL08_2026-03-08.jpg",
)  # fmt: skip
"""Grain and straw, bare, half and fully covered, green mould, brown skin. Of four of the six too
little bare contents show, or too strange ones, so that all networks are asked."""

SAMPLES = Path(__file__).parents[2] / "sample_images"
LONG_SIDE_PX = 4032  # 12.2 megapixels, 4:3
PHONE_QUALITY = 96  # a phone's JPEG of 12 megapixels weighs 3 to 5 MB (common practice, no source)
QUALITIES = (80, 92, PHONE_QUALITY)
"""The lighter a file is, the faster is its plain decoding, while all else stays."""


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


def large_photo(name: str, *qualities: int) -> list[bytes]:
    """A sample photo as a phone's JPEGs of 12 megapixels, with the sample's own EXIF."""
    with Image.open(SAMPLES / name) as image:
        exif = image.getexif()
        rgb = np.asarray(image.convert("RGB"))
    large = Image.fromarray(enlarge(rgb, _phones()[name]))
    files = [io.BytesIO() for _ in qualities]
    for file, quality in zip(files, qualities, strict=True):
        large.save(file, "JPEG", quality=quality, exif=exif)
    return [file.getvalue() for file in files]


def large_photos(folder: Path, names: Sequence[str]) -> list[Path]:
    """Write samples as photos of 12 megapixels into a folder."""
    return by_quality(folder, names, PHONE_QUALITY)[PHONE_QUALITY]


def by_quality(folder: Path, names: Sequence[str], *qualities: int) -> dict[int, list[Path]]:
    """Write samples as photos of 12 megapixels into a folder for each quality."""
    made: dict[int, list[Path]] = {quality: [] for quality in qualities}
    for name in names:
        for quality, content in zip(qualities, large_photo(name, *qualities), strict=True):
            path = folder / f"quality-{quality}" / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
            made[quality].append(path)
    return made


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
