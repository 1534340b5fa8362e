"""What settles each finding that asks for a look: no check is without a way out of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from jarvision.records.history import Finding


@dataclass(frozen=True)
class Settling:
    """How a finding is settled.

    Attributes
    ----------
    how
        What settles it, to stand behind "Settled by".
    by_look
        Whether a person who finds it fine settles it, too. What only says that the photos are not
        good enough is settled by better ones.
    same
        The facts that tell which one of its kind it is.
    size
        The fact that tells how large it is; empty where it does not grow.
    by_time
        Whether it is asked for again some days later: time alone makes it worse, or another one of
        its kind could not be told from it.
    """

    how: str
    by_look: bool = True
    same: tuple[str, ...] = ()
    size: str = ""
    by_time: bool = False


KIN_APART: Final = " / "
"""Parts the names of bad kin: a name with a stroke is that of no folder or photo."""

_RIGHT_DAY = "the right day in the photo's name, or the photo taken away"
_GROWTH = "growth on the next photos"
SETTLED: Final[dict[str, Settling]] = {
    "dated_ahead": Settling(_RIGHT_DAY, same=("photo_day",)),
    "dated_before_start": Settling(
        "the right day in the photo's name or the register", same=("photo_day",)
    ),
    "date_ignored": Settling(_RIGHT_DAY, same=("photo",)),
    "no_photo": Settling("a photo that can be read", by_look=False),
    "little_seen": Settling("a photo of dry glass without a lamp in it", by_look=False),
    "colours_off": Settling("a photo in one even light, with the whole card in it", by_look=False),
    "old_photo": Settling("a new photo", by_look=False),
    "newer_refused": Settling("another photo of today", by_look=False),
    "reading_fell": Settling("another photo", by_look=False),
    "perhaps_mould": Settling(
        "more photos of the same side, best one more today",
        same=("patch", "seen_on"),
        size="seen_days",
    ),
    "odd_stain": Settling(
        "the jar's species in the register, where it stains with age", size="area_cm2"
    ),
    "wet": Settling("a photo on which it is dry", size="area_cm2", by_time=True),
    "wet_in_growth": Settling(
        "a photo on which it is dry or grown over", size="area_cm2", by_time=True
    ),
    "dead_patch": Settling("its closing on the next photos", same=("patch",), size="area_cm2"),
    "fast_front": Settling(
        "a day on which the white runs no faster, or four days without a colour", same=("seen_on",)
    ),
    "pins": Settling("use, or a photo without them", size="area_cm2", by_time=True),
    "bare_left": Settling("its closing on the next photos", size="area_cm2", by_time=True),
    "never_seen_growing": Settling("a look whether the white is mycelium", same=("first",)),
    "vanished": Settling("a photo of the side that showed it", same=("patch", "last_seen")),
    "stall": Settling(_GROWTH, by_time=True),
    "stall_in_batch": Settling(_GROWTH, by_time=True),
    "never_started": Settling(_GROWTH, by_time=True),
    "late": Settling("growth to its species' ready level", by_time=True),
    "overdue": Settling("use", by_time=True),
    "perhaps_surface_mould": Settling(
        "two more days with a photo from above that does not show it",
        same=("kind",),
        size="area_cm2",
    ),
    "surface_hidden": Settling("a photo from above without lamps in it", by_look=False),
    "old_top": Settling("a new photo from above", by_look=False),
    "only_top": Settling("a photo of its wall before the card", by_look=False),
    "stage_ready": Settling("fruiting conditions, told in the diary", by_look=False),
    "stage_dry": Settling("a photo with fine droplets on the surface", by_time=True),
    "stage_standing": Settling("a photo without standing water", by_time=True),
    "stage_hood": Settling("the hood's removal, told in the diary", by_look=False),
    "stage_harvest": Settling("cutting, told as its outcome", by_look=False),
    "bad_kin": Settling("the outcome of the bad jar, where it proves clean", same=("kin",)),
}
"""Every finding that can be a check; what ends a jar is settled by nothing."""


def about(finding: Finding) -> str:
    """Which one of its kind a finding is: ``green-1 2026-03-05``; empty where there is but one."""
    facts = {**finding.names, **finding.dates}
    return " ".join(str(facts[name]) for name in SETTLED[finding.word].same if name in facts)


def size_of(finding: Finding) -> float | None:
    """How large a finding is; None where it does not grow."""
    return finding.numbers.get(SETTLED[finding.word].size)


def what_settles(finding: Finding, jar: str) -> str:
    """Say in one sentence what settles a finding; empty for one that asks for no look."""
    known = SETTLED.get(finding.word)
    if finding.verdict != "check" or known is None:
        return ""
    look = f", or by your eyes: jarvision jars seen {jar} --fine" if known.by_look else ""
    return f"Settled by {known.how}{look}."
