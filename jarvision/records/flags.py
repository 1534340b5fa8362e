"""What may be found about a jar: every finding's words, every flag's meaning and remedy.

Code, CSV files, terminal, report and docs all read these tables; no word of them ever changes its
meaning, and nothing that they say is said anywhere else.
"""

from __future__ import annotations

from jarvision.records.flag_kinds import FlagKind, Wording
from jarvision.records.fruiting_words import FRUITING_FINDINGS, FRUITING_FLAGS
from jarvision.records.note_words import NOTES

FLAGS: dict[str, FlagKind] = {
    f.word: f
    for f in (
        FlagKind(
            "off_colour",
            "act",
            "growth of a colour that is not normal for this species",
            "Keep the jar closed, carry it out of the room and look at it there.",
        ),
        FlagKind(
            "wet",
            "look",
            "contents look wet or slimy at the glass",
            "Keep it closed and look for slime: bacteria spread in water.",
        ),
        FlagKind(
            "pins",
            "look",
            "what looks like young fruit bodies in the jar",
            "Look closely: a jar that pins is past its time as spawn. Use it now or let it fruit.",
        ),
        FlagKind(
            "dead_patch",
            "act",
            "a bare area has stood still while the rest closed",
            "Throw the jar out closed: an area that will not colonise is not clean.",
        ),
        FlagKind(
            "stall",
            "look",
            "coverage has stopped rising before the jar is full",
            "Check its temperature and look again in two days; if it stays, throw it out closed.",
        ),
        FlagKind(
            "fast_front",
            "look",
            "the white front runs faster than this species can",
            "Young green mould is white: look again tomorrow, keep the jar apart until then.",
        ),
        FlagKind(
            "stain",
            "note",
            "staining that is normal for this species",
            "Nothing to do.",
        ),
        FlagKind(
            "unproven_stain",
            "note",
            "what looks like stain counts as bare: nothing shows that growth stands there",
            "Photograph each jar from its first day on: what was white before is believed.",
        ),
        FlagKind(
            "unnamed_stain",
            "note",
            "old, full growth is stained, and the jar's species is not known",
            "Many species stain with age. Tell the species in the register, and it is known.",
        ),
        FlagKind(
            "spot_gone",
            "note",
            "a small spot of odd colour on one photo was not there on the next ones",
            "Turn the jar once round before you use it: a photo shows one side.",
        ),
        FlagKind(
            "found_fine",
            "note",
            "somebody has looked at it and found it fine",
            "It is asked for again once it has grown.",
        ),
        FlagKind(
            "wide_interval",
            "note",
            "the coverage is known too roughly to act on it alone",
            "Trust your eyes before the number. What narrows it: a photo of each jar, or of one "
            "jar of the same contents, on the day of filling; dry glass; all four sides.",
        ),
        FlagKind(
            "overdue",
            "look",
            "the jar has been ready for longer than it keeps",
            "Use it now, or it will pin inside.",
        ),
        FlagKind(
            "bad_kin",
            "look",
            "a jar of the same spawn, one that it was fed from, or one fed from it turned bad",
            "Spawn carries its faults along: look it over on all sides before it is used.",
        ),
        FlagKind(
            "kin_fine",
            "note",
            "a jar of its kin turned bad, and somebody has looked this one over since",
            "Another bad jar among them asks for a look anew.",
        ),
        FlagKind(
            "kin_clean",
            "note",
            "a jar of its kin turned bad, and this one has stayed clean for longer since than "
            "mould of the same spawn takes to show",
            "Look it over once more when you use it: a photo shows one side.",
        ),
        FlagKind(
            "never_seen_growing",
            "look",
            "the jar was white on its first photo, and was never seen to grow",
            "Rice, flour and perlite are white, too: look closely whether it is mycelium. "
            "Photograph the next jars from the day they are filled.",
        ),
        FlagKind(
            "changed_mind",
            "look",
            "the verdict was the opposite a few days ago",
            "Look at the photos of both days before you act: one of them was misread, or the jar "
            "was turned.",
        ),
        FlagKind(
            "wrong_date",
            "look",
            "a photo is dated before the jar was started, after today or before 1990",
            "Set the phone's clock; put the right date into the file name and take it out of EXIF.",
        ),
        FlagKind(
            "low_fill",
            "note",
            "the contents do not reach above the jar's groove",
            "Pins may form sideways below the groove: fill higher next time.",
        ),
        FlagKind(
            "jar_shape",
            "look",
            "the photo contradicts what the register says of the jar's glass",
            "Check the file name, the jar's profile and that it stands 6 to 8 cm before the card.",
        ),
        FlagKind(
            "shared_parent",
            "note",
            "one spawn jar feeds several jars",
            "One spawn jar for one jar keeps a bad jar from spreading.",
        ),
        FlagKind(
            "old_photo",
            "look",
            "the last usable photo is old",
            "Take a new photo before deciding.",
        ),
        FlagKind(
            "file_date",
            "note",
            "the day was taken from the file's date, which copying can change",
            "Put the date into the file name: JAR_2026-01-31.jpg.",
        ),
        FlagKind(
            "photo_refused",
            "note",
            "a photo of this jar could not be used",
            "See the reason beside the photo and take it again.",
        ),
        FlagKind(
            "turned",
            "note",
            "the jar was turned too far to follow its patches from the day before",
            "Face the same side to the phone each day, or take all four sides.",
        ),
        FlagKind(
            "opened",
            "look",
            "the jar was opened a few days ago, by your diary",
            "Look at it every day: what came in with the air is white before it has a colour.",
        ),
        FlagKind(
            "temperature",
            "note",
            "the jar stands warmer or cooler than its species runs, by your diary",
            "Forecasts know nothing of the warmth but what shows in the growth: expect other days.",
        ),
        FlagKind(
            "unregistered",
            "note",
            "the jar is not in the register",
            "Add a line to jars.csv so that its species and age are known.",
        ),
        *FRUITING_FLAGS,
    )
}


