"""Colours told by code points instead of a profile (ITU-T H.273) -> sRGB.

HEIC files name primaries and tone curve by number (``nclx``), PNG files and ICC profiles may
(``cICP``, ``cicp``). Photos of high dynamic range are brought back to linear light as ITU-R BT.2100
has it: HLG (table 5) to the scene's light, PQ (table 4) to the display's. Both leave room above the
white of paper, which ITU-R BT.2408 puts at 203 cd/m2: it comes out at a quarter and a fifth of the
full signal. The card takes out what remains of the tone curve. All numbers from memory; curves and
matrices are checked against ``colour-science``.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from PIL import Image

from jarvision.base.colourspace import srgb_decode, srgb_encode, xyz_to_linear
from jarvision.records import DeepArray, FloatArray
from jarvision.vision.photo.icc import DEEP_MAX, Converted, icc_tags

HDR_TONES = "tones of high dynamic range (PQ or HLG): converted to sRGB"
OTHER_PRIMARIES = "the colours have rare primaries: they were taken for sRGB"

_LINEAR, _PQ, _HLG = 8, 16, 18  # transfer characteristics, H.273 table 3; all others: sRGB's curve
_SRGB_PRIMARIES = (1, 2)  # BT.709, and "unspecified"
_PQ_FULL_CD_M2 = 1000.0
"""What counts as full signal of PQ: brighter is burnt out. Usual peak of graded pictures."""

# Chromaticities of red, green, blue (H.273, table 2): BT.2020 and Display P3, white D65 both.
_PRIMARIES = {
    9: ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)),
    12: ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)),
}
_D65 = (0.3127, 0.3290)


@dataclass(frozen=True)
class CodePoints:
    """Colour primaries and transfer characteristics, numbers of H.273."""

    primaries: int
    transfer: int

    @property
    def plain(self) -> bool:
        """True for what is read as sRGB anyway."""
        return self.primaries in _SRGB_PRIMARIES and not self.hdr and self.transfer != _LINEAR

    @property
    def hdr(self) -> bool:
        """True for PQ and HLG."""
        return self.transfer in (_PQ, _HLG)


def code_points(image: Image.Image, content: bytes) -> CodePoints | None:
    """Code points of a picture; None when there are none or an ICC profile goes before them."""
    icc = image.info.get("icc_profile") or b""
    if icc:
        return _of_profile(icc)
    if image.format == "PNG":
        return _of_png(content)
    nclx = image.info.get("nclx_profile")
    return _of_nclx(nclx) if image.format == "HEIF" and nclx else None


def code_points_to_srgb(pixels: Image.Image | DeepArray, points: CodePoints) -> Converted:
    """Convert samples as decoded to 16-bit sRGB ``(rows, cols, 3)``."""
    if isinstance(pixels, Image.Image):
        samples = np.asarray(pixels.convert("RGB"), dtype=np.uint16) * 257
    else:
        samples = pixels if pixels.shape[2] == 3 else np.repeat(pixels, 3, axis=2)
    curve = to_linear(np.arange(DEEP_MAX + 1) / DEEP_MAX, points.transfer)
    matrix, note = np.eye(3), HDR_TONES if points.hdr else ""
    if points.primaries in _PRIMARIES:
        matrix = to_linear_srgb(points.primaries)
    elif points.primaries not in _SRGB_PRIMARIES:
        note = OTHER_PRIMARIES
    linear = np.clip(curve[samples] @ matrix.T, 0.0, 1.0)
    return Converted(np.rint(srgb_encode(linear) * DEEP_MAX).astype(np.uint16), note)


def to_linear(signal: FloatArray, transfer: int) -> FloatArray:
    """Linear light, 0 to 1, of a signal from 0 to 1."""
    if transfer == _LINEAR:
        return signal
    if transfer == _HLG:  # inverse OETF
        a = 0.17883277
        b, c = 1.0 - 4.0 * a, 0.5 - a * np.log(4.0 * a)
        dark = signal**2 / 3.0
        return np.where(signal <= 0.5, dark, (np.exp((signal - c) / a) + b) / 12.0)
    if transfer == _PQ:  # EOTF
        m1, m2 = 2610 / 16384, 2523 / 4096 * 128
        c1, c2, c3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32
        root = signal ** (1.0 / m2)
        cd_m2 = 10000.0 * (np.maximum(root - c1, 0.0) / (c2 - c3 * root)) ** (1.0 / m1)
        return np.asarray(np.minimum(cd_m2 / _PQ_FULL_CD_M2, 1.0))
    return srgb_decode(signal)


def to_linear_srgb(primaries: int) -> FloatArray:
    """``(3, 3)`` matrix from linear values of BT.2020 (9) or Display P3 (12)."""
    xy = np.array([*_PRIMARIES[primaries], _D65])
    xyz = np.column_stack([xy, 1.0 - xy.sum(axis=1)]) / xy[:, 1:]
    scale = np.linalg.solve(xyz[:3].T, xyz[3])
    return xyz_to_linear(xyz[:3] * scale[:, None]).T


# --------------------------------------------------------------------------- where they stand
def _of_nclx(nclx: Mapping[str, Any]) -> CodePoints:
    return CodePoints(
        primaries=int(nclx.get("color_primaries", 2)),
        transfer=int(nclx.get("transfer_characteristics", 2)),
    )


def _of_png(content: bytes) -> CodePoints | None:
    """The chunk ``cICP`` (PNG, third edition, 11.3.2.6) before the first of pixels."""
    place = 8
    while place + 12 <= len(content):
        length, kind = struct.unpack_from(">I4s", content, place)
        if kind == b"IDAT":
            return None
        if kind == b"cICP" and length == 4:
            return CodePoints(content[place + 8], content[place + 9])
        place += length + 12
    return None


def _of_profile(icc: bytes) -> CodePoints | None:
    """The tag ``cicp`` (ICC.1:2022, 10.3), of use for PQ and HLG alone: profiles only map those."""
    try:
        tag = icc_tags(icc).get(b"cicp", b"")
    except struct.error:
        return None
    points = CodePoints(tag[8], tag[9]) if tag[:4] == b"cicp" and len(tag) >= 12 else None
    return points if points and points.hdr else None
