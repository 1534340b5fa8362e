"""Jar tags: printed sheets of numbered AprilTag 36h11 marks, and their reader.

The number of a tag is the number of its jar.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from jarvision.base.errors import NotWritableError, UsageError
from jarvision.records import BoolArray, ByteArray, FloatArray
from jarvision.vision.card import marks as printed
from jarvision.vision.card.layout import TAG_COUNT, TAG_FAMILY
from jarvision.vision.card.squares import Squares

if TYPE_CHECKING:
    import cv2

TAG_MM = 20.0

# The sheet: a head line and a grid of tags inside the area that fits A4 and Letter, mm.
_AREA_MM = np.array([190.0, 260.0])
_HEAD_MM = 12.0
_COLUMNS, _ROWS = 4, 7
_CELL_MM = (47.5, 34.0)
_PER_PAGE = _COLUMNS * _ROWS
_TAG_LEFT_MM = 6.0
_NUMBER_GAP_MM = 3.5
_NUMBER_SIZE_MM = 6.0
_CAP_HEIGHT = 0.73  # height of a digit over the font size
_CUT_LINE_MM = 0.15
_CUT_RGB = (170, 170, 170)

# Long side of the picture in which tags are read, px: a 20 mm tag is then about 80 px wide.
_SEARCH_SIDE_PX = 1600

# Share of the family's correctable bits that is used: fewer false tags on busy pictures.
_CORRECTION_RATE = 0.4

# Wrong cells up to which a square is worth a closer look: one more than the closer look allows.
_ALMOST_CELLS = 3

_CELLS = 8  # six of code, and the black border on both sides
_BORDER_LIGHT_MAX = 0.35  # share of the border's cells that may look light, as in OpenCV
_CELL_SAMPLES = 3  # across and down, in the inner part of each cell
_CELL_INNER = 0.6


@dataclass(frozen=True)
class JarTag:
    """A tag seen in a photo: its number and its ``(4, 2)`` corners in px, clockwise."""

    number: int
    corners_px: FloatArray

    @property
    def centre_px(self) -> FloatArray:
        """Middle of the tag ``(x, y)``, px."""
        return np.asarray(self.corners_px.mean(axis=0))


@dataclass(frozen=True)
class TagFiles:
    """The files that :func:`draw_tags` wrote."""

    pdf_a4: Path
    pdf_letter: Path


def draw_tags(out_dir: Path, first: int, last: int) -> TagFiles:
    """Write ``tags-a4.pdf`` and ``tags-letter.pdf`` with the tags ``first`` to ``last``.

    Raises
    ------
    UsageError
        When the numbers are not in order within 0 to 586, all that the family has.
    NotWritableError
        When the folder or a file cannot be written.
    """
    if not 0 <= first <= last < TAG_COUNT:
        raise UsageError(
            f"jar tags {first} to {last} do not exist",
            f"Choose numbers from 0 to {TAG_COUNT - 1}, the smaller one first.",
        )
    numbers = range(first, last + 1)
    pages = [_page(numbers[at : at + _PER_PAGE]) for at in range(0, len(numbers), _PER_PAGE)]
    files = TagFiles(out_dir / "tags-a4.pdf", out_dir / "tags-letter.pdf")
    title = f"jarvision jar tags {first} to {last}"
    try:
        out_dir.mkdir(parents=True, exist_ok=True)
        for path, paper in ((files.pdf_a4, printed.A4), (files.pdf_letter, printed.LETTER)):
            printed.write_pdf(path, pages, paper=paper, area_mm=_AREA_MM, title=title)
    except OSError as error:
        raise NotWritableError(
            f"the tags cannot be written to {out_dir}", "Choose another folder with --out."
        ) from error
    return files


def read_tags(squares: Squares) -> tuple[JarTag, ...]:
    """Jar tags among the squares of a picture, sorted by number; empty when there are none.

    Notes
    -----
    Holding every square of a busy picture against all 587 tags takes ten times as long as finding
    the squares. So all squares are first read at once; the search proper, with its checks, knows
    only the numbers that came out, and there is none where no number did.
    """
    import cv2

    likely = _likely_numbers(squares)
    if not likely:
        return ()
    grey = squares.grey
    shrink = min(1.0, _SEARCH_SIDE_PX / max(grey.shape))
    small = cv2.resize(grey, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    corners, indices, _ = _detector(likely).detectMarkers(small)
    if not corners:  # then the indices are None, whatever their type says
        return ()
    ratio = np.array(grey.shape[::-1]) / np.array(small.shape[::-1])
    tags = (
        JarTag(likely[int(index)], (np.asarray(seen[0], dtype=np.float64) + 0.5) * ratio - 0.5)
        for index, seen in zip(indices.ravel(), corners, strict=True)
    )
    return tuple(sorted(tags, key=lambda tag: tag.number))


def _likely_numbers(squares: Squares) -> tuple[int, ...]:
    """Numbers of the tags that squares of the picture resemble."""
    if not len(squares.corners):
        return ()
    codes = _read_codes(squares.small, squares.corners)
    apart = np.bitwise_count(codes[:, None, None] ^ _family_codes()[None])
    return tuple(int(n) for n in np.unique(np.nonzero((apart <= _ALMOST_CELLS).any(axis=2))[1]))


def _read_codes(grey: ByteArray, squares: FloatArray) -> NDArray[np.uint64]:
    """36 cells of each square ``(n, 4, 2)`` with a black border, as bits row by row."""
    import cv2

    across = (np.arange(_CELL_SAMPLES) + 0.5) / _CELL_SAMPLES * _CELL_INNER + (1 - _CELL_INNER) / 2
    steps = (np.arange(_CELLS)[:, None] + across).ravel() / _CELLS
    unit = np.stack([*np.meshgrid(steps, steps), np.ones((steps.size,) * 2)], axis=-1)
    image = unit.reshape(-1, 3) @ np.stack([_from_unit(square).T for square in squares])
    at = (image[..., :2] / image[..., 2:]).astype(np.float32)
    seen = np.asarray(cv2.remap(grey, at[..., 0], at[..., 1], cv2.INTER_LINEAR), dtype=np.float32)
    per_cell = seen.reshape(-1, _CELLS, _CELL_SAMPLES, _CELLS, _CELL_SAMPLES).mean(axis=(2, 4))
    middle = (per_cell.max(axis=(1, 2)) + per_cell.min(axis=(1, 2))) / 2
    light = per_cell > middle[:, None, None]
    inner = light[:, 1:-1, 1:-1]
    border = light.sum(axis=(1, 2)) - inner.sum(axis=(1, 2))
    black = border <= _BORDER_LIGHT_MAX * (_CELLS**2 - inner[0].size)
    return _pack(inner[black])


def _from_unit(square: FloatArray) -> FloatArray:
    """Homography ``(3, 3)`` from the unit square to a square's corners."""
    import cv2

    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=np.float32)
    return np.asarray(cv2.getPerspectiveTransform(unit, square.astype(np.float32)))


