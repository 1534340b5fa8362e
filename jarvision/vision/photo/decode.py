"""Bytes -> pixels as stored: untrusted files meet the decoders here and nowhere else.

Pillow decodes, JPEG at a reduced scale where that is enough. Pillow has no 16-bit colour, so PNG
and TIFF files of that depth go through OpenCV, HEIC of 10 or 12 bits through pillow-heif itself.
Sound colour JPEGs go through OpenCV, too: the same library decodes the same bytes, but Pillow keeps
four bytes a pixel and takes a fifth longer to hand them over.
"""

from __future__ import annotations

import io
import math
import warnings
from dataclasses import dataclass

import numpy as np
from PIL import (
    Image,
    JpegImagePlugin,
    PngImagePlugin,
    TiffImagePlugin,
    UnidentifiedImageError,
    WebPImagePlugin,
)

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import ByteArray, DeepArray
from jarvision.vision.photo.cicp import CodePoints, code_points
from jarvision.vision.photo.exif import ExifFacts, read_exif

# Importing a plugin is what makes Pillow know its format.
_PLUGINS = (JpegImagePlugin, PngImagePlugin, TiffImagePlugin, WebPImagePlugin)


FORMATS = ("JPEG", "PNG", "TIFF", "WEBP")
"""What Pillow decodes itself, told by content, whatever the file is called. Fewer formats are
fewer decoders for a hostile file to reach."""

MAX_PIXELS = 120_000_000
"""Larger pictures are refused before they are decoded: they would fill the memory."""

MAX_DECODED_BYTES = 3 * MAX_PIXELS
"""So are those with more bytes of pixels, which 16 bits and transparency make: 60 million pixels of
16 bits in three channels."""

_DEEP_MAX = 65535

_ISO_MEDIA = b"ftyp"  # ISO base media, the container of HEIC (ISO/IEC 23008-12)
_AVIF = (b"avif", b"avis")
_BITS_PER_SAMPLE, _PHOTOMETRIC, _SAMPLE_FORMAT = 258, 262, 339  # TIFF 6.0 tags
_UNSIGNED = 1
_MIN_IS_BLACK, _RGB = 1, 2

# Pillow's mode -> the mode without alpha, palette or padding whose colours a profile describes.
_PLAIN = {"1": "L", "L": "L", "LA": "L", "La": "L", "CMYK": "CMYK", "LAB": "LAB"}
_MARK, _STUFFED, _RESTART, _RESTART_BITS = 0xFF, 0x00, 0xD0, 0xF8
"""What begins a marker; what follows in a scan's data all the same (ITU-T T.81, B.1.1)."""

_AT_ONCE = 1 << 18
"""Bytes searched at a time: what is made of them stays in the processor's own memory."""

_START_OF_SCAN, _END_OF_IMAGE = 0xDA, 0xD9

_NOT_A_PHOTO = ("I", "F")  # 32-bit numbers: their scale is anyone's guess


@dataclass(frozen=True)
class Decoded:
    """A picture as stored: not turned upright, colours in its own space.

    Attributes
    ----------
    pixels
        A Pillow image of mode ``L``, ``RGB``, ``CMYK`` or ``LAB``; from a sound JPEG its RGB bytes
        ``(rows, cols, 3)``; from a file of more than 8 bits an array ``(rows, cols, 1 or 3)`` from
        0 to 65535.
    full_long_side
        Long side of the picture in the file, pixels.
    icc
        The embedded profile, empty when there is none.
    points
        Code points of its colours where they count, which is where there is no profile.
    colour_step
        Step in which a JPEG keeps the mean colour of its blocks, levels of 8 bits; 0 for others.
    """

    pixels: Image.Image | ByteArray | DeepArray
    full_long_side: int
    icc: bytes
    exif: ExifFacts
    points: CodePoints | None = None
    colour_step: float = 0.0


