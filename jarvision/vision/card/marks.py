"""Four kinds of ink marks, and the two ways to put them on something: PDF page or picture.

Everything printed is first a list of marks in mm from a top left corner, y down. Both outputs take
the same list, so a PDF and a PNG of one thing cannot disagree.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from jarvision.base.colourspace import byte_to_linear_table, srgb_bytes
from jarvision.records import ByteArray, FloatArray

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

Rgb8 = tuple[int, int, int]

BLACK: Rgb8 = (0, 0, 0)
INK_RGB: Rgb8 = (48, 48, 48)  # text and rules: dark grey reads as well and is calmer than black

MM_PER_INCH = 25.4
POINTS_PER_MM = 72.0 / MM_PER_INCH

# Sub-pixels per side used to draw slanted edges: steps of 1/16 px are finer than 8 bits need.
_SUBPIXELS = 16

# Sums of shares that should be 1 miss it by rounding only.
_SHARE_NOISE = 1e-6


@dataclass(frozen=True)
class Boxes:
    """Upright rectangles of one colour: ``(n, 4)`` rows of x, y, width, height, mm."""

    rows: tuple[tuple[float, float, float, float], ...]
    rgb: Rgb8


@dataclass(frozen=True)
class Polygon:
    """A filled convex polygon, ``(x, y)`` corners in mm."""

    corners: tuple[tuple[float, float], ...]
    rgb: Rgb8


@dataclass(frozen=True)
class Disc:
    """A filled circle: middle and radius, mm."""

    x: float
    y: float
    radius: float
    rgb: Rgb8


@dataclass(frozen=True)
class Text:
    """One line of text: left end on its baseline, font size in mm."""

    x: float
    y: float
    size: float
    text: str
    bold: bool = False
    rgb: Rgb8 = INK_RGB


Mark = Boxes | Polygon | Disc | Text


@dataclass(frozen=True)
class Paper:
    """A paper size, mm."""

    name: str
    width_mm: float
    height_mm: float


A4 = Paper("a4", 210.0, 297.0)
LETTER = Paper("letter", 215.9, 279.4)


def marker_cells(family: str, marker_id: int, x: float, y: float, size: float) -> Boxes:
    """Black cells of an OpenCV marker whose outer border fills ``size`` mm at ``(x, y)``."""
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, family))
    cells = dictionary.markerSize + 2  # one cell of black border on every side
    picture = cv2.aruco.generateImageMarker(dictionary, marker_id, cells)
    step = size / cells
    rows = tuple(
        (x + col * step, y + row * step, step, step) for row, col in np.argwhere(picture == 0)
    )
    return Boxes(rows, BLACK)


# --------------------------------------------------------------------------- PDF
def write_pdf(
    path: Path, pages: Iterable[Sequence[Mark]], *, paper: Paper, area_mm: FloatArray, title: str
) -> None:
    """Write marks as vectors, each page's area centred on the paper.

    Parameters
    ----------
    pages
        The marks of each page.
    area_mm
        ``(2,)`` width and height of the area that the marks live in.
    title
        Title stored in the file.
    """
    from reportlab.pdfgen.canvas import Canvas

    left = (paper.width_mm - area_mm[0]) / 2.0
    top = (paper.height_mm - area_mm[1]) / 2.0
    size = (paper.width_mm * POINTS_PER_MM, paper.height_mm * POINTS_PER_MM)
    # invariant: the same card is the same file, byte for byte
    canvas = Canvas(str(path), pagesize=size, invariant=1)
    canvas.setTitle(title)
    canvas.setCreator("jarvision")
    canvas.setAuthor("jarvision")
    canvas.setSubject("to print at 100 %")
    canvas.setViewerPreference("PrintScaling", "None")
    for marks in pages:
        canvas.translate(left * POINTS_PER_MM, (paper.height_mm - top) * POINTS_PER_MM)
        for mark in marks:
            _pdf_mark(canvas, mark)
        canvas.showPage()
    canvas.save()


def _pdf_mark(canvas: Canvas, mark: Mark) -> None:
    k = POINTS_PER_MM
    canvas.setFillColorRGB(*(channel / 255.0 for channel in mark.rgb))
    if isinstance(mark, Text):
        canvas.setFont(_pdf_font(bold=mark.bold), mark.size * k)
        canvas.drawString(mark.x * k, -mark.y * k, mark.text)
        return
    if isinstance(mark, Disc):
        canvas.circle(mark.x * k, -mark.y * k, mark.radius * k, stroke=0, fill=1)
        return
    # one path for all boxes of a mark: neighbours then leave no hairline between them
    path = canvas.beginPath()
    if isinstance(mark, Boxes):
        for x, y, width, height in mark.rows:
            path.rect(x * k, -(y + height) * k, width * k, height * k)
    else:
        path.moveTo(mark.corners[0][0] * k, -mark.corners[0][1] * k)
        for x, y in mark.corners[1:]:
            path.lineTo(x * k, -y * k)
        path.close()
    canvas.drawPath(path, stroke=0, fill=1)


@cache
def _pdf_font(*, bold: bool) -> str:
    """Name under which the font is known to the PDF writer; registered and embedded once."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    name = "jarvision-bold" if bold else "jarvision"
    pdfmetrics.registerFont(TTFont(name, str(_font_file(bold=bold))))
    return name


