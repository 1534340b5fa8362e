"""The same place on the next day: how far a jar was turned between two photos.

Kernels and straw make a pattern that stays while growth runs over it. Phase correlation (Kuglin
and Hines 1975, from memory) of the two patterns gives the turn and the rise in one step; how far
they agree after that (Pearson's r over the overlap) says whether to believe it.
"""

from __future__ import annotations

import numpy as np

from jarvision.records import Float32Array, FloatArray, Turn
from jarvision.settings.history import TrackingSettings
from jarvision.vision.tissue.thumbnail import FINER, SMALL_CELL_DEG, SMALL_CELL_MM, SmallWall


def find_turn(before: SmallWall, after: SmallWall, *, settings: TrackingSettings) -> Turn:
    """Find how far the jar was turned between two photos of the same side.

    Patterns of different jars agree by chance to 0.13 at most (84 pairs of the sample shelf), those
    of one jar on following evenings to 0.6 to 0.9 (rendered photos).
    """
    from skimage.registration import phase_cross_correlation

    first, second = _same_height(before.pattern, after.pattern)
    if not first.any() or not second.any():
        return Turn()
    padded = [_windowed(pattern) for pattern in (first, second)]
    shift, _, _ = phase_cross_correlation(*padded, normalization="phase")  # type: ignore[no-untyped-call]
    down, across = -int(shift[0]), -int(shift[1])
    confidence = _agreement(first, second, down, across)
    turn_deg, rise_mm = across * SMALL_CELL_DEG / FINER, -down * SMALL_CELL_MM / FINER
    if (
        confidence < settings.turn_min_agreement
        or abs(turn_deg) > settings.turn_limit_deg
        or abs(rise_mm) > settings.rise_limit_mm
    ):
        return Turn(confidence=max(confidence, 0.0))
    return Turn(turn_deg, rise_mm, confidence, found=True)


def moved(field: FloatArray | Float32Array, rows: int, turn: Turn) -> FloatArray:
    """Bring a map of the day before into the frame of the day after, NaN where it does not reach.

    Parameters
    ----------
    field
        Map of the day before, its last row on the floor.
    rows
        Rows of the day after.
    """
    height, cols = field.shape
    across = round(turn.turn_deg / SMALL_CELL_DEG)
    up = round(turn.rise_mm / SMALL_CELL_MM)
    out = np.full((rows, cols), np.nan)
    # Rows are counted from the floor, so that jars of another height still stand together.
    source_rows = height - (rows - np.arange(rows)) + up
    source_cols = np.arange(cols) - across
    good_rows = (source_rows >= 0) & (source_rows < height)
    good_cols = (source_cols >= 0) & (source_cols < cols)
    out[np.ix_(good_rows, good_cols)] = field[
        np.ix_(source_rows[good_rows], source_cols[good_cols])
    ]
    return out


def _same_height(one: Float32Array, two: Float32Array) -> tuple[Float32Array, Float32Array]:
    """Pad the lower map at its top: both stand on the floor."""
    rows = max(one.shape[0], two.shape[0])
    padded = [np.pad(p, ((rows - p.shape[0], 0), (0, 0))) for p in (one, two)]
    return padded[0], padded[1]


def _windowed(pattern: Float32Array) -> Float32Array:
    """Fade the pattern out at its edges and double its size, so that nothing wraps around."""
    rows, cols = pattern.shape
    fade = np.sqrt(np.outer(np.hanning(rows + 2)[1:-1], np.hanning(cols + 2)[1:-1]))
    return np.asarray(np.pad(pattern * fade, ((0, rows), (0, cols))), dtype=np.float32)


def _agreement(before: Float32Array, after: Float32Array, down: int, across: int) -> float:
    """Pearson's r of two patterns where ``after`` is ``before`` moved down and across."""
    rows, cols = before.shape
    if abs(down) >= rows or abs(across) >= cols:
        return 0.0
    one = before[max(0, -down) : rows - max(0, down), max(0, -across) : cols - max(0, across)]
    two = after[max(0, down) : rows - max(0, -down), max(0, across) : cols - max(0, -across)]
    both = (one != 0.0) & (two != 0.0)
    if np.count_nonzero(both) < 100:
        return 0.0
    a, b = one[both], two[both]
    spread = float(a.std() * b.std())
    return float(np.mean((a - a.mean()) * (b - b.mean()))) / spread if spread > 0 else 0.0
