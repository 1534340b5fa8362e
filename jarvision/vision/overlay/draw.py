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
    COVERED,
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
from jarvision.records.mouth import MouthFit
from jarvision.vision.overlay import strokes
from jarvision.vision.overlay.bodies import Body, draw_bodies
from jarvision.vision.overlay.callouts import Callout, write_callouts
from jarvision.vision.overlay.places import (
    SMALLEST_DRAWN_CM2,
    PictureFrame,
    contours,
    crop,
    grid_points,
    photo_points,
)

PICTURE_HEIGHT_PX: Final = 1000
CAPTION_HEIGHT_PX: Final = 112
SIDE_MARGIN: Final = 0.36  # of the jar's width, on each side: room for callouts
TOP_MARGIN: Final = 0.08  # of the jar's height, above and below
STRIP_PX_PER_MM: Final = 4.0
STRIP_LIGHT: Final = 0.75  # white growth is nearly as light as paper: keep its texture visible
STRIP_TOP_MM: Final = 4.0  # shown above the contents
REFUSAL_WIDTH_PX: Final = 640
REFUSAL_CAPTION_PX: Final = 230
SMALLEST_CALLOUT_CM2: Final = 0.5  # but a discoloured speck is always named
ALWAYS_NAMED: Final = (*OFF_COLOUR_KINDS, "pins")
JPEG_QUALITY: Final = 86


@dataclass(frozen=True)
class Caption:
    """The numbers under the picture; ``moisture`` is how wet a surface seen from above is."""

    jar: str
    day: date
    coverage: Coverage | None
    moisture: str = ""


@dataclass(frozen=True)
class _Drawing:
    """The picture that is drawn into, how the photo lies in it, and the wall that was seen."""

    picture: ByteArray
    frame: PictureFrame
    wall: Wall

    @property
    def zone(self) -> BoolArray:
        """``(rows, cols)`` True where the wall is judged: within 60 degrees of the view."""
        near = np.abs(self.wall.angles_deg) <= HALF_VIEW_DEG
        return np.broadcast_to(near, self.wall.filled.shape)


@dataclass(frozen=True)
class _NamedArea:
    """An area of the wall with its name and size in words; see :class:`Callout` for ``rank``."""

    what: str
    much: str
    mask: BoolArray
    colour: strokes.Colour
    rank: int


def draw_overlay(
    rgb: ByteArray,
    *,
    jar: JarFit | MouthFit,
    wall: Wall,
    tissue: Tissue,
    patches: Sequence[Patch],
    caption: Caption,
    card: CardFit | None = None,
    bodies: Sequence[Body] = (),
) -> ByteArray:
    """Draw the reading over the photo, cropped to the jar, with a caption below.

    Parameters
    ----------
    rgb
        ``(rows, cols, 3)`` photo, sRGB ``uint8``; not changed.
    jar
        The jar, or its mouth seen from above with the surface as ``wall``.
    bodies
        Fruit bodies seen from above.
    card
        Keeps the crop inside the card when the jar's surroundings reach beyond it.

    Returns
    -------
    ndarray
        ``(1000, n, 3)`` ``uint8``.
    """
    frame = _frame_jar(rgb.shape, jar, card)
    drawing = _Drawing(crop(rgb, frame), frame, wall)
    outline = frame.place(jar.outline_px)
    covered = np.isin(tissue.classes, COVERED) & drawing.zone
    unjudged = wall.filled & ~wall.judged & drawing.zone
    _draw_covered(drawing, covered)
    _draw_unjudged(drawing, unjudged)
    strokes.outline(drawing.picture, outline, strokes.JAR, width=1, cased=False)
    _draw_zone(drawing)
    callouts = [_draw_patch(drawing, patch) for patch in patches]
    callouts += draw_bodies(drawing.picture, bodies, frame=frame)
    callouts += [
        _point_into(drawing, area)
        for area in _areas_to_name(drawing, covered, unjudged, caption.coverage)
    ]
    sides = float(outline[:, 0].min()), float(outline[:, 0].max())
    named = [callout for callout in callouts if callout is not None]
    write_callouts(drawing.picture, named, sides=sides)
    return np.vstack([drawing.picture, _caption_strip(frame.width, caption)])


def draw_refusal(rgb: ByteArray, *, title: str, text: str) -> ByteArray:
    """Draw a photo that gave no reading, with the reason and what to do below.

    Shape ``(n, 640, 3)`` ``uint8``; the text is broken into lines, 230 px for all of them.
    """
    height = round(rgb.shape[0] * REFUSAL_WIDTH_PX / rgb.shape[1])
    frame = PictureFrame(0, 0, REFUSAL_WIDTH_PX / rgb.shape[1], REFUSAL_WIDTH_PX, height)
    titles = strokes.wrap(title, REFUSAL_WIDTH_PX - 40, size=34)
    lines = strokes.wrap(text, REFUSAL_WIDTH_PX - 36, size=28)
    strip = np.full((REFUSAL_CAPTION_PX, frame.width, 3), strokes.STRIP, dtype=np.uint8)
    for row, line in enumerate(titles):
        strokes.text(strip, line, (18, 46 + 42 * row), size=32, weight=600)
    for row, line in enumerate(lines):
        strokes.text(
            strip,
            line,
            (18, 46 + 42 * len(titles) + 38 * row),
            size=28,
            colour=strokes.QUIET_COLOUR,
        )
    return np.vstack([crop(rgb, frame), strip])


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
    turn_deg = (wall.angles_deg[1] - wall.angles_deg[0]) * len(cols)
    width_mm = np.deg2rad(turn_deg) * wall.radius_mm
    size = (round(width_mm * STRIP_PX_PER_MM), round(wall.step_mm * len(rows) * STRIP_PX_PER_MM))
    picture = np.asarray(cv2.resize(shown, size, interpolation=cv2.INTER_CUBIC), dtype=np.uint8)
    cell_px = np.array([size[0] / shown.shape[1], size[1] / shown.shape[0]], dtype=np.float32)
    corner = np.array([cols[0], rows[0]], dtype=np.float32)
    for patch in patches:
        grid = grid_points(wall, patch.outline)
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


