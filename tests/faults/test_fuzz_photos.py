"""Damaged photos of every format: a photo, or one reason for having none, and nothing else."""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from jarvision.base.errors import PhotoRefusedError
from jarvision.vision.photo import read_photo
from jarvision.vision.photo.read import is_whole

SIDE = (40, 56)
SHORT, LONG = 20, 700  # inputs of each format: in every run, and by night


def pixels(depth: type = np.uint8) -> np.ndarray:
    rng = np.random.default_rng(11)
    return rng.integers(0, np.iinfo(depth).max, (*SIDE, 3), dtype=depth)


def pillow(form: str, mode: str = "RGB", **options: object) -> bytes:
    data = io.BytesIO()
    if form == "HEIF":
        import pillow_heif

        pillow_heif.register_heif_opener()
    Image.fromarray(pixels()).convert(mode).save(data, form, **options)
    return data.getvalue()


def exif() -> bytes:
    tags = Image.Exif()
    tags[0x0112] = 6
    tags.get_ifd(0x8769)[0x9003] = "2026:03:01 08:30:00"
    return tags.tobytes()


def profile() -> bytes:
    from PIL import ImageCms

    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def animated(form: str) -> bytes:
    frames = [Image.fromarray(np.roll(pixels(), n, axis=0)) for n in range(3)]
    data = io.BytesIO()
    frames[0].save(data, form, save_all=True, append_images=frames[1:])
    return data.getvalue()


def tiff(depth: type, **options: object) -> bytes:
    data = io.BytesIO()
    tifffile.imwrite(data, pixels(depth), photometric="rgb", **options)
    return data.getvalue()


def png16() -> bytes:
    import cv2

    return bytes(cv2.imencode(".png", pixels(np.uint16))[1])


MADE: dict[str, Callable[[], bytes]] = {
    "jpeg": lambda: pillow("JPEG"),
    "jpeg-exif-icc": lambda: pillow("JPEG", exif=exif(), icc_profile=profile()),
    "jpeg-progressive": lambda: pillow("JPEG", progressive=True),
    "jpeg-cmyk": lambda: pillow("JPEG", "CMYK"),
    "png": lambda: pillow("PNG"),
    "png-exif-icc": lambda: pillow("PNG", exif=exif(), icc_profile=profile()),
    "png-palette": lambda: pillow("PNG", "P"),
    "png-16": png16,
    "apng": lambda: animated("PNG"),
    "tiff": lambda: pillow("TIFF"),
    "tiff-lzw": lambda: pillow("TIFF", compression="tiff_lzw"),
    "tiff-jpeg": lambda: pillow("TIFF", compression="jpeg"),
    "tiff-16": lambda: tiff(np.uint16),
    "tiff-tiled": lambda: tiff(np.uint8, tile=(16, 16)),
    "webp": lambda: pillow("WEBP", exif=exif()),
    "webp-lossless": lambda: pillow("WEBP", lossless=True),
    "webp-animated": lambda: animated("WEBP"),
    "heic": lambda: pillow("HEIF", exif=exif()),
}


@cache
def whole(form: str) -> bytes:
    return MADE[form]()


places = st.floats(0, 1, exclude_max=True)
edits = st.one_of(
    st.tuples(st.just("set"), places, st.binary(min_size=1, max_size=8)),
    st.tuples(st.just("flip"), places, st.binary(min_size=1, max_size=1)),
    st.tuples(st.just("insert"), places, st.binary(min_size=1, max_size=64)),
    st.tuples(st.just("cut"), places, st.binary(min_size=1, max_size=64)),
    st.tuples(st.just("end"), places, st.just(b"")),
    st.tuples(st.just("head"), places, st.binary(min_size=1, max_size=4)),
    st.tuples(st.just("repeat"), places, st.binary(min_size=1, max_size=200)),
)


def spoilt(content: bytes, edits: list[tuple[str, float, bytes]]) -> bytes:
    """Apply the edits one after the other."""
    for kind, share, new in edits:
        at = int(share * len(content))
        if kind == "head":  # where the formats keep their sizes and tables
            at, kind = int(share * min(len(content), 200)), "set"
        if kind == "set":
            content = content[:at] + new + content[at + len(new) :]
        elif kind == "flip":
            content = (
                content[:at] + bytes(b ^ new[0] for b in content[at : at + 1]) + content[at + 1 :]
            )
        elif kind == "insert":
            content = content[:at] + new + content[at:]
        elif kind == "cut":
            content = content[:at] + content[at + len(new) :]
        elif kind == "end":
            content = content[:at]
        else:
            content = content[:at] + content[at : at + len(new)] * 2 + content[at + len(new) :]
    return content


def check(path: Path, content: bytes) -> None:
    path.write_bytes(content)
    try:
        photo = read_photo(path, name=path.name)
    except PhotoRefusedError as refusal:
        assert refusal.reason == "unreadable"
        assert str(refusal)
    else:
        assert photo.rgb.dtype == np.uint8 and photo.rgb.ndim == 3 and photo.rgb.shape[2] == 3
        assert photo.rgb.size > 0 and photo.scale > 0
        assert photo.taken_at.year > 0


def fuzz(path: Path, form: str, inputs: int) -> int:
    """Run that many inputs of one format; count them."""
    counted = 0

    @settings(
        max_examples=inputs,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(st.lists(edits, min_size=1, max_size=6))
    def one(made: list[tuple[str, float, bytes]]) -> None:
        nonlocal counted
        counted += 1
        check(path, spoilt(whole(form), made))

    one()
    return counted


@pytest.mark.parametrize("form", MADE)
def test_the_photos_to_be_spoilt_are_sound(tmp_path: Path, form: str) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(whole(form))
    assert is_whole(path)
    assert read_photo(path, name="a.jpg").rgb.size == np.prod(SIDE) * 3


@pytest.mark.parametrize("form", MADE)
def test_a_spoilt_photo_is_a_photo_or_one_reason(tmp_path: Path, form: str) -> None:
    assert fuzz(tmp_path / "a.jpg", form, SHORT) >= SHORT / 2


@pytest.mark.slow
@pytest.mark.nightly
@pytest.mark.parametrize("form", MADE)
def test_many_spoilt_photos_are_photos_or_one_reason(
    tmp_path: Path, form: str, record_property: Callable[[str, object], None]
) -> None:
    """18 formats, 700 inputs each: 12,600."""
    counted = fuzz(tmp_path / "a.jpg", form, LONG)
    record_property("inputs", counted)
    assert counted >= LONG
