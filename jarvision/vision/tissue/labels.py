"""Labels and tape on the glass: flat areas between two long, straight, level edges.

Growth ends raggedly, and grains and straw are not flat; what is cut from paper or torn off a roll
is flat and ends in straight lines. So it is told whatever its colour is. A white band on white
growth shows few edges, but there it hides little that is not known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np

from jarvision.records import BoolArray, ByteArray, Float32Array, FloatArray, RawWall
from jarvision.settings.tissue import LabelSettings
from jarvision.vision.tissue.straight import (
    COARSE_MM,
    Line,
    flat_edges,
    on_line,
    straight_lines,
    strip_colours,
    summed,
)

_SLOPES = (-0.045, -0.015, 0.015, 0.045)
"""Labels are stuck on askew: by up to three and a half degrees they are found."""

_TO_LAB = np.array([[23.0, 66.0, 11.0], [87.0, -135.0, 48.0], [34.0, 96.0, -130.0]])
"""From square roots of linear light to about CIELAB: fitted to muted colours, to two units. Exact
colours do not matter here, and the cube roots would take longer than all else."""

_SHADE = np.array([0.7, 1.0, 1.0], dtype=np.float32)
_FAR_SHADE = np.array([0.5, 1.0, 1.0], dtype=np.float32)
"""Weights of L*, a*, b*, near by and across all of a label: paper is shaded along the glass, but
keeps its hue."""

_ALONG = 15
"""Cells over which the colour along an edge is smoothed."""

_STEADY = 5
"""Cells across that are flat together."""

_SKIP = 2
"""Cells beside a line that its blur takes."""

_SIDE = 6
"""A label that ends so few cells from the view's border reaches beyond it."""

_OVERLAP = 0.6
"""Two lines face each other over this share of the shortest line at least."""

_LINES = 8
"""So many of the longest lines are tried: lines of print make many."""

_BESIDE = 4
"""An edge so few cells from a label's is the same edge."""

Array = TypeVar("Array", ByteArray, Float32Array)


@dataclass(frozen=True)
class _Label:
    """What may be a label: its places ``(rows, cols)``, and how straight its outline is, 0 to 1."""

    where: BoolArray
    straight: float


def find_labels(raw: RawWall, filled: BoolArray, *, settings: LabelSettings) -> BoolArray:
    """Places ``(rows, cols)`` that something flat with straight edges hides."""
    lab = _lab(raw)
    inside = _inside(filled, lab.shape, settings)
    tops, bottoms = ((edge & inside).view(np.uint8) for edge in flat_edges(lab, settings))
    labels = []
    for slope in _SLOPES:
        upper = straight_lines(_sheared(tops, slope), settings)[:_LINES]
        if not upper:
            continue
        lower = straight_lines(_sheared(bottoms, slope), settings)[:_LINES]
        pairs = [(t, b) for t in upper for b in lower if _face(t, b, settings)]
        if pairs:
            labels += _labels_on(_sheared(lab, slope), slope, pairs, settings)
    most = settings.most_share * np.count_nonzero(inside)
    labels = [label for label in labels if np.count_nonzero(label.where & inside) <= most]
    size = (filled.shape[1], filled.shape[0])
    found = _told_apart(labels, inside.shape).view(np.uint8)
    return np.asarray(cv2.resize(found, size, interpolation=cv2.INTER_NEAREST)) > 0


def _labels_on(
    level: Float32Array, slope: float, pairs: list[tuple[Line, Line]], settings: LabelSettings
) -> list[_Label]:
    """What lies between pairs of lines on a wall that was sheared until they were level."""
    labels = []
    for top, bottom in pairs:
        columns = _columns_between(level, top, bottom, settings)
        straight = _straightness(level, top.row, bottom.row, columns, settings)
        if straight >= settings.outline_share:
            here = np.zeros(level.shape[:2], dtype=np.uint8)
            here[top.row : bottom.row + 1, columns] = 1
            labels.append(_Label(_sheared(here, -slope) > 0, straight))
    return labels


def _told_apart(labels: list[_Label], shape: tuple[int, ...]) -> BoolArray:
    """All labels, the straightest first, and none between one and another: paper has one side."""
    found = np.zeros(shape, dtype=np.bool_)
    for label in sorted(labels, key=lambda label: -label.straight):
        beside = cv2.dilate(label.where.view(np.uint8), np.ones((2 * _BESIDE + 1, 1), np.uint8)) > 0
        same = np.count_nonzero(found & label.where) >= np.count_nonzero(label.where) / 2
        if same or not (found & beside).any():
            found |= label.where
    return found


def _lab(raw: RawWall) -> Float32Array:
    """The wall in coarser cells, about in CIELAB."""
    share = raw.step_mm / COARSE_MM
    rows, cols = raw.linear.shape[:2]
    size = (max(1, round(cols * share)), max(1, round(rows * share)))
    small = cv2.resize(raw.linear, size, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.transform(np.sqrt(np.maximum(small, 0.0)), _TO_LAB), dtype=np.float32)


