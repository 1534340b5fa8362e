"""Is this photo good? A quick answer while the jar still stands before the phone."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from jarvision.card.layout import CardLayout, load_layout
from jarvision.day import wall_of
from jarvision.errors import PhotoRefusedError
from jarvision.flags import PHOTO_REASONS
from jarvision.photo import read_photo
from jarvision.photo_settings import PhotoSettings


@dataclass(frozen=True)
class PhotoCheck:
    """What one photo is good for.

    Attributes
    ----------
    photo
        The path as the user gave it.
    reason
        A word of :data:`jarvision.flags.PHOTO_REASONS`, empty for a good photo.
    detail
        The numbers behind it.
    seen_percent
        Share of the filled wall that can be judged; None when the jar was not reached.
    colour_de00_median
        How well the card's colours were matched, CIEDE2000; None when they were not.
    px_per_mm
        Scale at the card; None when it was not found.
    notes
        What must be told about how the file was read.
    """

    photo: str
    reason: str = ""
    detail: str = ""
    seen_percent: float | None = None
    colour_de00_median: float | None = None
    px_per_mm: float | None = None
    notes: tuple[str, ...] = ()

    @property
    def good(self) -> bool:
        """True when the photo will give a reading."""
        return not self.reason

    @property
    def advice(self) -> str:
        """What to do about it, empty for a good photo."""
        return PHOTO_REASONS[self.reason].remedy if self.reason in PHOTO_REASONS else ""


def check_photo(
    path: Path, *, layout: CardLayout | None = None, settings: PhotoSettings | None = None
) -> PhotoCheck:
    """Walk one photo down the line as far as the jar's wall and its masks, not to the tissue.

    Never raises for what is wrong with the photo: that is the answer.
    """
    settings = settings or PhotoSettings()
    name = str(path)
    notes: tuple[str, ...] = ()
    try:
        photo = read_photo(path, name=path.name)
        notes = photo.notes
        front = wall_of(photo, layout=layout or load_layout(), settings=settings)
    except PhotoRefusedError as refusal:
        return PhotoCheck(name, refusal.reason, refusal.detail, notes=notes)
    filled = int(np.count_nonzero(front.wall.filled))
    judged = int(np.count_nonzero(front.wall.filled & front.wall.judged))
    seen = 100.0 * judged / filled if filled else 0.0
    enough = seen >= settings.coverage.seen_min_percent
    return PhotoCheck(
        photo=name,
        reason="" if enough else "not_enough_seen",
        detail="" if enough else f"only {seen:.0f} % of the wall can be judged",
        seen_percent=seen,
        colour_de00_median=front.colour.de00_median,
        px_per_mm=front.card.px_per_mm,
        notes=notes,
    )
