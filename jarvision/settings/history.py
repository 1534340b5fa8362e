"""Thresholds of the history of a jar: patches from day to day, fronts, days read together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from jarvision.settings.limits import Limits


@dataclass(frozen=True)
class TrackingSettings:
    """How patches are followed from day to day."""

    wall_radius_mm: Annotated[float, Limits(10, 200)] = 45.0
    """Inner radius that turns degrees into mm. Jars of 0.5 to 1 L lie between 40 and 50 mm; a
    reading does not carry its own radius, and 10 % here is 10 % of a distance, not of an area."""

    reach_mm_per_day: float = 12.0
    """How far a centroid may move in a day: 4 mm of front (fast for grain) and about 10 degrees
    of careless turning, 8 mm on a 45 mm radius. Grows with skipped days."""

    reach_registered_mm_per_day: float = 6.0
    """... where the turn of the jar was found: 4 mm of front and 2 mm of what registration leaves
    (a degree and a cell)."""

    colour_change_mm: float = 4.0
    """Cost of a mould's change of colour, in mm of distance: about a day of its growth, so that a
    patch of the same colour nearby is preferred."""

    reach_limit_mm: float = 30.0
    """The reach stops growing here (about 38 degrees): beyond it any patch would fit any other."""

    bare_gain_mm: float = 3.0
    """A bare area cannot grow: one whose equal-area radius is larger by this than yesterday's is
    another area. Edges are read to about half a millimetre, areas to a twentieth."""

    parted_share: Annotated[float, Limits(0.1, 1)] = 0.5
    """An area that is missed lives on under other names where bare areas of this share of it, at
    least, lie over its place; smaller ones may be another side's."""

    forget_days: int = 7
    """A patch not seen for longer is not followed any more: one there now is another one."""

    size_weight: Annotated[float, Limits(0)] = 0.5
    """Cost of a mm of difference in equal-area radius, in mm of distance: place counts first."""

    area_sd_relative: Annotated[float, Limits(0, 1)] = 0.05
    """Relative standard uncertainty of an area: twice that of the radius scale (2.5 %)."""

    edge_sd_mm: Annotated[float, Limits(0)] = 0.4
    """Day-to-day standard uncertainty of a patch's edge, mm: about two pixels at 5 px/mm."""

    trend_days: int = 3
    """Days over which an area's change is judged: islands close within 3 to 4 days when a jar is
    well (common practice, no source)."""

    trend_z: Annotated[float, Limits(0, 5)] = 1.64
    """A change counts beyond this many standard uncertainties (5 % one-sided)."""

    quarter_turn_deg: float = 90.0
    """Views ``a`` to ``d``: each quarter turn brings to the front what stood on the right."""

    turn_min_agreement: Annotated[float, Limits(0, 1)] = 0.25
    """A turn is believed when the two patterns agree (Pearson's r) at least this far: patterns of
    different jars agree to 0.13 at most (84 pairs of the sample shelf)."""

    turn_limit_deg: float = 80.0
    """A jar turned further than this shares less than a third of its view with the day before."""

    turn_look_back: Annotated[int, Limits(1, unit="days")] = 3
    """So many earlier days are tried for a turn: one bad photo must not break the thread."""

    turn_min_bare: Annotated[float, Limits(0, 1)] = 0.3
    """A wall shows its contents' pattern when at least this share of it is not covered; only then
    does a pattern that is not found again mean that the jar was turned."""

    clear_days: Annotated[int, Limits(1)] = 2
    """A patch is cleared when its place was judged on this many later days without it."""

    clear_view_deg: float = 50.0
    """A place counts as looked at within this angle of the viewing direction: 10 degrees inside
    the wall in view, so that its edge is seen too."""

    stain_after_days: Annotated[int, Limits(1, 14)] = 3
    """A place that was bare fewer days ago cannot be stained: growth must cover it, and amber drops
    and skin come days after that (common practice, no source). Longer ago it may."""

    white_all_over: Annotated[float, Limits(0.7, 1)] = 0.9
    """Where the turn of a jar was not found, a place was surely white before if this share of what
    was seen was: growth that hides the contents hides the turn, too."""

    lasting_days: Annotated[int, Limits(1, 14)] = 2
    """A place that was white on so many days, in register, is not bare because it looks so on the
    next: old growth of the contents' own colour is misread now and then, and one day may be wrong.
    Chosen on six jars of another renderer, day by day: 1 reads somewhat better there, but keeps
    what pale contents were misread for on one day."""

    gone_after_days: Annotated[int, Limits(2, 14)] = 3
    """... until it looked bare on so many days running: then it is gone."""

    rise_limit_mm: float = 12.0
    """The floor is found to a few mm; a pattern that has risen further than this is another."""


