"""The words of notes: findings that are good to know, and touch no verdict."""

from __future__ import annotations

from typing import Final

from jarvision.records.flag_kinds import Wording

NOTES: Final[dict[str, Wording]] = {
    "changed_mind": Wording(
        "On {seen_on} this jar was {was}: {was_why}. Now it is {now}: {now_why}.",
        flag="changed_mind",
    ),
    "unregistered": Wording("Jar {jar} is not in the register.", flag="unregistered"),
    "shared_parent": Wording("Spawn jar {parent} feeds {jars}.", flag="shared_parent"),
    "photo_refused": Wording("{photo}: {reason}.[ {detail}]", flag="photo_refused"),
    "file_date": Wording("{photo}: day {photo_day} is the file's date.", flag="file_date"),
    "stain": Wording(
        "{kind:capital} colour of {area_cm2:.1f cm2}: normal for {species}.", flag="stain"
    ),
    "unproven_stain": Wording(
        "{area_cm2:.1f cm2} look like stain, but growth neither stands around them nor was seen "
        "there before: they count as bare.",
        flag="unproven_stain",
    ),
    "unnamed_stain": Wording(
        "{area_cm2:.1f cm2} are stained on a wall that has been full since {full_since}: normal "
        "for many species, but which one this is, is not known.",
        flag="unnamed_stain",
    ),
    "spot_gone": Wording(
        "What looked like {kind} growth, {area_cm2:.1f cm2} on one photo of {seen_on} "
        "({place}), was not there on {absent_days:.0f} days with a photo since.",
        flag="spot_gone",
    ),
    "found_fine": Wording(
        "Looked at on {looked_on} and found fine: {what}.[ Noted: {note}.]", flag="found_fine"
    ),
    "kin_found_fine": Wording(
        "Though {jars} turned bad, of its kin, it was looked over on {looked_on} and found fine."
        "[ Noted: {note}.]",
        flag="kin_fine",
    ),
    "kin_stayed_clean": Wording(
        "Of its kin, {jars} turned bad on {since}; this jar was still clean {days:day/days} later, "
        "longer than mould of the same spawn takes to show.",
        flag="kin_clean",
    ),
    "kin_turned_late": Wording(
        "Of its kin, {jars} turned bad on {since}, later than what comes with spawn shows; this "
        "jar was still clean {days:day/days} later, longer than young mould is white.",
        flag="kin_clean",
    ),
    "wide_interval": Wording(
        "Anything between {low:.0f} and {high:.0f} % may be covered"
        "[: {hidden_percent:.0f} % of the wall is hidden][: {lacking}].",
        flag="wide_interval",
    ),
    "opened": Wording(
        "It was opened on {opened_on}: spores may have come in, and mould may show up to {until} "
        "or later.",
        flag="opened",
    ),
    "temperature": Wording(
        "On {told_on} it stood at {celsius:.1f} C; {species} runs at "
        "{least_c:.0f} to {most_c:.0f} C.",
        flag="temperature",
    ),
    "fruiting_temperature": Wording(
        "On {told_on} it stood at {celsius:.1f} C; {species} fruits at "
        "{least_c:.0f} to {most_c:.0f} C.",
        flag="temperature",
    ),
    "low_fill": Wording(
        "Filled to {fill_mm:.0f} mm[ (give or take {margin_mm:.0f} mm)]; the groove is at "
        "{groove_mm:.0f} mm.",
        flag="low_fill",
    ),
    "jar_shape": Wording("{photo}: {conflict}.", flag="jar_shape"),
    "turned": Wording(
        "On {seen_on} the jar shows another side than before, or its contents were shaken.",
        flag="turned",
    ),
    "patches_elsewhere": Wording(
        "None of the {patches:.0f} patches of {seen_on} lies where one of the {patches_before:.0f} "
        "of {before_on} lay.",
        flag="turned",
    ),
}
