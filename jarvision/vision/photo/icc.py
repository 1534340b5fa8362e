"""Embedded ICC profiles -> sRGB.

8-bit pictures go through Pillow's ImageCms (Little CMS). It has no 16-bit RGB, so for 16-bit
pictures the three-curves-and-a-matrix profiles that cameras and editors embed are worked out here
(ICC.1:2022, annex F.3; tag types 10.6 ``curv``, 10.18 ``para`` and 10.31 ``XYZ``, all numbers from
memory), other kinds at 8 bits.
"""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from typing import Any

import numpy as np
from PIL import Image, ImageCms

from jarvision.base.colourspace import d50_to_d65, srgb_encode, xyz_to_linear
from jarvision.records import ByteArray, DeepArray, FloatArray

BROKEN_PROFILE = "the colour profile is broken: the colours were taken for sRGB"
OTHER_PROFILE = "the colour profile is for another kind of picture: taken for sRGB"
SHALLOW_PROFILE = "the colour profile can only be followed at 8 bits"

DEEP_MAX = 65535
_DEEP_PER_BYTE = 257  # 65535 / 255

# Colour space of a profile (ICC.1:2022, table 19) -> Pillow's mode.
_MODES = {"RGB": "RGB", "GRAY": "L", "CMYK": "CMYK", "Lab": "LAB"}

_INTENT = ImageCms.Intent.RELATIVE_COLORIMETRIC  # measures colours; "perceptual" makes them pretty


@dataclass(frozen=True)
class Converted:
    """A picture in sRGB: ``(rows, cols, 3)`` samples of 8 or 16 bits, and what must be told."""

    samples: ByteArray | DeepArray
    note: str = ""


