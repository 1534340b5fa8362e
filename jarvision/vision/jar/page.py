"""The lower edge of the printed page: where the table is, if the page is whole and stands on it.

The edge lies a known distance under the card's active area, one distance for A4 and another for
US Letter. It is one vote; the jar's own foot has the other.
"""

from __future__ import annotations

import cv2
import numpy as np

from jarvision.records import BoolArray, ByteArray, FloatArray
from jarvision.settings.jar import JarSettings
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.jar.plane_view import PX_PER_MM, PlaneView

PAGE_HEIGHTS_MM = (297.0, 279.4)
"""ISO 216 A4; US Letter, 11 inches."""


_TRIMMED_FROM_MM = 0.5
"""A page trimmed nearer to the card's marks than this shows no edge of its own."""

_BLUR_ROWS = _BLUR_PX = 8
"""Rows and columns beyond the searched ones that smoothing and slope look at, and some more."""


def page_ends_mm(
    view: PlaneView,
    *,
    jar_mm: tuple[float, float],
    layout: CardLayout,
    settings: JarSettings,
) -> tuple[float, float]:
    """Card-plane y of the page's lower edge, and the other place where it may be.

    The strongest level edge left and right of the jar within reach of either page's end comes
    first; A4 where neither shows one. A table's own lines may be stronger than the page's edge.

    Parameters
    ----------
    jar_mm
        Left and right edge of the jar in the card's plane.
    """
    ends = [(height + layout.height_mm) / 2 for height in PAGE_HEIGHTS_MM]
    reach = round(settings.page_reach_mm * PX_PER_MM)
    first = max(0, view.row(min(ends)) - reach - _BLUR_ROWS)
    last = min(view.shape[0], view.row(max(ends)) + reach + _BLUR_ROWS)
    step = _steps(view, slice(first, last), jar_mm, layout=layout)
    if step is None:
        return ends[0], ends[1]
    found = []
    for end in ends:
        row = view.row(end) - first
        window = step[row - reach : row + reach + 1]
        peak = int(window.argmax())
        strength = float(window[peak])
        if strength < settings.page_edge_levels:
            found.append((0.0, end))
        else:
            found.append((strength, view.y_mm(float(first + row - reach + peak))))
    if found[1][0] > found[0][0]:
        found.reverse()
    return found[0][1], found[1][1]


def trimmed_end_mm(
    view: PlaneView,
    *,
    jar_mm: tuple[float, float],
    layout: CardLayout,
    settings: JarSettings,
) -> float | None:
    """Card-plane y where the page is seen to end above the end of either paper; None if it is not.

    There is nothing but bare paper under the card's active area: what ends there is the page.
    """
    reach = settings.page_reach_mm
    first = view.row(layout.height_mm + _TRIMMED_FROM_MM) - _BLUR_ROWS
    last = view.row((min(PAGE_HEIGHTS_MM) + layout.height_mm) / 2 - reach) + _BLUR_ROWS
    step = _steps(view, slice(first, last), jar_mm, layout=layout)
    if step is None:
        return None
    peak = _BLUR_ROWS + int(step[_BLUR_ROWS:-_BLUR_ROWS].argmax())
    if step[peak] < settings.trimmed_edge_levels:
        return None
    return view.y_mm(float(first + peak))


def _steps(
    view: PlaneView, rows: slice, jar_mm: tuple[float, float], *, layout: CardLayout
) -> FloatArray | None:
    """Steps of grey ``(rows,)``, levels a row, beside the jar; None where it hides all."""
    strips = [_strip(view, rows, columns) for columns in _free_columns(view, jar_mm, layout=layout)]
    if not strips:
        return None
    grey, inside = (np.concatenate(parts, axis=1) for parts in zip(*strips, strict=True))
    step = np.abs(np.gradient(np.median(grey, axis=1)))
    step[~_well_inside(np.asarray(inside.all(axis=1)))] = 0.0
    return np.asarray(step)


def _well_inside(shown: BoolArray) -> BoolArray:
    """Rows ``(rows,)`` into which nothing beyond the photo is blurred: its end is no page's."""
    column = shown.view(np.uint8)[:, None]
    kept = cv2.erode(column, np.ones((2 * _BLUR_ROWS + 1, 1), dtype=np.uint8))
    return np.asarray(kept[:, 0]) > 0


def _strip(view: PlaneView, rows: slice, columns: slice) -> tuple[ByteArray, BoolArray]:
    """Smoothed grey of a part of the view, and where the photo has a pixel."""
    first = max(0, columns.start - _BLUR_PX)
    around = rows, slice(first, min(view.shape[1], columns.stop + _BLUR_PX))
    smooth = cv2.GaussianBlur(cv2.cvtColor(view.rgb(around), cv2.COLOR_RGB2GRAY), (0, 0), 1.5)
    own = slice(columns.start - first, columns.stop - first)
    return np.asarray(smooth, dtype=np.uint8)[:, own], view.inside((rows, columns))


def _free_columns(
    view: PlaneView, jar_mm: tuple[float, float], *, layout: CardLayout
) -> list[slice]:
    """Columns of the page's lower margin that the jar leaves free, to its left and right."""
    ends = (
        (view.column(0.0), view.column(jar_mm[0] - 6.0)),
        (view.column(jar_mm[1] + 6.0), view.column(layout.width_mm)),
    )
    return [slice(left, right) for left, right in ends if left < right]
