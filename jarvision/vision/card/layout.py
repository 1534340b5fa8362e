"""The printed cards as data: ``card.toml`` and ``ring.toml`` read into frozen records.

Drawing, finding and the colour fit all take the card from here, so they cannot disagree.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from typing import Any, Literal

import numpy as np

from jarvision.base import colourspace
from jarvision.records import FloatArray

Lab = tuple[float, float, float]
Role = Literal["grey", "contents", "mould", "primary"]

# Jar tags: another family than the card's marks, so that no tag can be taken for the card.
TAG_FAMILY = "DICT_APRILTAG_36h11"
TAG_COUNT = 587


@dataclass(frozen=True)
class Box:
    """An upright rectangle on the card: top left corner and size, mm."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float

    @property
    def centre_mm(self) -> tuple[float, float]:
        """Middle ``(x, y)``, mm."""
        return self.x_mm + self.width_mm / 2.0, self.y_mm + self.height_mm / 2.0


@dataclass(frozen=True)
class Marker:
    """One corner mark: id in the card's marker family, top left corner and side, mm."""

    id: int
    x_mm: float
    y_mm: float
    size_mm: float

    @property
    def corners_mm(self) -> FloatArray:
        """``(4, 2)`` corners, clockwise from the top left one, mm."""
        x, y, s = self.x_mm, self.y_mm, self.size_mm
        return np.array([[x, y], [x + s, y], [x + s, y + s], [x, y + s]])


@dataclass(frozen=True)
class Swatch(Box):
    """One colour square: nominal CIELAB (D65, 2 degrees) and what it stands for."""

    name: str
    role: Role
    lab: Lab

    @property
    def rgb8(self) -> tuple[int, int, int]:
        """Nominal 8-bit sRGB."""
        return lab_to_rgb8(self.lab)


@dataclass(frozen=True)
class Field(Box):
    """The plain field behind the jar."""

    lab: Lab

    @property
    def rgb8(self) -> tuple[int, int, int]:
        """Nominal 8-bit sRGB."""
        return lab_to_rgb8(self.lab)


@dataclass(frozen=True)
class ScaleBar:
    """The bar that shows the print scale: left end, middle of its line, and tick lengths, mm."""

    x_mm: float
    y_mm: float
    length_mm: float
    line_mm: float
    tick_mm: float
    end_tick_mm: float
    tick_every_mm: float


@dataclass(frozen=True)
class SlantedSquare:
    """A dark square turned by a few degrees, for measuring sharpness."""

    centre_x_mm: float
    centre_y_mm: float
    side_mm: float
    angle_deg: float
    lab: Lab

    @property
    def corners_mm(self) -> FloatArray:
        """``(4, 2)`` corners, clockwise, mm."""
        half = self.side_mm / 2.0
        corners = half * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
        c, s = np.cos(np.deg2rad(self.angle_deg)), np.sin(np.deg2rad(self.angle_deg))
        turned: FloatArray = corners @ np.array([[c, s], [-s, c]])
        moved: FloatArray = turned + np.array([self.centre_x_mm, self.centre_y_mm])
        return moved


@dataclass(frozen=True)
class Mouth:
    """The circles about the field's middle that the ring's hole may be cut along, mm."""

    diameters_mm: tuple[float, ...]
    line_mm: float

    def scaled(self, factor: float) -> Mouth:
        """The circles as they came out of the printer."""
        return Mouth(tuple(width * factor for width in self.diameters_mm), self.line_mm * factor)


@dataclass(frozen=True)
class PrintedLine:
    """One line of print: left end and baseline, font size in mm."""

    x_mm: float
    y_mm: float
    size_mm: float
    bold: bool
    text: str


