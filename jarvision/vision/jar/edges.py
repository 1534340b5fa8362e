"""The two upright edges of the jar in the card-plane view, as straight lines.

In that view an upright edge is a straight, nearly vertical line over its whole height. Outside
the jar the view is quiet but for the card's own edges, which lie at known places; so the jar
begins, from either side, at the first column that is lively in most rows.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from jarvision.base.errors import PhotoRefusedError
from jarvision.base.statistics import median
from jarvision.records import Float32Array, FloatArray
from jarvision.settings.jar import JarSettings
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.jar.plane_view import LEFT_MM, PX_PER_MM, Number, PlaneView, Window
from jarvision.vision.jar.span import Span

_BLUR_PX = 9
"""Width of a bell curve of one pixel: four deviations on both sides."""

_PROFILE_SHARE = 0.4
"""Most rows of a column of glass are lively, and so is the value that four tenths stay below."""

_PROFILE_ROWS_MIN = 20
"""Fewer rows where something can be told say nothing of a column."""


@dataclass(frozen=True)
class EdgeLine:
    """``x_mm = at + slope * (y_mm - y0_mm)`` in the card's plane, with the spread of its rows."""

    at_mm: float
    slope: float
    y0_mm: float
    sd_mm: float

    def x_mm(self, y_mm: Number) -> Number:
        """Card-plane x at a height."""
        return self.at_mm + self.slope * (y_mm - self.y0_mm)


def liveliness(
    view: PlaneView,
    layout: CardLayout,
    windows: Iterable[Window],
    *,
    known: Float32Array | None = None,
) -> Float32Array:
    """Horizontal change of colour in some windows of the view, in CIELAB bytes a pixel.

    ``(rows, cols)`` of the view: NaN outside the windows, and near the card's own printed edges,
    where nothing can be told. ``known`` is what was found in other windows: it is filled up.
    """
    change = np.full(view.shape, np.nan, dtype=np.float32) if known is None else known
    for window in windows:
        change[window] = _change(view, window)
    for printed in _printed_edges(view, layout):
        change[printed] = np.nan
    return change


def _change(view: PlaneView, window: Window) -> Float32Array:
    """Horizontal change of colour in one window; 0 where the photo has no pixel."""
    pad = _BLUR_PX // 2 + 1  # what blur and difference look at beside a place
    around = [slice(max(0, at.start - pad), at.stop + pad) for at in window]
    rows, cols = (
        slice(at.start, min(side, at.stop)) for at, side in zip(around, view.shape, strict=True)
    )
    sharp = cv2.cvtColor(view.rgb((rows, cols)), cv2.COLOR_RGB2LAB)
    bell = cv2.getGaussianKernel(_BLUR_PX, 1.0, cv2.CV_32F)
    lab = cv2.sepFilter2D(sharp, cv2.CV_32F, bell, bell)
    apart = cv2.absdiff(lab[:, 2:], lab[:, :-2])
    change = np.zeros(sharp.shape[:2], dtype=np.float32)
    change[:, 1:-1] = cv2.transform(apart, np.full((1, 3), 0.5))
    top, left = window[0].start - rows.start, window[1].start - cols.start
    inside = view.inside(window)
    change = change[top : top + inside.shape[0], left : left + inside.shape[1]]
    np.copyto(change, 0.0, where=~inside)
    return change


def windows_of_edges(
    view: PlaneView,
    span: Span,
    *,
    rows_mm: tuple[float, float],
    layout: CardLayout,
    settings: JarSettings,
) -> list[Window]:
    """Where :func:`find_edges` looks: where the edges may be, and plain print."""
    beside = settings.line_reach_mm + settings.beside_print_mm
    sought = [
        (low - beside, high + beside)
        for low, high in (_sought_mm(span, side, layout, settings) for side in (-1, 1))
    ]
    strips = _plain_strips_mm(layout)
    plain = [(one[0], other[1]) for one, other in zip(strips[::2], strips[1::2], strict=True)]
    return [view.window(rows_mm, x_mm) for x_mm in (*sought, *plain)]


def windows_of_lines(
    view: PlaneView,
    lines: tuple[EdgeLine, EdgeLine],
    *,
    rows_mm: tuple[float, float],
    settings: JarSettings,
) -> list[Window]:
    """Where edges are followed along the lines found already, above the rows of those."""
    beside = settings.line_reach_mm + settings.beside_print_mm + settings.on_line_mm
    windows = []
    for line in lines:
        ends = sorted(line.x_mm(y) for y in rows_mm)
        windows.append(view.window(rows_mm, (ends[0] - beside, ends[1] + beside)))
    return windows


