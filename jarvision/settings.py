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

    reach_limit_mm: float = 30.0
    """The reach stops growing here (about 38 degrees): beyond it any patch would fit any other."""

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

    turn_min_agreement: float = 0.25
    """A turn is believed when the two patterns agree (Pearson's r) at least this far: patterns of
    different jars agree to 0.13 at most (84 pairs of the sample shelf)."""

    turn_limit_deg: float = 80.0
    """A jar turned further than this shares less than a third of its view with the day before."""

    rise_limit_mm: float = 12.0
    """The floor is found to a few mm; a pattern that has risen further than this is another."""


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

    draws: Annotated[int, Limits(100, 100_000)] = 1500
    """Parameter draws for the bands: the 10 % quantile is then good to about 1 % of the draws."""

    interval: Annotated[float, Limits(0.5, 0.99)] = 0.80
    """Probability of the forecast's interval."""

    horizon_days: Annotated[int, Limits(1, 1000)] = 120
    """No forecast further than this from today: longer than the slowest species' spawn run."""

    curve_points: Annotated[int, Limits(10, 10_000, unit="")] = 60
    """Samples of the curve for plotting."""

    shake_drop_points: float = 15.0
    """A lasting drop of this many points from one day to the next is a shaken jar: a new origin.
    Shaking at 20 to 40 % cover mostly hides the white (common practice, no source)."""

    stall_days: int = 3
    """Shortest time over which a stall is told: 0 growth for 3 days below ready (common practice,
    no source)."""

    stall_longest_days: int = 21
    """Longest look back for how long a stall has lasted, days."""

    stall_share: Annotated[float, Limits(0, 1)] = 0.35
    """Stalled when even the upper bound of the rate is below this share of the expected rate."""

    stall_z: Annotated[float, Limits(0, 5)] = 1.28
    """Upper bound of the rate: this many standard uncertainties above it (10 % one-sided)."""

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

    off_colour_check_cm2: Annotated[float, Limits(0, 0.5)] = 0.05
    """An off-colour area from here on asks for a look: a spot of 2.5 mm, about one kernel."""

    sure_confidence: Annotated[float, Limits(0, 0.9)] = 0.5
    """A patch below this confidence is not sure: it asks for a look, it ends nothing."""

    stain_note_cm2: Annotated[float, Limits(0)] = 0.3
    """Normal staining from here on is worth a line."""

    stain_check_cm2: Annotated[float, Limits(0, 5)] = 0.5
    """Staining from here on asks for a look where it is not normal for the species."""

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
    growth: GrowthSettings = field(default_factory=GrowthSettings)
    verdict: VerdictSettings = field(default_factory=VerdictSettings)
    plan: PlanSettings = field(default_factory=PlanSettings)

    def digest(self) -> str:
        """Return 12 hex digits that change when any value does, the same on every machine."""
        text = json.dumps(asdict(self), sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()[:12]
