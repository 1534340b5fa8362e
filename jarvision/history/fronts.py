"""How fast the white runs over the wall, from two thumbnails of the same side.

Young green mould is white: until it colours, its speed is the only thing to be seen of it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from jarvision.records import HALF_VIEW_DEG, BoolArray, FloatArray, Front
from jarvision.settings.history import FrontSettings
from jarvision.vision.tissue.thumbnail import SMALL_CELL_DEG, SMALL_CELL_MM, SmallWall


def fastest_front(
    before: Sequence[FloatArray],
    after: SmallWall,
    *,
    gap_days: float,
    settings: FrontSettings,
) -> Front | None:
    """The fastest front that has crossed enough of the wall, of 0 mm/day where none has.

    Parameters
    ----------
    before
        Opacity maps of earlier days in the frame of ``after`` (see
        :func:`jarvision.history.registration.moved`). A place was bare only if it was so on all of
        them.

    Notes
    -----
    A place that has grown over can have been reached by the old growth, at no less than its
    distance from it, or from a place where growth began in between. The latter is a round spot:
    a disc of radius r takes a front of 2r in the time, as it began on average half-way through.
    So a front of speed v has crossed the places that are farther than v from all old growth and
    lie in a grown disc of radius v/2. The highest v that holds for ``least_cm2`` is returned.
    None where too little was bare to tell.
    """
    from scipy.ndimage import distance_transform_edt

    known = np.isfinite(after.opacity) & np.all([np.isfinite(b) for b in before], axis=0)
    grown_before = np.any([b >= settings.bare_below for b in before], axis=0)
    bare = known & ~grown_before
    if gap_days <= 0 or np.count_nonzero(bare) * after.cell_cm2 < settings.bare_cm2:
        return None
    grown = bare & (after.opacity >= settings.grown_from)
    step = (SMALL_CELL_MM, after.cell_width_mm)
    from_old = np.full(grown.shape, np.inf)
    if grown_before.any():
        from_old = distance_transform_edt(~grown_before, sampling=step)
    depth = distance_transform_edt(np.pad(grown, 1), sampling=step)[1:-1, 1:-1]
    best = Front(0.0, 0.0, 0.0, 0.0)
    for speed in np.arange(1.0, 41.0):
        reach = speed * gap_days
        core = depth >= reach / 2
        if not core.any():
            break
        disc = distance_transform_edt(~core, sampling=step) <= reach / 2
        crossed = grown & disc & (from_old >= reach)
        area = float(np.count_nonzero(crossed)) * after.cell_cm2
        if area < settings.least_cm2:
            break
        best = _front(float(speed), area, crossed)
    return best


def _front(speed: float, area_cm2: float, crossed: BoolArray) -> Front:
    """The record, placed at the middle of what was crossed."""
    rows, cols = np.nonzero(crossed)
    return Front(
        mm_per_day=speed,
        area_cm2=area_cm2,
        angle_deg=(float(np.median(cols)) + 0.5) * SMALL_CELL_DEG - HALF_VIEW_DEG,
        height_mm=(crossed.shape[0] - float(np.median(rows)) - 0.5) * SMALL_CELL_MM,
    )