def find_edges(
    view: PlaneView,
    change: Float32Array,
    *,
    span: Span,
    rows_mm: tuple[float, float],
    layout: CardLayout,
    settings: JarSettings,
) -> tuple[EdgeLine, EdgeLine]:
    """Left and right edge of the jar's wall.

    Parameters
    ----------
    change
        The view's :func:`liveliness` in :func:`windows_of_edges`.
    span
        Where the centre field is hidden: the edges lie there or a little beyond.
    rows_mm
        Heights between which the wall is upright.

    Raises
    ------
    PhotoRefusedError
        ``no_jar`` when a side shows no upright edge.
    """
    rows = slice(view.row(rows_mm[0]), view.row(rows_mm[1]))
    quiet = _quiet_level(view, change, rows, layout=layout, settings=settings)
    lines = []
    for side in (-1, 1):
        sought = _sought_mm(span, side, layout, settings)
        column = _outermost(view, change[rows], side=side, sought_mm=sought, quiet=quiet,
                            settings=settings)  # fmt: skip
        start = EdgeLine(view.x_mm(float(column)), 0.0, rows_mm[1], settings.line_reach_mm)
        lines.append(_fit_line(view, change, start, rows, side=side, settings=settings))
    return lines[0], lines[1]


def refine_edges(
    view: PlaneView,
    change: Float32Array,
    lines: tuple[EdgeLine, EdgeLine],
    *,
    rows_mm: tuple[float, float],
    settings: JarSettings,
) -> tuple[EdgeLine, EdgeLine]:
    """Fit both edges again over a longer stretch, near the lines found already.

    ``change`` is the view's :func:`liveliness`, in :func:`windows_of_lines` too.
    """
    rows = slice(view.row(rows_mm[0]), view.row(rows_mm[1]))
    left, right = (
        _fit_line(view, change, line, rows, side=side, settings=settings)
        for side, line in zip((-1, 1), lines, strict=True)
    )
    return left, right


def _quiet_level(
    view: PlaneView, change: Float32Array, rows: slice, *, layout: CardLayout, settings: JarSettings
) -> float:
    """Liveliness of plain print in this photo, what noise alone makes of it: the quietest strip.

    The strips are the paper between the swatches and the field; a wide jar hides some of them.
    """
    strips = [
        change[view.window((view.y_mm(rows.start), view.y_mm(rows.stop)), x_mm)]
        for x_mm in _plain_strips_mm(layout)
    ]
    return max(settings.quiet_min, min(float(np.nanmedian(strip)) for strip in strips))


def _plain_strips_mm(layout: CardLayout) -> list[tuple[float, float]]:
    """Left and right side of four strips of bare paper beside the field, neighbours in pairs."""
    field = layout.field
    gap = (
        field.x_mm - max(s.x_mm + s.width_mm for s in layout.swatches if s.x_mm < field.x_mm)
    ) / 4
    right = field.x_mm + field.width_mm
    starts = [field.x_mm - n * gap for n in (3, 2)] + [right + n * gap for n in (1, 2)]
    return [(x, x + gap) for x in starts]


def _profile(change: Float32Array) -> FloatArray:
    """A low percentile of the liveliness of each column: high only where most rows are lively."""
    ranked = np.sort(np.ascontiguousarray(change.T), axis=1)  # NaN comes last
    known = np.isfinite(ranked).sum(axis=1)
    place = _PROFILE_SHARE * np.maximum(known - 1, 0)
    below = place.astype(np.intp)
    above = np.minimum(below + 1, np.maximum(known - 1, 0))
    column = np.arange(known.size)
    low, high = (ranked[column, at].astype(np.float64) for at in (below, above))
    return np.where(known >= _PROFILE_ROWS_MIN, low + (high - low) * (place - below), 0.0)


def _printed_edges(view: PlaneView, layout: CardLayout) -> Iterator[Window]:
    """Where the upright edges of the card's own print are near."""
    boxes = [
        (b.x_mm, b.y_mm, b.width_mm, b.height_mm) for b in (layout.field, *layout.swatches)
    ] + [(m.x_mm, m.y_mm, m.size_mm, m.size_mm) for m in layout.markers]
    for x, y, width, height in boxes:
        rows = slice(view.row(y - 1), view.row(y + height + 1))
        for edge in (x, x + width):
            yield rows, slice(view.column(edge - 1.2), view.column(edge + 1.2) + 1)
    for marker in layout.markers:
        rows = slice(view.row(marker.y_mm - 1), view.row(marker.y_mm + marker.size_mm + 1))
        yield rows, slice(view.column(marker.x_mm), view.column(marker.x_mm + marker.size_mm))


def _sought_mm(
    span: Span, side: int, layout: CardLayout, settings: JarSettings
) -> tuple[float, float]:
    """Between which sides the edge on one side of the span is sought."""
    start_mm, free_mm = (
        (span.left_mm, span.free_mm[0]) if side < 0 else (span.right_mm, span.free_mm[1])
    )
    field = layout.field
    border = field.x_mm if side < 0 else field.x_mm + field.width_mm
    leaves_field = abs(start_mm - border) < settings.border_mm
    beyond = settings.beyond_mm if leaves_field else min(settings.outside_mm, free_mm / 2)
    within = settings.shadow_mm if leaves_field else settings.inside_mm
    low, high = sorted((start_mm + side * beyond, start_mm - side * within))
    return low, high


