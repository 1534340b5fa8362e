"""Where the straight wall ends: at the shoulder, as the edges leave their lines, or at the lid."""

from __future__ import annotations

import numpy as np

from jarvision.records import BoolArray, Float32Array
from jarvision.settings.jar import JarSettings
from jarvision.vision.jar.edges import EdgeLine
from jarvision.vision.jar.plane_view import PX_PER_MM, PlaneView


def top_of_wall_mm(
    view: PlaneView,
    change: Float32Array,
    hidden: BoolArray,
    lines: tuple[EdgeLine, EdgeLine],
    *,
    settings: JarSettings,
) -> float:
    """Card-plane y of the end of the straight wall.

    Parameters
    ----------
    change
        The view's liveliness, NaN where nothing can be told.
    hidden
        ``(rows, cols)`` of the view: True where something hides the card's centre field.
    """
    top = _top_of_edges(view, change, lines, settings=settings)
    lid = _lid_mm(view, hidden, lines, settings=settings)
    return top if lid is None else max(top, lid)


def _top_of_edges(
    view: PlaneView,
    change: Float32Array,
    lines: tuple[EdgeLine, EdgeLine],
    *,
    settings: JarSettings,
) -> float:
    """Height up to which the edges stay on their lines.

    An edge that runs along one of the card's own is no witness; the other one decides then, or
    the lid.
    """
    step = settings.top_step_mm
    y_mm, top_mm, missed = settings.upright_top_mm, settings.upright_top_mm, 0
    while y_mm - step > 0.0 and missed < settings.top_missed_steps:
        rows = slice(view.row(y_mm - step), view.row(y_mm))
        seen = [
            _edge_shows(change[rows], view.column(line.x_mm(y_mm - step / 2)), settings=settings)
            for line in lines
        ]
        y_mm -= step
        if False in seen:
            missed += 1
        else:
            top_mm, missed = y_mm, 0
    return top_mm


def _edge_shows(change: Float32Array, column: int, *, settings: JarSettings) -> bool | None:
    """Tell whether most rows show an edge at a column; None where the card's own are there."""
    reach = round(settings.on_line_mm * PX_PER_MM)
    near = change[:, max(0, column - reach) : column + reach + 1]
    if np.count_nonzero(np.isnan(near)) > settings.on_line_unknown * near.size:
        return None
    ranked = np.sort(np.fmax.reduce(near, axis=1))  # rows of which nothing is known come last
    middle = (ranked[(ranked.size - 1) // 2] + ranked[ranked.size // 2]) / 2
    return bool(middle >= settings.edge_change_min and not np.isnan(ranked[-1]))


def _lid_mm(
    view: PlaneView,
    hidden: BoolArray,
    lines: tuple[EdgeLine, EdgeLine],
    *,
    settings: JarSettings,
) -> float | None:
    """Lower edge of the lid: what hides the field again above the empty glass; None when nothing.

    A blue lid hides nothing; then the edges alone decide.
    """
    low = int(np.flatnonzero(hidden.any(axis=1))[-1]) + 1
    left, right = (view.column(line.x_mm(settings.upright_top_mm)) for line in lines)
    inset = (right - left) // 5
    share = hidden[:low, left + inset : right - inset].mean(axis=1)[::-1]  # upwards
    tall = round(settings.lid_min_mm * PX_PER_MM)
    empty = _first_run(share < settings.lid_empty_share, tall)
    if empty is None:
        return None
    lid = _first_run(share[empty:] > settings.lid_hidden_share, tall)
    return None if lid is None else view.y_mm(float(low - 1 - empty - lid))


def _first_run(flags: BoolArray, length: int) -> int | None:
    """Index of the first run of ``length`` True values; None when there is none."""
    if flags.size < length:
        return None
    full = np.convolve(flags, np.ones(length, dtype=np.int64), mode="valid") == length
    return int(full.argmax()) if full.any() else None
