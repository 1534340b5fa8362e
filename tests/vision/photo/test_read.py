"""Reading photos: every format and way up, depth, time, and files that are no photo."""

from __future__ import annotations

import io
import os
from datetime import date, datetime, timedelta
from pathlib import Path

import colour
import cv2
import numpy as np
import pytest
import tifffile
from icc_profiles import ADOBE, ADOBE_CURVE, P3, SRGB, SRGB_CURVE, rgb_profile
from PIL import Image
from stored_photos import (
    CORNERS,
    FOCAL_35MM,
    KINDS,
    LOSSY,
    OFFSET,
    ORIENTATION,
    ORIGINAL,
    exif_bytes,
    heic,
    picture,
    png16,
    quarters_of,
    ramp,
    read,
    saved,
    stored_for,
)

from jarvision.base.errors import PhotoRefusedError
from jarvision.vision.photo import WORKING_LONG_SIDE_PX, picture_digest, read_photo
from jarvision.vision.photo.icc import BROKEN_PROFILE


# --------------------------------------------------------------------------- which way up
@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", KINDS)
def test_every_format_comes_out_upright_exactly_once(
    kind: str, orientation: int, tmp_path: Path
) -> None:
    stored = Image.fromarray(stored_for(orientation, picture()))
    content = saved(stored, exif=exif_bytes(orientation=orientation), **KINDS[kind])
    photo = read(content, tmp_path)
    assert photo.rgb.shape == (48, 64, 3)
    assert photo.rgb.dtype == np.uint8
    assert photo.rgb16 is None
    # lossy formats smear the colours by a few levels
    assert np.abs(quarters_of(photo.rgb) - np.array(CORNERS)).max() <= 8


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
def test_sixteen_bit_files_are_kept_to_the_last_bit(
    kind: str, orientation: int, tmp_path: Path
) -> None:
    noise = np.random.default_rng(1).integers(0, 250, (48, 64, 3), dtype=np.uint16)
    deep = picture().astype(np.uint16) * 257 + noise
    stored = stored_for(orientation, deep)
    if kind == "PNG":
        content = png16(stored, exif=exif_bytes(orientation=orientation))
    else:
        buffer = io.BytesIO()
        turn = (ORIENTATION, "H", 1, orientation, True)
        tifffile.imwrite(buffer, stored, photometric="rgb", extratags=[turn])
        content = buffer.getvalue()
    photo = read(content, tmp_path)
    assert photo.rgb16 is not None
    assert np.array_equal(photo.rgb16, deep)
    assert photo.samples is photo.rgb16
    assert np.array_equal(photo.rgb, np.rint(deep / 257.0).astype(np.uint8))


def test_a_heic_photo_comes_back_from_its_file(tmp_path: Path) -> None:
    """Round trip through pillow-heif, with profile, time and turn."""
    details = {ORIGINAL: "2026:03:01 08:09:10", OFFSET: "+01:00", FOCAL_35MM: 24}
    image = Image.fromarray(stored_for(6, picture(96, 64)))
    icc = rgb_profile(P3, SRGB_CURVE)
    content = saved(image, format="HEIF", quality=95, exif=exif_bytes(details, 6), icc_profile=icc)
    photo = read(content, tmp_path, "IMG.HEIC")
    linear = P3.cctf_decoding(np.array(CORNERS) / 255.0)
    expected = 255 * SRGB.cctf_encoding(
        np.clip(colour.RGB_to_RGB(linear, P3, SRGB, "Bradford"), 0, 1)
    )
    assert photo.rgb.shape == (96, 64, 3)
    assert np.abs(quarters_of(photo.rgb) - expected).max() <= 8
    assert photo.taken_at == datetime(2026, 3, 1, 8, 9, 10)
    assert photo.utc_offset == timedelta(hours=1)
    assert photo.focal_known


