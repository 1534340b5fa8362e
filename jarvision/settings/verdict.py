"""Thresholds of the verdicts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from jarvision.settings.limits import Limits


@dataclass(frozen=True)
class VerdictSettings:
    """Where the rules draw their lines. They lean to caution: see ``jarvision.verdict.decide``.

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

    spot_twin_days: Annotated[int, Limits(2, 14)] = 2
    """A spot smaller than that which one photo showed, and another of the same day and side did
    not, is no doubt any more after so many later days on which its place was seen without it. On
    326 simulated moulds, half of them turned out of sight within a week of their first colour, it
    let none pass; without the other photo, four days let pass 4 that were turned the day after."""

    stands_areas: Annotated[int, Limits(3, 20)] = 3
    """A jar stood as on an earlier day where so many of its bare, stained or wet areas lie to each
    other as they did, however little of its contents shows ..."""

    stands_mm: Annotated[float, Limits(0.5, 3)] = 2.0
    """... to this: what finding a turn leaves, too (a degree and a cell) ..."""

    stands_days: Annotated[int, Limits(2, 14)] = 2
    """... and a small spot is no doubt any more once its place was seen without it on so many such
    days."""

    sure_confidence: Annotated[float, Limits(0, 0.9)] = 0.7
    """A patch below this confidence is not sure: it asks for a look, it ends nothing. 45 of 47
    areas of mould on 342 rendered photos lay above it, a lamp mirrored on a stain below."""

    stain_note_cm2: Annotated[float, Limits(0)] = 0.3
    """Normal staining from here on is worth a line."""

    unproven_note_cm2: float = 4.0
    """What looks like stain and counts as bare is worth a line from here on: a twentieth of the
    wall in view, which the coverage shows."""

    seen_growing_points: Annotated[float, Limits(1, 50)] = 2.0
    """A jar must have been seen to grow by this much, beyond the intervals of both photos: one that
    is white from its first photo on may hold rice, flour or perlite, which are white by themselves
    (92 walls painted so, with nothing grown, all read as full)."""

    stain_check_cm2: Annotated[float, Limits(0, 5)] = 0.5
    """Staining from here on asks for a look where it is not normal for the species."""

    stain_full_percent: Annotated[float, Limits(70, 100)] = 90.0
    """Where the species is not known, staining is told as a note once the wall has been covered so
    far: old, full growth of many species turns amber to brown (common practice, no source) ..."""

    stain_old_days: Annotated[int, Limits(1, 30)] = 3
    """... for so many days: a colour that comes sooner is not one of age."""

    fast_front_days: int = 4
    """A fast front asks for a look for this long: green mould stays white for 2 to 4 days (common
    practice, no source). When it has not coloured by then, or has slowed with room left, it is
    forgotten."""

    wet_check_cm2: Annotated[float, Limits(0, 5)] = 0.5
    """A wet area from here on asks for a look."""

    wet_no_go_cm2: Annotated[float, Limits(0, 50)] = 6.0
    """A wet area from here on (about a twentieth of the wall in view) ends the jar
    ..."""

    wet_pace_share: Annotated[float, Limits(0.1, 2)] = 0.5
    """... but not yet while the wall gains at least this share of what its species' longest run
    needs a day, as growth closes over contents that are only wet: what gains less is near to a
    stall ..."""

    wet_pace_days: Annotated[int, Limits(1, 7)] = 2
    """... over at least so many days, since a reading is off by a point or two ..."""

    wet_stays_days: Annotated[int, Limits(1, 14)] = 4
    """... for so many days since it was seen first, as long as a bare area may stand still; after
    that only while it shrinks ..."""

    wet_changed_share: Annotated[float, Limits(0.05, 1)] = 0.2
    """... by this share of its largest size, and has nowhere grown by it: areas are read to about
    7 %, so that a fifth is seldom chance."""

    dead_patch_cm2: Annotated[float, Limits(0, 20)] = 1.0
    """A bare area from here on that does not close ends a late jar: the size the vision stages
    are held to find."""

    bare_check_cm2: Annotated[float, Limits(0, 5)] = 0.5
    """A bare area from here on keeps a ready jar from go: half of what ends it, since an area of
    1 cm2 is measured to about a tenth and its edge is ragged."""

    closed_left_share: Annotated[float, Limits(0, 1)] = 0.67
    """A bare area smaller than one that ends a jar keeps it from go no more once no more than this
    share is left of what was bare when the jar became ready: what is dead does not close by a
    third, and areas are read to about 7 %."""

    dead_patch_days: int = 3
    """How long a bare area must have stood still: islands close within 3 to 4 days (common
    practice, no source)."""

    dead_patch_out_days: Annotated[int, Limits(3)] = 4
    """... and for how long, to end the jar: before, it is looked at. Islands near the edge of the
    view close slowly, and are cut off by it."""

    dead_patch_left_share: Annotated[float, Limits(0, 1)] = 0.8
    """... and of its area at the start of that time, this share must be left: areas are read to
    about 7 %, so that a fifth less is seldom chance."""

    dead_patch_sightings: Annotated[int, Limits(2)] = 3
    """... and on how many days it must have been seen: photos that were missed prove nothing."""

    dead_patch_whole: Annotated[int, Limits(0)] = 2
    """... and on how many of them whole in view, to end the jar, or to be told of a species that
    stays thin: of an area that the edge of the view cuts each small turn of the jar shows more or
    less, which hides that it closes. On 229 good simulated jars it took away 5 of 11 alarms ..."""

    dead_patch_cut_days: Annotated[int, Limits(3)] = 6
    """... or for how long one must have stood still that was not: twice as long. Of 83 simulated
    islands in view or at its edge, half of them turned away later, 61 were told so, without this 56
    (and 63 without either)."""

    dead_patch_cut_cm2: Annotated[float, Limits(0, 100)] = 10.0
    """... or how large it is: a turn that moves the wall by 5 mm hides 18 % of a round area of this
    size at most, not the fifth that tells one that closes. A jar of the sample shelf asked for it;
    on 229 good simulated jars it changes nothing."""

    dead_patch_seen_share: Annotated[float, Limits(0, 1)] = 0.6
    """... and on what share of the days with a photo: an area that comes and goes is misread."""

    forgotten_days: Annotated[int, Limits(2)] = 2
    """A bare area that was gone sooner than it can close is forgotten after so many days with a
    full wall: its place was white on each of them, unless the jar was turned."""

    dead_forgotten_days: Annotated[int, Limits(3)] = 30
    """... and one that was seen to stand still while the rest was full after so many: the jar is
    overdue by then. With 6, one of 106 simulated bad jars was go: turned away the day after. One
    that would have ended the jar is never forgotten: it does not heal, and a jar turned away shows
    a full wall, too."""

    island_share: Annotated[float, Limits(0, 1)] = 0.25
    """A bare area over more than this share of the wall in view is no island: growth has not come
    there yet. A stall is told by other means."""

    dead_patch_rest_percent: float = 90.0
    """The jar is late for a bare area when the rest of the wall is covered this far."""

    island_round_share: Annotated[float, Limits(0, 1)] = 0.35
    """A bare area of a thin species that fills this share of the smallest circle about it is an
    island, not a gap of its lace: a square fills 0.64, an oval of 2 to 1 0.5."""

    island_core_cm2: Annotated[float, Limits(0, 5)] = 0.7
    """... and whose area times that share comes to this. Of 55 simulated islands of thin species,
    each seen on many days, only those cut by the edge of the view or grown together with gaps came
    to less; of 265 sightings of compact gaps of 1 cm2 or more, two thirds did."""

    island_edge_deg: Annotated[float, Limits(0, 20)] = 4.0
    """So near to the edge of the view an area may be cut by it, and need not come to that, but
    where a day showed it whole."""

    thin_below_percent: float = 90.0
    """Species that are ready below this coverage stay thin and patchy: their bare areas are
    looked at, not condemned, and only compact ones keep them from go."""

    long_stall_days: int = 7
    """A stall of this length ends the jar: a week at rest is a week for what holds it back."""

    near_ready_points: Annotated[float, Limits(0, 100)] = 5.0
    """A jar stalled this close to ready is looked at, never thrown out on the number alone."""

    late_factor: Annotated[float, Limits(1)] = 1.5
    """Not ready after this many times the species' longest spawn run asks for a look."""

    change_told_days: Annotated[int, Limits(1, 14)] = 3
    """A go that was a no-go so many days ago, or the other way round, says what has changed."""

    sure_days: Annotated[int, Limits(2)] = 2
    """Days whose lower bound must reach ready before a go: one reading is never enough."""

    opened_watch_days: Annotated[int, Limits(0, 60)] = 7
    """A jar that was opened is one to look at for so long: spores need a day or two to sprout, and
    green mould then stays white for 2 to 4 days (common practice, no source)."""

    kin_clear_days: Annotated[int, Limits(2, 60)] = 7
    """A jar of whose kin one turned bad is no more in doubt for it when it was clean for so long at
    an age at which that one was not: mould that is in the jar is white for 2 to 4 days, and takes a
    few more to reach the glass (common practice, no source)."""

    spawn_shows_days: Annotated[int, Limits(5, 60)] = 14
    """What came with the spawn shows within so many days, for spawn is all through the jar from its
    first day on (common practice: within ten; no source). A fault that shows later is that jar's
    own ..."""

    kin_late_clear_days: Annotated[int, Limits(2, 60)] = 4
    """... and takes its kin out of doubt after so many clean days: young mould is white for 2 to 4
    days."""

    spawn_fault_share: Annotated[float, Limits(0, 1)] = 0.25
    """Where two or more jars of one spawn turned bad, and this share of them all, the fault is the
    spawn's: no time settles it for the others. A shelf that loses 5 % of its jars loses two of six
    of one spawn by chance in 3 cases of 100."""

    sure_margin_points: Annotated[float, Limits(0, 5)] = 3.0
    """The lower bound reaches ready from so far below on: the jar has grown on through its rest
    meanwhile. With 2 points jars whose contents are strange, and whose intervals are wide for it,
    waited for days when they were full; none of 170 simulated good jars was called go a point below
    its species' level by either."""

    look_holds_days: Annotated[int, Limits(1, 30)] = 7
    """What time makes worse (a stall, an overdue jar), and what could be another one of its kind (a
    wet area), is asked for again so many days after somebody has found it fine."""

    settled_growth_share: Annotated[float, Limits(0, 1)] = 0.3
    """What somebody has found fine is a doubt again once it has grown by this share: areas are read
    to about 7 %, so that chance alone seldom does it."""

    wide_interval_points: Annotated[float, Limits(1, 100)] = 25.0
    """A 95 % interval of the coverage from this width on is told: a quarter of the wall is the
    difference between a jar half grown and one nearly done."""

    wide_hidden_percent: Annotated[float, Limits(0, 100)] = 25.0
    """From this hidden share of the wall on, that is told as the reason."""

    groove_height_mm: float | None = None
    """Height of the jar's groove or shoulder above the floor, mm; None: not known, not judged."""
