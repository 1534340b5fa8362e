"""Caps of fruit bodies -> circles: what touches, overlaps or hangs over the rim is told apart.

Every circle is scored by how much of its edge is an edge, as in a Hough transform for circles
(Duda and Hart 1972, from memory): of the caps' area against the rest inside the mouth, of light and
colour between caps and beyond the mouth. The best is taken, then the best of those that differ.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from scipy.ndimage import map_coordinates

from jarvision.records import BoolArray, ColourFit, Float32Array, FloatArray, Photo
from jarvision.records.mouth import MouthFit, SurfacePicture
from jarvision.vision.surface.hole import fit_circle
from jarvision.vision.surface.sight import Above, sample
from jarvision.vision.tissue.inputs import colour_logs

_CELL_MM: Final = 0.5
_BEYOND_MM: Final = 24.0
"""Caps are followed so far over the rim."""

_LEAST_MM, _MOST_MM = 2.25, 46.0
"""Radii that are looked for."""

_WAYS: Final = 12
"""Directions in which edges are told apart, of half a turn; a circle is looked at in 4 times as
many places."""

_EDGE_MM: Final = 0.6
_STRONG: Final = 0.3
"""Change of the logs of colour a mm, in their own spread, from which an edge counts in full."""

_INSIDE_MIN: Final = 0.85
"""So much of a circle, within the mouth, must be cap."""

_MOUTH_MIN: Final = 0.25
"""So much of it must lie over the mouth."""

_VIEW_MIN: Final = 0.55
"""So much of its edge must lie in the photo."""

_SCORE_MIN: Final = 0.7
_WORTH_FROM, _WORTH_POWER = 0.4, 0.3
"""Larger circles of the same score are less likely by chance."""

_HALF_SHARED: Final = 0.19
"""Two discs share half of the smaller one where their middles are as far apart as the larger radius
less this share of the smaller: exact for equal discs, and near it for others."""

_OWN_MIN: Final = 0.5
"""Share of a circle, within the mouth, that no better one holds."""

_MOST_CAPS, _MOST_TRIES = 40, 150


@dataclass(frozen=True)
class CapCircle:
    """A cap's edge as it is seen in the plane of the surface, mm.

    ``sharp`` is the share of the edge that shows, 0 to 1, ``off_mm`` how far it usually lies off
    the circle.
    """

    x_mm: float
    y_mm: float
    radius_mm: float
    sharp: float
    off_mm: float


@dataclass(frozen=True)
class _Board:
    """Maps ``(n, n)`` at :data:`_CELL_MM`, the mouth in the middle."""

    caps: BoolArray
    mouth: BoolArray
    photo: BoolArray
    gradient: Float32Array

    def mm(self, at: FloatArray) -> FloatArray:
        """Places ``(..., 2)`` as ``(x, y)`` of ``(row, col)``."""
        return np.asarray((at[..., ::-1] - (len(self.caps) - 1) / 2.0) * _CELL_MM)

    def from_middle(self, circle: CapCircle) -> FloatArray:
        """Distance ``(n, n)`` of all places from a circle's middle, mm."""
        one = (np.arange(len(self.caps)) - (len(self.caps) - 1) / 2.0) * _CELL_MM
        return np.asarray(np.hypot(one[None] - circle.x_mm, one[:, None] - circle.y_mm))

    def cells(self, mm: FloatArray) -> FloatArray:
        """``(row, col)`` of places ``(..., 2)``."""
        return np.asarray(mm[..., ::-1] / _CELL_MM + (len(self.caps) - 1) / 2.0)


def find_caps(
    caps: BoolArray, picture: SurfacePicture, photo: Photo, above: Above, *, colour: ColourFit,
    mouth: MouthFit,
) -> tuple[CapCircle, ...]:  # fmt: skip
    """The circles of the caps whose cells are ``caps``, ``(n, n)`` of the surface picture."""
    board = _board(caps, picture, photo, above, colour=colour, mouth=mouth)
    area = float((board.caps & board.mouth).sum()) * _CELL_MM**2
    most = min(_MOST_MM, float(np.sqrt(area / (np.pi * _INSIDE_MIN * _MOUTH_MIN))) + _CELL_MM)
    radii = np.arange(_LEAST_MM, max(most, _LEAST_MM + _CELL_MM), _CELL_MM)
    scores = _scores(board, radii)
    worth = np.maximum(scores - _WORTH_FROM, 0.0) * (radii[:, None, None] ** _WORTH_POWER)
    worth[scores < _SCORE_MIN] = 0.0
    free = board.caps & board.mouth
    found: list[CapCircle] = []
    for _ in range(_MOST_TRIES):
        level, row, col = np.unravel_index(int(worth.argmax()), worth.shape)
        if worth[level, row, col] <= 0.0 or len(found) == _MOST_CAPS:
            break
        worth[level, row, col] = 0.0
        circle = _fitted(board, board.mm(np.array([row, col], float)), float(radii[level]))
        disc = (board.from_middle(circle) <= circle.radius_mm) & board.mouth
        if free[disc].sum() < _OWN_MIN * disc.sum():
            continue
        free &= ~disc
        found.append(circle)
        _rule_out(worth, board, radii, circle)
    return tuple(found)