def _frame_jar(
    shape: tuple[int, ...], jar: JarFit | MouthFit, card: CardFit | None
) -> PictureFrame:
    """Frame the jar with room for callouts at its sides, inside the photo (and the card)."""
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
    return PictureFrame(float(top_left[0]), float(top_left[1]), scale, width, height)


def _draw_covered(drawing: _Drawing, covered: BoolArray) -> None:
    for line in contours(covered, drawing.wall):
        place = drawing.frame.place(line)
        strokes.outline(drawing.picture, place, strokes.COVERED_COLOUR, width=2, cased=False)


def _draw_unjudged(drawing: _Drawing, unjudged: BoolArray) -> None:
    picture, colour = drawing.picture, strokes.UNJUDGED_COLOUR
    for line in contours(unjudged, drawing.wall):
        strokes.dashes(picture, drawing.frame.place(line), colour, dash=1.5, gap=5.5, width=2)


def _draw_zone(drawing: _Drawing) -> None:
    """Bound the judged zone: the filled wall within 60 degrees of the viewing direction."""
    edges = contours(drawing.wall.filled & drawing.zone, drawing.wall)
    if not edges:
        return
    picture, zone = drawing.picture, drawing.frame.place(max(edges, key=len))
    strokes.dashes(picture, zone, strokes.ZONE, dash=14, gap=8, width=2)
    top = zone[np.argmin(zone[:, 0] + 2 * zone[:, 1])]
    strokes.text(picture, "judged area", (int(top[0]) + 8, int(top[1]) - 14), size=26, cased=True)


def _draw_patch(drawing: _Drawing, patch: Patch) -> Callout | None:
    """Outline one patch; its callout, or None when it has no place in the picture."""
    named = patch.kind in ALWAYS_NAMED
    if not named and patch.area_cm2 < SMALLEST_DRAWN_CM2:
        return None
    grid = grid_points(drawing.wall, patch.outline or ((patch.angle_deg, patch.height_mm),))
    points = drawing.frame.place(photo_points(drawing.wall, grid))
    if len(points) > 2:
        _outline_patch(drawing.picture, points, patch.kind)
    if not len(points):
        return None
    if not named and patch.area_cm2 < SMALLEST_CALLOUT_CM2:
        return None
    much = f"{patch.area_cm2:.1f} cm²"
    colour = strokes.PATCH_COLOURS.get(patch.kind, strokes.OTHER)
    return Callout(patch.kind, much, points, colour, (0 if named else 2, -patch.area_cm2))


def _areas_to_name(
    drawing: _Drawing, covered: BoolArray, unjudged: BoolArray, coverage: Coverage | None
) -> list[_NamedArea]:
    """The white growth, so that its line needs no legend, and what could not be judged."""
    hidden = f"{np.count_nonzero(unjudged) * drawing.wall.cell_cm2:.1f} cm²"
    areas = [_NamedArea("not judged", hidden, unjudged, strokes.UNJUDGED_COLOUR, rank=3)]
    if coverage is not None:
        told = f"{coverage.in_words()} %"
        areas.insert(0, _NamedArea("covered", told, covered, strokes.COVERED_COLOUR, rank=1))
    return areas


def _point_into(drawing: _Drawing, area: _NamedArea) -> Callout | None:
    """Point into the widest part of an area; None for one too small to be pointed at."""
    if np.count_nonzero(area.mask) * drawing.wall.cell_cm2 < 2 * SMALLEST_CALLOUT_CM2:
        return None
    cells = area.mask.astype(np.uint8)
    padded = cv2.copyMakeBorder(cells, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    depth = cv2.distanceTransform(padded, cv2.DIST_L2, 3)[1:-1, 1:-1]
    row, col = np.unravel_index(int(depth.argmax()), depth.shape)
    points = photo_points(drawing.wall, np.array([[col, row]], dtype=np.float32))
    if not len(points):
        return None
    place = drawing.frame.place(points)
    return Callout(area.what, area.much, place, area.colour, (area.rank, 0.0))


def _outline_patch(picture: ByteArray, points: Float32Array, kind: str) -> None:
    colour = strokes.PATCH_COLOURS.get(kind, strokes.OTHER)
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
    told = f"{day}  ·  {caption.moisture}" if caption.moisture else day
    strokes.text(strip, told, (18, 92), size=27, colour=strokes.QUIET_COLOUR)
    if caption.coverage is None:
        strokes.text(strip, "not scored", (width - 18, 66), size=34, right=True)
        return strip
    cover = caption.coverage
    ends = f"{cover.low:.0f} to {cover.high:.0f} %" if cover.is_told else "too unsure for a number"
    seen = f"{ends}  ·  {cover.seen_percent:.0f} % seen"
    strokes.text(strip, f"covered {cover.in_words(1)} %", (width - 18, 50), size=38, right=True)
    strokes.text(strip, seen, (width - 18, 92), size=27, colour=strokes.QUIET_COLOUR, right=True)
    return strip
