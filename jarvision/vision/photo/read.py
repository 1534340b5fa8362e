"""File -> Photo: decode, shrink to working scale, convert to sRGB, turn upright, date."""

from __future__ import annotations

import hashlib
import math
from datetime import date
from pathlib import Path
from typing import cast

import numpy as np
from PIL import Image

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import ByteArray, DeepArray, Photo
from jarvision.vision.photo.cicp import code_points_to_srgb
from jarvision.vision.photo.decode import Decoded, decode
from jarvision.vision.photo.exif import turn_upright, when
from jarvision.vision.photo.icc import Converted, deep_to_srgb, to_bytes, to_srgb

WORKING_LONG_SIDE_PX = 2016
"""Long side of a working photo: about 0.15 to 0.2 mm a pixel when the card fills the frame."""

SMALLEST_LONG_SIDE_PX = 1800
"""JPEG's scaled decoding halves, quarters or eighths: a photo 4000 pixels long is worked on at
2000, a tenth coarser than 2016 at worst, rather than decoded in full for four times the time."""

SMALLEST_SHORT_SIDE_PX = 16
"""Icons and slivers are refused: no card is seen in them, and drawing one enlarged fills the
memory."""

MAX_BYTES = 500_000_000
"""Larger files are refused unread; 120 million pixels of 8 bits in three channels are 360 MB."""

FULL_FRAME_DIAGONAL_MM = 43.267
"""Diagonal of the 36 x 24 mm frame to which EXIF's 35 mm-equivalent focal length refers."""

DEFAULT_FOCAL_35MM = 26.0
"""Main lens of common phones (common practice, no source); used when EXIF says nothing."""


def read_photo(path: Path, *, name: str, dated: date | None = None) -> Photo:
    """Decode one photo at working scale.

    Parameters
    ----------
    path
        JPEG, PNG, TIFF, WebP or HEIC file, told by its content.
    name
        How the photo is called in tables: its path relative to the scored folder.
    dated
        The day that the file's name gives, used when EXIF has no time.

    Raises
    ------
    PhotoRefusedError
        ``unreadable``: no picture, a damaged one, or one of over 120 million pixels or
        360 MB of them.
    """
    content = _read_bytes(path)
    decoded = decode(content, smallest_side=SMALLEST_LONG_SIDE_PX)
    picture = _working_srgb(decoded)
    upright = turn_upright(picture.samples, decoded.exif.orientation)
    if min(upright.shape[:2]) < SMALLEST_SHORT_SIDE_PX:
        raise PhotoRefusedError("unreadable", "a picture too small or too narrow for a photo")
    focal_35mm = decoded.exif.focal_35mm
    taken_at, source = when(decoded.exif, dated=dated, path=path)
    return Photo(
        path=path,
        name=name,
        rgb=to_bytes(upright),
        scale=max(upright.shape[:2]) / decoded.full_long_side,
        focal_px=(focal_35mm or DEFAULT_FOCAL_35MM)
        / FULL_FRAME_DIAGONAL_MM
        * math.hypot(*upright.shape[:2]),
        focal_known=focal_35mm is not None,
        taken_at=taken_at,
        time_source=source,
        rgb16=upright.astype(np.uint16, copy=False) if upright.dtype == np.uint16 else None,
        utc_offset=decoded.exif.utc_offset,
        ignored_day=decoded.exif.ignored_day,
        notes=(picture.note,) if picture.note else (),
        colour_step=decoded.colour_step,
    )


def picture_digest(photo: Photo) -> str:
    """Tell a picture by its pixels, whatever its file says beside them; in hex.

    Every eighth row will do: no two shots have the same noise.
    """
    samples = photo.samples
    found = hashlib.sha256(repr((samples.shape, str(samples.dtype))).encode())
    found.update(samples[::8].tobytes())
    return found.hexdigest()[:32]


def is_whole(path: Path) -> bool:
    """Tell whether a file is a picture with its end: a copy that is still under way has none."""
    try:
        decode(_read_bytes(path), smallest_side=1)
    except PhotoRefusedError:
        return False
    return True


def _read_bytes(path: Path) -> bytes:
    try:
        if not path.is_file():
            raise PhotoRefusedError(
                "unreadable", "no such file" if not path.exists() else "no file"
            )
        if path.stat().st_size > MAX_BYTES:
            raise PhotoRefusedError("unreadable", f"a file of over {MAX_BYTES // 10**6} MB")
        return path.read_bytes()
    except OSError as error:
        raise PhotoRefusedError("unreadable", f"cannot read the file: {error.strerror}") from error


def _working_srgb(decoded: Decoded) -> Converted:
    """Shrink first, then convert: far fewer pixels go through the profile."""
    pixels = decoded.pixels
    if not isinstance(pixels, Image.Image) and pixels.dtype == np.uint8:
        plain = cast(ByteArray, pixels)
        if not decoded.icc and max(plain.shape) <= WORKING_LONG_SIDE_PX:
            return Converted(plain)  # sRGB of the right size already
        pixels = Image.fromarray(plain)
    if isinstance(pixels, Image.Image):
        size = _working_size(pixels.size)
        small = pixels if size == pixels.size else pixels.resize(size, Image.Resampling.BOX)
        return _converted(small, decoded)
    deep = cast(DeepArray, pixels)
    size = _working_size((deep.shape[1], deep.shape[0]))
    if size != (deep.shape[1], deep.shape[0]):
        import cv2

        shrunk = cv2.resize(deep, size, interpolation=cv2.INTER_AREA)
        deep = np.atleast_3d(np.asarray(shrunk, dtype=np.uint16))
    return _converted(deep, decoded)


def _converted(pixels: Image.Image | DeepArray, decoded: Decoded) -> Converted:
    if decoded.points is not None and not decoded.points.plain:
        return code_points_to_srgb(pixels, decoded.points)
    if isinstance(pixels, Image.Image):
        return to_srgb(pixels, decoded.icc)
    return deep_to_srgb(pixels, decoded.icc)


def _working_size(size: tuple[int, int]) -> tuple[int, int]:
    shrink = WORKING_LONG_SIDE_PX / max(size)
    if shrink >= 1.0:
        return size
    return max(1, round(size[0] * shrink)), max(1, round(size[1] * shrink))
