"""Shakes: days on which the coverage of a jar truly fell, since its contents were moved."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

from jarvision.records import JarDay
from jarvision.settings.growth import GrowthSettings


def shaken_on(days: Sequence[JarDay], settings: GrowthSettings) -> tuple[date, ...]:
    """The days on which a shake showed: a drop that something else confirms.

    The contents no longer show the pattern of the day before, which a shake has mixed; or the day
    after is as low, and the level lies below the one before the drop's start, too: a high day
    between two lower ones is a bad reading. So is a day that rose faster than any jar grows.
    """
    y = [d.coverage.percent for d in days]
    shaken = []
    for i in range(1, len(days)):
        floor = y[i - 1] - settings.shake_drop_points
        before = y[i - 2] if i > 1 else math.inf
        gap = (days[i - 1].day - days[i - 2].day).days if i > 1 else 0
        spike = i > 1 and y[i - 1] - before > settings.fastest_rate_points * gap
        if spike or y[i] >= floor:
            continue
        lasting = i + 1 < len(days) and y[i + 1] < floor
        if days[i].turned_away or (lasting and y[i] < before - settings.shake_below_points):
            shaken.append(days[i].day)
    return tuple(shaken)