def decode(content: bytes, *, smallest_side: int) -> Decoded:
    """Decode a file's content; JPEG may come out smaller.

    Parameters
    ----------
    smallest_side
        The long side may shrink to this, never below.

    Raises
    ------
    PhotoRefusedError
        ``unreadable``, whatever is wrong with the content.
    """
    try:
        return _decode(content, smallest_side=smallest_side)
    except (PhotoRefusedError, MemoryError):  # a full memory says nothing about the photo
        raise
    except UnidentifiedImageError as error:
        raise PhotoRefusedError("unreadable", _unknown(content)) from error
    except Image.DecompressionBombError as error:
        raise PhotoRefusedError("unreadable", "picture of too many pixels") from error
    except Exception as error:  # decoders meet damaged files with errors of every kind
        raise PhotoRefusedError("unreadable", f"damaged picture: {error}") from error


def _decode(content: bytes, *, smallest_side: int) -> Decoded:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # on damaged tags, and on sizes that are checked below
        with Image.open(io.BytesIO(content), formats=_formats(content)) as image:
            full = image.size
            size = full[0] * full[1]
            if size > MAX_PIXELS or size * _bytes_a_pixel(image, content) > MAX_DECODED_BYTES:
                raise PhotoRefusedError("unreadable", f"picture of {full[0]} x {full[1]} pixels")
            return Decoded(
                pixels=_pixels(image, content, smallest_side=smallest_side),
                full_long_side=max(full),
                icc=image.info.get("icc_profile") or b"",
                exif=read_exif(image),
                points=code_points(image, content),
                colour_step=_colour_step(image),
            )


def _colour_step(image: Image.Image) -> float:
    """Coarsest step of a block's mean: its first coefficient is the mean times 8 (ITU-T T.81)."""
    if not isinstance(image, JpegImagePlugin.JpegImageFile):
        return 0.0
    return max((table[0] for table in image.quantization.values()), default=0) / 8.0


def _bytes_a_pixel(image: Image.Image, content: bytes) -> int:
    """Bytes of a decoded pixel; Pillow tells the bands, but of 16 bits only where it keeps them."""
    if image.mode in _NOT_A_PHOTO:
        return 4
    deep = _is_deep_heic(image) or _is_deep(image, content)
    return len(image.getbands()) * (2 if deep else 1)


def _pixels(
    image: Image.Image, content: bytes, *, smallest_side: int
) -> Image.Image | ByteArray | DeepArray:
    if _is_deep_heic(image):
        return _decode_deep_heic(content)
    deep = _is_deep(image, content)
    full = image.size
    image.draft(None, _draft_size(full, smallest_side))
    if isinstance(image, JpegImagePlugin.JpegImageFile) and image.mode == "RGB":
        sound = _decode_sound_jpeg(content, full=full, size=image.size)
        if sound is not None:
            return sound
    image.load()  # in full, for 16-bit files too: OpenCV lets truncated ones pass
    return _decode_deep(content) if deep else _without_alpha(image)


def _decode_sound_jpeg(
    content: bytes, *, full: tuple[int, int], size: tuple[int, int]
) -> ByteArray | None:
    """RGB of a JPEG of one scan that has its end; None for all others, which Pillow judges.

    OpenCV lets truncated files pass, so the end is looked for first.
    """
    if not _ends_after_one_scan(content):
        return None
    import cv2

    scales = {
        1: 0,
        2: cv2.IMREAD_REDUCED_GRAYSCALE_2,  # the colour flag beside it says what comes out
        4: cv2.IMREAD_REDUCED_GRAYSCALE_4,
        8: cv2.IMREAD_REDUCED_GRAYSCALE_8,
    }
    flags = scales[round(full[0] / size[0])] | cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    stored = cv2.imdecode(np.frombuffer(content, np.uint8), flags)
    if stored is None or stored.shape != (size[1], size[0], 3):
        return None
    return np.asarray(stored, dtype=np.uint8)


def _ends_after_one_scan(content: bytes) -> bool:
    """Tell a JPEG whose first scan is followed by the end of the image (ITU-T T.81, B.2.1)."""
    at = 2
    while content[at : at + 1] == b"\xff" and at + 4 <= len(content):
        kind, length = content[at + 1], int.from_bytes(content[at + 2 : at + 4])
        at += 2 + length
        if kind == _START_OF_SCAN:
            return _after_scan(content, at) == _END_OF_IMAGE
    return False


