"""A fruiting jar's mouth seen from above: everything that varies, as small frozen records.

Mouth frame: right-handed, mm; origin in the middle of the rim, x and y along those of the printed
sheet, z down into the jar. Heights above the rim are negative z.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np

from jarvision.records import FloatArray
from tests.scenes.spec import Lamp, Phone, Room


class TopClass(IntEnum):
    """What a place of a photo from above shows."""

    OUTSIDE = 0
    BARE = 1
    GROWTH = 2
    OFF_COLOUR = 3
    DROPLET = 4
    PIN = 5
    CAP = 6
    WATER = 7


MOISTURES = ("dry", "moist", "wet", "standing water")
STANDING_SHARE = 0.02  # of the visible surface under standing water, from which it counts
WET_MM = 1.0  # mean diameter from which droplets are "wet"
WET_PER_CM2 = 1.0
MOIST_PER_CM2 = 2.0


def moisture_of(*, per_cm2: float, mean_mm: float | None, pool_share: float) -> str:
    """Class of a surface's moisture by droplets a cm2, their mean diameter and standing water."""
    if pool_share >= STANDING_SHARE:
        return MOISTURES[3]
    if mean_mm is not None and mean_mm >= WET_MM and per_cm2 >= WET_PER_CM2:
        return "wet"
    return "moist" if per_cm2 >= MOIST_PER_CM2 else "dry"


@dataclass(frozen=True)
class Mouth:
    """The glass. ``shoulder_mm`` below the rim the jar widens by ``wider_mm``, if at all."""

    inner_mm: float = 70.0  # diameter
    glass_mm: float = 3.0
    shoulder_mm: float = 20.0
    wider_mm: float = 0.0  # of the radius
    tall_mm: float = 150.0

    @property
    def radius_mm(self) -> float:
        """Inner radius at the rim."""
        return self.inner_mm / 2.0

    @property
    def outer_mm(self) -> float:
        """Outer diameter at the rim."""
        return self.inner_mm + 2.0 * self.glass_mm

    def radius_at(self, depth_mm: FloatArray | float) -> FloatArray:
        """Inner radius at depths below the rim; the shoulder slopes over 12 mm."""
        share = np.clip((np.asarray(depth_mm) - self.shoulder_mm) / 12.0, 0.0, 1.0)
        return np.asarray(self.radius_mm + self.wider_mm * share * share * (3.0 - 2.0 * share))


@dataclass(frozen=True)
class Stain:
    """Something off-colour on the surface: a mould of a kind, or ``amber``; mean diameter."""

    kind: str
    x_mm: float
    y_mm: float
    size_mm: float


@dataclass(frozen=True)
class Ground:
    """The surface of the contents.

    Attributes
    ----------
    seed
        Of the packing, so that a jar's days show the same pieces.
    contents
        A key of ``LOOKS`` of :mod:`tests.scenes.substrates`, or ``family:N`` for a heap that
        :mod:`tests.training.contents_layers` draws.
    depth_mm
        Mean depth below the rim.
    lumps_mm, bowl_mm
        Spread of slow lumps; how much lower the middle lies than the edge.
    covered
        Wanted share of the surface that growth covers, 0 to 1.
    habit, tint
        Look of the growth.
    """

    seed: int = 0
    contents: str = "wheat straw"
    depth_mm: float = 20.0
    lumps_mm: float = 1.5
    bowl_mm: float = 0.0
    covered: float = 0.7
    habit: str = "fluffy"
    tint: str = "white"
    stains: tuple[Stain, ...] = ()


@dataclass(frozen=True)
class Water:
    """Droplets and standing water.

    Attributes
    ----------
    per_cm2
        Droplets a cm2 of the surface, before overlaps are taken out.
    middle_mm, spread
        Log-normal diameters: their median, and spread of the logarithm.
    least_mm, most_mm
        Limits of the diameters.
    pool
        Share of the surface that lies under a level pool.
    """

    per_cm2: float = 0.0
    middle_mm: float = 0.5
    spread: float = 0.35
    least_mm: float = 0.2
    most_mm: float = 1.0
    pool: float = 0.0


