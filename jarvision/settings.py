"""Every threshold of the stages behind the readings: its value, its unit and why it is so.

A group per stage. Unit and range follow from a setting's name, see
:mod:`jarvision.settings_fields`; ``Limits`` stand where they do not. The defaults are the only
values that the tests vouch for; a changed setting changes :meth:`Settings.digest`, which is stored
beside what was computed with it.
"Common practice, no source" marks a rule of the trade for which no measurement was found.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, field
from typing import Annotated

from jarvision.limits import Limits
from jarvision.photo_settings import PhotoSettings
from jarvision.plan_settings import PlanSettings


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

    half_view_deg: Annotated[float, Limits(10, 85)] = 60.0
    """A view judges the wall this far to both sides of its middle, degrees."""

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


@dataclass(frozen=True)
class GrowthSettings:
    """How curves are fitted, forecasts made and stalls told."""

    min_days: Annotated[int, Limits(4)] = 4
    """Fewest days for a curve of three parameters: one more than the parameters."""

    min_rise_points: float = 5.0
    """A record that rises less than this, in points of coverage, has no curve to fit; about twice
    the half-width of a good reading's 95 % interval."""

    sd_floor_points: float = 0.7
    """Smallest standard uncertainty given to a reading, points: no photo is better than this, and
    without a floor the days near 0 and 100 % would rule the fit."""

    full_mean_percent: float = 100.0
    """A healthy jar's curve ends here ..."""

    full_sd_points: float = 1.0
    """... give or take this: without it an early curve could end anywhere. The robust loss of the
    fit lets a jar that does level off elsewhere override it."""

    lag_share: Annotated[float, Limits(0, 1)] = 0.2
    """The lag of an ordinary jar, as a share of its spawn run: visible recovery after 1 to 5 days
    (common practice, no source)."""

    slope_of_run: Annotated[float, Limits(0.5, 3)] = 1.27
    """From lag to 95 % a curve of nucleation and growth (n = 2) takes this many times A/m; see
    ``jarvision.curves``."""

    species_log_rate_sd: Annotated[float, Limits(0.01, 5)] = 0.45
    """A species' jars differ by this in the logarithm of their rate: from two thirds of the middle
    to half as fast again, as the species' shortest and longest run do."""

    species_lag_sd_share: Annotated[float, Limits(0.01, 5)] = 0.15
    """... and by this share of the spawn run in their lag."""

    sibling_log_rate_sd: Annotated[float, Limits(0.01, 5)] = 0.25
    """Jars of one batch differ by this in the logarithm of their rate: healthy ones by 0.15, but a
    jar that is slow for a reason of its own must not be promised its siblings' date (common
    practice, no source)."""

    sibling_lag_sd_days: Annotated[float, Limits(0.01, unit="days")] = 1.2
    """... and by this in their lag, days."""

    teach_percent: float = 40.0
    """A jar says something of its siblings once it has passed this coverage."""

    teach_max_scale: Annotated[float, Limits(1)] = 4.0
    """... and if a curve of growth fits it: residuals of up to twice their uncertainty."""

    draws: Annotated[int, Limits(100, 100_000)] = 1500
    """Parameter draws for the bands: the 10 % quantile is then good to about 1 % of the draws."""

    interval: Annotated[float, Limits(0.5, 0.99)] = 0.80
    """Probability of the forecast's interval."""

    forecast_spread: Annotated[float, Limits(0.1, 5)] = 1.0
    """Power by which the drawn remaining times are spread about their median, so that the interval
    holds its share of the simulated jars (``tests/accuracy/histories``)."""

    horizon_days: Annotated[int, Limits(1, 1000)] = 120
    """No forecast further than this from today: longer than the slowest species' spawn run."""

    curve_points: Annotated[int, Limits(10, 10_000, unit="")] = 60
    """Samples of the curve for plotting."""

    shake_drop_points: float = 10.0
    """A lasting drop of this many points from one day to the next is a shaken jar: a new origin.
    Shaking at 20 to 40 % cover hides most of the white (common practice, no source); 10 points
    are 4 standard uncertainties of an ordinary reading."""

    shake_below_points: float = 2.0
    """... and it falls this far below the day before that, which one high reading does not do."""

    outlier_z: Annotated[float, Limits(1)] = 4.0
    """A reading this many standard uncertainties outside its neighbours is a bad one: a stall is
    not told from it. The curves' robust loss sees to the fit."""

    fastest_rate_points: Annotated[float, Limits(5, 100, unit="points a day")] = 25.0
    """No jar gains more than this in a day, points: at 7 mm/day and a start in each 3 cm2, the
    fastest that the species profiles know, the steepest day brings 25."""

    stall_days: Annotated[int, Limits(2)] = 2
    """Shortest time over which a stall is told; growers wait for 3 days without growth (common
    practice, no source), a measured rate says it a day earlier where it was high."""

    stall_longest_days: int = 21
    """Longest look back for how long a stall has lasted, days."""

    stall_share: Annotated[float, Limits(0, 1)] = 0.35
    """Stalled when the rate is surely below this share of the expected rate."""

    stall_p: Annotated[float, Limits(0, 0.5)] = 0.1
    """Stalled when so little growth would be this unlikely in a jar that grows at ``stall_share``:
    with it every other simulated stall is told after 2 days; with 0.05 after 3. A jar so flagged
    is looked at, and no more, until the stall is long."""

    stall_sibling_share: Annotated[float, Limits(0, 1)] = 0.8
    """A jar is expected to grow at least this share of its siblings' median rate."""

    leap_off_days: int = 10
    """No white by now means a dead culture or overheated grain: 7 to 10 days after inoculation
    (common practice, no source)."""

    leap_off_percent: Annotated[float, Limits(0, 100)] = 3.0
    """Coverage that counts as a start, percent: above what dust and glare leave behind."""