_SURE_COVERAGE = "Coverage {percent:.0f} % (95 % interval {low:.0f} to {high:.0f} %)"
_COVERAGE = (
    "Coverage [{percent:.0f} % (95 % interval {low:.0f} to {high:.0f} %)]"
    "[{least:.0f} to {most:.0f} % (95 % interval; too wide for one number)]"
)
_GROWING = (
    _COVERAGE + ", ready from {ready_percent:.0f} %."
    "[ Ready about {ready} (80 % interval {ready_low|?} to {ready_high|not known}).]"
)
_READY = _SURE_COVERAGE + ", ready since {since}, rested {rested_days:.0f} days, nothing wrong seen"
_RESTED_SHORT = "covered since {shown_since}, rested"
_STALL = (
    "Coverage has stood still for {days:.0f} days at {percent:.0f} %: {percent_per_day:+z.1f} "
    "points a day, where {expected_percent_per_day:.1f} are expected of its own past"
)
_STALL_SHORT = "stands still at {percent:.0f} % for {days:day/days}"

FINDINGS: dict[str, Wording] = {
    "told": Wording("{text}"),
    # the photos
    "dated_ahead": Wording(
        "A photo is dated {photo_day}, after today ({today}): its date is wrong.",
        "A photo is dated {photo_day}, after today ({today}): its date is wrong",
        "wrong_date",
    ),
    "dated_before_start": Wording(
        "A photo is dated {photo_day}, before the jar was started ({started}): not counted.",
        "A photo is dated {photo_day}, before the jar was started ({started})",
        "wrong_date",
    ),
    "date_ignored": Wording(
        "{photo}: {exif_day}, the day in its EXIF, cannot be; {photo_day} counts, from the file's "
        "{source}.",
        "{photo} is dated {exif_day}, which cannot be",
        "wrong_date",
    ),
    "no_photo": Wording("No photo of this jar could be used.", "no photo could be used"),
    "little_seen": Wording(
        "Only {seen_percent:.0f} % of the wall in view could be judged, {needed_percent:.0f} % are "
        "needed.",
        "Only {seen_percent:.0f} % of the wall in view could be judged, {needed_percent:.0f} % are "
        "needed",
    ),
    "colours_off": Wording(
        "The card's colours are off by {error_de00:.1f} CIEDE2000 (up to {most_de00:.0f} is "
        "allowed): mould and stain cannot be told.",
        "The card's colours are off by {error_de00:.1f} CIEDE2000 (up to {most_de00:.0f} is "
        "allowed)",
    ),
    "old_photo": Wording(
        "The last usable photo is {age_days:.0f} days old ({last}); more than {most_days:.0f} days "
        "say too little about today.",
        "last usable photo on {last:weekday}",
        "old_photo",
    ),
    # what is on the wall
    "mould": Wording(
        "{kind:capital} growth {patch} of {area_cm2:.1f cm2} on {seen_on} ({place}), on "
        "{photos:photo/photos}; a jar is out from {out_cm2:.1f cm2}.",
        "{kind} growth, {area_cm2:.1f cm2}[ on {earlier}]",
        "off_colour",
    ),
    "perhaps_mould": Wording(
        "Perhaps {kind} growth: {area_cm2:.2f cm2} on {seen_on} ({place}), on "
        "{seen_days:.0f} of {photo_days:.0f} days.",
        "perhaps {kind} growth, {area_cm2:.1f cm2}[ on {earlier}]",
        "off_colour",
    ),
    "odd_stain": Wording(
        "Staining of {area_cm2:.1f cm2} is not known as normal for {species|an unknown species}.",
        "perhaps odd staining, {area_cm2:.1f cm2}",
        "off_colour",
    ),
    "wet": Wording(
        "{area_cm2:.1f cm2} look wet; a jar is looked at from {look_cm2:.1f cm2} and out from "
        "{out_cm2:.1f cm2}.",
        "wet at the glass, {area_cm2:.1f cm2}",
        "wet",
    ),
    "wet_in_growth": Wording(
        "{area_cm2:.1f cm2} look wet, but the white still gains {gained_a_day:.1f} points a day "
        "and the wet area does not grow. From {out_cm2:.1f cm2} a jar is out once its growth stops "
        "or the wet area grows, or stays for {days:.0f} days. Look through the glass for fluid "
        "pooled at the foot; keep the jar closed.",
        "wet while the white still grows, {area_cm2:.1f cm2}",
        "wet",
    ),
    "dead_patch": Wording(
        "Bare area {patch} of {area_cm2:.1f cm2} ({place}) has not closed for {days:.0f} days "
        "while the rest is {rest_percent:.0f} % covered.",
        "bare area stays open, {area_cm2:.1f cm2}",
        "dead_patch",
    ),
    "fast_front": Wording(
        "White ran over {area_cm2:.1f cm2} at {mm_per_day:.0f} mm a day or more up to {seen_on} "
        "(about {place}); its species' front runs at up to {species_mm_per_day:.0f} mm a day. "
        "Young green mould is white.",
        "white front runs too fast: may be young mould",
        "fast_front",
    ),
    "pins": Wording(
        "Caps like those of pins were seen on two days, {area_cm2:.1f cm2} in all.",
        "what looks like pins",
        "pins",
    ),
    "bare_left": Wording(
        "Ready and rested, but an area of {area_cm2:.1f cm2} is still bare.",
        "Ready and rested, but an area of {area_cm2:.1f cm2} is still bare",
    ),
    "still_closing": Wording(
        "Ready and rested, but a bare area of {area_cm2:.1f cm2} is still closing.",
        "ready and rested, {area_cm2:.1f cm2} still closing",
    ),
    "bare_anew": Wording(
        "Ready and rested, but {area_cm2:.1f cm2} are bare on the last photo where the wall was "
        "white before: misread, or another side. The next photo tells.",
        "ready and rested, {area_cm2:.1f cm2} newly bare",
    ),
    "never_seen_growing": Wording(
        "{percent:.0f} % white already on the first photo, of {first}, and never seen to grow by "
        "{rise_points:.0f} points: white contents look like growth.",
        "white from the first photo on, never seen to grow",
        "never_seen_growing",
    ),
    "vanished": Wording(
        "The bare area {patch} of {area_cm2:.1f cm2} was last seen on {last_seen} and was gone "
        "{days:day/days} later, sooner than it can close: was the jar turned? Show the same side "
        "again.",
        "bare area of {area_cm2:.1f cm2} gone after {last_seen}: jar turned?",
        "turned",
    ),
    # growth
    "stall": Wording(_STALL + ".", _STALL_SHORT, "stall"),
    "stall_in_batch": Wording(_STALL + " and its siblings.", _STALL_SHORT, "stall"),
    "never_started": Wording(
        "Coverage is {percent:.1f} % after {age_days:.0f} days: growth shows by day "
        "{leap_off_days:.0f} in a live jar.",
        _STALL_SHORT,
        "stall",
    ),
    "late": Wording(
        "{age_days:.0f} days old and {percent:.0f} % covered: its species takes up to "
        "{most_days:.0f} days.",
        "{age_days:.0f} days old and {percent:.0f} % covered",
    ),
    "growing": Wording(_GROWING, "growing, ready about {ready:weekday}"),
    "growing_undated": Wording(_GROWING, "growing; too early for a date"),
    "nearly_ready": Wording(_GROWING, "{percent:.0f} % covered, ready from {ready_percent:.0f} %"),
    "resting": Wording(
        _COVERAGE + ", ready since {since}: {rested_days:.0f} of {rest_days:.0f} days of rest.",
        "covered since {shown_since}, resting",
    ),
    "not_sure": Wording(
        _COVERAGE + ", ready from {ready_percent:.0f} %: the lower bound must reach "
        "{needed_percent:.0f} % on {sure_days:.0f} days; so far {so_far:.0f}.",
        "covered since {shown_since}, not yet sure",
    ),
    "overdue": Wording(
        "Ready since {since}, {ready_days:.0f} days ago, and keeps {keeps_days:.0f} days: look for "
        "pins, then use it.",
        "ready since {since}, does not keep longer",
        "overdue",
    ),
    "reading_fell": Wording(
        _COVERAGE
        + ", though ready (from {ready_percent:.0f} %) since {since}: one photo is misread "
        "or the contents have moved. Take another.",
        "ready since {since}, last photo only {percent:.0f} %",
    ),
    "shaken_since": Wording(
        "It was shaken on {shaken_on}, after its last photo, of {last}: what that showed is mixed "
        "by now. Take another.",
        "shaken on {shaken_on}, no photo since",
    ),
    "newer_refused": Wording(
        "Ready by the photo of {last}, but that of {refused_on} could not be used.",
        "ready, but the photo of {refused_on} could not be used",
    ),
    "spawn_ready": Wording(_READY + ": use as spawn.", _RESTED_SHORT),
    "fruiting_ready": Wording(_READY + ": fruiting conditions.", _RESTED_SHORT),
    "bad_kin": Wording(
        "Of its kin, {jars} turned bad.[ " + _READY + ".]",
        "of its kin, {jars} turned bad",
        "bad_kin",
    ),
    **FRUITING_FINDINGS,
    **NOTES,
}
"""The words of a finding; ``told`` is what another program found, in its own sentence."""

CAUTIONS: tuple[str, ...] = (
    "A photo shows one side of the glass: it cannot prove that a jar is clean. 'Go' means that "
    "nothing wrong was seen.",
    "Eat nothing from a jar with mould, slime, odd colour or odd smell: some moulds make toxins "
    "that heat does not remove. No picture shows that a mushroom is edible.",
    "Keep suspect jars closed. Do not open or sniff them indoors: mould and mushroom spores harm "
    "lungs, more so with asthma, allergy or weak immunity.",
    "Local food rules and licensed advice come first. This is no inspection and no certificate.",
)
