"""How sharp a photo is, measured on the straight printed edges of the card, in mm on the card.

The idea is that of ISO 12233 (from memory): a straight edge that lies askew to the pixels shows
every pixel another distance from it, so the pixels together sample the blurred edge far more
finely than one row of them does. Distances come from the card's homography. Upright and level
edges are kept apart, because a shaken phone smears one direction more than the other.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from jarvision.base.colourspace import LUMINANCE, byte_to_linear_table
from jarvision.base.statistics import median
from jarvision.records import ByteArray, CardFit, FloatArray
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.card.pose import card_to_photo

_REACH_MM = 2.0
"""Pixels up to here on both sides of an edge are looked at: a mark turns light again at 2.9 mm,
and the paper beyond it ends at 3 mm on a trimmed card."""

_PLATEAU_SHARE = 0.7
"""From this share of the reach outwards, dark and light count as undisturbed by the edge."""

_MIDDLE_SHARE = 0.7
"""Share of an edge's length that is used: blur rounds its ends."""

_MARGIN_SHARE = (1.0 - _MIDDLE_SHARE) / 2

_ALONG_MM = 0.3
"""Lines of pixels across an edge that are looked at lie about so far apart, if not side by side:
neighbours meet nearly the same of it."""

_BINS_PER_PX = 4
"""Bins of the edge profile in a pixel, as in ISO 12233."""

_SOFT_MM = 0.4
"""Half-width of the soft edge that offsets are taken from: wider than a pixel, well in reach."""

_OFFSET_MAX_MM = 0.8
"""An edge farther from its place than this is not the printed edge (a finger, a fold)."""

_CONTRAST_MIN_SHARE = 0.4
"""An edge with less than this share of the usual contrast is half covered or in a shadow."""

_SIGMAS_10_90 = 2.5631
"""10-90 % rise of a Gaussian edge, in its standard deviations: 2 * 1.28155."""


@dataclass(frozen=True)
class EdgeSpread:
    """Blur of the edges of one direction: that of lens, focus, shake, pixels and resizing together.

    Attributes
    ----------
    rise_mm
        Distance over which the edge goes from 10 to 90 % of its step, mm on the card.
    profile
        ``(n,)`` level across the edge, 0 to 1.
    bin_mm
        From one value of the profile to the next.
    edges
        Number of edges that took part; 0 leaves the figures at NaN.
    """

    rise_mm: float
    profile: FloatArray
    bin_mm: float
    edges: int

    @property
    def mtf50_per_mm(self) -> float:
        """Spatial frequency at which contrast has fallen to a half, cycles a mm on the card."""
        return _mtf50(self.profile, self.bin_mm) if self.edges else float("nan")

    @property
    def sigma_mm(self) -> float:
        """Standard deviation of the Gaussian blur with the same rise, mm."""
        return self.rise_mm / _SIGMAS_10_90


@dataclass(frozen=True)
class Sharpness:
    """Blur along the card's width (``across``, of upright edges) and height (``down``)."""

    across: EdgeSpread
    down: EdgeSpread

    @property
    def rise_mm(self) -> float:
        """Rise in the worse direction, mm; NaN when neither could be measured."""
        rises = [s.rise_mm for s in (self.across, self.down) if s.edges]
        return max(rises, default=float("nan"))

    @property
    def mtf50_per_mm(self) -> float:
        """Frequency of half contrast in the worse direction, cycles a mm; NaN without edges."""
        halves = [s.mtf50_per_mm for s in (self.across, self.down) if s.edges]
        return min(halves, default=float("nan"))


@dataclass(frozen=True)
class _Strip:
    """The pixels beside one edge: distance in mm, dark side negative, and level, 0 to 1."""

    distance_mm: FloatArray
    level: FloatArray
    contrast: float
    offset_mm: float


def measure_sharpness(rgb: ByteArray, card: CardFit, *, layout: CardLayout) -> Sharpness:
    """Blur of the edges of the card's marks and of its slanted square.

    ``rgb`` is ``(rows, cols, 3)`` sRGB bytes.
    """
    edges = np.array(list(_edges(card, layout)))
    run = np.abs(edges[:, 1] - edges[:, 0])
    every = max(1, round(_ALONG_MM * card.px_per_mm))
    strips = {
        upright: _strips(
            rgb, card.homography, edges[(run[:, 1] > run[:, 0]) == upright],
            step=(1, every) if upright else (every, 1),
        )
        for upright in (True, False)
    }  # fmt: skip
    usual = [s.contrast for group in strips.values() for s in group]
    least = _CONTRAST_MIN_SHARE * float(np.median(usual)) if usual else 0.0
    bin_mm = 1.0 / (_BINS_PER_PX * card.px_per_mm)
    across, down = (
        _pooled([s for s in strips[upright] if s.contrast >= least], bin_mm=bin_mm)
        for upright in (True, False)
    )
    return Sharpness(across=across, down=down)