def _font_file(*, bold: bool) -> Path:
    """The sans-serif font that comes with the PDF writer, so that both outputs use one font."""
    import reportlab

    return Path(reportlab.__file__).parent / "fonts" / ("VeraBd.ttf" if bold else "Vera.ttf")


# --------------------------------------------------------------------------- picture
def paint(marks: Iterable[Mark], *, area_mm: FloatArray, dpi: float) -> ByteArray:
    """Marks painted on white: ``(rows, cols, 3)`` sRGB bytes, edges smoothed in linear light.

    The point ``(x, y)`` mm lies at pixel ``(x, y) * dpi / 25.4 - 0.5`` (pixel centres at integers).
    """
    scale = dpi / MM_PER_INCH
    cols, rows = (round(float(side) * scale) for side in area_mm)
    picture = np.full((rows, cols, 3), 255, dtype=np.uint8)
    for mark in marks:
        if isinstance(mark, Boxes):
            _paint_boxes(picture, mark, scale)
        elif isinstance(mark, Polygon):
            _paint_polygon(picture, mark, scale)
        elif isinstance(mark, Disc):
            _paint_disc(picture, mark, scale)
        else:
            _paint_text(picture, mark, scale)
    return picture


def _paint_boxes(picture: ByteArray, boxes: Boxes, scale: float) -> None:
    """Shares of neighbours add up before they are mixed in, so no seam shows between them."""
    edges = np.array([(x, y, x + width, y + height) for x, y, width, height in boxes.rows]) * scale
    left, top = np.floor(edges[:, :2].min(axis=0)).astype(int)
    right, bottom = np.ceil(edges[:, 2:].max(axis=0)).astype(int)
    share = np.zeros((bottom - top, right - left))
    for x1, y1, x2, y2 in edges:
        first_col, across = _overlap(x1 - left, x2 - left)
        first_row, down = _overlap(y1 - top, y2 - top)
        place = np.s_[first_row : first_row + down.size, first_col : first_col + across.size]
        share[place] += down[:, None] * across[None, :]
    _blend(picture, int(top), int(left), share, boxes.rgb)


def _overlap(low: float, high: float) -> tuple[int, FloatArray]:
    """First pixel touched by ``low..high`` (pixel edges) and each touched pixel's covered share."""
    first = int(np.floor(low))
    pixels = np.arange(first, int(np.ceil(high)))
    return first, np.minimum(pixels + 1.0, high) - np.maximum(pixels, low)


def _paint_polygon(picture: ByteArray, polygon: Polygon, scale: float) -> None:
    """Coverage counted on sub-pixels: inside is to the right of every clockwise side."""
    corners = np.array(polygon.corners) * scale
    first = np.floor(corners.min(axis=0)).astype(int)
    last = np.ceil(corners.max(axis=0)).astype(int)
    cols, rows = last - first
    x = first[0] + (np.arange(cols * _SUBPIXELS) + 0.5) / _SUBPIXELS
    y = first[1] + (np.arange(rows * _SUBPIXELS)[:, None] + 0.5) / _SUBPIXELS
    inside = np.ones((y.shape[0], x.shape[0]), dtype=bool)
    for (x1, y1), (x2, y2) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        inside &= (x2 - x1) * (y - y1) - (y2 - y1) * (x - x1) >= 0.0
    share = inside.reshape(rows, _SUBPIXELS, cols, _SUBPIXELS).mean(axis=(1, 3))
    _blend(picture, int(first[1]), int(first[0]), share, polygon.rgb)


def _paint_disc(picture: ByteArray, disc: Disc, scale: float) -> None:
    """A pixel's share by how far its middle lies within the edge: right to 0.01 here."""
    x, y, radius = (value * scale for value in (disc.x, disc.y, disc.radius))
    left, top = int(np.floor(x - radius)), int(np.floor(y - radius))
    cols = np.arange(left, int(np.ceil(x + radius))) + 0.5
    rows = np.arange(top, int(np.ceil(y + radius)))[:, None] + 0.5
    share = np.clip(radius + 0.5 - np.hypot(cols - x, rows - y), 0.0, 1.0)
    _blend(picture, top, left, share, disc.rgb)


def _paint_text(picture: ByteArray, text: Text, scale: float) -> None:
    from PIL import Image, ImageDraw, ImageFont

    font = ImageFont.truetype(str(_font_file(bold=text.bold)), text.size * scale)
    mask = Image.new("L", (picture.shape[1], picture.shape[0]), 0)
    start = (text.x * scale - 0.5, text.y * scale - 0.5)
    ImageDraw.Draw(mask).text(start, text.text, fill=255, font=font, anchor="ls")
    box = mask.getbbox()
    if box is None:
        return
    share = np.asarray(mask.crop(box), dtype=np.float64) / 255.0
    _blend(picture, box[1], box[0], share, text.rgb)


def _blend(picture: ByteArray, row: int, col: int, share: FloatArray, rgb: Rgb8) -> None:
    """Mix ``rgb`` into the picture by each pixel's covered share, in linear light."""
    table = byte_to_linear_table()
    target = picture[row : row + share.shape[0], col : col + share.shape[1]]
    full = share >= 1.0 - _SHARE_NOISE
    target[full] = rgb
    edge = (share > 0.0) & ~full
    weight = share[edge][:, None]
    mixed = table[target[edge]] * (1.0 - weight) + table[np.array(rgb)] * weight
    target[edge] = srgb_bytes(mixed)
