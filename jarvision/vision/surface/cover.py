"""Surface picture -> what covers it, by the networks that read the wall.

A surface laid flat looks to them like a piece of wall that is nowhere in particular: straight
before the camera, at a middling height, no glass in front.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from jarvision.records import (
    Coverage,
    Patch,
    Photo,
    RawWall,
    SurfacePatch,
    Tissue,
    TissueClass,
    Wall,
)
from jarvision.records.mouth import SurfacePicture
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.jar.unroll import burnt_out
from jarvision.vision.tissue.coverage import measure_coverage
from jarvision.vision.tissue.evidence import weigh_evidence
from jarvision.vision.tissue.experts import consult
from jarvision.vision.tissue.inputs import network_inputs
from jarvision.vision.tissue.network import MULTIPLE, run_network
from jarvision.vision.tissue.patches import find_patches

_RADIUS_MM: Final = 1000.0
"""So wide a wall is flat."""

_MIDDLE_MM: Final = 60.0
"""Height on a wall at which its middle is taken to lie."""


@dataclass(frozen=True)
class SurfaceFigures:
    """What covers the surface.

    Attributes
    ----------
    wall, tissue
        The surface as a piece of wall and what stands at its places, ``(n, n)``.
    coverage
        Of the surface within the mouth.
    wall_patches
        Areas of one kind on that wall.
    """

    wall: Wall
    tissue: Tissue
    coverage: Coverage
    wall_patches: tuple[Patch, ...]

    @property
    def patches(self) -> tuple[SurfacePatch, ...]:
        """The patches in the surface frame."""
        return tuple(map(_flat, self.wall_patches))


def read_cover(
    picture: SurfacePicture, photo: Photo, *, settings: PhotoSettings, colour_de00: float,
    tint_ratio: float,
) -> SurfaceFigures:  # fmt: skip
    """Say what stands at every place of the surface, and how much of it is covered."""
    raw = as_wall(picture)
    burnt = burnt_out(raw, photo, settings=settings.masks)
    channels = network_inputs(raw, burnt, multiple=MULTIPLE)
    rows, cols = burnt.shape
    first = run_network("specialist", channels)[:, :rows, :cols]
    seen = consult(raw, channels, first, picture.within, bare=None)
    said = seen.seen
    classes = said.best.copy()
    plain = (classes == TissueClass.BARE) | (classes == TissueClass.MYCELIUM)
    grown = said.covered >= 0.5
    classes[plain] = np.where(grown[plain], TissueClass.MYCELIUM, TissueClass.BARE)
    certainty = np.where(
        plain, said.plain * np.where(grown, said.covered, 1 - said.covered), said.share
    )
    classes[~picture.seen] = TissueClass.UNJUDGED
    classes[~picture.within] = TissueClass.OUTSIDE
    wall = Wall(
        linear=raw.linear,
        angles_deg=raw.angles_deg,
        heights_mm=raw.heights_mm,
        radius_mm=raw.radius_mm,
        pixels=raw.pixels,
        filled=picture.within,
        judged=classes > TissueClass.UNJUDGED,
    )
    tissue = weigh_evidence(
        wall,
        Tissue(
            classes=classes,
            opacity=np.where(picture.within, said.opacity, np.float32(0.0)),
            covered=np.where(picture.within, said.covered, np.float32(0.0)),
            certainty=certainty.astype(np.float32),
            caps=said.caps,
            novelty=seen.novelty,
            forecast_points=seen.forecast_points,
            dispute_points=seen.dispute_points,
        ),
        settings=settings.evidence,
    )
    coverage = measure_coverage(
        wall, tissue, settings=settings.coverage, colour_de00=colour_de00, tint_ratio=tint_ratio
    )
    coverage = _widened(coverage, settings.surface.cover_points)
    most = settings.surface.patch_confidence_max
    patches = tuple(
        replace(patch, confidence=min(patch.confidence, most))
        for patch in find_patches(wall, tissue)
    )
    return SurfaceFigures(wall, tissue, coverage, patches)


def _widened(coverage: Coverage, points: float) -> Coverage:
    """The same with so many points more of doubt, in quadrature."""
    down, up = coverage.percent - coverage.low, coverage.high - coverage.percent
    return replace(
        coverage,
        low=max(0.0, coverage.percent - math.hypot(down, points)),
        high=min(100.0, coverage.percent + math.hypot(up, points)),
    )


def as_wall(picture: SurfacePicture) -> RawWall:
    """The surface as a piece of a very wide jar's wall, its top where the picture's is."""
    axis = picture.axis
    return RawWall(
        linear=picture.linear,
        angles_deg=np.rad2deg(axis / _RADIUS_MM),
        heights_mm=_MIDDLE_MM - axis,
        radius_mm=_RADIUS_MM,
        pixels=np.ascontiguousarray(picture.pixels),
    )


def _flat(patch: Patch) -> SurfacePatch:
    """A patch of that wall in the surface frame."""
    outline = tuple(_place(angle, height) for angle, height in patch.outline)
    x, y = _place(patch.angle_deg, patch.height_mm)
    return SurfacePatch(patch.kind, patch.area_cm2, x, y, patch.confidence, outline)


def _place(angle_deg: float, height_mm: float) -> tuple[float, float]:
    return float(np.deg2rad(angle_deg)) * _RADIUS_MM, _MIDDLE_MM - height_mm