@dataclass(frozen=True)
class Pin:
    """A young fruit body that has no open cap: foot, height, greatest diameter, lean."""

    x_mm: float
    y_mm: float
    height_mm: float
    diameter_mm: float
    lean_deg: float = 0.0
    lean_to_deg: float = 0.0


@dataclass(frozen=True)
class Cap:
    """A fruit body with a cap.

    Attributes
    ----------
    foot_x_mm, foot_y_mm
        Where its stalk stands on the surface.
    x_mm, y_mm, z_mm
        Middle of the cap's edge circle, mouth frame.
    diameter_mm
        Of the edge circle.
    flattening
        1 less the height of the middle above the edge over the radius: 0 for a half sphere, 1 for
        a flat cap, above 1 where the edge turns up.
    tilt_deg, tilt_to_deg
        How far the cap leans, and to which side.
    wave
        Waves of the edge, as a share of the radius.
    """

    foot_x_mm: float
    foot_y_mm: float
    x_mm: float
    y_mm: float
    z_mm: float
    diameter_mm: float
    flattening: float
    tilt_deg: float = 0.0
    tilt_to_deg: float = 0.0
    wave: float = 0.02


@dataclass(frozen=True)
class Fruit:
    """Pins and caps of one jar, and the colours of its species (CIELAB)."""

    pins: tuple[Pin, ...] = ()
    caps: tuple[Cap, ...] = ()
    cap_lab: tuple[float, float, float] = (66.0, 4.0, 13.0)
    stalk_lab: tuple[float, float, float] = (88.0, 0.0, 6.0)


@dataclass(frozen=True)
class Hood:
    """A loose clear bag over the mouth; ``dew`` is the greatest opacity of the mist on it."""

    on: bool = False
    dew: float = 0.4
    lift_mm: float = 14.0
    crumple_mm: float = 3.0


@dataclass(frozen=True)
class Ring:
    """How the printed sheet lies around the mouth, a few mm below the rim."""

    below_mm: float = 3.0
    x_mm: float = 0.0
    y_mm: float = 0.0
    sag_mm: float = 0.0  # of the corners below the middle
    roughness: float = 0.5


@dataclass(frozen=True)
class Held:
    """How the phone is held: distance from the rim's middle, lean off the vertical, turn.

    ``zoom`` is the share of the longest focal length at which the whole sheet is in the frame;
    above 1 the sheet is cut off. ``aside_mm`` moves the aim over the sheet.
    """

    distance_mm: float = 330.0
    lean_deg: float = 0.0
    lean_to_deg: float = 0.0
    turn_deg: float = 0.0
    zoom: float = 0.95
    aside_mm: tuple[float, float] = (0.0, 0.0)
    focus: float = 0.5  # 0: on the surface, 1: on the sheet


@dataclass(frozen=True)
class TopSpec:
    """One photo from above. ``fault`` names what makes it a bad one, if anything does."""

    seed: int = 0
    mouth: Mouth = field(default_factory=Mouth)
    ground: Ground = field(default_factory=Ground)
    water: Water = field(default_factory=Water)
    fruit: Fruit = field(default_factory=Fruit)
    hood: Hood = field(default_factory=Hood)
    ring: Ring = field(default_factory=Ring)
    held: Held = field(default_factory=Held)
    phone: Phone = field(default_factory=Phone)
    lamps: tuple[Lamp, ...] = ()
    room: Room = field(default_factory=Room)
    taken_at: str = "2026-03-01T09:30:00"
    fault: str | None = None


TO_WORLD = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
"""Mouth frame to the renderer's world (y down, z away): ``world = TO_WORLD @ mouth``."""


def world(points: FloatArray) -> FloatArray:
    """Points or directions ``(..., 3)`` of the mouth frame in the renderer's world."""
    return np.asarray(points @ TO_WORLD.T)
