"""Colours told by code points: wide gamut and high dynamic range, against colour-science."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import colour
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from jarvision.records import Photo
from jarvision.vision.photo import read_photo
from jarvision.vision.photo.cicp import HDR_TONES, OTHER_PRIMARIES, to_linear, to_linear_srgb

BT2020, P3 = colour.RGB_COLOURSPACES["ITU-R BT.2020"], colour.RGB_COLOURSPACES["Display P3"]
SRGB = colour.RGB_COLOURSPACES["sRGB"]
PQ, HLG, SRGB_CURVE = 16, 18, 13
FULL_CD_M2 = 1000.0

# Linear BT.2020, inside sRGB's gamut, of a photo whose paper is a quarter of the full signal.
COLOURS = np.array([[0.25, 0.25, 0.25], [0.12, 0.07, 0.03], [0.05, 0.09, 0.06], [0.01, 0.01, 0.01]])


def flat(colours: np.ndarray) -> np.ndarray:
    """Quarters of plain encoded colour ``(64, 64, 3)``, 16 bits."""
    deep = np.rint(65535.0 * colours).astype(np.uint16)
    return np.ascontiguousarray(np.kron(deep.reshape(2, 2, 3), np.ones((32, 32, 1), np.uint16)))


def heic(encoded: np.ndarray, **how: object) -> bytes:
    file = pillow_heif.from_bytes(mode="RGB;16", size=(64, 64), data=flat(encoded).tobytes())
    buffer = io.BytesIO()
    file.save(buffer, quality=100, chroma=444, full_range_flag=1, **how)
    return buffer.getvalue()


def heic8(encoded: np.ndarray, **how: object) -> bytes:
    image = Image.fromarray((flat(encoded) // 257).astype(np.uint8))
    buffer = io.BytesIO()
    pillow_heif.from_pillow(image).save(buffer, quality=100, chroma=444, **how)
    return buffer.getvalue()


def png(encoded: np.ndarray, code_points: bytes) -> bytes:
    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in flat(encoded))
    header = struct.pack(">IIBBBBB", 64, 64, 16, 2, 0, 0, 0)
    parts = ((b"IHDR", header), (b"cICP", code_points), (b"IDAT", zlib.compress(rows)))
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(*part) for part in (*parts, (b"IEND", b"")))


def read(content: bytes, tmp_path: Path) -> Photo:
    path = tmp_path / "IMG"
    path.write_bytes(content)
    return read_photo(path, name="IMG")


def middles(photo: Photo) -> np.ndarray:
    """Linear sRGB ``(4, 3)`` of the quarters."""
    assert photo.rgb16 is not None
    return SRGB.cctf_decoding(photo.rgb16[16::32, 16::32].reshape(4, 3) / 65535.0)


ENCODED = {
    PQ: colour.models.eotf_inverse_ST2084(COLOURS * FULL_CD_M2),
    HLG: colour.models.oetf_BT2100_HLG(COLOURS),
    SRGB_CURVE: SRGB.cctf_encoding(COLOURS),
}
EXPECTED = colour.RGB_to_RGB(COLOURS, BT2020, SRGB, chromatic_adaptation_transform=None)


# --------------------------------------------------------------------------- formulas
def test_curves_are_those_of_bt_2100() -> None:
    signal = np.linspace(0.0, 1.0, 501)
    hlg = colour.models.oetf_inverse_BT2100_HLG(signal)
    np.testing.assert_allclose(to_linear(signal, HLG), hlg, atol=2e-7)
    pq = np.minimum(colour.models.eotf_ST2084(signal) / FULL_CD_M2, 1.0)
    np.testing.assert_allclose(to_linear(signal, PQ), pq, atol=1e-9)


def test_paper_comes_out_at_a_quarter_and_a_fifth_of_the_full_signal() -> None:
    """ITU-R BT.2408, table 1, from memory: 203 cd/m2 is 75 % of HLG and 58 % of PQ."""
    assert to_linear(np.array([0.75]), HLG)[0] == pytest.approx(0.265, abs=0.001)
    assert to_linear(np.array([0.58]), PQ)[0] * FULL_CD_M2 == pytest.approx(203, abs=3)


@pytest.mark.parametrize(("number", "space"), [(9, BT2020), (12, P3)])
def test_matrices_are_those_of_the_primaries(number: int, space: colour.RGB_Colourspace) -> None:
    expected = colour.matrix_RGB_to_RGB(space, SRGB, chromatic_adaptation_transform=None)
    np.testing.assert_allclose(to_linear_srgb(number), expected, atol=3e-4)  # rounded sRGB matrix


# --------------------------------------------------------------------------- files
@pytest.mark.parametrize("transfer", [PQ, HLG, SRGB_CURVE])
def test_a_deep_heic_in_bt_2020_comes_out_in_srgb(transfer: int, tmp_path: Path) -> None:
    content = heic(
        ENCODED[transfer], color_primaries=9, transfer_characteristics=transfer,
        matrix_coefficients=9,
    )  # fmt: skip
    photo = read(content, tmp_path)
    np.testing.assert_allclose(middles(photo), EXPECTED, rtol=0.04, atol=0.002)  # 10 bits
    assert photo.notes == ((HDR_TONES,) if transfer != SRGB_CURVE else ())


def test_a_heic_of_eight_bits_in_display_p3_without_profile_comes_out_in_srgb(
    tmp_path: Path,
) -> None:
    p3 = np.array([[0.6, 0.3, 0.2], [0.3, 0.5, 0.25], [0.2, 0.25, 0.5], [0.5, 0.5, 0.5]])
    encoded = P3.cctf_encoding(p3)
    photo = read(heic8(encoded, color_primaries=12, transfer_characteristics=13), tmp_path)
    expected = colour.RGB_to_RGB(p3, P3, SRGB, chromatic_adaptation_transform=None)
    np.testing.assert_allclose(middles(photo), expected, atol=0.012)
    assert photo.notes == ()


def test_rare_primaries_are_told(tmp_path: Path) -> None:
    content = heic(ENCODED[SRGB_CURVE], color_primaries=6, transfer_characteristics=13)
    assert read(content, tmp_path).notes == (OTHER_PRIMARIES,)


@pytest.mark.parametrize("transfer", [PQ, HLG])
def test_the_chunk_of_a_png_is_followed(transfer: int, tmp_path: Path) -> None:
    photo = read(png(ENCODED[transfer], bytes([9, transfer, 0, 1])), tmp_path)
    np.testing.assert_allclose(middles(photo), EXPECTED, rtol=1e-3, atol=1e-4)
    assert photo.notes == (HDR_TONES,)


def test_the_tag_of_a_profile_is_followed_before_its_curves(tmp_path: Path) -> None:
    tag = b"cicp" + bytes(4) + bytes([9, HLG, 0, 1])
    icc = bytes(128) + struct.pack(">I4sII", 1, b"cicp", 144, len(tag)) + tag
    photo = read(heic(ENCODED[HLG], icc_profile=icc), tmp_path)
    np.testing.assert_allclose(middles(photo), EXPECTED, rtol=0.04, atol=0.002)
    assert photo.notes == (HDR_TONES,)


def test_plain_code_points_change_nothing(tmp_path: Path) -> None:
    content = heic8(ENCODED[SRGB_CURVE], color_primaries=1, transfer_characteristics=13)
    photo = read(content, tmp_path)
    assert photo.rgb16 is None
    assert photo.notes == ()