@pytest.mark.parametrize("bits", [10, 12])
def test_heic_of_more_than_eight_bits_keeps_its_depth(bits: int, tmp_path: Path) -> None:
    photo = read(heic(ramp(), bits=bits), tmp_path, "IMG.HEIC")
    assert photo.rgb16 is not None
    middle = photo.rgb16[32].astype(float)
    # the codec is off by a step or two of 10 bits: below half a step of 8 bits, which is 128
    assert np.abs(middle - ramp()[32]).max() < 100
    assert middle.max() == pytest.approx(65535, abs=100)
    assert photo.notes == ()


def test_a_deep_heic_photo_comes_out_upright_once_with_its_profile(tmp_path: Path) -> None:
    deep = np.ascontiguousarray(stored_for(6, picture(96, 64)).astype(np.uint16) * 257)
    icc = rgb_profile(P3, SRGB_CURVE)
    content = heic(deep, bits=10, exif=exif_bytes(orientation=6), icc_profile=icc)
    photo = read(content, tmp_path, "IMG.HEIC")
    linear = P3.cctf_decoding(np.array(CORNERS) / 255.0)
    expected = 65535 * SRGB.cctf_encoding(
        np.clip(colour.RGB_to_RGB(linear, P3, SRGB, "Bradford"), 0, 1)
    )
    assert photo.rgb16 is not None
    assert photo.rgb16.shape == (96, 64, 3)
    assert np.abs(quarters_of(photo.rgb16) - expected).max() <= 8 * 257


def test_an_avif_picture_is_refused_with_advice(tmp_path: Path) -> None:
    """AV1 Image File Format: the brand ``avif`` in the box ``ftyp`` (from memory)."""
    with pytest.raises(PhotoRefusedError, match="AVIF picture: set the phone to JPEG or HEIC"):
        read(b"\0\0\0\x1cftypavif\0\0\0\0avifmif1miaf" + bytes(200), tmp_path, "IMG.HEIC")


def test_a_torn_deep_heic_file_is_refused(tmp_path: Path) -> None:
    content = heic(ramp(), bits=10)
    with pytest.raises(PhotoRefusedError, match="damaged"):
        read(content[:-300], tmp_path, "IMG.HEIC")


