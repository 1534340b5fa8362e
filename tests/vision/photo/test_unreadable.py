"""Files that are no photo, or no longer one, and the two decoders that must agree."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from stored_photos import KINDS, chunk, exif_bytes, picture, png16, read, saved

from jarvision.base.errors import PhotoRefusedError
from jarvision.vision.photo import read_photo


def unreadable(content: bytes, folder: Path) -> str:
    with pytest.raises(PhotoRefusedError) as caught:
        read(content, folder)
    assert caught.value.reason == "unreadable"
    assert caught.value.detail
    return caught.value.detail


def test_what_is_no_picture_is_refused_in_words(tmp_path: Path) -> None:
    assert unreadable(b"", tmp_path) == "the file is empty"
    for content in (b"hello", b"\xff\xd8\xff", b"\0" * 500, b"%!PS-Adobe-3.0 EPSF-3.0\n"):
        unreadable(content, tmp_path)
    unreadable(saved(Image.fromarray(picture()), format="GIF"), tmp_path)
    unreadable(saved(Image.new("F", (8, 8)), format="TIFF"), tmp_path)
    with pytest.raises(PhotoRefusedError, match="no such file"):
        read_photo(tmp_path / "none.jpg", name="none.jpg")
    with pytest.raises(PhotoRefusedError, match="no file"):
        read_photo(tmp_path, name="folder")


@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.95])
@pytest.mark.parametrize("kind", [*KINDS, "PNG, 16 bits"])
def test_truncated_pictures_are_refused(kind: str, share: float, tmp_path: Path) -> None:
    noise = np.random.default_rng(2).integers(0, 256, (64, 64, 3), dtype=np.uint8)
    if kind == "PNG, 16 bits":
        content = png16(noise.astype(np.uint16) * 257)
    else:
        content = saved(Image.fromarray(noise), **KINDS[kind])
    unreadable(content[: int(len(content) * share)], tmp_path)


def test_a_bomb_is_refused_before_it_is_decoded(tmp_path: Path) -> None:
    """A PNG of a few bytes that says it is 20000 x 20000 pixels."""
    header = chunk(b"IHDR", struct.pack(">IIBBBBB", 20000, 20000, 8, 2, 0, 0, 0))
    data = chunk(b"IDAT", zlib.compress(b"\0" * 100))
    unreadable(b"\x89PNG\r\n\x1a\n" + header + data + chunk(b"IEND", b""), tmp_path)
    slim = chunk(b"IHDR", struct.pack(">IIBBBBB", 11000, 11000, 8, 2, 0, 0, 0))
    said = unreadable(b"\x89PNG\r\n\x1a\n" + slim + data + chunk(b"IEND", b""), tmp_path)
    assert "11000 x 11000" in said


@pytest.mark.parametrize(
    ("side", "bits", "kind", "too_large"),
    [
        (10_900, 8, 2, False),  # RGB
        (10_900, 16, 2, True),
        (7_700, 16, 2, False),
        (7_700, 16, 6, True),  # with transparency
        (10_900, 8, 6, True),
        (10_900, 16, 0, False),  # grey
    ],
)
def test_it_is_the_bytes_of_the_pixels_that_count(
    side: int, bits: int, kind: int, too_large: bool, tmp_path: Path
) -> None:
    """No pixel follows the header, so that nothing is decoded here."""
    header = chunk(b"IHDR", struct.pack(">IIBBBBB", side, side, bits, kind, 0, 0, 0))
    data = chunk(b"IDAT", zlib.compress(b"\0" * 100))
    said = unreadable(b"\x89PNG\r\n\x1a\n" + header + data + chunk(b"IEND", b""), tmp_path)
    assert (said == f"picture of {side} x {side} pixels") is too_large


@pytest.mark.parametrize("kind", [*KINDS, "PNG, 16 bits"])
def test_spoilt_bytes_give_a_photo_or_a_refusal(kind: str, tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    if kind == "PNG, 16 bits":
        whole = png16(picture().astype(np.uint16) * 257)
    else:
        whole = saved(Image.fromarray(picture()), exif=exif_bytes(), **KINDS[kind])
    for _ in range(40):
        spoilt = bytearray(whole)
        for place in rng.integers(0, len(whole), 5):
            spoilt[place] = rng.integers(0, 256)
        try:
            assert read(bytes(spoilt), tmp_path).rgb.ndim == 3
        except PhotoRefusedError as refusal:
            assert refusal.reason == "unreadable"


@pytest.mark.parametrize("kind", KINDS)
def test_the_extension_does_not_matter(kind: str, tmp_path: Path) -> None:
    content = saved(Image.fromarray(picture()), **KINDS[kind])
    for name in ("a.png", "a.HEIC", "a"):
        assert read(content, tmp_path, name).rgb.shape == (48, 64, 3)


# --------------------------------------------------------------------------- two decoders
def noisy(rows: int, cols: int) -> Image.Image:
    """A smooth picture with noise: every coefficient of its JPEG counts."""
    rng = np.random.default_rng(rows + cols)
    smooth = cv2.resize(rng.uniform(0, 255, (6, 8, 3)), (cols, rows))
    return Image.fromarray(np.clip(smooth + rng.normal(0, 9, smooth.shape), 0, 255).astype("uint8"))


@pytest.mark.parametrize("subsampling", [0, 1, 2])
@pytest.mark.parametrize("size", [(1501, 1999), (2700, 3600), (3003, 4007)])
def test_a_sound_jpeg_has_the_pixels_that_pillow_decodes(
    size: tuple[int, int], subsampling: int, tmp_path: Path
) -> None:
    content = saved(noisy(*size), format="JPEG", quality=90, subsampling=subsampling)
    with Image.open(io.BytesIO(content)) as image:
        image.draft(None, tuple(int(side * 1800 / max(size)) for side in image.size))
        assert np.array_equal(read(content, tmp_path).rgb, np.asarray(image))


def test_a_jpeg_whose_thumbnail_alone_has_its_end_is_refused(tmp_path: Path) -> None:
    thumbnail = saved(noisy(64, 48), format="JPEG")
    within = b"Exif\0\0" + thumbnail  # an end of image, inside a segment before the scan
    content = saved(noisy(640, 480), format="JPEG", exif=within)
    assert unreadable(content[: len(content) * 3 // 4], tmp_path)
