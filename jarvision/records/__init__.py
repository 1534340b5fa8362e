"""The frozen records that pass between the stages, in the order of the straight line.

Conventions used everywhere
---------------------------
- Pictures are arrays of shape ``(rows, cols, 3)``; pixel ``(row, col) = (0, 0)`` is the *centre*
  of the top left pixel. Points are ``(x, y) = (col, row)``.
- The **card frame** is right-handed, in mm: origin at the top left corner of the card's active
  area, x to the right, y down, z away from the viewer *into* the card. The camera and the jar
  are in front of the card, so their z is negative.
- The **wall frame** is the jar's inner wall: ``angle_deg`` is 0 where the wall faces the camera
  and grows to the right as the camera sees it; ``height_mm`` is 0 at the inner floor of the jar
  and grows upwards. Row 0 of a wall array is the top row.
- "linear" colour is linear-light sRGB, D65, with 1.0 for the card's perfect white.
- Colour differences are CIEDE2000 under D65 and the 2 degree observer.
- Dates and times are the photo's local time, without zone.
"""

from __future__ import annotations

from jarvision.records.arrays import (
    BoolArray,
    ByteArray,
    DeepArray,
    Float32Array,
    FloatArray,
    SampleArray,
)
from jarvision.records.fruiting import STAGES, CutForecast, Fruiting, FruitingDay, Stage
from jarvision.records.history import (
    OFF_COLOUR_KINDS,
    Finding,
    Flag,
    Front,
    Growth,
    JarDay,
    JarHistory,
    JarStory,
    Reading,
    TrackedPatch,
    Trend,
    Turn,
    Verdict,
    VerdictWord,
    View,
)
from jarvision.records.jar import DiaryLine, DiaryWord, JarEntry, JarKind
from jarvision.records.photo import CardFit, ColourFit, Photo, SwatchReadings, TimeSource
from jarvision.records.reference import BareLook, KnownLook, NothingGrown
from jarvision.records.shelf import Ending, EndingWord, FinishedJar, ShelfResult
from jarvision.records.species import PinHabit, SpeciesProfile
from jarvision.records.surface import (
    MOISTURES,
    Droplets,
    FruitBody,
    FruitKind,
    Measured,
    Moisture,
    SurfacePatch,
    Top,
    TopDay,
)
from jarvision.records.wall import (
    COVERED,
    HALF_VIEW_DEG,
    OFF_COLOUR,
    Coverage,
    JarFit,
    JarShape,
    Patch,
    RawWall,
    Tissue,
    TissueClass,
    Wall,
    WallThumbnail,
)

__all__ = [
    "COVERED",
    "HALF_VIEW_DEG",
    "MOISTURES",
    "OFF_COLOUR",
    "OFF_COLOUR_KINDS",
    "STAGES",
    "BareLook",
    "BoolArray",
    "ByteArray",
    "CardFit",
    "ColourFit",
    "Coverage",
    "CutForecast",
    "DeepArray",
    "DiaryLine",
    "DiaryWord",
    "Droplets",
    "Ending",
    "EndingWord",
    "Finding",
    "FinishedJar",
    "Flag",
    "Float32Array",
    "FloatArray",
    "Front",
    "FruitBody",
    "FruitKind",
    "Fruiting",
    "FruitingDay",
    "Growth",
    "JarDay",
    "JarEntry",
    "JarFit",
    "JarHistory",
    "JarKind",
    "JarShape",
    "JarStory",
    "KnownLook",
    "Measured",
    "Moisture",
    "NothingGrown",
    "Patch",
    "Photo",
    "PinHabit",
    "RawWall",
    "Reading",
    "SampleArray",
    "ShelfResult",
    "SpeciesProfile",
    "Stage",
    "SurfacePatch",
    "SwatchReadings",
    "TimeSource",
    "Tissue",
    "TissueClass",
    "Top",
    "TopDay",
    "TrackedPatch",
    "Trend",
    "Turn",
    "Verdict",
    "VerdictWord",
    "View",
    "Wall",
    "WallThumbnail",
]