def _after_scan(content: bytes, start: int) -> int | None:
    """Kind of the first marker that ends a scan's data; None when there is none."""
    data = np.frombuffer(content, np.uint8)
    for at in range(start, data.size - 1, _AT_ONCE):
        part = data[at : at + _AT_ONCE + 1]
        kinds = part[1:][(part[:-1] == _MARK) & (part[1:] != _STUFFED)]
        kinds = kinds[(kinds & _RESTART_BITS) != _RESTART]
        if kinds.size:
            return int(kinds[0])
    return None


def _unknown(content: bytes) -> str:
    if not content:
        return "the file is empty"
    if content[4:8] == _ISO_MEDIA and content[8:12] in _AVIF:
        return "an AVIF picture: set the phone to JPEG or HEIC"
    if content[4:8] == _ISO_MEDIA:
        return "damaged picture, or of a kind (such as a film) that is not HEIC"
    return "not a JPEG, PNG, TIFF, WebP or HEIC picture"


def _formats(content: bytes) -> tuple[str, ...]:
    if content[4:8] != _ISO_MEDIA:
        return FORMATS
    import pillow_heif

    pillow_heif.register_heif_opener()
    return ("HEIF",)


def _draft_size(full: tuple[int, int], smallest_side: int) -> tuple[int, int]:
    """Smallest size that JPEG's scaled decoding may return."""
    shrink = min(1.0, smallest_side / max(full))
    return max(1, math.floor(full[0] * shrink)), max(1, math.floor(full[1] * shrink))


def _without_alpha(image: Image.Image) -> Image.Image:
    if image.mode in _NOT_A_PHOTO:
        raise PhotoRefusedError("unreadable", "a picture of 32-bit numbers, not a photo")
    plain = _PLAIN.get(image.mode, "RGB")
    return image if image.mode == plain else image.convert(plain)


def _is_deep(image: Image.Image, content: bytes) -> bool:
    """Tell 16-bit grey or RGB; other 16-bit pictures (CMYK, Lab) are read in 8 bits."""
    if image.format == "PNG":
        return content[24] == 16  # bit depth in IHDR, the first chunk (ISO/IEC 15948)
    if not isinstance(image, TiffImagePlugin.TiffImageFile):
        return False
    bits = image.tag_v2.get(_BITS_PER_SAMPLE, (1,))
    kinds = image.tag_v2.get(_SAMPLE_FORMAT, (_UNSIGNED,))
    photometric = image.tag_v2.get(_PHOTOMETRIC)
    return set(bits) == {16} and set(kinds) == {_UNSIGNED} and photometric in (_MIN_IS_BLACK, _RGB)


def _decode_deep(content: bytes) -> DeepArray:
    import cv2

    # "unchanged" keeps the depth, and does not follow the orientation tag
    stored = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_UNCHANGED)
    if stored is None or stored.dtype != np.uint16:
        raise PhotoRefusedError("unreadable", "damaged picture, or a rare kind of 16-bit file")
    bands = np.atleast_3d(stored)
    plain = bands[..., :1] if bands.shape[2] <= 2 else bands[..., 2::-1]  # BGR(A) -> RGB
    return np.ascontiguousarray(plain)


def _is_deep_heic(image: Image.Image) -> bool:
    return image.format == "HEIF" and image.info.get("bit_depth", 8) > 8


def _decode_deep_heic(content: bytes) -> DeepArray:
    import pillow_heif

    # turned upright by the decoder, as Pillow's own reading of the file is
    file = pillow_heif.open_heif(io.BytesIO(content), convert_hdr_to_8bit=False, hdr_to_16bit=False)
    highest = (1 << int(file.info["bit_depth"])) - 1
    bands = np.atleast_3d(np.asarray(file[file.primary_index], dtype=np.uint32))
    plain = bands[..., :1] if bands.shape[2] <= 2 else bands[..., :3]
    return ((plain * _DEEP_MAX + highest // 2) // highest).astype(np.uint16)
