"""Lines, hatches and words on a picture, with a dark casing. Used by the overlay alone.

The palette keeps apart under the common colour vision deficiencies by lightness as well as hue:
off-colour is the only strong pink, bare a light yellow, covered a deep blue, wet a light one.
"""

from __future__ import annotations

from functools import cache
from typing import Final

import cv2
import numpy as np

from jarvision.base.text import printable
from jarvision.records import ByteArray, Float32Array, FloatArray

Colour = tuple[int, int, int]

JAR: Final[Colour] = (246, 246, 242)
ZONE: Final[Colour] = (246, 246, 242)
COVERED_COLOUR: Final[Colour] = (20, 120, 200)
UNJUDGED_COLOUR: Final[Colour] = (226, 226, 220)
OTHER: Final[Colour] = (226, 226, 220)
QUIET_COLOUR: Final[Colour] = (188, 196, 198)
CASING: Final[Colour] = (20, 26, 30)
STRIP: Final[Colour] = (24, 31, 35)
PATCH_COLOURS: Final[dict[str, Colour]] = {
    "bare": (250, 214, 92),
    "wet": (130, 200, 255),
    "stain": (214, 178, 138),
    "green": (232, 30, 99),
    "black": (232, 30, 99),
    "pink": (232, 30, 99),
    "yellow": (232, 30, 99),
}

TAG_HEIGHT: Final = 76
_TAG_TEXT_PX: Final = 30  # a phone shows the picture at 0.4 of its size: 12 px to the eye
_TAG_WEIGHT: Final = 700
_SUBPIXEL_BITS: Final = 4  # cv2 takes fixed-point coordinates: 1/16 px


@cache
def _font() -> cv2.FontFace:
    return cv2.FontFace("sans")  # comes with OpenCV, covers Latin, Greek, Cyrillic and CJK


def _fixed(points: Float32Array | FloatArray) -> np.ndarray[tuple[int, ...], np.dtype[np.int32]]:
    limit = 2**14  # far outside any picture, still inside 16.4 fixed point
    inside = np.clip(np.asarray(points, dtype=np.float32), -limit, limit)
    return np.round(inside * 2**_SUBPIXEL_BITS).astype(np.int32)


def polyline(picture: ByteArray, points: Float32Array, colour: Colour, *, width: int) -> None:
    """Draw an open line with a dark casing."""
    _strokes(picture, [points], colour, width=width)


def outline(
    picture: ByteArray, points: Float32Array, colour: Colour, *, width: int, cased: bool = True
) -> None:
    """Draw a closed line, with a dark casing unless told otherwise."""
    _strokes(picture, [np.vstack([points, points[:1]])], colour, width=width, cased=cased)