# --------------------------------------------------------------------------- pixels
def test_large_photos_shrink_to_working_scale(tmp_path: Path) -> None:
    for long_side, expected in ((4032, 2016), (4000, 2000), (4608, 2016), (2100, 2016)):
        image = Image.fromarray(picture(long_side * 3 // 4 // 2 * 2, long_side))
        photo = read(saved(image, format="JPEG"), tmp_path)
        assert max(photo.rgb.shape) == expected
        assert photo.scale == pytest.approx(expected / long_side)
        assert np.abs(quarters_of(photo.rgb) - np.array(CORNERS)).max() <= 8
    assert expected == WORKING_LONG_SIDE_PX


def test_sixteen_bit_photos_shrink_in_sixteen_bits(tmp_path: Path) -> None:
    deep = picture(3000, 4000).astype(np.uint16) * 257 + 100
    photo = read(png16(deep), tmp_path)
    assert photo.rgb16 is not None
    assert photo.rgb16.shape == (1512, 2016, 3)
    assert np.abs(quarters_of(photo.rgb16) - (np.array(CORNERS) * 257.0 + 100)).max() == 0


def test_sixteen_bit_colours_follow_their_profile(tmp_path: Path) -> None:
    deep = picture().astype(np.uint16) * 257
    icc = rgb_profile(ADOBE, ADOBE_CURVE)
    photo = read(png16(deep, icc=icc), tmp_path)
    linear = colour.RGB_to_RGB(
        ADOBE.cctf_decoding(np.array(CORNERS) / 255.0), ADOBE, SRGB, "Bradford"
    )
    expected = 65535 * SRGB.cctf_encoding(np.clip(linear, 0, 1))
    assert photo.rgb16 is not None
    assert np.abs(quarters_of(photo.rgb16) - expected).max() <= 100


def test_alpha_is_dropped_and_never_blended(tmp_path: Path) -> None:
    alpha = np.full((48, 64, 1), 3, np.uint8)
    rgba = np.concatenate([picture(), alpha], axis=2)
    assert np.array_equal(read(saved(Image.fromarray(rgba), format="PNG"), tmp_path).rgb, picture())
    deep = rgba.astype(np.uint16) * 257
    _, buffer = cv2.imencode(".png", cv2.cvtColor(deep, cv2.COLOR_RGBA2BGRA))
    assert np.array_equal(read(buffer.tobytes(), tmp_path).rgb, picture())
    grey = np.stack([picture()[..., 0], alpha[..., 0]], axis=2)
    assert np.array_equal(
        read(saved(Image.fromarray(grey, mode="LA"), format="PNG"), tmp_path).rgb[..., 1],
        picture()[..., 0],
    )


def test_grey_palette_and_bilevel_pictures_are_read(tmp_path: Path) -> None:
    grey = Image.fromarray(picture()[..., 0])
    assert np.array_equal(
        read(saved(grey, format="PNG"), tmp_path).rgb, np.stack([np.asarray(grey)] * 3, axis=2)
    )
    palette = Image.fromarray(picture()).quantize(8)
    assert (
        np.abs(
            quarters_of(read(saved(palette, format="PNG"), tmp_path).rgb) - np.array(CORNERS)
        ).max()
        <= 4
    )
    assert set(np.unique(read(saved(grey.convert("1"), format="PNG"), tmp_path).rgb)) == {0, 255}
    deep = np.asarray(grey).astype(np.uint16) * 257 + 7
    photo = read(png16(deep), tmp_path)
    assert photo.rgb16 is not None
    assert np.array_equal(photo.rgb16, np.stack([deep] * 3, axis=2))


def test_of_many_frames_the_first_is_read(tmp_path: Path) -> None:
    for kind, options in KINDS.items():
        if kind == "TIFF, packed":
            continue  # Pillow packs several frames into real files only
        form = {"format": "MPO", **LOSSY} if kind == "JPEG" else options
        first, second = Image.fromarray(picture()), Image.new("RGB", (64, 48))
        content = saved(first, save_all=True, append_images=[second], **form)
        rgb = read(content, tmp_path).rgb
        assert np.abs(quarters_of(rgb) - np.array(CORNERS)).max() <= 8, kind


def test_a_broken_profile_is_told_and_costs_nothing_else(tmp_path: Path) -> None:
    image = Image.fromarray(picture())
    photo = read(saved(image, format="PNG", icc_profile=b"broken"), tmp_path)
    assert photo.notes == (BROKEN_PROFILE,)
    assert np.array_equal(photo.rgb, picture())
    assert read(saved(image, format="PNG"), tmp_path).notes == ()


# --------------------------------------------------------------------------- time and lens
@pytest.mark.parametrize(
    ("text", "offset"),
    [
        ("+02:00", timedelta(hours=2)),
        ("-03:30", -timedelta(hours=3, minutes=30)),
        ("   :  ", None),
        ("Z", None),
        (None, None),
    ],
)
def test_the_wall_clock_is_kept_and_its_offset_remembered(
    text: str | None, offset: timedelta | None, tmp_path: Path
) -> None:
    details: dict[int, object] = {ORIGINAL: "2026:03:01 23:59:58"}
    if text is not None:
        details[OFFSET] = text
    content = saved(Image.fromarray(picture()), format="JPEG", exif=exif_bytes(details))
    photo = read(content, tmp_path, dated=date(2020, 1, 1))
    assert (photo.taken_at, photo.time_source) == (datetime(2026, 3, 1, 23, 59, 58), "exif")
    assert photo.utc_offset == offset


@pytest.mark.parametrize(
    "text", ["0000:00:00 00:00:00", "    :  :     :  :  ", "", "2026:02:30 10:00:00", "yesterday"]
)
def test_a_time_that_makes_no_sense_counts_as_none(text: str, tmp_path: Path) -> None:
    content = saved(Image.fromarray(picture()), format="JPEG", exif=exif_bytes({ORIGINAL: text}))
    photo = read(content, tmp_path, dated=date(2026, 3, 4))
    assert (photo.taken_at, photo.time_source) == (datetime(2026, 3, 4, 12), "name")
    path = tmp_path / "b.jpg"
    path.write_bytes(content)
    os.utime(path, (1_700_000_000, 1_700_000_000))
    late = read_photo(path, name="b.jpg")
    assert (late.taken_at, late.time_source) == (datetime.fromtimestamp(1_700_000_000), "file")


def test_a_shot_is_known_again_by_its_pixels_under_any_date(tmp_path: Path) -> None:
    digests = []
    for day, shift in ((1, 0), (2, 0), (1, 8)):
        shown = np.roll(picture(), shift, axis=0)
        exif = exif_bytes({ORIGINAL: f"2026:03:{day:02d} 10:00:00"})
        content = saved(Image.fromarray(shown), format="JPEG", exif=exif)
        digests.append(picture_digest(read(content, tmp_path)))
    assert digests[0] == digests[1] != digests[2]


@pytest.mark.parametrize("year", [1, 1970, 1989, 2099, 9999])
def test_a_year_that_cannot_be_counts_as_none_and_is_remembered(year: int, tmp_path: Path) -> None:
    exif = exif_bytes({ORIGINAL: f"{year:04d}:12:31 10:00:00"})
    content = saved(Image.fromarray(picture()), format="JPEG", exif=exif)
    photo = read(content, tmp_path, dated=date(2026, 3, 4))
    assert (photo.taken_at, photo.time_source) == (datetime(2026, 3, 4, 12), "name")
    assert photo.ignored_day == date(year, 12, 31)


def test_the_focal_length_scales_with_the_picture(tmp_path: Path) -> None:
    image = Image.fromarray(picture(24, 36))
    content = saved(image, format="JPEG", exif=exif_bytes({FOCAL_35MM: 50}))
    photo = read(content, tmp_path)
    # 36 x 24 px stand for the 36 x 24 mm frame: a pixel is a millimetre
    assert (photo.focal_px, photo.focal_known) == (pytest.approx(50, rel=1e-4), True)
    assert not read(saved(image, format="JPEG"), tmp_path).focal_known


@pytest.mark.parametrize("seed", range(40))
def test_damaged_exif_never_costs_the_photo(seed: int, tmp_path: Path) -> None:
    rng = np.random.default_rng(seed)
    exif = bytearray(exif_bytes({ORIGINAL: "2026:03:01 08:09:10", FOCAL_35MM: 24}, 6))
    for place in rng.integers(8, len(exif), 6):
        exif[place] = rng.integers(0, 256)
    content = saved(Image.fromarray(picture()), format="JPEG", exif=bytes(exif))
    assert read(content, tmp_path).rgb.size == 48 * 64 * 3


# --------------------------------------------------------------------------- compression
@pytest.mark.parametrize(("quality", "step"), [(5, 21.25), (10, 10.6), (20, 5.4), (90, 0.4)])
def test_jpeg_tells_how_coarsely_it_keeps_colours(
    quality: int, step: float, tmp_path: Path
) -> None:
    """The example tables of ITU-T T.81, annex K, as its common encoder scales them."""
    content = saved(Image.fromarray(picture()), format="JPEG", quality=quality)
    assert read(content, tmp_path).colour_step == pytest.approx(step, abs=0.1)


def test_other_files_have_no_steps_of_colour(tmp_path: Path) -> None:
    assert read(saved(Image.fromarray(picture()), format="PNG"), tmp_path).colour_step == 0.0