def _inside(filled: BoolArray, shape: tuple[int, ...], settings: LabelSettings) -> BoolArray:
    """Places well within the contents: fill line and foot are straight and level, too."""
    stands = cv2.resize(filled.view(np.uint8), shape[1::-1], interpolation=cv2.INTER_NEAREST)
    above, below = (max(1, round(mm / COARSE_MM)) for mm in (settings.top_mm, settings.foot_mm))
    kernel = np.ones((above + below + 1, 1), dtype=np.uint8)
    within = cv2.erode(
        stands, kernel, anchor=(0, above), borderType=cv2.BORDER_CONSTANT, borderValue=0
    )
    return np.asarray(within) > 0


def _sheared(picture: Array, slope: float) -> Array:
    """The picture with each column moved up by its distance from the middle times the slope."""
    rows, cols = picture.shape[:2]
    move = np.array([[1.0, 0.0, 0.0], [-slope, 1.0, slope * (cols - 1) / 2.0]])
    way = cv2.INTER_NEAREST if picture.ndim == 2 else cv2.INTER_LINEAR
    edge = cv2.BORDER_CONSTANT if picture.ndim == 2 else cv2.BORDER_REPLICATE
    moved = cv2.warpAffine(picture, move, (cols, rows), flags=way, borderMode=edge)
    return np.asarray(moved, dtype=picture.dtype)


def _face(top: Line, bottom: Line, settings: LabelSettings) -> bool:
    """Whether two lines may bound one label: far enough apart, and one above the other."""
    tall = (bottom.row - top.row) * COARSE_MM >= settings.tall_min_mm
    beside = min(top.last, bottom.last) - max(top.first, bottom.first)
    return tall and beside * COARSE_MM >= _OVERLAP * settings.long_min_mm


def _columns_between(
    level: Float32Array, top: Line, bottom: Line, settings: LabelSettings
) -> slice:
    """Columns of a label between two level lines; an empty slice where it is not flat.

    It reaches to both sides as far as what lies between the lines stays flat.
    """
    flat = _flatness(level, top, bottom, settings)
    steady = cv2.blur(flat[None], (_STEADY, 1), borderType=cv2.BORDER_REPLICATE)[0]
    ends = np.flatnonzero(np.diff(steady >= settings.flat_share, prepend=False, append=False))
    runs = ends.reshape(-1, 2)
    common = np.minimum(runs[:, 1], min(top.last, bottom.last))
    common -= np.maximum(runs[:, 0], max(top.first, bottom.first))
    if common.max(initial=0) * COARSE_MM < _OVERLAP * settings.long_min_mm:
        return slice(0, 0)
    return slice(*(int(end) for end in runs[common.argmax()]))


def _straightness(
    level: Float32Array, top: int, bottom: int, columns: slice, settings: LabelSettings
) -> float:
    """Share of the outline in view that is straight, by its length; 0 where a line is not."""
    wide, tall = columns.stop - columns.start, bottom - top
    if not wide:
        return 0.0
    ends = [on_line(level, row, columns, settings) for row in (top, bottom)]
    turned = level[top + _SKIP : bottom - _SKIP + 1].transpose(1, 0, 2)
    sides = [
        on_line(turned, column, slice(None), settings)
        for column in (columns.start, columns.stop - 1)
        if _SIDE <= column < level.shape[1] - _SIDE
    ]
    if min(ends) < settings.line_share:
        return 0.0
    return float(np.average(ends + sides, weights=[wide] * 2 + [tall] * len(sides)))


def _flatness(
    level: Float32Array, top: Line, bottom: Line, settings: LabelSettings
) -> Float32Array:
    """Share of each column between two lines that has the colour of the strips along them."""
    common = slice(max(top.first, bottom.first), min(top.last, bottom.last))
    ends = [
        _paper(strip_colours(level, line, above=line is bottom), common, settings)
        for line in (top, bottom)
    ]
    seen = level[top.row + _SKIP : bottom.row - _SKIP + 1]
    down = np.linspace(0.0, 1.0, len(seen), dtype=np.float32)[:, None, None]
    near = _square(seen - (ends[0] + (ends[1] - ends[0]) * down), _SHADE) < settings.flat_step**2
    return np.asarray(near.mean(axis=0), dtype=np.float32)


def _paper(strip: Float32Array, common: slice, settings: LabelSettings) -> Float32Array:
    """Colours ``(cols, 3)`` of the paper along a line, taken from where the strip shows it."""
    off = _square(strip[None] - np.median(strip[common], axis=0), _FAR_SHADE)[0]
    off[: common.start] = off[common.stop :] = np.inf
    shows = np.flatnonzero(off <= max((2.0 * settings.flat_step) ** 2, float(off.min())))
    columns = np.arange(len(strip))
    colours = np.column_stack([np.interp(columns, shows, strip[shows, i]) for i in range(3)])
    smooth = cv2.blur(
        colours[None].astype(np.float32), (_ALONG, 1), borderType=cv2.BORDER_REPLICATE
    )
    return np.asarray(smooth[0], dtype=np.float32)


def _square(step: FloatArray | Float32Array, weight: Float32Array) -> Float32Array:
    weighted = (step * weight).astype(np.float32)
    return summed(weighted, weighted)
