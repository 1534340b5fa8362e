"""The words of a jar seen from above: its surface, its stage, and what to look at before acting.

Where no source stands with a rule of the trade, it is common practice.
"""

from __future__ import annotations

from typing import Final

from jarvision.records.flag_kinds import FlagKind, Wording

FRUITING_FLAGS: Final[tuple[FlagKind, ...]] = (
    FlagKind(
        "harvest",
        "act",
        "the caps are at their last day before they flatten",
        "Look at the caps' edges first: still rolled in, cut today; flat already, cut at once, "
        "outdoors or with a mask on, since they shed spores. Then weigh: jarvision outcome JAR "
        "harvested --grams.",
    ),
    FlagKind(
        "dry_surface",
        "look",
        "the surface of a fruiting jar is dry",
        "Look from above whether fine droplets stand on it. If none do, mist the inside of the "
        "hood, not the surface, and tell it: jarvision diary JAR sprayed.",
    ),
    FlagKind(
        "standing_water",
        "look",
        "water stands on the surface",
        "Look for a puddle: tip it off, lift the hood for some hours, and spray nothing.",
    ),
    FlagKind(
        "hood_off",
        "look",
        "pins have formed, and the hood comes off",
        "Look closely that these are pins and not tufts or drops. If they are, take the hood off "
        "and tell it: jarvision diary JAR unhooded.",
    ),
)

_COVERED = "{percent:.0f} % of the surface covered (95 % interval {low:.0f} to {high:.0f} %)"
_CUT = "[ Cut about {cut} (80 % interval {cut_low} to {cut_high}).]"
_PINS = "[ about {pins:.0f} of them,][ the largest {pin_mm:.0f} mm]"
_CAP = (
    "The largest cap is {cap_mm:.0f} mm wide (95 % interval {cap_low_mm:.0f} to "
    "{cap_high_mm:.0f} mm)[ and widens by {mm_per_day:.1f} mm a day]"
)

FRUITING_FINDINGS: Final[dict[str, Wording]] = {
    "surface_mould": Wording(
        "{kind:capital} growth of {area_cm2:.1f cm2} on the surface on {seen_on}, on "
        "{photos:photo/photos} from above; a jar is out from {out_cm2:.1f cm2}.",
        "{kind} growth on the surface, {area_cm2:.1f cm2}",
        "off_colour",
    ),
    "perhaps_surface_mould": Wording(
        "Perhaps {kind} growth on the surface: {area_cm2:.2f cm2} on {seen_on}, on "
        "{seen_days:.0f} of {photo_days:.0f} days.",
        "perhaps {kind} growth on the surface, {area_cm2:.1f cm2}",
        "off_colour",
    ),
    "surface_hidden": Wording(
        "Only {seen_percent:.0f} % of the surface could be judged from above, "
        "{needed_percent:.0f} % are needed.",
        "only {seen_percent:.0f} % of the surface could be judged",
    ),
    "old_top": Wording(
        "The last usable photo is {age_days:.0f} days old ({last}); more than {most_days:.0f} days "
        "say too little about today.",
        "last usable photo on {last:weekday}",
        "old_photo",
    ),
    "only_top": Wording(
        "Only its surface was photographed: nothing can be said of what stands at the glass.",
        "only its surface was photographed",
    ),
    "stage_recovering": Wording(
        "Recovering: " + _COVERED + "; fruiting conditions begin once it is closed and has rested "
        "for {rest_days:.0f} days.",
        "recovering, {percent:.0f} % of the surface covered",
    ),
    "stage_ready": Wording(
        "The surface is covered and has rested: ready for fruiting conditions, {least_c:.0f} to "
        "{most_c:.0f} C under a loose hood. Look at the glass on all sides first: the photos from "
        "above do not show it. Then tell it: jarvision diary {jar} fruiting.",
        "ready for fruiting conditions; look at the glass first",
    ),
    "stage_dry": Wording(
        "In fruiting conditions, and dry on {seen_on} (chance {chance_percent:.0f} %): no fine "
        "droplets on the surface.",
        "surface dry on {seen_on}: moisten the hood",
        "dry_surface",
    ),
    "stage_moist": Wording(
        "In fruiting conditions, and moist enough on {seen_on} (chance {chance_percent:.0f} %): "
        "fine droplets stand on the surface. Do not spray.",
        "moist enough on {seen_on}: do not spray",
    ),
    "stage_wet": Wording(
        "In fruiting conditions, and wetter than it needs on {seen_on} (chance "
        "{chance_percent:.0f} %). Do not spray; let in more air.",
        "wetter than it needs on {seen_on}: more air, no spraying",
    ),
    "stage_standing": Wording(
        "Water stands on the surface on {seen_on} (chance {chance_percent:.0f} %): bacteria spread "
        "in it.",
        "water stands on the surface on {seen_on}",
        "standing_water",
    ),
    "stage_pinning": Wording(
        "Pins were seen for the first time on {pins_since}:" + _PINS + ". One photo may be fooled: "
        "take another tomorrow, then the hood comes off." + _CUT,
        "pins seen on {pins_since}: photo again tomorrow",
    ),
    "stage_hood": Wording(
        "Pins since {pins_since}:" + _PINS + ". The hood comes off when pins form." + _CUT,
        "pins since {pins_since}: the hood comes off",
        "hood_off",
    ),
    "stage_unhooded": Wording(
        "Pins since {pins_since}:" + _PINS + ". The hood is off since {unhooded}." + _CUT,
        "pins since {pins_since}, the hood is off",
    ),
    "stage_growing": Wording(
        "Caps grow. " + _CAP + "." + _CUT, "caps of {cap_mm:.0f} mm[; cut about {cut:weekday}]"
    ),
    "stage_soon": Wording(
        "Cut within {within:day/days}. " + _CAP + "." + _CUT,
        "cut about {cut:weekday}, within {within:day/days}",
    ),
    "stage_harvest": Wording(
        "Cut today, before the caps flatten. " + _CAP + "[; the chance that its edge has begun to "
        "flatten is {flat_percent:.0f} %]." + _CUT,
        "cut today: caps of {cap_mm:.0f} mm",
        "harvest",
    ),
    "stage_resting": Wording(
        "Cut on {cut_on}: it rests until flush {flush:.0f}. Pins of the next flush are usual "
        "{next_low} to {next_high}. Take out what is left of stems; keep it moist.[ Its surface "
        "was {moisture} on {seen_on}.]",
        "resting since {cut_on}, next pins from {next_low}",
    ),
}
"""Findings of a jar that is photographed from above."""