@dataclass(frozen=True)
class CardLayout:
    """Everything printed on a card; ``mouth`` is None for the card behind the jar."""

    version: int
    width_mm: float
    height_mm: float
    marker_family: str
    markers: tuple[Marker, ...]
    field: Field
    scale_bar: ScaleBar
    slanted_square: SlantedSquare
    labels: tuple[PrintedLine, ...]
    swatches: tuple[Swatch, ...]
    mouth: Mouth | None = None

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Names of the swatches, in the order of every array below."""
        return tuple(s.name for s in self.swatches)

    @cached_property
    def nominal_lab(self) -> FloatArray:
        """``(n, 3)`` nominal CIELAB of the swatches."""
        return np.array([s.lab for s in self.swatches])

    @cached_property
    def nominal_linear(self) -> FloatArray:
        """``(n, 3)`` nominal linear sRGB of the swatches."""
        return colourspace.lab_to_linear(self.nominal_lab)

    @cached_property
    def centres_mm(self) -> FloatArray:
        """``(n, 2)`` middles ``(x, y)`` of the swatches, mm."""
        return np.array([s.centre_mm for s in self.swatches])

    @property
    def centre_mm(self) -> tuple[float, float]:
        """Middle of the card ``(x, y)``, mm."""
        return self.width_mm / 2.0, self.height_mm / 2.0

    @property
    def corners_mm(self) -> FloatArray:
        """``(4, 2)`` corners of the card, clockwise from the top left one, mm."""
        wide, high = self.width_mm, self.height_mm
        return np.array([[0.0, 0.0], [wide, 0.0], [wide, high], [0.0, high]])


def lab_to_rgb8(lab: Lab) -> tuple[int, int, int]:
    """Nearest 8-bit sRGB of a CIELAB colour (D65) inside the sRGB gamut."""
    red, green, blue = colourspace.srgb_bytes(colourspace.lab_to_linear(lab))
    return int(red), int(green), int(blue)


@cache
def calibration_folder() -> Path:
    """Folder of the calibration data: beside the package in a checkout, inside it when installed.

    Raises
    ------
    FileNotFoundError
        When neither place holds ``card.toml``: the installation is broken.
    """
    package = Path(__file__).resolve().parents[2]
    places = (package / "calibration", package.parent / "calibration")
    for place in places:
        if (place / "card.toml").is_file():
            return place
    raise FileNotFoundError(f"card.toml is in none of {', '.join(map(str, places))}")


@cache
def load_layout() -> CardLayout:
    """The card that stands behind the jar, of this version of jarvision."""
    with (calibration_folder() / "card.toml").open("rb") as file:
        return parse_layout(tomllib.load(file))


@cache
def load_ring() -> CardLayout:
    """The ring that lies around the jar's mouth, of this version of jarvision."""
    with (calibration_folder() / "ring.toml").open("rb") as file:
        return parse_layout(tomllib.load(file))


def parse_layout(table: Mapping[str, Any]) -> CardLayout:
    """Build the layout from a parsed file; ``KeyError`` or ``TypeError`` if wrong."""
    marks = table["markers"]
    sides = table["swatches"]
    mouth = table.get("mouth")
    return CardLayout(
        version=table["version"],
        width_mm=table["width_mm"],
        height_mm=table["height_mm"],
        marker_family=marks["family"],
        markers=tuple(Marker(**place, size_mm=marks["size_mm"]) for place in marks["places"]),
        field=Field(**_with_lab(table["field"])),
        scale_bar=ScaleBar(**table["scale_bar"]),
        slanted_square=SlantedSquare(**_with_lab(table["slanted_square"])),
        labels=tuple(PrintedLine(**line) for line in table["text"]),
        swatches=tuple(Swatch(**_with_lab(row)) for row in (*sides["left"], *sides["right"])),
        mouth=mouth and Mouth(tuple(mouth["diameters_mm"]), mouth["line_mm"]),
    )


def _with_lab(row: Mapping[str, Any]) -> dict[str, Any]:
    lightness, a, b = row["lab"]
    return {**row, "lab": (float(lightness), float(a), float(b))}
