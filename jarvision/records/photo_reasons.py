"""Why a photo gives no reading: the one table that code, CSV files, report and docs all read."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class PhotoReason:
    """Why a photo gives no reading, and what to do about it."""

    word: str
    meaning: str
    remedy: str


PHOTO_REASONS: dict[str, PhotoReason] = {
    r.word: r
    for r in (
        PhotoReason(
            "unreadable",
            "the file is not a photo that can be opened",
            "Copy it from the phone again, or save it as JPEG.",
        ),
        PhotoReason(
            "no_card",
            "the reference card was not found",
            "Stand the whole card behind the jar, all four corner marks in view.",
        ),
        PhotoReason(
            "two_cards",
            "more than one reference card is in the photo",
            "Leave one card in view and put the others away.",
        ),
        PhotoReason(
            "card_hidden",
            "something hides part of the reference card or its colours are damaged",
            "Keep fingers, cables and the jar off the card's sides; replace a stained card.",
        ),
        PhotoReason(
            "oblique",
            "the photo was taken from the side, from above or from below",
            "Hold the phone upright, level with the middle of the jar, straight before the card.",
        ),
        PhotoReason(
            "blurred",
            "the photo, or the jar in it, is not sharp",
            "Wipe the lens, rest the elbows on the table, tap the jar to focus and try again.",
        ),
        PhotoReason(
            "compressed",
            "the file was made so small that its colours are lost",
            "Use the file as the phone saved it; send it as a file, not as a preview.",
        ),
        PhotoReason(
            "overexposed",
            "the white of the card is burnt out",
            "Turn off the flash, move the lamp away or tap the white of the card before shooting.",
        ),
        PhotoReason(
            "underexposed",
            "the photo is too dark",
            "Bring a lamp nearer or go to the window, without sun on the jar.",
        ),
        PhotoReason(
            "uneven_light",
            "one side of the card is much brighter than the other",
            "Move the lamp behind the phone or farther away, keep shadows off the card.",
        ),
        PhotoReason(
            "mixed_light",
            "two lights of different colour fall on the card",
            "Use one kind of light: turn the lamp off by day, draw the curtain by night.",
        ),
        PhotoReason(
            "other_light",
            "everything in the jar has the colour of a lamp that does not light the card",
            "Turn grow lights and coloured lamps off, or let the same light fall on jar and card.",
        ),
        PhotoReason(
            "glare",
            "a lamp or flash is mirrored in the jar",
            "Turn off the flash, move the lamp to the side until its mirror image leaves the jar.",
        ),
        PhotoReason(
            "no_jar",
            "no jar was found in front of the card",
            "Centre the jar in front of the card, 6 to 8 cm before it.",
        ),
        PhotoReason(
            "jar_cut",
            "the photo ends above the jar's foot",
            "Hold the phone so that the table in front of the jar shows; do not crop photos.",
        ),
        PhotoReason(
            "no_contents",
            "nothing stands at the foot of the jar: it is empty, upside down or filled too low",
            "Stand a filled jar on its foot; contents must reach above the white under the field.",
        ),
        PhotoReason(
            "two_jars",
            "more than one jar stands before the card",
            "Leave one jar before the card, its lid and foot free on both sides.",
        ),
        PhotoReason(
            "too_small",
            "the jar is too small in the photo",
            "Step closer until the card fills the height of the photo.",
        ),
        PhotoReason(
            "poor_colour",
            "the card's colours could not be matched",
            "Use one kind of lamp, keep shadows off the card, print a fresh card if it has faded.",
        ),
        PhotoReason(
            "faded_card",
            "the black of the card is pale: the card has faded, or haze lies over the photo",
            "Print a fresh card, keep it out of the sun; wipe the lens, keep lamps out of view.",
        ),
        PhotoReason(
            "print_size",
            "the card was printed at another size than it is taken for",
            "Print it at 100 %, or measure its 100 mm bar for `jarvision calibrate --bar-mm`.",
        ),
        PhotoReason(
            "not_enough_seen",
            "too little of the jar's wall can be judged",
            "Wipe the glass, turn the label away, move the lamp so that it does not mirror.",
        ),
        PhotoReason(
            "repeated",
            "the same picture of this jar is there already, under another name or date",
            "Delete one of the two files; the first date counts, the one in EXIF before others.",
        ),
        PhotoReason(
            "unnamed_jar",
            "neither its name, its folder nor a jar tag says which jar it shows",
            "Rename it, such as K07_2026-03-01.jpg; or put it into a folder named like its jar.",
        ),
        PhotoReason(
            "jar_mismatch",
            "the jar tag and the file or folder name disagree",
            "Rename the file or fix the tag; until then the photo counts for neither jar.",
        ),
        PhotoReason(
            "no_ring",
            "the ring was not found in a photo from above",
            "Lay the printed ring around the jar's mouth, all four corner marks in view.",
        ),
        PhotoReason(
            "not_from_above",
            "the photo was not taken from straight above the jar",
            "Hold the phone level over the jar's mouth, 30 to 40 cm above the ring.",
        ),
        PhotoReason(
            "no_mouth",
            "no jar's mouth was found in the ring",
            "Cut out the circle that just passes over the mouth; the rim must stand out of it.",
        ),
        PhotoReason(
            "mouth_hidden",
            "something lies over the ring's middle, around the mouth",
            "Lift the hood, keep hands and cloth away; tall fruit may hide a part of the ring.",
        ),
        PhotoReason(
            "through_hood",
            "the photo was taken through the hood",
            "Lift the hood for the photo, wait until no drops fall, and put it back afterwards.",
        ),
        PhotoReason(
            "surface_hidden",
            "too little of the surface in the jar can be judged",
            "Hold the phone over the middle of the mouth, so that light falls in beside it.",
        ),
    )
}