@dataclass(frozen=True)
class VerdictSettings:
    """Where the rules draw their lines. The lines lean to caution: see ``jarvision.verdict``.

    Those that keep a doubtful jar from a go can be moved so far and no further: a slip in a text
    file must not hide a mould.
    """

    old_photo_days: Annotated[int, Limits(0, 7)] = 2
    """A photo older than this says too little about today: moulds turn green within a day."""

    min_seen_for_go_percent: Annotated[float, Limits(30, 100)] = 60.0
    """Less judged wall than this never gives a go."""

    max_colour_de00: float = 6.0
    """Card residual (median CIEDE2000) above which colours are not to be trusted (common
    practice, no source)."""

    off_colour_no_go_cm2: Annotated[float, Limits(0, 5)] = 0.3
    """An off-colour area from here on ends the jar, if sure: a spot of 6 mm across."""

    off_colour_alone_cm2: Annotated[float, Limits(0, 20)] = 2.0
    """A mould that one photo alone shows ends the jar from here on; a smaller one must be seen
    on a second photo first, and until then asks for a look: a mirrored lamp on a stain was once
    taken for a pink mould, and a good jar thrown out is lost."""

    off_colour_check_cm2: Annotated[float, Limits(0, 0.5)] = 0.05
    """An off-colour area from here on asks for a look: a spot of 2.5 mm, about one kernel."""

    sure_confidence: Annotated[float, Limits(0, 0.9)] = 0.7
    """A patch below this confidence is not sure: it asks for a look, it ends nothing. 45 of 47
    areas of mould on 342 rendered photos lay above it, a lamp mirrored on a stain below."""

    stain_note_cm2: Annotated[float, Limits(0)] = 0.3
    """Normal staining from here on is worth a line."""

    stain_check_cm2: Annotated[float, Limits(0, 5)] = 0.5
    """Staining from here on asks for a look where it is not normal for the species."""

    fast_front_days: int = 4
    """A fast front asks for a look for this long: green mould stays white for 2 to 4 days (common
    practice, no source). When it has not coloured by then, it is forgotten."""

    wet_check_cm2: Annotated[float, Limits(0, 5)] = 0.5
    """A wet area from here on asks for a look."""

    wet_no_go_cm2: Annotated[float, Limits(0, 50)] = 6.0
    """A wet area from here on (about a twentieth of the wall in view) ends the jar."""

    dead_patch_cm2: Annotated[float, Limits(0, 20)] = 1.0
    """A bare area from here on that does not close ends a late jar: the size the vision stages
    are held to find."""

    bare_check_cm2: Annotated[float, Limits(0, 5)] = 0.5
    """A bare area from here on keeps a ready jar from go: half of what ends it, since an area of
    1 cm2 is measured to about a tenth and its edge is ragged."""

    dead_patch_days: int = 3
    """How long a bare area must have stood still: islands close within 3 to 4 days (common
    practice, no source)."""

    dead_patch_sightings: Annotated[int, Limits(2)] = 3
    """... and on how many days it must have been seen: photos that were missed prove nothing."""

    dead_patch_seen_share: Annotated[float, Limits(0, 1)] = 0.6
    """... and on what share of the days with a photo: an area that comes and goes is misread."""

    island_share: Annotated[float, Limits(0, 1)] = 0.25
    """A bare area over more than this share of the wall in view is no island: growth has not come
    there yet. A stall is told by other means."""

    dead_patch_rest_percent: float = 90.0
    """The jar is late for a bare area when the rest of the wall is covered this far."""

    thin_below_percent: float = 90.0
    """Species that are ready below this coverage stay thin and patchy: their bare areas are
    looked at, not condemned."""

    long_stall_days: int = 7
    """A stall of this length ends the jar: a week at rest is a week for what holds it back."""

    near_ready_points: Annotated[float, Limits(0, 100)] = 5.0
    """A jar stalled this close to ready is looked at, never thrown out on the number alone."""

    late_factor: Annotated[float, Limits(1)] = 1.5
    """Not ready after this many times the species' longest spawn run asks for a look."""

    sure_days: Annotated[int, Limits(2)] = 2
    """Days whose lower bound must reach ready before a go: one reading is never enough."""

    groove_height_mm: float | None = None
    """Height of the jar's groove or shoulder above the floor, mm; None: not known, not judged."""


@dataclass(frozen=True)
class Settings:
    """All settings, one group per stage; ``photo`` holds the groups from card to reading."""

    photo: PhotoSettings = field(default_factory=PhotoSettings)
    tracking: TrackingSettings = field(default_factory=TrackingSettings)
    front: FrontSettings = field(default_factory=FrontSettings)
    growth: GrowthSettings = field(default_factory=GrowthSettings)
    verdict: VerdictSettings = field(default_factory=VerdictSettings)
    plan: PlanSettings = field(default_factory=PlanSettings)

    def digest(self) -> str:
        """Return 12 hex digits that change when any value does, the same on every machine."""
        text = json.dumps(asdict(self), sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()[:12]
