"""The one table of photo reasons and jar flags: code, CSV files, report and docs all read it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["note", "look", "act"]


@dataclass(frozen=True)
class Reason:
    """Why a photo gives no reading, and what to do about it."""

    word: str
    meaning: str
    remedy: str


@dataclass(frozen=True)
class FlagKind:
    """A thing about a jar that a person should know.

    ``severity``: ``note`` (good to know), ``look`` (a person must look), ``act`` (do it today).
    """

    word: str
    severity: Severity
    meaning: str
    remedy: str


PHOTO_REASONS: dict[str, Reason] = {
    r.word: r
    for r in (
        Reason(
            "unreadable",
            "the file is not a photo that can be opened",
            "Copy it from the phone again, or save it as JPEG.",
        ),
        Reason(
            "no_card",
            "the reference card was not found",
            "Stand the whole card behind the jar, all four corner marks in view.",
        ),
        Reason(
            "card_hidden",
            "something hides part of the reference card or its colours are damaged",
            "Keep fingers, cables and the jar off the card's sides; replace a stained card.",
        ),
        Reason(
            "oblique",
            "the photo was taken from the side, from above or from below",
            "Hold the phone upright, level with the middle of the jar, straight before the card.",
        ),
        Reason(
            "blurred",
            "the photo is not sharp",
            "Wipe the lens, rest the elbows on the table, tap the jar to focus and try again.",
        ),
        Reason(
            "overexposed",
            "the white of the card is burnt out",
            "Turn off the flash, move the lamp away or tap the white of the card before shooting.",
        ),
        Reason(
            "underexposed",
            "the photo is too dark",
            "Bring a lamp nearer or go to the window, without sun on the jar.",
        ),
        Reason(
            "uneven_light",
            "one side of the card is much brighter than the other",
            "Move the lamp behind the phone or farther away, keep shadows off the card.",
        ),
        Reason(
            "mixed_light",
            "two lights of different colour fall on the card",
            "Use one kind of light: turn the lamp off by day, draw the curtain by night.",
        ),
        Reason(
            "glare",
            "a lamp or flash is mirrored in the jar",
            "Turn off the flash, move the lamp to the side until its mirror image leaves the jar.",
        ),
        Reason(
            "no_jar",
            "no jar was found in front of the card",
            "Centre the jar in front of the card, 6 to 8 cm before it.",
        ),
        Reason(
            "two_jars",
            "more than one jar stands before the card",
            "Leave one jar before the card, its lid and foot free on both sides.",
        ),
        Reason(
            "too_small",
            "the jar is too small in the photo",
            "Step closer until the card fills the height of the photo.",
        ),
        Reason(
            "poor_colour",
            "the card's colours could not be matched",
            "Use one kind of lamp, keep shadows off the card, print a fresh card if it has faded.",
        ),
        Reason(
            "not_enough_seen",
            "too little of the jar's wall can be judged",
            "Wipe the glass, turn the label away, move the lamp so that it does not mirror.",
        ),
        Reason(
            "jar_mismatch",
            "the jar tag and the file or folder name disagree",
            "Rename the file or fix the tag; until then the photo counts for neither jar.",
        ),
    )
}

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
            "Look for a sour slime; bacteria spread with the water.",
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
            "overdue",
            "look",
            "the jar has been ready for longer than it keeps",
            "Use it now, or it will pin inside.",
        ),
        FlagKind(
            "wrong_date",
            "look",
            "a photo is dated before the jar was started or after today",
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
            "unregistered",
            "note",
            "the jar is not in the register",
            "Add a line to jars.csv so that its species and age are known.",
        ),
    )
}

CAUTIONS: tuple[str, ...] = (
    "A photo shows one side of the glass: it cannot prove that a jar is clean. 'Go' means that "
    "nothing wrong was seen.",
    "Eat nothing from a jar with mould, slime, odd colour or odd smell: some moulds make toxins "
    "that heat does not remove. No picture shows that a mushroom is edible.",
    "Keep suspect jars closed. Do not open or sniff them indoors: mould and mushroom spores harm "
    "lungs, more so with asthma, allergy or weak immunity.",
    "Local food rules and licensed advice come first. This is no inspection and no certificate.",
)