def _pooled(strips: list[_Strip], *, bin_mm: float) -> EdgeSpread:
    """Edge-spread function of many strips in bins of ``bin_mm``, and its figures."""
    from scipy.interpolate import PchipInterpolator

    half = int(_REACH_MM / bin_mm)
    near = [s for s in strips if abs(s.offset_mm) <= _OFFSET_MAX_MM]
    if not near:
        return EdgeSpread(float("nan"), profile=np.empty(0), bin_mm=bin_mm, edges=0)
    places = np.rint(np.concatenate([s.distance_mm for s in near]) / bin_mm).astype(np.intp)
    levels = np.concatenate([s.level for s in near])
    inside = np.abs(places) <= half
    places, levels = places[inside] + half, levels[inside]
    count = np.bincount(places, minlength=2 * half + 1)
    total = np.bincount(places, weights=levels, minlength=2 * half + 1)
    filled = np.flatnonzero(count)
    profile = total[filled] / count[filled]
    if filled.size < count.size:  # edges that lie along the pixel rows leave bins empty: bridge
        bridge = PchipInterpolator(filled, profile)
        profile = bridge(np.clip(np.arange(2 * half + 1), filled[0], filled[-1]))
    return EdgeSpread(_rise(profile) * bin_mm, profile=profile, bin_mm=bin_mm, edges=len(near))


def _edges(card: CardFit, layout: CardLayout) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Ends ``(2,)`` in mm of every edge, clockwise: the dark side is to the right of the way."""
    seen = [m.corners_mm for m in layout.markers if m.id in card.markers]
    for corners in (*seen, layout.slanted_square.corners_mm):
        yield from zip(corners, np.roll(corners, -1, axis=0), strict=True)


def _strips(
    rgb: ByteArray, homography: FloatArray, edges: FloatArray, *, step: tuple[int, int]
) -> list[_Strip]:
    """Pixels within reach of edges ``(n, 2, 2)``, each edge laid through its own.

    All edges are worked out at once, in windows of one size. Those not wholly in view are left out.
    ``step`` is from one column and row looked at to the next.
    """
    low, high = _boxes(edges, homography)
    seen = (low >= 0).all(axis=1) & (high < rgb.shape[1::-1]).all(axis=1)
    if not seen.any():
        return []
    low, high, edges = low[seen], high[seen], edges[seen]
    wide, tall = (high - low).max(axis=0) + 1
    cols = (low[:, 0, None] + np.arange(0.0, wide, step[0]))[:, None, :]
    rows = (low[:, 1, None] + np.arange(0.0, tall, step[1]))[:, :, None]
    # card mm from the start, along the edge and across it, straight from the photo's pixels
    lines = np.moveaxis(_to_edges(edges) @ np.linalg.inv(homography), 0, 2)[..., None, None]
    along, distance, depth = (a * cols + (b * rows + c) for a, b, c in lines)
    along /= depth
    distance /= depth
    length = np.linalg.norm(edges[:, 1] - edges[:, 0], axis=1)[:, None, None]
    margin = _MARGIN_SHARE * length
    inside = (np.abs(distance) <= _REACH_MM) & (along >= margin) & (along <= length - margin)
    edge, row, col = np.nonzero(inside)
    red, green, blue = rgb[row * step[1] + low[edge, 1], col * step[0] + low[edge, 0]].T
    of_red, of_green, of_blue = _luminance_tables()
    light = of_red[red] + of_green[green] + of_blue[blue]
    along, distance = along[inside] - length[edge, 0, 0] / 2, distance[inside]
    ends_at = np.searchsorted(edge, np.arange(len(edges) + 1))
    own = (slice(first, last) for first, last in pairwise(ends_at))
    strips = (_levelled(light[at], distance[at], along[at]) for at in own)
    return [strip for strip in strips if strip is not None]


def _to_edges(edges: FloatArray) -> FloatArray:
    """``(n, 3, 3)`` from card mm to mm along each edge from its start, and outwards from it."""
    start, run = edges[:, 0], edges[:, 1] - edges[:, 0]
    way = run / np.linalg.norm(run, axis=1)[:, None]
    turn = np.stack([way, np.stack([way[:, 1], -way[:, 0]], axis=1)], axis=1)
    to_edge = np.zeros((len(edges), 3, 3))
    to_edge[:, :2, :2], to_edge[:, 2, 2] = turn, 1.0
    to_edge[:, :2, 2] = -(turn @ start[..., None])[..., 0]
    return to_edge


def _boxes(edges: FloatArray, homography: FloatArray) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Lowest and highest pixel ``(x, y)`` within reach of each edge, ``(n, 2)`` both."""
    start, run = edges[:, 0, None], (edges[:, 1] - edges[:, 0])[:, None]
    outwards = (
        np.stack([run[..., 1], -run[..., 0]], axis=-1) / np.linalg.norm(run, axis=2)[..., None]
    )
    corners = [(m, side) for m in (_MARGIN_SHARE, 1.0 - _MARGIN_SHARE) for side in (-1.0, 1.0)]
    share, side = (np.array(of)[:, None] for of in zip(*corners, strict=True))
    box = card_to_photo(start + share * run + side * _REACH_MM * outwards, homography)
    return np.floor(box.min(axis=1)).astype(np.intp), np.ceil(box.max(axis=1)).astype(np.intp)