def _outermost(
    view: PlaneView,
    change: Float32Array,
    *,
    side: int,
    sought_mm: tuple[float, float],
    quiet: float,
    settings: JarSettings,
) -> int:
    """Column of the outermost strong peak on one side."""
    low, high = sought_mm
    first = max(0, view.column(low))
    window = _profile(change[:, first : max(first, view.column(high) + 1)])
    clear = min(settings.peak_share * float(window.max()), settings.peak_clear)
    strong = window >= max(clear, settings.peak_over_quiet * quiet)
    if not strong.any():
        raise PhotoRefusedError("no_jar", "no upright edge of glass was found")
    at = int(np.flatnonzero(strong)[0 if side < 0 else -1])
    for _ in range(round(settings.line_reach_mm * PX_PER_MM)):  # climb to the peak's top
        if not 0 <= at - side < window.size or window[at - side] <= window[at]:
            break
        at -= side
    return first + at


def _fit_line(
    view: PlaneView,
    change: Float32Array,
    start: EdgeLine,
    rows: slice,
    *,
    side: int,
    settings: JarSettings,
) -> EdgeLine:
    """Straight line through the outermost edge of each row near a line, by Theil and Sen.

    What stands behind the glass has edges of its own right beside it, sharper ones at times.
    """
    y_all = view.y_mm(np.arange(rows.start, rows.stop, dtype=np.float64))
    y0 = float(y_all.mean())
    reach = round(settings.line_reach_mm * PX_PER_MM)
    middle = np.rint((start.x_mm(y_all) - LEFT_MM) * PX_PER_MM).astype(int)
    columns = middle[:, None] + np.arange(-reach, reach + 1)
    columns = np.clip(columns, 1, change.shape[1] - 2)
    row_index = np.arange(rows.start, rows.stop)
    window = change[row_index[:, None], columns]
    peak = _outermost_peaks(window, side=side, share=settings.row_peak_share)
    value = window[np.arange(peak.size), peak]
    good = np.flatnonzero(
        (value >= settings.edge_change_min) & (peak > 0) & (peak < columns.shape[1] - 1)
    )
    if good.size < 20:
        return EdgeLine(start.x_mm(y0), start.slope, y0, settings.line_reach_mm)
    before, at, after = (window[good, peak[good] + step] for step in (-1, 0, 1))
    curve = np.minimum(before - 2 * at + after, -1e-3)
    offset = np.clip((before - after) / (2 * curve), -0.5, 0.5)
    x_mm = view.x_mm(columns[good, peak[good]] + offset)
    slope = _median_slope(x_mm[::3], y_all[good][::3])
    rest = x_mm - slope * (y_all[good] - y0)
    at_mm = median(rest)
    spread = 1.4826 * median(np.abs(rest - at_mm))
    if _beside_print(view, change, start, rows, side=side, settings=settings):
        spread = max(spread, settings.beside_print_sd_mm)
    return EdgeLine(at_mm, slope, y0, spread)


def _median_slope(x_mm: FloatArray, y_mm: FloatArray) -> float:
    """Slope of x over rising y: the median over all pairs of rows."""
    first, second = np.triu_indices(y_mm.size, 1)
    return median((x_mm[second] - x_mm[first]) / (y_mm[second] - y_mm[first]))


def _beside_print(
    view: PlaneView,
    change: Float32Array,
    line: EdgeLine,
    rows: slice,
    *,
    side: int,
    settings: JarSettings,
) -> bool:
    """Tell whether a printed edge just outside a line may hide the jar's true one."""
    y_mm = view.y_mm((rows.start + rows.stop) / 2)
    reach = settings.beside_print_mm
    near, far = sorted((line.x_mm(y_mm), line.x_mm(y_mm) + side * reach))
    beside = change[rows, view.column(near) : view.column(far) + 1]
    unknown = np.isnan(beside).any(axis=1)
    return bool(np.count_nonzero(unknown) > unknown.size / 2)


def _outermost_peaks(window: Float32Array, *, side: int, share: float) -> NDArray[np.intp]:
    """Column of the outermost peak of each row that reaches ``share`` of the row's highest."""
    peaks = np.zeros(window.shape, dtype=np.bool_)
    peaks[:, 1:-1] = (window[:, 1:-1] >= window[:, :-2]) & (window[:, 1:-1] > window[:, 2:])
    peaks &= window >= share * np.fmax.reduce(window, axis=1, keepdims=True)
    inwards = peaks if side < 0 else peaks[:, ::-1]
    first = np.asarray(inwards.argmax(axis=1))
    return first if side < 0 else window.shape[1] - 1 - first
