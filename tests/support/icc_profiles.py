"""Small ICC v2 profiles, written by bytes from published primaries (ICC.1:2001-04)."""

from __future__ import annotations

import struct
from collections.abc import Sequence

import colour
import numpy as np
from colour.adaptation import matrix_chromatic_adaptation_VonKries

D50_XYZ = np.array([0.9642, 1.0, 0.8249])
"""White of ICC's connection space (ICC.1:2001-04, 6.3.4.3)."""


def _fixed(*numbers: float) -> bytes:
    return struct.pack(f">{len(numbers)}i", *(round(n * 65536) for n in numbers))


def xyz_tag(xyz: Sequence[float]) -> bytes:
    return b"XYZ \0\0\0\0" + _fixed(*xyz)


def table_curve(values: np.ndarray) -> bytes:
    """``curv`` of many points; ``values`` rise from 0 to 1."""
    points = np.rint(np.clip(values, 0, 1) * 65535).astype(int)
    return b"curv\0\0\0\0" + struct.pack(f">I{len(points)}H", len(points), *points)


def gamma_curve(gamma: float) -> bytes:
    return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256))


def parametric_curve(kind: int, *parameters: float) -> bytes:
    return b"para\0\0\0\0" + struct.pack(">HH", kind, 0) + _fixed(*parameters)


def profile(space: bytes, tags: dict[bytes, bytes], *, connection: bytes = b"XYZ ") -> bytes:
    white = {b"wtpt": xyz_tag(D50_XYZ), b"desc": _description(), b"cprt": b"text\0\0\0\0none\0"}
    entries, body = [], b""
    start = 132 + 12 * (len(tags) + len(white))
    for name, data in {**white, **tags}.items():
        entries.append(struct.pack(">4sII", name, start + len(body), len(data)))
        body += data + b"\0" * (-len(data) % 4)
    table = struct.pack(">I", len(entries)) + b"".join(entries)
    header = bytearray(128)
    struct.pack_into(
        ">I4sI4s4s4s",
        header,
        0,
        128 + len(table) + len(body),
        b"\0\0\0\0",
        0x02400000,
        b"mntr",
        space,
        connection,
    )
    header[36:40] = b"acsp"
    header[68:80] = _fixed(*D50_XYZ)
    return bytes(header) + table + body


def _description() -> bytes:
    text = b"test\0"
    return b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + b"\0" * 78


def rgb_profile(space: colour.RGB_Colourspace, curve: bytes) -> bytes:
    """A profile of colour-science's definition of a colour space, its primaries taken to D50."""
    white = colour.xy_to_XYZ(space.whitepoint)
    to_d50 = matrix_chromatic_adaptation_VonKries(white, D50_XYZ, transform="Bradford")
    primaries = (to_d50 @ space.matrix_RGB_to_XYZ).T
    names = (b"rXYZ", b"gXYZ", b"bXYZ")
    tags = {name: xyz_tag(xyz) for name, xyz in zip(names, primaries, strict=True)}
    return profile(b"RGB ", tags | dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), curve))


def grey_profile(curve: bytes) -> bytes:
    return profile(b"GRAY", {b"kTRC": curve})


def table_profile(space: bytes, corners_lab: np.ndarray) -> bytes:
    """A profile of one table (``mft1``) with two points for each channel.

    ``corners_lab`` is ``(2 ** channels, 3)`` CIELAB under D50 of the corners, the last channel
    running fastest.
    """
    channels = len(corners_lab).bit_length() - 1
    straight = bytes(range(256))
    lab = np.rint(corners_lab * [2.55, 1.0, 1.0] + [0.0, 128.0, 128.0]).astype(np.uint8)
    table = b"mft1\0\0\0\0" + struct.pack(">BBBB", channels, 3, 2, 0)
    table += _fixed(1, 0, 0, 0, 1, 0, 0, 0, 1) + straight * channels + lab.tobytes() + straight * 3
    return profile(space, {b"A2B0": table}, connection=b"Lab ")


SRGB = colour.RGB_COLOURSPACES["sRGB"]
P3 = colour.RGB_COLOURSPACES["Display P3"]
ADOBE = colour.RGB_COLOURSPACES["Adobe RGB (1998)"]

# IEC 61966-2-1's curve as ICC's function 3: (a x + b)^g above d, c x below
SRGB_CURVE = parametric_curve(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
# Adobe RGB (1998) colour image encoding, 4.3.1.2: gamma 2 + 51/256
ADOBE_CURVE = gamma_curve(2 + 51 / 256)
