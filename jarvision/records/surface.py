"""What a photo from above says: the mouth of the jar, and the surface of its contents.

Lengths are those of the surface, flattened: the **surface frame** is in mm, its origin is the
centre of the mouth, x grows to the right and y downwards as the flattened picture shows them.
Whatever could not be told is None, and :attr:`Top.untold` says why.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Final, Literal

from jarvision.records.wall import Coverage

Moisture = Literal["dry", "moist", "wet", "standing water"]
MOISTURES: Final[tuple[Moisture, ...]] = ("dry", "moist", "wet", "standing water")
"""How wet a surface is: no droplets, fine ones, large ones, water standing between them."""

FruitKind = Literal["pin", "cap"]

HOOD_SEEN_FROM: Final = 0.5
"""Chance from which a hood counts as being on the jar: the likelier of two."""


@dataclass(frozen=True)
class Measured:
    """A measured value with its 95 % interval; the unit stands in the name of what holds it."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Droplets:
    """The droplets on a surface, and how moist they make it.

    Attributes
    ----------
    per_cm2
        Droplets per cm2 of the surface that was judged.
    diameter_mm
        Their mean diameter, mm; None where there are none.
    chances
        The chance of each of :data:`MOISTURES`, in that order; they add up to 1.
    """

    per_cm2: float
    diameter_mm: float | None
    chances: tuple[float, float, float, float]

    @property
    def moisture(self) -> Moisture:
        """The likeliest class."""
        return MOISTURES[self.chances.index(max(self.chances))]

    @property
    def chance(self) -> float:
        """The chance of the likeliest class, 0 to 1."""
        return max(self.chances)


@dataclass(frozen=True)
class FruitBody:
    """One pin or cap.

    Attributes
    ----------
    x_mm, y_mm
        Its centre in the surface frame.
    diameter_mm
        Across its widest, mm.
    chance
        That it is one, 0 to 1.
    flat_chance
        Chance that the edge of a cap has begun to flatten, 0 to 1; None for a pin, and where it
        cannot be told.
    """

    kind: FruitKind
    x_mm: float
    y_mm: float
    diameter_mm: Measured
    chance: float
    flat_chance: float | None = None


@dataclass(frozen=True)
class SurfacePatch:
    """A connected area of one kind on the surface.

    Attributes
    ----------
    kind
        ``bare``, ``wet``, ``stain``, or an off-colour family (``green``, ``black``, ``pink``,
        ``yellow``): the words of :class:`~jarvision.records.wall.Patch`.
    x_mm, y_mm
        Centroid in the surface frame.
    confidence
        0 to 1.
    outline
        Closed polygon of ``(x_mm, y_mm)`` points.
    """

    kind: str
    area_cm2: float
    x_mm: float
    y_mm: float
    confidence: float
    outline: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Top:
    """What one photo from above says, or all those of one day.

    Attributes
    ----------
    mouth_mm
        Inner diameter of the jar's mouth, mm.
    surface_cm2
        Area of the surface within the mouth, hidden parts and all, cm2.
    seen_cm2
        The part of it that could be judged, cm2.
    coverage
        Growth on the part that could be judged, percent of the surface, 95 % interval.
    patches
        Off-colour, bare and wet areas.
    droplets
        None where they could not be judged.
    pins, caps
        How many, each at least 0; None where they could not be judged.
    largest_pin_mm, largest_cap_mm
        Diameter of the largest one, mm; None where there is none or it could not be measured.
    flat_chance
        Chance that the edge of the largest cap has begun to flatten, 0 to 1; None where there is
        no cap, or it cannot be told.
    fruit
        Every pin and cap that was found.
    below_rim_mm
        How far the surface lies below the rim, mm; None where the view does not tell it.
    hood_chance
        Chance that a hood is on the jar, or was when the photo was taken, 0 to 1; None where it
        cannot be told.
    untold
        Name of a field that is None to why, a sentence without a full stop.
    """

    mouth_mm: Measured
    surface_cm2: float
    seen_cm2: float
    coverage: Coverage
    patches: tuple[SurfacePatch, ...] = ()
    droplets: Droplets | None = None
    pins: Measured | None = None
    caps: Measured | None = None
    largest_pin_mm: Measured | None = None
    largest_cap_mm: Measured | None = None
    flat_chance: float | None = None
    fruit: tuple[FruitBody, ...] = ()
    below_rim_mm: Measured | None = None
    hood_chance: float | None = None
    untold: Mapping[str, str] = field(default_factory=dict)

    @property
    def seen_percent(self) -> float:
        """Share of the surface that could be judged, percent."""
        return 100.0 * self.seen_cm2 / self.surface_cm2 if self.surface_cm2 > 0 else 0.0

    def area_cm2(self, *kinds: str) -> float:
        """Summed area of the patches of the given kinds, cm2."""
        return sum(p.area_cm2 for p in self.patches if p.kind in kinds)


@dataclass(frozen=True)
class TopDay:
    """All photos of one jar from above on one day, pooled.

    ``photos`` are their names, ``each`` is what each of them says, in the same order, and
    ``overlay`` the path of the last one's picture, relative to the output folder.
    """

    jar: str
    day: date
    photos: tuple[str, ...]
    top: Top
    each: tuple[Top, ...]
    overlay: str = ""