@dataclass(frozen=True)
class FrontSettings:
    """How the speed of growth fronts is measured from day to day."""

    grown_from: Annotated[float, Limits(0, 1)] = 0.5
    """A place is covered from this opacity on: the definition of coverage."""

    bare_below: Annotated[float, Limits(0, 1)] = 0.25
    """... and had nothing on it before below this: growth that only thickens is no front."""

    least_cm2: float = 0.5
    """A front must have crossed this area to be believed: 13 cells, more than noise crosses."""

    bare_cm2: Annotated[float, Limits(0.5, 50)] = 2.0
    """... and at least this much of the wall must have been bare, to say that none has."""

    longest_gap_days: float = 3.0
    """Days further apart say nothing of a front: colonies have merged in between."""

    after_shake_days: int = 4
    """A shaken jar grows from many new places at once, for about this long: no front is measured
    (rebound after a shake: common practice, no source)."""

    fastest_mm_per_day: float = 8.0
    """A measured front from here on asks for a look. Ordinary fronts run at 1 to 8 mm/day, above
    10 on grain is out of the ordinary (common practice, no source); green mould runs at 12 to 20
    (from memory, no single source). The measure errs low: simulated moulds of 10 to 16 mm/day were
    measured as 8 to 12, healthy jars of 2 to 4.5 as more than 8 on 1 day in 500."""

    species_factor: Annotated[float, Limits(1)] = 2.0
    """A front of this many times the species' fastest ordinary speed is suspect: green mould runs
    at 2 to 4 times the species' rate (common practice, no source)."""

    least_factor: Annotated[float, Limits(1, 2)] = 1.25
    """... but none of less than this many times that speed: species of 7 to 8 mm/day reach the
    limit above by themselves on a warm day."""

    unturned_mm_per_day: Annotated[float, Limits(0, 10)] = 1.0
    """Where it was not found how far the jar was turned, a front must be faster by this: a careless
    turn adds to its speed. With 2 mm 2 more of 70 simulated moulds were not noticed while white."""

    room_percent: Annotated[float, Limits(0, 95)] = 75.0
    """A mould runs on while it has room. Up to this coverage, a later day without a front faster
    than the species' ends the doubt."""


@dataclass(frozen=True)
class TogetherSettings:
    """How the days of a jar are read together (``jarvision.history.smoothing``).

    How fast a level may rise, but seldom, is ``fastest_rate_points`` of the growth.
    """

    common_share: Annotated[float, Limits(0, 1)] = 0.8
    """This share of a day's error variance is taken to be common to all days of the jar, and is
    never averaged away: contents that look like growth do so every day."""

    misread_share: Annotated[float, Limits(0.001, 0.5)] = 0.05
    """Chance that a day is misread and says nothing."""

    fall_share: Annotated[float, Limits(0.0001, 0.5)] = 0.01
    """Chance a day that the coverage truly falls and neither the contents' pattern nor a lasting
    drop has told it: less than that of a misreading, more than that of two, so that a second low
    day is believed."""

    slow_rate_points: Annotated[float, Limits(0.01, 25, unit="points a day")] = 0.3
    """Rises from here on are taken to be as likely as any other of their order of magnitude: jars
    gain 0 to 20 points a day. With 1 the last day of simulated jars was read half a point higher,
    with 0.1 half a point lower."""

    sd_floor_points: float = 0.7
    """Smallest standard uncertainty of a day, points: no photo is better than this."""
