"""Photos as files: every format and way up, 16-bit PNG and deep HEIC written by hand."""

from __future__ import annotations

import io
import struct
import zlib
from datetime import date
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
from PIL import Image

from jarvision.records import Photo
from jarvision.vision.photo import read_photo

pillow_heif.register_heif_opener()

ORIENTATION, EXIF_IFD, ORIGINAL, OFFSET, FOCAL_35MM = 274, 0x8769, 0x9003, 0x9011, 0xA405
CORNERS = ((200, 40, 40), (40, 200, 40), (40, 40, 200), (220, 220, 60))


def picture(rows: int = 48, cols: int = 64) -> np.ndarray:
    """Four plain quarters of four colours: no turn or mirroring leaves it as it is."""
    quarters = np.array(CORNERS, np.uint8).reshape(2, 2, 3)
    return quarters.repeat(rows // 2, axis=0).repeat(cols // 2, axis=1)


def stored_for(orientation: int, upright: np.ndarray) -> np.ndarray:
    """How a camera stores a picture that EXIF's ``orientation`` turns upright.

    EXIF 2.32, tag 0x0112: on which side of the upright picture the stored row 0 and column 0 lie.
    """
    row_0, col_0 = {
        1: ("top", "left"),
        2: ("top", "right"),
        3: ("bottom", "right"),
        4: ("bottom", "left"),
        5: ("left", "top"),
        6: ("right", "top"),
        7: ("right", "bottom"),
        8: ("left", "bottom"),
    }[orientation]
    swapped = row_0 in ("left", "right")
    stored = upright.swapaxes(0, 1) if swapped else upright
    if row_0 in ("bottom", "right"):
        stored = stored[::-1]
    if col_0 in ("bottom", "right"):
        stored = stored[:, ::-1]
    return np.ascontiguousarray(stored)


def exif_bytes(details: dict[int, object] | None = None, orientation: int = 1) -> bytes:
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    if details:
        exif.get_ifd(EXIF_IFD).update(details)
    return exif.tobytes()


def png16(samples: np.ndarray, exif: bytes = b"", icc: bytes = b"") -> bytes:
    """A 16-bit PNG, with its extra chunks put in by hand (ISO/IEC 15948, 5.3 and 11.3)."""
    stored = samples[..., ::-1] if samples.ndim == 3 else samples
    _, buffer = cv2.imencode(".png", np.ascontiguousarray(stored))
    raw, extra = buffer.tobytes(), b""
    if exif:
        extra += chunk(b"eXIf", exif.removeprefix(b"Exif\0\0"))
    if icc:
        extra += chunk(b"iCCP", b"p\0\0" + zlib.compress(icc))
    return raw[:33] + extra + raw[33:]


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def read(content: bytes, folder: Path, name: str = "a.jpg", dated: date | None = None) -> Photo:
    path = folder / name
    path.write_bytes(content)
    return read_photo(path, name=name, dated=dated)


def saved(image: Image.Image, **options: object) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, **options)  # type: ignore[arg-type]
    return buffer.getvalue()


def quarters_of(rgb: np.ndarray) -> np.ndarray:
    """Median colour of the four quarters."""
    rows, cols = rgb.shape[0] // 2, rgb.shape[1] // 2
    parts = (rgb[:rows, :cols], rgb[:rows, cols:], rgb[rows:, :cols], rgb[rows:, cols:])
    return np.array([np.median(part, axis=(0, 1)) for part in parts])


LOSSY = {"quality": 95}
KINDS = {
    "JPEG": {"format": "JPEG", **LOSSY},
    "PNG": {"format": "PNG"},
    "TIFF": {"format": "TIFF"},
    "TIFF, packed": {"format": "TIFF", "compression": "tiff_lzw"},
    "WebP": {"format": "WEBP", **LOSSY},
    "HEIC": {"format": "HEIF", **LOSSY},
}


def heic(deep: np.ndarray, *, bits: int, **how: object) -> bytes:
    """Samples from 0 to 65535 as a HEIC file of 10 or 12 bits."""
    rows, cols, _ = deep.shape
    file = pillow_heif.from_bytes(mode="RGB;16", size=(cols, rows), data=deep.tobytes())
    buffer = io.BytesIO()
    before = pillow_heif.options.SAVE_HDR_TO_12_BIT
    pillow_heif.options.SAVE_HDR_TO_12_BIT = bits == 12
    try:
        file.save(buffer, quality=100, chroma=444, **how)
    finally:
        pillow_heif.options.SAVE_HDR_TO_12_BIT = before
    return buffer.getvalue()


def ramp() -> np.ndarray:
    """All greys from black to white, 16 bits, ``(64, 256, 3)``."""
    levels = np.linspace(0, 65535, 256).astype(np.uint16)
    return np.ascontiguousarray(np.broadcast_to(levels[None, :, None], (64, 256, 3)))
