"""Embedded profiles and white points, against colour-science's definitions and CIE's values."""

from __future__ import annotations

import io

import colour
import numpy as np
import pytest
from colour.adaptation import matrix_chromatic_adaptation_VonKries
from icc_profiles import (
    ADOBE,
    ADOBE_CURVE,
    P3,
    SRGB,
    SRGB_CURVE,
    gamma_curve,
    grey_profile,
    parametric_curve,
    profile,
    rgb_profile,
    table_curve,
    table_profile,
)
from PIL import Image, ImageCms

from jarvision.base.colourspace import WHITE_D50, WHITE_D65, bradford, d50_to_d65, rgb_to_xyz_matrix
from jarvision.vision.photo.icc import (
    BROKEN_PROFILE,
    OTHER_PROFILE,
    SHALLOW_PROFILE,
    deep_to_srgb,
    to_srgb,
)

PROFILES = {
    "Display P3": (P3, rgb_profile(P3, SRGB_CURVE)),
    "Display P3 by table": (
        P3,
        rgb_profile(P3, table_curve(P3.cctf_decoding(np.linspace(0, 1, 1024)))),
    ),
    "Adobe RGB (1998)": (ADOBE, rgb_profile(ADOBE, ADOBE_CURVE)),
    "sRGB": (SRGB, rgb_profile(SRGB, SRGB_CURVE)),
}


def _expected(space: colour.RGB_Colourspace, encoded: np.ndarray) -> np.ndarray:
    """sRGB-encoded colours by colour-science; NaN where sRGB cannot show them."""
    linear = colour.RGB_to_RGB(space.cctf_decoding(encoded), space, SRGB, "Bradford")
    outside = ((linear < 0.0) | (linear > 1.0)).any(axis=-1, keepdims=True)
    return np.where(outside, np.nan, SRGB.cctf_encoding(np.clip(linear, 0, 1)))


@pytest.mark.parametrize("name", PROFILES)
def test_eight_bit_colours_are_those_of_the_colour_space(name: str) -> None:
    space, icc = PROFILES[name]
    stored = np.random.default_rng(1).integers(0, 256, (60, 70, 3), dtype=np.uint8)
    converted = to_srgb(Image.fromarray(stored), icc)
    expected = _expected(space, stored / 255.0) * 255.0
    miss = np.abs(converted.samples - expected)
    assert np.isfinite(miss).mean() > 0.5
    # half a level of rounding; Little CMS works with 8-bit shortcuts that cost up to another one
    assert np.nanmax(miss) <= 1.6
    assert np.nanmean(miss) <= 0.35
    assert converted.note == ""


@pytest.mark.parametrize("name", PROFILES)
def test_sixteen_bit_colours_keep_sixteen_bits(name: str) -> None:
    space, icc = PROFILES[name]
    stored = np.random.default_rng(2).integers(0, 65536, (60, 70, 3), dtype=np.uint16)
    converted = deep_to_srgb(stored, icc)
    expected = _expected(space, stored / 65535.0)
    assert converted.samples.dtype == np.uint16
    # in linear light: a profile rounds to 1/65536, and the standard's matrices have four digits
    miss = SRGB.cctf_decoding(converted.samples / 65535.0) - SRGB.cctf_decoding(expected)
    assert np.nanmax(np.abs(miss)) <= 2e-4


def test_sixteen_bits_agree_with_little_cms_on_any_curve() -> None:
    """Functions 0 to 4 of a parametric curve, against Little CMS at 8 bits."""
    curves = [
        parametric_curve(0, 1.8),
        parametric_curve(1, 2.2, 0.95, 0.05),
        parametric_curve(2, 2.2, 0.9, 0.05, 0.02),
        parametric_curve(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045),
        parametric_curve(4, 2.4, 0.94, 0.05, 0.08, 0.04, 0.005, 0.002),
        table_curve(np.linspace(0, 1, 33) ** 2.0),
        b"curv\0\0\0\0\0\0\0\0",
    ]
    stored = np.random.default_rng(3).integers(0, 256, (40, 40, 3), dtype=np.uint8)
    for curve in curves:
        icc = rgb_profile(P3, curve)
        shallow = to_srgb(Image.fromarray(stored), icc)
        deep = deep_to_srgb(stored.astype(np.uint16) * 257, icc)
        assert (shallow.note, deep.note) == ("", "")
        miss = np.abs(shallow.samples - deep.samples / 257.0)
        # a dark level of a straight curve is several levels of sRGB wide, so Little CMS may be off
        assert np.percentile(miss, 99) <= 1.6
        assert miss.max() <= 4.0


