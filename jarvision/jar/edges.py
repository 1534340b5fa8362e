"""The two upright edges of the jar in the card-plane view, as straight lines.

In that view an upright edge is a straight, nearly vertical line over its whole height. Outside
the jar the view is quiet but for the card's own edges, which lie at known places; so the jar
begins, from either side, at the first column that is lively in most rows.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from jarvision.card.layout import CardLayout
from jarvision.errors import PhotoRefusedError
from jarvision.jar.plane import LEFT_MM, PX_PER_MM, Number, PlaneView
from jarvision.photo_settings import JarSettings
from jarvision.records import BoolArray, Float32Array, FloatArray


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


def liveliness(view: PlaneView) -> Float32Array:
    """Horizontal change of colour at every pixel, in CIELAB bytes a pixel."""
    sharp = cv2.cvtColor(view.rgb, cv2.COLOR_RGB2LAB).astype(np.float32)
    lab = cv2.GaussianBlur(sharp, (0, 0), 1.0)
    right, left = lab[:, 2:], lab[:, :-2]
    change = np.zeros(view.inside.shape, dtype=np.float32)
    change[:, 1:-1] = np.abs(right - left).sum(axis=2) / 2
    change[~view.inside] = 0.0
    return change


def find_edges(
    view: PlaneView,
    *,
    hidden_mm: tuple[float, float],
    rows_mm: tuple[float, float],
    layout: CardLayout,
    settings: JarSettings,
) -> tuple[EdgeLine, EdgeLine]:
    """Left and right edge of the jar's wall.

    Parameters
    ----------
    hidden_mm
        Where the centre field is hidden, left and right: the edges lie there or a little beyond.
    rows_mm
        Heights between which the wall is upright.

    Raises
    ------
    PhotoRefusedError
        ``no_jar`` when a side shows no upright edge.
    """
    change = liveliness(view)
    rows = slice(view.row(rows_mm[0]), view.row(rows_mm[1]))
    quiet = _quiet_level(view, change, rows, settings=settings)
    profile = _profile(view, change, rows, layout=layout)
    lines = []
    for side, start_mm in zip((-1, 1), hidden_mm, strict=True):
        column = _outermost(view, profile, side=side, start_mm=start_mm, quiet=quiet,
                            layout=layout, settings=settings)  # fmt: skip
        start = EdgeLine(view.x_mm(float(column)), 0.0, rows_mm[1], settings.line_reach_mm)
        lines.append(_fit_line(view, change, start, rows, settings=settings))
    return lines[0], lines[1]


def refine_edges(
    view: PlaneView,
    lines: tuple[EdgeLine, EdgeLine],
    *,
    rows_mm: tuple[float, float],
    settings: JarSettings,
) -> tuple[EdgeLine, EdgeLine]:
    """Fit both edges again over a longer stretch, near the lines found already."""
    change = liveliness(view)
    rows = slice(view.row(rows_mm[0]), view.row(rows_mm[1]))
    left, right = (_fit_line(view, change, line, rows, settings=settings) for line in lines)
    return left, right


def top_of_edges(
    view: PlaneView,
    lines: tuple[EdgeLine, EdgeLine],
    *,
    from_mm: float,
    settings: JarSettings,
) -> float:
    """Height up to which both edges stay on their lines: the end of the straight wall, mm."""
    change = liveliness(view)
    step = settings.top_step_mm
    reach = round(settings.on_line_mm * PX_PER_MM)
    y_mm, top_mm, missed = from_mm, from_mm, 0
    while y_mm - step > 0.0 and missed < settings.top_missed_steps:
        rows = slice(view.row(y_mm - step), view.row(y_mm))
        seen = 0
        for line in lines:
            column = view.column(line.x_mm(y_mm - step / 2))
            near = change[rows, max(0, column - reach) : column + reach + 1].max(axis=1)
            seen += float(np.median(near)) >= settings.edge_change_min
        y_mm -= step
        missed = 0 if seen == 2 else missed + 1
        top_mm = y_mm if seen == 2 else top_mm
    return top_mm


def _quiet_level(
    view: PlaneView, change: Float32Array, rows: slice, *, settings: JarSettings
) -> float:
    """Liveliness of plain print in this photo: what noise alone makes of it."""
    plain = change[rows, view.column(28.5) : view.column(30.5)]
    other = change[rows, view.column(159.5) : view.column(161.5)]
    return max(settings.quiet_min, float(min(np.median(plain), np.median(other))))


def _profile(
    view: PlaneView, change: Float32Array, rows: slice, *, layout: CardLayout
) -> FloatArray:
    """A low percentile of the liveliness of each column: high only where most rows are lively."""
    known = _printed_edges(view, layout)
    values = change[rows].astype(np.float64)
    values[known[rows]] = np.nan
    enough = np.isfinite(values).sum(axis=0) >= 20
    profile = np.zeros(values.shape[1])
    profile[enough] = np.nanpercentile(values[:, enough], 40, axis=0)
    return profile


def _printed_edges(view: PlaneView, layout: CardLayout) -> BoolArray:
    """True near the upright edges of the card's own print."""
    mask = np.zeros(view.inside.shape, dtype=np.bool_)
    boxes = [
        (b.x_mm, b.y_mm, b.width_mm, b.height_mm) for b in (layout.field, *layout.swatches)
    ] + [(m.x_mm, m.y_mm, m.size_mm, m.size_mm) for m in layout.markers]
    for x, y, width, height in boxes:
        rows = slice(view.row(y - 1), view.row(y + height + 1))
        for edge in (x, x + width):
            mask[rows, view.column(edge - 1.2) : view.column(edge + 1.2) + 1] = True
    for marker in layout.markers:
        rows = slice(view.row(marker.y_mm - 1), view.row(marker.y_mm + marker.size_mm + 1))
        mask[rows, view.column(marker.x_mm) : view.column(marker.x_mm + marker.size_mm)] = True
    return mask


