"""Days on which a jar surely stood as on an earlier one, though growth hides its contents.

Where the wall is nearly full no turn can be found, but what is left bare, stained or wet keeps its
places. Three areas that lie to each other as they did are no chance: of 1,692 pairs of walls of
different simulated jars of one shelf, from 80 % cover on, none agreed so far; of the pairs of
following days of one jar eight in ten did at 80 to 90 % cover, six at 90 to 97 %, one above.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from jarvision.records import OFF_COLOUR_KINDS, JarDay, TrackedPatch
from jarvision.verdict.evidence import Case


def seen_without(case: Case, name: str, sightings: Sequence[JarDay]) -> bool:
    """Say whether an area's place was seen without it on enough later days, the jar as it stood.

    Parameters
    ----------
    sightings
        The days on which the area was seen, the latest last.
    """
    seen = sightings[-1]
    later = [n for n, day in enumerate(case.days) if day.day > seen.day]
    clear = [
        case.days[n]
        for n in later
        if case.days[n].absent.get(name, 0) > case.days[n - 1].absent.get(name, 0)
    ]
    return sum(stands_as(case, seen, day) for day in clear) >= case.limits.stands_days


def stands_as(case: Case, before: JarDay, after: JarDay) -> bool:
    """Say whether enough areas lie on a day as they lay on an earlier one, but for a common turn.

    Areas of odd colours do not count: they are what is asked about.
    """
    then, now = _places_mm(case, before), _places_mm(case, after)
    both = sorted(then.keys() & now.keys())
    if not both:
        return False
    moved = np.array([now[name] for name in both]) - np.array([then[name] for name in both])
    off_mm = np.hypot(*(moved - np.median(moved, axis=0)).T)
    return int(np.sum(off_mm <= case.limits.stands_mm)) >= case.limits.stands_areas


def _places_mm(case: Case, day: JarDay) -> dict[str, tuple[float, float]]:
    """Where a day's areas lie on the wall, by name: around from the middle of the view, and up."""
    return {
        patch.patch: (_around_mm(case, patch), patch.height_mm)
        for patch in day.patches
        if patch.kind not in OFF_COLOUR_KINDS
    }


def _around_mm(case: Case, patch: TrackedPatch) -> float:
    return math.radians(patch.angle_deg) * case.wall_radius_mm
