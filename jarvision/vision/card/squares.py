"""The dark squares of a photo: the marks of the card and of the ring among them, and jar tags.

They are looked for once, in a picture of at most 1200 px, with a detector that knows the four marks
of each only: finding squares is fast, holding each against hundreds of marks is not.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from jarvision.records import ByteArray, FloatArray
from jarvision.vision.card.layout import CardLayout, load_layout, load_ring
from jarvision.vision.card.pose import side_px

if TYPE_CHECKING:
    import cv2

SEARCH_SIDE_PX = 1200
"""Long side of the picture that is searched: the search takes a fraction of the decoding."""

# Smallest perimeter of a square, as a share of the picture's long side: 24 px squares.
_PERIMETER_MIN = 0.08

# Window of the threshold, px: about a cell of a near mark, half a distant one.
_WINDOW_PX = 23


@dataclass(frozen=True)
class Squares:
    """What was seen.

    Attributes
    ----------
    grey
        ``(rows, cols)`` the photo in grey.
    small
        The picture that was searched: ``grey`` in a half, a third and so on, or itself.
    marks
        Corners ``(4, 2)`` of the marks of card and ring by id, px of ``grey``, clockwise.
    corners
        ``(n, 4, 2)`` of all squares, px of ``small``; one square may come several times.
    doubled
        True when one of the marks was seen at two places: there are two cards.
    """

    grey: ByteArray
    small: ByteArray
    marks: Mapping[int, FloatArray]
    corners: FloatArray
    doubled: bool = False

    def marks_of(self, layout: CardLayout) -> dict[int, FloatArray]:
        """The marks of one card: no other bears its ids."""
        return {m.id: self.marks[m.id] for m in layout.markers if m.id in self.marks}


def find_squares(rgb: ByteArray, *, layout: CardLayout | None = None) -> Squares:
    """Look for squares in ``(rows, cols, 3)`` sRGB bytes; see :func:`squares_of_grey`."""
    import cv2

    grey = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    return squares_of_grey(grey, layout=layout)


def squares_of_grey(grey: ByteArray, *, layout: CardLayout | None = None) -> Squares:
    """Look for squares in a small copy, and with more care when not all marks of a card show.

    The small copy is a half, a third and so on: whole steps take a tenth of the time. Blurred marks
    show best at 1200 px, marks of a distant card in the photo itself.
    """
    cards = (layout or load_layout(), load_ring())
    step = -(-max(grey.shape) // SEARCH_SIDE_PX)
    small = grey if step <= 1 else _resized(grey, grey.shape[1] // step, grey.shape[0] // step)
    marks, corners, doubled = _detect(small, cards, all_windows=False)
    marks = _in_full(marks, small, grey)
    if not _one_whole(marks, cards):
        shrink = min(1.0, SEARCH_SIDE_PX / max(grey.shape))
        again = _resized(grey, round(grey.shape[1] * shrink), round(grey.shape[0] * shrink))
        marks = _in_full(_detect(again, cards, all_windows=True)[0], again, grey) | marks
    if step > 1 and not _one_whole(marks, cards):
        marks = _detect(grey, cards, all_windows=True)[0] | marks
    return Squares(grey, small, marks, corners, doubled)


def _one_whole(marks: Mapping[int, FloatArray], cards: tuple[CardLayout, ...]) -> bool:
    """Whether all marks of one of the cards are there."""
    return any(all(mark.id in marks for mark in card.markers) for card in cards)


def _resized(grey: ByteArray, width: int, height: int) -> ByteArray:
    import cv2

    size = max(1, width), max(1, height)
    return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _in_full(
    marks: Mapping[int, FloatArray], small: ByteArray, grey: ByteArray
) -> dict[int, FloatArray]:
    """Corners in a small copy as px of the picture itself."""
    ratio = np.array(grey.shape[::-1]) / np.array(small.shape[::-1])
    return {number: (seen + 0.5) * ratio - 0.5 for number, seen in marks.items()}


def _detect(
    grey: ByteArray, cards: tuple[CardLayout, ...], *, all_windows: bool
) -> tuple[dict[int, FloatArray], FloatArray, bool]:
    """The cards' marks by id, all squares, and whether a mark is there twice."""
    ids = tuple(dict.fromkeys(marker.id for card in cards for marker in card.markers))
    detector = _detector(cards[0].marker_family, ids, all_windows)
    corners, indices, others = detector.detectMarkers(grey)
    every = np.array([*corners, *others], dtype=np.float64).reshape(-1, 4, 2)
    found: dict[int, FloatArray] = {}
    doubled = False
    if corners:  # else the indices are None, whatever their type says
        # smallest first: of two marks with one id the larger, nearer one stays
        named = zip(indices.ravel(), every[: len(corners)], strict=True)
        for index, seen in sorted(named, key=lambda pair: side_px(pair[1])):
            known = found.get(ids[int(index)], seen)
            apart = float(np.linalg.norm(seen.mean(axis=0) - known.mean(axis=0)))
            doubled = doubled or apart > side_px(seen)
            found[ids[int(index)]] = seen
    return found, every, doubled


@cache
def _detector(family: str, ids: tuple[int, ...], all_windows: bool) -> cv2.aruco.ArucoDetector:
    """A detector that knows these marks of a family only, numbered in the order of ``ids``."""
    import cv2

    whole = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, family))
    own = cv2.aruco.Dictionary(
        whole.bytesList[list(ids)], whole.markerSize, whole.maxCorrectionBits
    )
    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = _PERIMETER_MIN
    if not all_windows:
        parameters.adaptiveThreshWinSizeMin = parameters.adaptiveThreshWinSizeMax = _WINDOW_PX
        parameters.minMarkerDistanceRate = 0.0  # a tag cut out closely is a square in a square
        parameters.minGroupDistance = 0.0
    return cv2.aruco.ArucoDetector(own, parameters)