def _outermost(
    view: PlaneView,
    profile: FloatArray,
    *,
    side: int,
    start_mm: float,
    quiet: float,
    layout: CardLayout,
    settings: JarSettings,
) -> int:
    """Column of the outermost strong peak on one side."""
    field = layout.field
    border = field.x_mm if side < 0 else field.x_mm + field.width_mm
    leaves_field = abs(start_mm - border) < settings.border_mm
    beyond = settings.beyond_mm if leaves_field else settings.outside_mm
    within = settings.shadow_mm if leaves_field else settings.inside_mm
    low, high = sorted((start_mm + side * beyond, start_mm - side * within))
    columns = np.arange(max(0, view.column(low)), min(profile.size, view.column(high) + 1))
    window = profile[columns]
    strong = window >= max(settings.peak_share * window.max(), settings.peak_over_quiet * quiet)
    if not strong.any():
        raise PhotoRefusedError("no_jar", "no upright edge of glass was found")
    at = int(np.flatnonzero(strong)[0 if side < 0 else -1])
    while 0 <= at - side < window.size and window[at - side] > window[at]:
        at -= side  # climb to the top of the outermost peak
    return int(columns[at])


def _fit_line(
    view: PlaneView, change: Float32Array, start: EdgeLine, rows: slice, *, settings: JarSettings
) -> EdgeLine:
    """Straight line through the liveliest place of each row near a line, by Theil and Sen."""
    from scipy.stats import theilslopes

    y_all = view.y_mm(np.arange(rows.start, rows.stop, dtype=np.float64))
    y0 = float(y_all.mean())
    reach = round(settings.line_reach_mm * PX_PER_MM)
    middle = np.rint((start.x_mm(y_all) - LEFT_MM) * PX_PER_MM).astype(int)
    columns = middle[:, None] + np.arange(-reach, reach + 1)
    columns = np.clip(columns, 1, change.shape[1] - 2)
    row_index = np.arange(rows.start, rows.stop)
    window = change[row_index[:, None], columns]
    peak = window.argmax(axis=1)
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
    slope, _, _, _ = theilslopes(x_mm[::3], y_all[good][::3] - y0)
    rest = x_mm - slope * (y_all[good] - y0)
    at_mm = float(np.median(rest))
    spread = 1.4826 * float(np.median(np.abs(rest - at_mm)))
    return EdgeLine(at_mm, float(slope), y0, spread)
