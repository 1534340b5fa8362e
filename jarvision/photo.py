"""File -> Photo: the only place where pictures are decoded.

Pillow decodes (JPEG at a reduced scale where that is enough), turns the picture upright by its
EXIF orientation exactly once, and converts the embedded ICC profile to sRGB.
"""

from __future__ import annotations

import hashlib
import io
import math
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from jarvision.errors import PhotoRefusedError
from jarvision.records import ByteArray, Photo, TimeSource

WORKING_LONG_SIDE_PX = 2016
"""Long side of a working photo: about 0.15 to 0.2 mm a pixel when the card fills the frame."""

FULL_FRAME_DIAGONAL_MM = 43.267
"""Diagonal of the 36 x 24 mm frame to which EXIF's 35 mm-equivalent focal length refers."""

DEFAULT_FOCAL_35MM = 26.0
"""Main lens of common phones (common practice, no source); used when EXIF says nothing."""

MAX_PIXELS = 120_000_000
"""Larger pictures are refused before they are decoded."""

_EXIF_IFD = 0x8769
_DATETIME_ORIGINAL = 0x9003
_FOCAL_35MM = 0xA405


def read_photo(path: Path, *, name: str, dated: date | None = None) -> Photo:
    """Decode one photo at working scale.

    Parameters
    ----------
    path
        JPEG, PNG, TIFF, WebP or HEIC file.
    name
        How the photo is called in tables: its path relative to the scored folder.
    dated
        The day that the file's name gives, used when EXIF has no time.

    Raises
    ------
    PhotoRefusedError
        ``unreadable``: no picture, a truncated one, or one of over 120 million pixels.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise PhotoRefusedError("unreadable", f"cannot read the file: {error.strerror}") from error
    try:
        return _decode(content, path=path, name=name, dated=dated)
    except (UnidentifiedImageError, Image.DecompressionBombError) as error:
        raise PhotoRefusedError("unreadable", "not a picture that can be opened") from error
    except (OSError, ValueError, SyntaxError, EOFError, TypeError, IndexError) as error:
        raise PhotoRefusedError("unreadable", f"damaged picture: {error}") from error


def _decode(content: bytes, *, path: Path, name: str, dated: date | None) -> Photo:
    if path.suffix.lower() in {".heic", ".heif"}:
        import pillow_heif

        pillow_heif.register_heif_opener()
    with Image.open(io.BytesIO(content)) as image:
        full = image.size
        if full[0] * full[1] > MAX_PIXELS:
            raise PhotoRefusedError("unreadable", f"picture of {full[0]} x {full[1]} pixels")
        exif = image.getexif()
        details = exif.get_ifd(_EXIF_IFD)
        if image.format == "JPEG":
            image.draft(None, _draft_size(full))
        upright = ImageOps.exif_transpose(image)
        rgb = _to_working_scale(_to_srgb(upright))
    scale = max(rgb.shape[:2]) / max(full)
    focal_35mm = _positive(details.get(_FOCAL_35MM))
    diagonal_px = math.hypot(*rgb.shape[:2])
    taken_at, source = _time_taken(details.get(_DATETIME_ORIGINAL), dated=dated, path=path)
    return Photo(
        path=path,
        name=name,
        digest=hashlib.sha256(content).hexdigest(),
        rgb=rgb,
        scale=scale,
        focal_px=(focal_35mm or DEFAULT_FOCAL_35MM) / FULL_FRAME_DIAGONAL_MM * diagonal_px,
        focal_known=focal_35mm is not None,
        taken_at=taken_at,
        time_source=source,
    )


def _draft_size(full: tuple[int, int]) -> tuple[int, int]:
    """Smallest size that JPEG's scaled decoding may return: still the working long side."""
    shrink = min(1.0, WORKING_LONG_SIDE_PX / max(full))
    return math.floor(full[0] * shrink), math.floor(full[1] * shrink)


def _to_srgb(image: Image.Image) -> Image.Image:
    """Convert to 8-bit sRGB, honouring the embedded ICC profile; none means sRGB."""
    if image.mode in {"I;16", "I;16B", "I;16L", "I", "F"}:
        samples = np.asarray(image, dtype=np.float64)
        image = Image.fromarray(np.clip(samples / 257.0, 0, 255).astype(np.uint8))
    if image.mode in {"RGBA", "LA", "PA", "P"}:
        profile = image.info.get("icc_profile")
        image = image.convert("RGB")
        image.info["icc_profile"] = profile
    icc = image.info.get("icc_profile")
    if not icc:
        return image.convert("RGB")
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        converted = ImageCms.profileToProfile(
            image, source, ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError):
        return image.convert("RGB")  # a broken profile says nothing about the colours
    return converted if converted is not None else image.convert("RGB")


def _to_working_scale(image: Image.Image) -> ByteArray:
    shrink = WORKING_LONG_SIDE_PX / max(image.size)
    if shrink < 0.999:
        size = (round(image.width * shrink), round(image.height * shrink))
        image = image.resize(size, Image.Resampling.BOX)
    return np.array(image, dtype=np.uint8)


def _positive(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def _time_taken(original: Any, *, dated: date | None, path: Path) -> tuple[datetime, TimeSource]:
    """EXIF's DateTimeOriginal, else the name's date at noon, else the file's own time."""
    try:
        text = str(original).strip().rstrip("\x00")
        return datetime.strptime(text, "%Y:%m:%d %H:%M:%S"), "exif"
    except ValueError:
        pass
    return time_without_exif(path, dated=dated)


def time_without_exif(path: Path, *, dated: date | None) -> tuple[datetime, TimeSource]:
    """The name's date at noon, else the file's own time."""
    if dated is not None:
        return datetime.combine(dated, time(12)), "name"
    return datetime.fromtimestamp(path.stat().st_mtime).replace(microsecond=0), "file"