def _pack(cells: BoolArray) -> NDArray[np.uint64]:
    """Cells ``(n, rows, cols)`` as bits of one number each."""
    flat = cells.reshape(len(cells), cells[0:1].size or 1).astype(np.uint64)
    return flat @ (np.uint64(1) << np.arange(flat.shape[1], dtype=np.uint64))


@cache
def _family_codes() -> NDArray[np.uint64]:
    """Codes ``(587, 4)`` of the family's tags in the four ways that they can be turned."""
    import cv2

    family = _family()
    cells = np.array(
        [
            cv2.aruco.Dictionary.getBitsFromByteList(row[None], family.markerSize)
            for row in family.bytesList
        ]
    )
    turned = [_pack(np.rot90(cells, turn, axes=(1, 2)) > 0) for turn in range(4)]
    return np.stack(turned, axis=1)


def _family() -> cv2.aruco.Dictionary:
    import cv2

    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, TAG_FAMILY))


def _detector(numbers: tuple[int, ...]) -> cv2.aruco.ArucoDetector:
    import cv2

    parameters = cv2.aruco.DetectorParameters()
    parameters.errorCorrectionRate = _CORRECTION_RATE
    family = _family()
    likely = cv2.aruco.Dictionary(
        family.bytesList[list(numbers)], family.markerSize, family.maxCorrectionBits
    )
    return cv2.aruco.ArucoDetector(likely, parameters)


def _page(numbers: range) -> list[printed.Mark]:
    """One sheet: head line, cut lines, then each tag with its number beside it."""
    sheet: list[printed.Mark] = [
        printed.Text(0.0, 4.4, 4.4, "jarvision jar tags", bold=True),
        printed.Text(47.5, 4.4, 2.4, "Print at 100 %: each black square measures 20 mm."),
        _cut_lines(-(-len(numbers) // _COLUMNS)),
    ]
    for place, number in enumerate(numbers):
        row, col = divmod(place, _COLUMNS)
        x, middle = col * _CELL_MM[0], _HEAD_MM + (row + 0.5) * _CELL_MM[1]
        tag_x = x + _TAG_LEFT_MM
        baseline = middle + _CAP_HEIGHT * _NUMBER_SIZE_MM / 2.0
        number_x = tag_x + TAG_MM + _NUMBER_GAP_MM
        sheet += [
            printed.marker_cells(TAG_FAMILY, number, tag_x, middle - TAG_MM / 2.0, TAG_MM),
            printed.Text(number_x, baseline, _NUMBER_SIZE_MM, str(number), bold=True),
        ]
    return sheet


def _cut_lines(rows: int) -> printed.Boxes:
    """Hairlines around every cell of so many rows of the grid."""
    width, height = _COLUMNS * _CELL_MM[0], rows * _CELL_MM[1]
    half = _CUT_LINE_MM / 2.0
    across = [
        (0.0, _HEAD_MM + row * _CELL_MM[1] - half, width, _CUT_LINE_MM) for row in range(rows + 1)
    ]
    down = [
        (col * _CELL_MM[0] - half, _HEAD_MM, _CUT_LINE_MM, height) for col in range(_COLUMNS + 1)
    ]
    return printed.Boxes((*across, *down), _CUT_RGB)
