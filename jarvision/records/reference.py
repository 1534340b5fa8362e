"""What a jar's contents look like bare, and from which photo that is known."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class BareLook:
    """Bare contents as one photo shows them.

    Attributes
    ----------
    colours
        Their typical colours, in the three logarithms that the tissue network sees
        (:mod:`jarvision.vision.tissue.inputs`).
    spread
        Standard deviation of the first logarithm, the light, over the bare places.
    area_cm2
        How much of the wall was bare and seen.
    novelty
        How unlike the contents are that the tissue network knows
        (:mod:`jarvision.vision.tissue.novelty`); None where it could not be told.
    """

    colours: tuple[tuple[float, float, float], ...]
    spread: float
    area_cm2: float
    novelty: float | None = None


@dataclass(frozen=True)
class NothingGrown:
    """The grower's word that a jar shows bare contents: on ``day``, or whenever where it is None.

    All that can be judged of such a photo then teaches how they look, whatever a network calls it:
    pale contents, which it takes for growth, need that most.
    """

    day: date | None = None

    def holds(self, day: date, *, sure: bool) -> bool:
        """Say whether it holds on a photo's day; ``sure`` is False for the mere time of a file."""
        return self.day is None or (sure and day == self.day)


@dataclass(frozen=True)
class KnownLook:
    """The bare look that a photo is held against: of which jar, seen on which day."""

    jar: str
    day: date
    look: BareLook