def test_grey_profiles_are_followed() -> None:
    levels = np.arange(256, dtype=np.uint8).reshape(16, 16)
    icc = grey_profile(gamma_curve(1.8))
    expected = SRGB.cctf_encoding((levels / 255.0) ** (461 / 256)) * 255.0
    shallow = to_srgb(Image.fromarray(levels), icc)
    deep = deep_to_srgb(levels[..., None].astype(np.uint16) * 257, icc)
    for samples, tolerance in ((shallow.samples, 1.6), (deep.samples / 257.0, 0.02)):
        assert samples.shape == (16, 16, 3)
        assert np.ptp(samples, axis=2).max() <= 1
        assert np.abs(samples - expected[..., None]).max() <= tolerance


def _corners(channels: int) -> tuple[np.ndarray, np.ndarray]:
    """Samples (0 or 255) of a table's corners and their CIELAB under D50."""
    share = np.indices((2,) * channels).reshape(channels, -1).T
    lab = np.random.default_rng(8).integers([30, -20, -20], [90, 21, 21], (2**channels, 3))
    lab[0 if channels == 4 else -1] = (100, 0, 0)  # Little CMS makes white of white, come what may
    return (share * 255).astype(np.uint8)[None], lab.astype(float)


def _srgb8_of_lab_d50(lab: np.ndarray) -> np.ndarray:
    white = colour.XYZ_to_xy(WHITE_D50)
    return 255 * colour.XYZ_to_sRGB(
        colour.Lab_to_XYZ(lab, white), illuminant=white, chromatic_adaptation_transform="Bradford"
    )


def test_four_ink_pictures_follow_their_profile() -> None:
    """The corners of a CMYK table come out as their CIELAB, by colour-science."""
    inks, lab = _corners(4)
    converted = to_srgb(Image.fromarray(inks, mode="CMYK"), table_profile(b"CMYK", lab))
    assert converted.note == ""
    # L in steps of 0.4, a and b of 1 in an 8-bit table: exact here but for L
    assert np.abs(converted.samples[0] - _srgb8_of_lab_d50(lab)).max() <= 2.0


def test_sixteen_bit_pictures_follow_a_table_at_eight_bits() -> None:
    stored, lab = _corners(3)
    converted = deep_to_srgb(stored.astype(np.uint16) * 257, table_profile(b"RGB ", lab))
    assert converted.note == SHALLOW_PROFILE
    assert converted.samples.dtype == np.uint8
    assert np.abs(converted.samples[0] - _srgb8_of_lab_d50(lab)).max() <= 2.0


def test_four_inks_without_a_profile_take_away_their_own_light() -> None:
    inks = np.zeros((1, 4, 4), np.uint8)
    inks[0, 1:, :3] = np.eye(3, dtype=np.uint8) * 255
    rgb = to_srgb(Image.fromarray(inks, mode="CMYK"), b"").samples[0]
    assert rgb.tolist() == [[255, 255, 255], [0, 255, 255], [255, 0, 255], [255, 255, 0]]


def test_lab_pictures_are_converted() -> None:
    lab = Image.fromarray(np.full((2, 2, 3), (128, 0, 0), np.uint8), mode="LAB")
    grey = to_srgb(lab, b"").samples
    # L* = 128 / 2.55 = 50.2 is 119.7 in sRGB; a and b of 0 are neutral in Pillow's signed bytes
    assert np.abs(grey.astype(int) - 120).max() <= 1


def test_a_grey_picture_may_carry_the_profile_of_its_colour_source() -> None:
    levels = np.arange(256, dtype=np.uint8).reshape(16, 16)
    converted = to_srgb(Image.fromarray(levels), PROFILES["Display P3"][1])
    # neutral in one space is neutral in the other, and the tone curves are equal
    assert np.abs(converted.samples - levels[..., None].astype(float)).max() <= 1
    assert converted.note == ""