def _board(
    caps: BoolArray, picture: SurfacePicture, photo: Photo, above: Above, *, colour: ColourFit,
    mouth: MouthFit,
) -> _Board:  # fmt: skip
    half = int(np.ceil((mouth.radius_mm + _BEYOND_MM) / _CELL_MM))
    one = np.arange(-half, half + 1) * _CELL_MM
    x, y = np.meshgrid(one, one)
    pixels = above.in_photo(mouth.axis_mm + np.stack([x, y], axis=-1), mouth.surface_z_mm)
    last = np.array(photo.rgb.shape[1::-1]) - 1.0
    inside = np.asarray(((pixels >= 0) & (pixels <= last)).all(axis=-1))
    within = np.hypot(x, y) <= mouth.radius_mm - 1.0
    n = len(caps)
    at = np.stack([part / picture.cell_mm + (n - 1) / 2.0 for part in (x, y)]).astype(np.float32)
    mask = cv2.remap(caps.astype(np.float32), at[0], at[1], cv2.INTER_LINEAR)
    logs = colour_logs(sample(photo, pixels, colour))
    size = _EDGE_MM / _CELL_MM
    smooth = np.stack([cv2.GaussianBlur(part, (0, 0), size) for part in logs])
    soft = np.asarray(cv2.GaussianBlur(mask, (0, 0), size), np.float32)
    light = _steepest(smooth) / np.float32(_STRONG)
    border = _steepest(soft[None]) / np.float32(0.5 * 0.4 / _EDGE_MM)
    inner = cv2.erode((mask > 0.5).astype(np.uint8), np.ones((3, 3)), iterations=2) > 0
    use_light = (inner | ~within)[None]
    gradient = np.where(use_light, light, border)
    return _Board(np.asarray(mask > 0.5), np.asarray(within), inside, gradient.astype(np.float32))


def _steepest(maps: Float32Array) -> Float32Array:
    """``(2, n, n)`` change a mm, down and along, of whichever map changes most."""
    rows, cols = (np.gradient(maps, _CELL_MM, axis=axis) for axis in (1, 2))
    most = np.hypot(rows, cols).argmax(axis=0)[None]
    return np.stack([np.take_along_axis(part, most, 0)[0] for part in (rows, cols)])


def _scores(board: _Board, radii: FloatArray) -> Float32Array:
    """``(radii, n, n)``: share of a circle's edge that is one, 0 where it can be no cap."""
    n, reach = len(board.caps), int(np.ceil(radii[-1] / _CELL_MM)) + 1
    turn = np.arange(4 * _WAYS) * (np.pi / (2 * _WAYS))
    ways = np.stack([np.sin(turn), np.cos(turn)], axis=1)
    edges = [
        np.pad(np.clip(np.abs(down * board.gradient[0] + along * board.gradient[1]), 0, 1), reach)
        for down, along in ways[: 2 * _WAYS].astype(np.float32)
    ]
    seen = np.pad(board.photo.astype(np.float32), reach)
    total = np.zeros((len(radii), n, n), np.float32)
    for level, radius in enumerate(radii):
        count = np.zeros((n, n), np.float32)
        for number, way in enumerate(ways):
            row, col = np.rint(way * radius / _CELL_MM).astype(int) + reach
            here = np.s_[row : row + n, col : col + n]
            total[level] += edges[number % (2 * _WAYS)][here] * seen[here]
            count += seen[here]
        share = np.where(count >= _VIEW_MIN * len(ways), total[level] / np.maximum(count, 1), 0.0)
        total[level] = share * (_filled(board, float(radius)) >= _INSIDE_MIN)
    return total


def _filled(board: _Board, radius: float) -> Float32Array:
    """Share of the disc about each cell, within the mouth, that is cap; 0 where little is."""
    size = 2 * int(np.ceil(radius / _CELL_MM)) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)).astype(np.float32)
    inside = board.mouth.astype(np.float32)
    caps, mouth = (
        cv2.filter2D(part, -1, disc, borderType=cv2.BORDER_CONSTANT)
        for part in (inside * board.caps, inside)
    )
    return np.where(mouth >= _MOUTH_MIN * disc.sum(), caps / np.maximum(mouth, 1.0), 0.0)


def _fitted(board: _Board, middle: FloatArray, radius: float) -> CapCircle:
    """The circle through the strongest edges near one."""
    turn = np.arange(120) * (2.0 * np.pi / 120)
    way = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    steps = np.arange(-1.5, 1.51, 0.125)
    places = middle + (radius + steps)[:, None, None] * way
    at = board.cells(places)
    down, along = (
        map_coordinates(part, [at[..., 0], at[..., 1]], order=1) for part in board.gradient
    )
    strong = np.abs(along * way[:, 0] + down * way[:, 1])
    best = strong.argmax(axis=0)
    shows = strong.max(axis=0) >= 0.5
    if shows.sum() < 12:
        return CapCircle(float(middle[0]), float(middle[1]), radius, float(shows.mean()), 1.0)
    points = places[best, np.arange(len(way))][shows]
    new, size, off = fit_circle(points, about_mm=middle, reach_mm=2.0)
    return CapCircle(float(new[0]), float(new[1]), size, float(shows.mean()), off)


def _rule_out(scores: Float32Array, board: _Board, radii: FloatArray, circle: CapCircle) -> None:
    """Set scores to 0 of circles that share half of the smaller one's area with one taken."""
    away = board.from_middle(circle)
    for level, radius in enumerate(radii):
        small, large = sorted((float(radius), circle.radius_mm))
        scores[level][away < large - _HALF_SHARED * small] = 0.0
