"""Shakes: days on which the coverage of a jar truly fell, since its contents were moved.

A shake that the grower has told is one for certain, whether the coverage fell or not.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import date

from jarvision.records import JarDay, JarHistory
from jarvision.settings.growth import GrowthSettings


def shaken_on(days: Sequence[JarDay], settings: GrowthSettings) -> tuple[date, ...]:
    """The days on which a shake showed: one that was told, or a drop that something else confirms.

    The contents no longer show the pattern of the day before, which a shake has mixed; or the day
    after is as low, and the level lies below the one before the drop's start, too: a high day
    between two lower ones is a bad reading. So is a day that rose faster than any jar grows.
    """
    y = [d.coverage.percent for d in days]
    shaken = []
    for i in range(1, len(days)):
        if days[i].told_shaken:
            shaken.append(days[i].day)
            continue
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


def shaken_since(history: JarHistory, days: Sequence[JarDay], *, today: date) -> date | None:
    """The last shake that was told, up to today, where no photo of ``days`` shows it; else None."""
    told = max((day for day in history.told("shaken") if day <= today), default=None)
    if told is None or not days or told < days[-1].day:
        return None
    return None if told == days[-1].day and days[-1].told_shaken else told


def shows_first(
    told: Iterable[date], seen: Sequence[tuple[date, float]], settings: GrowthSettings
) -> tuple[date, ...]:
    """The days with a photo on which the shakes that were told show first.

    A photo of the same day may have been taken before the shake or after it: of that day, if the
    coverage fell by more than chance on it, and the next one, that on which it fell further shows
    the shake. It shows on no day before the second, and not yet where all photos are older.

    Parameters
    ----------
    told
        Days on which the jar was shaken.
    seen
        Days with a photo, in order, and the coverage on them, percent.
    """
    found, chance = set(), settings.shake_below_points
    for shaken in told:
        later = [i for i, (day, _) in enumerate(seen) if i and day > shaken][:1]
        on_it = [i for i, (day, _) in enumerate(seen) if i and day == shaken]
        same = [i for i in on_it if _fell(seen, i) > chance]
        if shaken >= seen[0][0] and (same or later):
            found.add(seen[max((*same, *later), key=lambda i: _fell(seen, i))][0])
    return tuple(sorted(found))


def _fell(seen: Sequence[tuple[date, float]], i: int) -> float:
    return seen[i - 1][1] - seen[i][1]