def dashes(
    picture: ByteArray,
    points: Float32Array,
    colour: Colour,
    *,
    dash: float,
    gap: float,
    width: int,
) -> None:
    """Draw a dashed line; ``dash`` and ``gap`` in px. A dash shorter than its width is a dot."""
    lengths = np.hypot(*np.diff(points, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    if along[-1] <= 0:
        return
    starts = np.arange(0.0, along[-1], dash + gap)[:, None]
    at = starts + np.linspace(0.0, 1.0, max(2, int(dash / 3) + 1)) * np.minimum(
        dash, along[-1] - starts
    )
    pieces = np.stack([np.interp(at, along, points[:, axis]) for axis in (0, 1)], axis=-1)
    _strokes(picture, pieces, colour, width=width)


def hatch(picture: ByteArray, points: Float32Array, colour: Colour, *, spacing: int = 44) -> None:
    """Fill a closed shape with few diagonal lines; what lies under them stays visible."""
    low = np.clip(np.floor(points.min(axis=0)).astype(int) - 1, 0, None)
    high = np.ceil(points.max(axis=0)).astype(int) + 2
    view = picture[low[1] : high[1], low[0] : high[0]]
    if view.size == 0:
        return
    rows, cols = view.shape[:2]
    inside = np.zeros((rows, cols), dtype=np.uint8)
    cv2.fillPoly(inside, [np.round(points - low).astype(np.int32)], 255)
    lines = view.copy()
    for offset in range(-rows, cols, spacing):
        cv2.line(lines, (offset, rows), (offset + rows, 0), CASING, 4, cv2.LINE_AA)
        cv2.line(lines, (offset, rows), (offset + rows, 0), colour, 2, cv2.LINE_AA)
    np.copyto(view, lines, where=inside[..., None] > 0)


def text(
    picture: ByteArray,
    words: str,
    at: tuple[int, int],
    *,
    size: int,
    weight: int = 400,
    colour: Colour = JAR,
    right: bool = False,
    cased: bool = False,
) -> None:
    """Write one line; ``at`` is the left (or right) end of its baseline, ``size`` in px.

    ``cased`` puts a dark box behind it.
    """
    words = printable(words)
    x, y = at[0] - (text_width(words, size=size, weight=weight) if right else 0), at[1]
    if cased:
        corner = (x + text_width(words, size=size, weight=weight) + 4, y + size // 3)
        cv2.rectangle(picture, (x - 4, y - size), corner, STRIP, cv2.FILLED)
    cv2.putText(picture, words, (x, y), colour, _font(), size, weight)


def text_width(words: str, *, size: int, weight: int = 400) -> int:
    """Width of a line of text, px."""
    shown = printable(words)  # OpenCV ends the process over half a surrogate pair
    return int(cv2.getTextSize((4096, 64), shown, (0, 0), _font(), size, weight)[2])


def fit_size(words: str, width: float, *, size: int) -> int:
    """Greatest text size up to ``size`` at which the words fit ``width``; at least 9 px."""
    wanted = text_width(words, size=size, weight=600)
    return size if wanted <= width else max(9, int(size * width / wanted))


def wrap(words: str, width: float, *, size: int) -> list[str]:
    """Break words into lines that fit ``width`` px; a longer word keeps its own line."""
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size=size) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def tag_width(what: str, much: str) -> int:
    """Width of a tag with these two lines, px."""
    title = text_width(what, size=_TAG_TEXT_PX, weight=_TAG_WEIGHT)
    return max(title, text_width(much, size=_TAG_TEXT_PX)) + 32


def tag(picture: ByteArray, what: str, much: str, at: tuple[int, int], colour: Colour) -> None:
    """Write two lines on a dark tag with a coloured left edge; ``at`` is its top left corner."""
    x, y = at
    corner = (x + tag_width(what, much), y + TAG_HEIGHT)
    cv2.rectangle(picture, (x, y), corner, STRIP, cv2.FILLED)
    cv2.rectangle(picture, (x, y), (x + 8, y + TAG_HEIGHT), colour, cv2.FILLED)
    text(picture, what, (x + 20, y + 32), size=_TAG_TEXT_PX, weight=_TAG_WEIGHT)
    text(picture, much, (x + 20, y + 65), size=_TAG_TEXT_PX)


def leader(picture: ByteArray, begin: Float32Array, end: Float32Array, colour: Colour) -> None:
    """Draw a thin line that starts with a dot."""
    polyline(picture, np.vstack([begin, end]), colour, width=2)
    middle = tuple(int(v) for v in _fixed(begin))
    for coat, radius in ((CASING, 9), (colour, 6)):
        cv2.circle(
            picture,
            middle,
            radius << _SUBPIXEL_BITS,
            coat,
            cv2.FILLED,
            cv2.LINE_AA,
            _SUBPIXEL_BITS,
        )


def _strokes(
    picture: ByteArray,
    lines: list[Float32Array] | FloatArray,
    colour: Colour,
    *,
    width: int,
    cased: bool = True,
) -> None:
    fixed = list(_fixed(lines)) if isinstance(lines, np.ndarray) else [_fixed(p) for p in lines]
    coats = ((CASING, width + 2), (colour, width)) if cased else ((colour, width),)
    for coat, thickness in coats:
        cv2.polylines(picture, fixed, False, coat, thickness, cv2.LINE_AA, shift=_SUBPIXEL_BITS)