@pytest.mark.parametrize("cut", [1, 60, 127, 140, 300, -40])
def test_a_broken_profile_is_told_and_the_colours_are_kept(cut: int) -> None:
    broken = PROFILES["Display P3"][1][:cut]
    stored = np.random.default_rng(4).integers(0, 256, (8, 8, 3), dtype=np.uint8)
    shallow = to_srgb(Image.fromarray(stored), broken)
    assert shallow.note == BROKEN_PROFILE
    assert np.array_equal(shallow.samples, stored)
    deep = deep_to_srgb(stored.astype(np.uint16) * 257, broken)
    assert deep.note == BROKEN_PROFILE
    assert np.array_equal(deep.samples, stored.astype(np.uint16) * 257)


def test_a_profile_of_another_kind_of_picture_is_told() -> None:
    icc = grey_profile(gamma_curve(2.2))
    stored = np.random.default_rng(5).integers(0, 256, (8, 8, 3), dtype=np.uint8)
    assert to_srgb(Image.fromarray(stored), icc).note == OTHER_PROFILE
    assert deep_to_srgb(stored.astype(np.uint16) * 257, icc).note == OTHER_PROFILE


def test_damaged_profiles_never_raise() -> None:
    rng = np.random.default_rng(7)
    whole = bytearray(PROFILES["Display P3"][1])
    samples = np.arange(27, dtype=np.uint16).reshape(3, 3, 3) * 2000
    for _ in range(300):
        spoilt = bytearray(whole)
        for place in rng.integers(0, len(whole), 8):
            spoilt[place] = rng.integers(0, 256)
        assert deep_to_srgb(samples, bytes(spoilt)).samples.shape == (3, 3, 3)
    empty = profile(b"RGB ", {})
    assert deep_to_srgb(samples, empty).note == BROKEN_PROFILE


# --------------------------------------------------------------------------- whites
def test_bradford_agrees_with_colour_science() -> None:
    for source in ("A", "D50", "F11"):
        white = colour.xy_to_XYZ(
            colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"][
                "FL11" if source == "F11" else source
            ]
        )
        expected = matrix_chromatic_adaptation_VonKries(white, WHITE_D65, transform="Bradford")
        assert np.allclose(bradford(white, WHITE_D65), expected, atol=2e-6)
        assert np.allclose(bradford(white, WHITE_D65) @ white, WHITE_D65, atol=1e-12)


def test_bradford_from_d50_is_the_published_matrix() -> None:
    """B. Lindbloom's table of Bradford matrices, D50 to D65 (from memory).

    His D50 is (0.96422, 1, 0.82521), ICC's (0.9642, 1, 0.8249): a thousandth is left.
    """
    published = [
        [0.9555766, -0.0230393, 0.0631636],
        [-0.0282895, 1.0099416, 0.0210077],
        [0.0122982, -0.0204830, 1.3299098],
    ]
    assert np.allclose(d50_to_d65(), published, atol=1e-3)


def test_whites_are_those_of_cie() -> None:
    """CIE 15:2004, table T.3: XYZ of D50 and D65 for the 2 degree observer, Y = 100."""
    assert np.allclose(WHITE_D50 * 100, [96.42, 100.0, 82.49], atol=0.03)
    assert np.allclose(WHITE_D65 * 100, [95.04, 100.0, 108.88], atol=0.03)


def test_srgb_primaries_under_d50_are_those_of_icc_profiles() -> None:
    """The colorants that every sRGB profile holds, four digits (Little CMS's own is read here)."""
    made = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).profile
    own = bradford(WHITE_D65, WHITE_D50) @ rgb_to_xyz_matrix()
    for column, colorant in enumerate((made.red_colorant, made.green_colorant, made.blue_colorant)):
        assert np.allclose(own[:, column], colorant[0], atol=3e-4)


def test_an_embedded_profile_survives_the_file(tmp_path) -> None:
    buffer = io.BytesIO()
    Image.new("RGB", (4, 4), (10, 200, 30)).save(
        buffer, format="PNG", icc_profile=PROFILES["Display P3"][1]
    )
    read = Image.open(io.BytesIO(buffer.getvalue())).info["icc_profile"]
    assert read == PROFILES["Display P3"][1]
