"""Records of a jar as the growth stage sees them, from a few numbers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from shelves import START, oyster, reading

from jarvision.growth.timeseries import Series
from jarvision.history.build import build_history
from jarvision.records import JarHistory


def series(
    y: Sequence[float], *, t: Sequence[float] | None = None, sd: float = 1.0, half: float = 2.0
) -> Series:
    values = np.array(y, dtype=float)
    days = np.arange(len(values), dtype=float) if t is None else np.array(t, dtype=float)
    return Series(START, days, values, np.full(len(values), sd), values - half, values + half)


def history(percents: Sequence[float], *, half: float = 2.0, **entry: object) -> JarHistory:
    readings = [reading(n, float(p), half_width=half) for n, p in enumerate(percents)]
    return build_history(readings, oyster(**entry))