def to_srgb(image: Image.Image, icc: bytes) -> Converted:
    """Convert an 8-bit picture of mode ``L``, ``RGB``, ``CMYK`` or ``LAB``; no profile is sRGB."""
    if not icc and image.mode == "LAB":
        return Converted(
            _bytes(_cms(image, ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB"))))
        )
    if not icc:
        return Converted(_bytes(image))
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        wanted = _MODES.get(profile.profile.xcolor_space.strip())
        if image.mode == "L" and wanted == "RGB":
            image = image.convert("RGB")  # grey pictures often keep the RGB profile of their source
        if image.mode != wanted:
            return Converted(_bytes(image), OTHER_PROFILE)
        return Converted(_bytes(_cms(image, profile)))
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return Converted(_bytes(image), BROKEN_PROFILE)


def deep_to_srgb(samples: DeepArray, icc: bytes) -> Converted:
    """Convert 16-bit samples ``(rows, cols, 1 or 3)``; grey becomes three equal channels."""
    if not icc:
        return Converted(_three(samples))
    try:
        space = read_curves(icc)
    except (struct.error, ValueError, LookupError, ArithmeticError):
        return Converted(_three(samples), BROKEN_PROFILE)
    if space is None:
        as_bytes = Image.fromarray(
            np.squeeze(_shallow(samples), axis=2 if samples.shape[2] == 1 else ())
        )
        shallow = to_srgb(as_bytes, icc)
        return Converted(shallow.samples, shallow.note or SHALLOW_PROFILE)
    if len(space.curves) == 1 and samples.shape[2] == 3:
        return Converted(samples, OTHER_PROFILE)
    stored = samples if len(space.curves) == samples.shape[2] else _three(samples)
    linear = np.stack(
        [curve[stored[..., band]] for band, curve in enumerate(space.curves)], axis=-1
    )
    encoded = srgb_encode(np.clip(linear @ space.to_linear_srgb.T, 0.0, 1.0))
    return Converted(np.rint(encoded * DEEP_MAX).astype(np.uint16))


def to_bytes(samples: ByteArray | DeepArray) -> ByteArray:
    """8-bit samples, whatever they were."""
    return _shallow(samples) if samples.dtype == np.uint16 else samples.astype(np.uint8, copy=False)


def _shallow(samples: Any) -> ByteArray:
    rounded = (samples.astype(np.uint32) + _DEEP_PER_BYTE // 2) // _DEEP_PER_BYTE
    return np.asarray(rounded, dtype=np.uint8)


def _bytes(image: Image.Image) -> ByteArray:
    return np.asarray(image if image.mode == "RGB" else image.convert("RGB"), dtype=np.uint8)


def _three(samples: DeepArray) -> DeepArray:
    return samples if samples.shape[2] == 3 else np.repeat(samples, 3, axis=2)


def _cms(image: Image.Image, profile: ImageCms.ImageCmsProfile) -> Image.Image:
    converted = ImageCms.profileToProfile(
        image, profile, ImageCms.createProfile("sRGB"), renderingIntent=_INTENT, outputMode="RGB"
    )
    assert converted is not None  # only a conversion in place gives None
    return converted


# --------------------------------------------------------------------------- 16 bits
@dataclass(frozen=True)
class CurvesAndMatrix:
    """An RGB or grey colour space.

    Attributes
    ----------
    curves
        One table ``(65536,)`` for each channel: 16-bit sample to linear light.
    to_linear_srgb
        ``(3, channels)``.
    """

    curves: tuple[FloatArray, ...]
    to_linear_srgb: FloatArray


def read_curves(icc: bytes) -> CurvesAndMatrix | None:
    """Read a profile of curves and a matrix; None when it is of another kind.

    Raises
    ------
    ValueError, struct.error, LookupError, ArithmeticError
        A broken profile.
    """
    if len(icc) < 132 or icc[36:40] != b"acsp":
        raise ValueError("no ICC profile")
    tags = icc_tags(icc)
    if icc[20:24] != b"XYZ " or b"A2B0" in tags:
        return None
    if icc[16:20] == b"GRAY":
        return CurvesAndMatrix((_curve(tags[b"kTRC"]),), np.ones((3, 1)))
    if icc[16:20] != b"RGB ":
        return None
    if not {b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC"} <= tags.keys():
        raise ValueError("colour tags are missing")
    primaries = np.array([_xyz(tags[name]) for name in (b"rXYZ", b"gXYZ", b"bXYZ")])
    return CurvesAndMatrix(
        curves=tuple(_curve(tags[name]) for name in (b"rTRC", b"gTRC", b"bTRC")),
        to_linear_srgb=xyz_to_linear(primaries @ d50_to_d65().T).T,
    )


def icc_tags(icc: bytes) -> dict[bytes, bytes]:
    """Tags of a profile, by signature; ``struct.error`` when it is broken."""
    (count,) = struct.unpack_from(">I", icc, 128)
    entries = [struct.unpack_from(">4sII", icc, 132 + 12 * n) for n in range(min(count, 200))]
    return {name: icc[start : start + size] for name, start, size in entries}


def _fixed(data: bytes, start: int, count: int) -> FloatArray:
    """Numbers of ICC's type s15Fixed16."""
    return np.array(struct.unpack_from(f">{count}i", data, start), dtype=np.float64) / 65536.0


def _xyz(tag: bytes) -> FloatArray:
    if tag[:4] != b"XYZ ":
        raise ValueError("a primary is no XYZ")
    return _fixed(tag, 8, 3)


def _curve(tag: bytes) -> FloatArray:
    """``(65536,)`` table of a tone curve."""
    x = np.arange(DEEP_MAX + 1) / DEEP_MAX
    if tag[:4] == b"para":
        return _parametric(tag, x)
    if tag[:4] != b"curv":
        raise ValueError("a tone curve of no known type")
    (count,) = struct.unpack_from(">I", tag, 8)
    if count == 0:
        return x
    points = np.array(struct.unpack_from(f">{count}H", tag, 12), dtype=np.float64)
    if count == 1:
        return np.asarray(x ** (points[0] / 256.0))
    return np.interp(x, np.linspace(0.0, 1.0, count), points / DEEP_MAX)


def _parametric(tag: bytes, x: FloatArray) -> FloatArray:
    """Functions 0 to 4 of ``parametricCurveType``: ``(a x + b)^g + e``, ``c x + f`` below d."""
    (kind,) = struct.unpack_from(">H", tag, 8)
    count = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}.get(kind)
    if count is None:
        raise ValueError("a parametric curve of no known type")
    given = _fixed(tag, 12, count).tolist()
    g, a, b, c, d, e, f = given + [0.0] * (7 - count)
    if kind == 0:
        a = 1.0
    elif kind in (1, 2):  # the straight part is flat, and the constant of function 2 is on both
        d = -b / a
        c, e, f = 0.0, c, c
    with np.errstate(all="ignore"):  # of broken curves, which are refused below
        upper = np.maximum(a * x + b, 0.0) ** g + e
    curve: FloatArray = np.where(x >= d, upper, c * x + f)
    if not np.isfinite(curve).all():
        raise ValueError("a tone curve without end")
    return curve
