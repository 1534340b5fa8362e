"""Everything that varies from photo to photo, as small frozen records, and a seeded sampler.

World frame of a scene: right-handed, mm; x to the right, y down, z away from the viewer. It is
the card frame of an untilted card: the origin is the top left corner of the active area of a
card that stands exactly upright, the table is a plane of constant y.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

CARD_WIDTH_MM = 190.0
CARD_HEIGHT_MM = 260.0
GLASS_INDEX, WATER_INDEX = 1.5, 1.33
PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}

LampKind = Literal["window", "ceiling", "softbox", "bulb"]
TableKind = Literal["wood", "plain", "cloth"]
WallKind = Literal["paint", "tiles", "boards"]


@dataclass(frozen=True)
class CardPose:
    """How the printed page stands: paper, lean (top to the viewer), turn, roll, and bow (mm).

    ``trim_mm`` is cut off below, and the page hangs ``lift_mm`` above the table.
    """

    paper: Literal["a4", "letter"] = "a4"
    lean_deg: float = 0.0
    turn_deg: float = 0.0
    roll_deg: float = 0.0
    bow_mm: float = 0.0
    paper_roughness: float = 0.45
    trim_mm: float = 0.0
    lift_mm: float = 0.0

    @property
    def foot_mm(self) -> float:
        """Card y of the page's lower edge, its active area centred before it was trimmed."""
        margin = (PAPERS_MM[self.paper][1] - CARD_HEIGHT_MM) / 2.0
        return CARD_HEIGHT_MM + margin - self.trim_mm


@dataclass(frozen=True)
class Jar:
    """The glass. The inner radius and the contents come with the paint."""

    axis_x_mm: float = 95.0
    axis_z_mm: float = -70.0
    glass_mm: float = 3.0
    floor_mm: float = 6.0
    shoulder_rise_mm: float = 20.0  # from the top of the straight wall to the neck
    neck_fraction: float = 0.78  # neck radius over wall radius; above 0.95: straight-sided jar
    foot_round_mm: float = 6.0
    groove_depth_mm: float = 0.0  # 0: no groove ring
    groove_below_shoulder_mm: float = 8.0
    wobble_mm: float = 0.15  # hand-moulded unevenness of the outer glass surface
    lid: Literal["metal", "plastic"] = "metal"
    lid_rgb: tuple[float, float, float] = (0.6, 0.6, 0.6)
    lid_height_mm: float = 17.0
    knurls: int = 60
    filter_mm: float = 34.0


@dataclass(frozen=True)
class Extras:
    """What spoils part of the view. A zero size means: not there."""

    label_width_deg: float = 0.0
    label_height_mm: float = 0.0
    label_angle_deg: float = 0.0
    label_centre_fraction: float = 0.5  # of the straight wall's height
    label_rgb: tuple[float, float, float] = (0.85, 0.83, 0.78)
    fog_opacity: float = 0.0
    fog_low_fraction: float = 0.6  # fog covers the wall above this share of its height
    droplets: int = 0


@dataclass(frozen=True)
class Lamp:
    """One rectangular area lamp.

    ``share`` is its part of the illuminance on the card; ``spectrum`` is a name known to
    :func:`tests.scenes.lights.spectrum`.
    """

    kind: LampKind
    position_mm: tuple[float, float, float]
    width_mm: float
    height_mm: float
    share: float
    spectrum: str


@dataclass(frozen=True)
class Room:
    """Table, back wall, clutter and ambience."""

    table: TableKind = "wood"
    table_rgb: tuple[float, float, float] = (0.42, 0.27, 0.16)
    wall: WallKind = "paint"
    wall_rgb: tuple[float, float, float] = (0.62, 0.60, 0.56)
    wall_distance_mm: float = 350.0
    clutter: int = 3
    ambient_share: float = 0.35
    ambient_spectrum: str = "D65"


@dataclass(frozen=True)
class Phone:
    """Where the phone is held and how its camera turns light into a JPEG."""

    distance_mm: float = 430.0  # from the card
    side_mm: float = 0.0
    above_jar_middle_mm: float = 0.0
    aim_error_deg: tuple[float, float] = (0.0, 0.0)
    roll_deg: float = 0.0
    margin: float = 0.04  # of the frame, left around card and jar by the crop
    aperture_mm: float = 1.6  # entrance pupil
    focus_on_card: float = 0.3  # 0: on the jar's front, 1: on the card
    sensitivity: int = 0
    exposure_error_ev: float = 0.0
    balance_strength: float = 1.0  # 1: the lamp's tint fully removed
    balance_error: tuple[float, float] = (0.0, 0.0)  # relative error of the red and blue gains
    tone_curve: int = 0
    saturation: float = 1.0
    full_well_electrons: float = 5000.0
    read_noise_electrons: float = 3.0
    denoise: float = 0.5
    vignetting: float = 0.15
    blur_px: float = 0.6  # at 1512 px width
    motion_px: tuple[float, float] = (0.0, 0.0)  # at 1512 px width
    sharpening: float = 0.4
    jpeg_quality: int = 92


@dataclass(frozen=True)
class SceneSpec:
    """One photo but for the contents. ``seed`` drives textures, clutter and noise."""

    seed: int = 0
    card: CardPose = field(default_factory=CardPose)
    jar: Jar = field(default_factory=Jar)
    extras: Extras = field(default_factory=Extras)
    lamps: tuple[Lamp, ...] = ()
    room: Room = field(default_factory=Room)
    phone: Phone = field(default_factory=Phone)
    taken_at: str = "2026-03-01T09:30:00"

    @property
    def table_y_mm(self) -> float:
        """World y of the table top, under the lower edge of the page."""
        return self.card.foot_mm + self.card.lift_mm
