"""What the tool saw, drawn over the photo so that it needs no legend. Drawing only.

Shapes and words carry the meaning, colour only helps: the covered area has a thin line, bare
patches a dashed one, off-colour patches a thick line with hatching, what could not be judged is
dotted. Every line has a dark casing, so that it shows on white mycelium as well as on grain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

import cv2
import numpy as np

from jarvision.base.colourspace import srgb_bytes
from jarvision.base.files import write_whole
from jarvision.records import (
    HALF_VIEW_DEG,
    OFF_COLOUR_KINDS,
    BoolArray,
    ByteArray,
    CardFit,
    Coverage,
    Float32Array,
    JarFit,
    Patch,
    Tissue,
    TissueClass,
    Wall,
)
from jarvision.vision.overlay import strokes
from jarvision.vision.overlay.callouts import Label, write_labels

PICTURE_HEIGHT_PX: Final = 1000
CAPTION_HEIGHT_PX: Final = 112
SIDE_MARGIN: Final = 0.36  # of the jar's width, on each side: room for the labels
TOP_MARGIN: Final = 0.08  # of the jar's height, above and below
STRIP_PX_PER_MM: Final = 4.0
STRIP_LIGHT: Final = 0.75  # white growth is nearly as light as paper: keep its texture visible
STRIP_TOP_MM: Final = 4.0  # shown above the contents
REFUSAL_WIDTH_PX: Final = 640
REFUSAL_CAPTION_PX: Final = 230
SMALLEST_DRAWN_CM2: Final = 0.15  # finer specks would only be noise to the eye
SMALLEST_LABEL_CM2: Final = 0.5  # but a discoloured speck is always named
ALWAYS_NAMED: Final = (*OFF_COLOUR_KINDS, "pins")
JPEG_QUALITY: Final = 86


@dataclass(frozen=True)
class Caption:
    """The numbers under the picture."""

    jar: str
    day: date
    coverage: Coverage | None


@dataclass(frozen=True)
class Frame:
    """Crop and scale from photo pixels to picture pixels."""

    x0: float
    y0: float
    scale: float
    width: int
    height: int

    def place(self, points: Float32Array) -> Float32Array:
        """Photo ``(n, 2)`` points as picture points; pixel centres stay pixel centres."""
        corner = np.array([self.x0, self.y0], dtype=np.float32)
        moved = (points - corner + 0.5) * self.scale - 0.5
        return moved.astype(np.float32)


def draw_overlay(
    rgb: ByteArray,
    *,
    jar: JarFit,
    wall: Wall,
    tissue: Tissue,
    patches: Sequence[Patch],
    caption: Caption,
    card: CardFit | None = None,
) -> ByteArray:
    """Draw the reading over the photo, cropped to the jar, with a caption below.

    Parameters
    ----------
    rgb
        ``(rows, cols, 3)`` photo, sRGB ``uint8``; not changed.
    card
        Keeps the crop inside the card when the jar's surroundings reach beyond it.

    Returns
    -------
    ndarray
        ``(1000, n, 3)`` ``uint8``.
    """
    frame = _frame_jar(rgb.shape, jar, card)
    picture = _crop(rgb, frame)
    _draw_covered(picture, frame, wall, tissue)
    _draw_unjudged(picture, frame, wall)
    strokes.outline(picture, frame.place(jar.outline_px), strokes.JAR, width=1, cased=False)
    _draw_zone(picture, frame, wall)
    labels = [_draw_patch(picture, frame, wall, patch) for patch in patches]
    labels += _area_labels(frame, wall, tissue, caption.coverage)
    outline_x = frame.place(jar.outline_px)[:, 0]
    sides = float(outline_x.min()), float(outline_x.max())
    write_labels(picture, [label for label in labels if label is not None], sides=sides)
    return np.vstack([picture, _caption_strip(frame.width, caption)])


def draw_refusal(rgb: ByteArray, *, title: str, text: str) -> ByteArray:
    """Draw a photo that gave no reading, with the reason and what to do below.

    Shape ``(n, 640, 3)`` ``uint8``; the text is broken into lines, 230 px for all of them.
    """
    height = round(rgb.shape[0] * REFUSAL_WIDTH_PX / rgb.shape[1])
    frame = Frame(0, 0, REFUSAL_WIDTH_PX / rgb.shape[1], REFUSAL_WIDTH_PX, height)
    titles = strokes.wrap(title, REFUSAL_WIDTH_PX - 40, size=34)
    lines = strokes.wrap(text, REFUSAL_WIDTH_PX - 36, size=28)
    strip = np.full((REFUSAL_CAPTION_PX, frame.width, 3), strokes.STRIP, dtype=np.uint8)
    for row, line in enumerate(titles):
        strokes.text(strip, line, (18, 46 + 42 * row), size=32, weight=600)
    for row, line in enumerate(lines):
        strokes.text(
            strip, line, (18, 46 + 42 * len(titles) + 38 * row), size=28, colour=strokes.QUIET
        )
    return np.vstack([_crop(rgb, frame), strip])


def draw_wall_strip(wall: Wall, tissue: Tissue, patches: Sequence[Patch]) -> ByteArray:
    """Draw the unrolled wall, left to right as the camera sees it, with patches outlined.

    It reaches from -60 to 60 degrees and from the inner floor, its lower edge, to just above the
    contents, at 4 px per mm in both directions. What was not judged is dimmed.
    A bar at the bottom left shows 10 mm. Shape ``(n, m, 3)`` ``uint8``.
    """
    cols = np.flatnonzero(np.abs(wall.angles_deg) <= HALF_VIEW_DEG + 1e-6)
    held = wall.heights_mm[wall.filled.any(axis=1)]
    top_mm = (float(held.max()) if held.size else float(wall.heights_mm[0])) + STRIP_TOP_MM
    rows = np.flatnonzero((wall.heights_mm > 0) & (wall.heights_mm <= top_mm))
    part = np.s_[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]
    shown = srgb_bytes(wall.linear[part] * STRIP_LIGHT)
    shown[tissue.classes[part] <= TissueClass.UNJUDGED] //= 2
    width_mm = np.deg2rad(2 * HALF_VIEW_DEG) * wall.radius_mm
    size = (round(width_mm * STRIP_PX_PER_MM), round(wall.step_mm * len(rows) * STRIP_PX_PER_MM))
    picture = np.asarray(cv2.resize(shown, size, interpolation=cv2.INTER_CUBIC), dtype=np.uint8)
    cell_px = np.array([size[0] / shown.shape[1], size[1] / shown.shape[0]], dtype=np.float32)
    corner = np.array([cols[0], rows[0]], dtype=np.float32)
    for patch in patches:
        grid = _grid_points(wall, patch.outline)
        if len(grid) > 2:
            _outline_patch(picture, (grid - corner + 0.5) * cell_px - 0.5, patch.kind)
    bar_px = 10.0 * STRIP_PX_PER_MM
    bar = np.array([[12, size[1] - 14], [12 + bar_px, size[1] - 14]], dtype=np.float32)
    strokes.polyline(picture, bar, strokes.JAR, width=4)
    return picture


def save_picture(path: Path, rgb: ByteArray) -> None:
    """Save as JPEG, whole or not at all; the folder is made when missing.

    Raises
    ------
    NotWritableError
    """
    done, data = cv2.imencode(
        ".jpg",
        cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR),
        [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY, cv2.IMWRITE_JPEG_OPTIMIZE, 1],
    )
    if not done:
        raise ValueError(f"could not encode {path.name}")
    write_whole(path, data.tobytes())


def _frame_jar(shape: tuple[int, ...], jar: JarFit, card: CardFit | None) -> Frame:
    """Frame the jar with room for labels at its sides, inside the photo (and the card)."""
    low, high = jar.outline_px.min(axis=0), jar.outline_px.max(axis=0)
    margin = (high - low) * np.array([SIDE_MARGIN, TOP_MARGIN])
    edge = np.array([shape[1], shape[0]], dtype=np.float64)
    first, last = np.zeros(2), edge
    if card is not None:
        # The jar stands before the card and may hang below it: the card limits, the jar wins.
        first = np.minimum(np.maximum(card.outline_px.min(axis=0), 0), low)
        last = np.maximum(np.minimum(card.outline_px.max(axis=0), edge), high)
    top_left = np.clip(np.maximum(low - margin, first), 0, edge - 2)
    bottom_right = np.clip(np.minimum(high + margin, last), top_left + 2, edge)
    height = PICTURE_HEIGHT_PX - CAPTION_HEIGHT_PX
    scale = height / float(bottom_right[1] - top_left[1])
    width = max(1, round(float(bottom_right[0] - top_left[0]) * scale))
    return Frame(float(top_left[0]), float(top_left[1]), scale, width, height)


def _crop(rgb: ByteArray, frame: Frame) -> ByteArray:
    """Cut and scale with antialiasing; the matrix maps picture pixels to photo pixels."""
    x0, y0 = int(frame.x0), int(frame.y0)
    x1 = min(rgb.shape[1], int(np.ceil(frame.x0 + frame.width / frame.scale)))
    y1 = min(rgb.shape[0], int(np.ceil(frame.y0 + frame.height / frame.scale)))
    method = cv2.INTER_AREA if frame.scale < 1 else cv2.INTER_CUBIC
    size = (frame.width, frame.height)
    return np.asarray(cv2.resize(rgb[y0:y1, x0:x1], size, interpolation=method), dtype=np.uint8)


def _draw_covered(picture: ByteArray, frame: Frame, wall: Wall, tissue: Tissue) -> None:
    covered = np.isin(tissue.classes, (TissueClass.MYCELIUM, TissueClass.STAIN))
    for line in _contours(covered & _in_zone(wall), wall):
        strokes.outline(picture, frame.place(line), strokes.COVERED, width=2, cased=False)


def _draw_unjudged(picture: ByteArray, frame: Frame, wall: Wall) -> None:
    for line in _contours(wall.filled & ~wall.judged & _in_zone(wall), wall):
        strokes.dashes(picture, frame.place(line), strokes.UNJUDGED, dash=1.5, gap=5.5, width=2)


def _draw_zone(picture: ByteArray, frame: Frame, wall: Wall) -> None:
    """Bound the judged zone: the filled wall within 60 degrees of the viewing direction."""
    edges = _contours(wall.filled & _in_zone(wall), wall)
    if not edges:
        return
    zone = frame.place(max(edges, key=len))
    strokes.dashes(picture, zone, strokes.ZONE, dash=14, gap=8, width=2)
    top = zone[np.argmin(zone[:, 0] + 2 * zone[:, 1])]
    strokes.text(picture, "judged area", (int(top[0]) + 8, int(top[1]) - 14), size=26, cased=True)


def _draw_patch(picture: ByteArray, frame: Frame, wall: Wall, patch: Patch) -> Label | None:
    """Outline one patch; its label, or None when it has no place in the picture."""
    named = patch.kind in ALWAYS_NAMED
    if not named and patch.area_cm2 < SMALLEST_DRAWN_CM2:
        return None
    grid = _grid_points(wall, patch.outline or ((patch.angle_deg, patch.height_mm),))
    points = frame.place(_photo_points(wall, grid))
    if len(points) > 2:
        _outline_patch(picture, points, patch.kind)
    if not len(points):
        return None
    if not named and patch.area_cm2 < SMALLEST_LABEL_CM2:
        return None
    much = f"{patch.area_cm2:.1f} cm²"
    colour = strokes.PATCHES.get(patch.kind, strokes.OTHER)
    return Label(patch.kind, much, points, colour, (0 if named else 2, -patch.area_cm2))


def _area_labels(
    frame: Frame, wall: Wall, tissue: Tissue, coverage: Coverage | None
) -> list[Label]:
    """Name the white growth, so that its line needs no legend, and what could not be judged."""
    zone = _in_zone(wall)
    covered = np.isin(tissue.classes, (TissueClass.MYCELIUM, TissueClass.STAIN)) & zone
    unjudged = wall.filled & ~wall.judged & zone
    found = []
    if coverage is not None:
        told = f"{coverage.percent:.0f} %"
        found.append(_area_label("covered", told, covered, strokes.COVERED, frame, wall, 1))
    told = f"{np.count_nonzero(unjudged) * wall.cell_cm2:.1f} cm²"
    found.append(_area_label("not judged", told, unjudged, strokes.UNJUDGED, frame, wall, 3))
    return [label for label in found if label is not None]


def _area_label(
    what: str,
    much: str,
    mask: BoolArray,
    colour: strokes.Colour,
    frame: Frame,
    wall: Wall,
    rank: int,
) -> Label | None:
    """Point into the widest part of an area; None for one too small to be pointed at."""
    if np.count_nonzero(mask) * wall.cell_cm2 < 2 * SMALLEST_LABEL_CM2:
        return None
    padded = cv2.copyMakeBorder(mask.astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    depth = cv2.distanceTransform(padded, cv2.DIST_L2, 3)[1:-1, 1:-1]
    row, col = np.unravel_index(int(depth.argmax()), depth.shape)
    points = _photo_points(wall, np.array([[col, row]], dtype=np.float32))
    if not len(points):
        return None
    return Label(what, much, frame.place(points), colour, (rank, 0.0))


def _outline_patch(picture: ByteArray, points: Float32Array, kind: str) -> None:
    colour = strokes.PATCHES.get(kind, strokes.OTHER)
    if kind in OFF_COLOUR_KINDS:
        strokes.hatch(picture, points, colour)
        strokes.outline(picture, points, colour, width=5)
    elif kind == "wet":
        strokes.hatch(picture, points, colour, spacing=30)
        strokes.outline(picture, points, colour, width=3)
    else:
        strokes.dashes(picture, np.vstack([points, points[:1]]), colour, dash=14, gap=8, width=3)


def _caption_strip(width: int, caption: Caption) -> ByteArray:
    strip = np.full((CAPTION_HEIGHT_PX, width, 3), strokes.STRIP, dtype=np.uint8)
    name_px = strokes.fit_size(caption.jar, 0.42 * width, size=38)
    strokes.text(strip, caption.jar, (18, 50), size=name_px, weight=600)
    day = f"{caption.day.day} {caption.day:%b %Y}"
    strokes.text(strip, day, (18, 92), size=27, colour=strokes.QUIET)
    if caption.coverage is None:
        strokes.text(strip, "not scored", (width - 18, 66), size=34, right=True)
        return strip
    cover = caption.coverage
    seen = f"{cover.low:.0f} to {cover.high:.0f} %  ·  {cover.seen_percent:.0f} % seen"
    strokes.text(strip, f"covered {cover.percent:.1f} %", (width - 18, 50), size=38, right=True)
    strokes.text(strip, seen, (width - 18, 92), size=27, colour=strokes.QUIET, right=True)
    return strip


def _in_zone(wall: Wall) -> BoolArray:
    return np.broadcast_to(np.abs(wall.angles_deg) <= HALF_VIEW_DEG, wall.filled.shape)


def _contours(mask: BoolArray, wall: Wall) -> list[Float32Array]:
    """Closed outlines of a wall mask in photo pixels, ``(n, 2)`` each; specks left out."""
    smooth = cv2.medianBlur(np.ascontiguousarray(mask, dtype=np.uint8), 5)
    padded = cv2.copyMakeBorder(smooth, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    lines, _ = cv2.findContours(padded, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    least = SMALLEST_DRAWN_CM2 / wall.cell_cm2
    found = []
    for line in lines:
        if cv2.contourArea(line) < least:
            continue
        grid = line.reshape(-1, 2).astype(np.float32) - 1
        points = _photo_points(wall, grid)
        if len(points) > 2:
            found.append(np.vstack([points, points[:1]]))
    return found


def _grid_points(wall: Wall, outline: Sequence[tuple[float, float]]) -> Float32Array:
    """Wall places ``(angle_deg, height_mm)`` as fractional ``(col, row)``, shape ``(n, 2)``."""
    if not outline:
        return np.empty((0, 2), dtype=np.float32)
    places = np.asarray(outline, dtype=np.float64)
    cols = np.interp(places[:, 0], wall.angles_deg, np.arange(len(wall.angles_deg)))
    rows = np.interp(-places[:, 1], -wall.heights_mm, np.arange(len(wall.heights_mm)))
    return np.stack([cols, rows], axis=1).astype(np.float32)


def _photo_points(wall: Wall, grid: Float32Array) -> Float32Array:
    """Photo pixels seen at fractional wall places ``(col, row)``; unseen places drop out."""
    if not len(grid):
        return np.empty((0, 2), dtype=np.float32)
    points = cv2.remap(
        wall.pixels,
        np.ascontiguousarray(grid[None, :, 0]),
        np.ascontiguousarray(grid[None, :, 1]),
        interpolation=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )[0]
    seen: Float32Array = points[np.isfinite(points).all(axis=1)].astype(np.float32)
    return seen
