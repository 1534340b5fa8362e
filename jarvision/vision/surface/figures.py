"""Surface picture -> everything that is read on it, and the maps that are drawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from jarvision.base.statistics import Z95
from jarvision.records import (
    BoolArray,
    ByteArray,
    ColourFit,
    Coverage,
    Droplets,
    FruitBody,
    Measured,
    Patch,
    Photo,
    SurfacePatch,
    Tissue,
    TissueClass,
    Wall,
)
from jarvision.records.mouth import MouthFit, SurfacePicture
from jarvision.records.surface import FruitKind
from jarvision.settings.surface import SurfaceSettings
from jarvision.vision.surface.cover import (
    ground_shown,
    off_colour_areas,
    surface_coverage,
    surface_patches,
)
from jarvision.vision.surface.droplets import read_droplets
from jarvision.vision.surface.fruit import find_fruit
from jarvision.vision.surface.network import (
    BARE,
    CAP,
    DISCOLOURED,
    GROWTH,
    SurfaceChances,
    read_surface,
)
from jarvision.vision.surface.sight import Above

_RADIUS_MM: Final = 1000.0
"""So wide a wall is flat."""

_MIDDLE_MM: Final = 60.0
"""Height on a wall at which its middle is taken to lie."""

_COUNT_SD_SHARE: Final = 0.25
"""Bodies hidden under others, or told apart where there is one, as a share of those seen."""

_PINS_MISSED: Final = 0.6
"""Pins missed for each that is told, and one more: 31 of 86 large ones on the tuning photos."""

_FLAT_UNTOLD: Final = "how flat a cap is does not show straight from above"
_NO_CAP: Final = "no cap was seen"
_HIDDEN: Final = "fruit bodies or the rim hide nearly all of the surface"


@dataclass(frozen=True)
class SurfaceFigures:
    """What was read on a surface.

    Attributes
    ----------
    coverage, patches, droplets, fruit
        As :class:`jarvision.records.Top` has them.
    wall, tissue
        The surface as a piece of wall and what stands at its places, ``(n, n)``, for drawing.
    untold
        Name of a field that is None to why.
    """

    coverage: Coverage
    patches: tuple[SurfacePatch, ...]
    droplets: Droplets | None
    fruit: tuple[FruitBody, ...]
    wall: Wall
    tissue: Tissue
    untold: Mapping[str, str]

    @property
    def wall_patches(self) -> tuple[Patch, ...]:
        """The patches on that wall."""
        return tuple(map(_on_wall, self.patches))

    def count(self, kind: FruitKind) -> Measured:
        """How many pins or caps there are: those seen, and 95 % of what their chances allow.

        Of pins a third was missed on the tuning photos, so that their upper end lies higher.
        """
        chances = np.array([body.chance for body in self.fruit if body.kind == kind])
        sd = float(np.sqrt((chances * (1.0 - chances)).sum()))
        half = Z95 * float(np.hypot(sd, _COUNT_SD_SHARE * len(chances)))
        missed = 1.0 + _PINS_MISSED * len(chances) if kind == "pin" else 0.0
        count = float(len(chances))
        return Measured(count, max(count - half, 0.0), count + half + missed)

    def largest(self, kind: FruitKind) -> Measured | None:
        """Diameter of the largest pin or cap; None where there is none."""
        sizes = [body.diameter_mm for body in self.fruit if body.kind == kind]
        return max(sizes, key=lambda size: size.value, default=None)


def read_figures(
    picture: SurfacePicture, photo: Photo, above: Above, *, colour: ColourFit, mouth: MouthFit,
    settings: SurfaceSettings,
) -> SurfaceFigures:  # fmt: skip
    """Say what stands on the surface, how moist it is and what grows out of it."""
    chances = read_surface(picture)
    fruit = find_fruit(picture, chances, photo, above, colour=colour, mouth=mouth)
    patches = surface_patches(picture, chances, settings=settings)
    droplets = read_droplets(picture, chances)
    untold = {} if droplets else {"droplets": _HIDDEN}
    caps = [body for body in fruit if body.kind == "cap"]
    untold["flat_chance"] = _FLAT_UNTOLD if caps else _NO_CAP
    if not caps:
        untold["largest_cap_mm"] = _NO_CAP
    shown = ground_shown(picture, chances)
    return SurfaceFigures(
        coverage=surface_coverage(picture, chances, settings=settings),
        patches=patches,
        droplets=droplets,
        fruit=fruit,
        wall=_wall(picture, shown),
        tissue=_tissue(picture, chances, shown),
        untold=untold,
    )


def _wall(picture: SurfacePicture, shown: BoolArray) -> Wall:
    """The surface as a piece of a very wide jar's wall, its top where the picture's is."""
    axis = picture.axis
    return Wall(
        linear=picture.linear,
        angles_deg=np.rad2deg(axis / _RADIUS_MM),
        heights_mm=_MIDDLE_MM - axis,
        radius_mm=_RADIUS_MM,
        pixels=np.ascontiguousarray(picture.pixels),
        filled=picture.within,
        judged=shown,
    )


def _tissue(picture: SurfacePicture, chances: SurfaceChances, shown: BoolArray) -> Tissue:
    ground = chances.ground
    kinds = np.array([TissueClass.BARE, TissueClass.MYCELIUM, TissueClass.UNJUDGED], np.uint8)
    places = ground[[BARE, GROWTH, DISCOLOURED]]
    classes: ByteArray = kinds[places.argmax(axis=0)]
    for cells, family in off_colour_areas(picture, chances):
        classes[cells & shown] = TissueClass[family.upper()]
    classes[~shown] = TissueClass.UNJUDGED
    classes[~picture.within] = TissueClass.OUTSIDE
    growth = np.where(shown, ground[GROWTH], np.float32(0.0))
    return Tissue(
        classes=classes,
        opacity=growth,
        covered=growth,
        certainty=places.max(axis=0),
        caps=ground[CAP],
    )


def _on_wall(patch: SurfacePatch) -> Patch:
    return Patch(
        patch.kind,
        patch.area_cm2,
        *_place(patch.x_mm, patch.y_mm),
        patch.confidence,
        tuple(_place(x, y) for x, y in patch.outline),
    )


def _place(x_mm: float, y_mm: float) -> tuple[float, float]:
    return float(np.rad2deg(x_mm / _RADIUS_MM)), _MIDDLE_MM - y_mm