@cache
def _luminance_tables() -> FloatArray:
    """``(3, 256)`` what every byte of red, green and blue adds to the luminance."""
    return np.outer(LUMINANCE, byte_to_linear_table())


def _levelled(light: FloatArray, distance: FloatArray, along: FloatArray) -> _Strip | None:
    """Scale dark to 0 and light to 1, and lay the edge through its own pixels.

    The mean of an edge over the reach tells where it is: the mean of (level - an edge at zero) is
    minus its offset over twice the reach. A straight line in ``along`` gives offset and turn. The
    edge at zero is soft, so that pixels that all lie at the same few distances do no harm.
    """
    far = _PLATEAU_SHARE * _REACH_MM
    inner, outer = light[distance < -far], light[distance > far]
    if inner.size == 0 or outer.size == 0:
        return None
    dark, bright = median(inner), median(outer)
    if bright <= dark:
        return None
    level = (light - dark) / (bright - dark)
    rest = level - (0.5 + 0.5 * np.tanh(distance / _SOFT_MM))
    aside = along - along.mean()
    turn = (aside @ rest) / (aside @ aside)  # least squares of a straight line
    offset = rest.mean() - turn * along.mean()
    shift = -2.0 * _REACH_MM * (offset + turn * along)
    return _Strip(
        distance_mm=distance - shift,
        level=level,
        contrast=bright - dark,
        offset_mm=-2.0 * _REACH_MM * float(offset),
    )


def _rise(profile: FloatArray) -> float:
    """10-90 % rise in bins, sought outwards from the edge."""
    middle = profile.size // 2
    below = np.flatnonzero(profile[: middle + 1] <= 0.1)
    above = np.flatnonzero(profile[middle:] >= 0.9)
    first = _crossing(profile, int(below[-1]), 0.1) if below.size else 0.0
    at_top = middle + int(above[0]) if above.size else profile.size - 1
    last = _crossing(profile, at_top - 1, 0.9) if above.size else float(at_top)
    return last - first


def _crossing(profile: FloatArray, index: int, level: float) -> float:
    """Place between ``index`` and the next bin where the profile meets ``level``."""
    here, after = profile[index], profile[index + 1]
    return float(index + np.clip((level - here) / max(after - here, 1e-9), 0.0, 1.0))


def _mtf50(profile: FloatArray, bin_mm: float) -> float:
    """Frequency (cycles a mm) at which the line spread's spectrum falls to one half.

    The line spread is windowed (a Hann window, twice as high and cut off flat) against noise of
    the plateaus. Bins average and differences of bins smooth: their sinc is divided out, as in
    ISO 12233 (from memory).
    """
    line = np.diff(profile)
    line = line * np.minimum(1.0, 2.0 * np.hanning(line.size + 2)[1:-1])
    padded = 16 * line.size
    frequency = np.fft.rfftfreq(padded, bin_mm)
    spectrum = np.abs(np.fft.rfft(line, padded))
    spectrum = spectrum / spectrum[0] / np.sinc(frequency * bin_mm) ** 2
    fallen = np.flatnonzero(spectrum < 0.5)
    if fallen.size == 0:
        return float(frequency[-1])
    return float(np.interp(-0.5, -spectrum[[fallen[0] - 1, fallen[0]]],
                           frequency[[fallen[0] - 1, fallen[0]]]))  # fmt: skip
