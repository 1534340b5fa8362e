"""Patches: areas, places and outlines of shapes that were drawn on a wall."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from walls import CELL_MM, RADIUS_MM, flat_wall, tissue_of

from jarvision.records import Patch, TissueClass
from jarvision.vision.tissue.patches import KIND_OF_CLASS, MIN_AREA_CM2, find_patches

SHAPE = (320, 320)


def discs(*drawn: tuple[float, float, float, TissueClass]) -> np.ndarray:
    """Covered wall with discs on it: angle (deg), height (mm), radius (mm), class."""
    classes = np.full(SHAPE, TissueClass.MYCELIUM, dtype=np.uint8)
    wall = flat_wall(classes)
    along, up = np.meshgrid(np.deg2rad(wall.angles_deg) * RADIUS_MM, wall.heights_mm)
    for angle, height, radius, kind in drawn:
        at = np.deg2rad(angle) * RADIUS_MM
        classes[np.hypot(along - at, up - height) < radius] = kind
    return classes


def patches_of(classes: np.ndarray) -> tuple[Patch, ...]:
    return find_patches(flat_wall(classes), tissue_of(classes))


@pytest.mark.parametrize("angle_deg", [-40.0, 0.0, 33.0])
@pytest.mark.parametrize("radius_mm", [4.0, 9.0])
def test_a_disc_has_its_area_and_its_place_wherever_it_stands(
    angle_deg: float, radius_mm: float
) -> None:
    (patch,) = patches_of(discs((angle_deg, 41.0, radius_mm, TissueClass.BARE)))
    assert patch.area_cm2 == pytest.approx(np.pi * radius_mm**2 / 100.0, rel=0.02)
    assert patch.angle_deg == pytest.approx(angle_deg, abs=0.2)
    assert patch.height_mm == pytest.approx(41.0, abs=0.15)


@pytest.mark.parametrize(("tissue_class", "kind"), KIND_OF_CLASS.items())
def test_each_class_has_its_kind(tissue_class: TissueClass, kind: str) -> None:
    (patch,) = patches_of(discs((0.0, 40.0, 6.0, tissue_class)))
    assert patch.kind == kind


def test_growth_empty_glass_and_unjudged_wall_are_no_patches() -> None:
    classes = discs((0.0, 60.0, 8.0, TissueClass.UNJUDGED))
    classes[:40] = TissueClass.OUTSIDE
    assert patches_of(classes) == ()


def test_areas_come_largest_first_and_small_ones_not_at_all() -> None:
    small_mm = 0.9 * np.sqrt(MIN_AREA_CM2 * 100.0 / np.pi)
    found = patches_of(
        discs(
            (-30.0, 20.0, 4.0, TissueClass.BARE),
            (10.0, 20.0, 8.0, TissueClass.BARE),
            (-30.0, 60.0, small_mm, TissueClass.BARE),
            (30.0, 60.0, 6.0, TissueClass.BARE),
        )
    )
    assert [round(p.angle_deg) for p in found] == [10, 30, -30]


def test_a_bridge_as_thin_as_a_hair_does_not_join_two_areas() -> None:
    classes = discs((-15.0, 40.0, 6.0, TissueClass.BARE), (15.0, 40.0, 6.0, TissueClass.BARE))
    row = round((SHAPE[0] * CELL_MM - 40.0) / CELL_MM)
    classes[row : row + 2, 120:200] = TissueClass.BARE  # half a millimetre
    assert len(patches_of(classes)) == 2
    classes[row - 6 : row + 6, 120:200] = TissueClass.BARE  # three millimetres
    assert len(patches_of(classes)) == 1


def test_the_outline_encloses_the_area_that_is_told() -> None:
    (patch,) = patches_of(discs((12.0, 40.0, 10.0, TissueClass.GREEN)))
    angles, heights = np.array(patch.outline).T
    along = np.deg2rad(angles) * RADIUS_MM
    shoelace = 0.5 * abs(np.dot(along, np.roll(heights, 1)) - np.dot(heights, np.roll(along, 1)))
    assert shoelace / 100.0 == pytest.approx(patch.area_cm2, rel=0.08)
    assert len(patch.outline) <= 20  # to a cell and a half: 250 places lie on it


def test_a_patch_is_as_sure_as_its_places_are_on_average() -> None:
    classes = discs((0.0, 40.0, 8.0, TissueClass.BARE), (30.0, 40.0, 8.0, TissueClass.GREEN))
    certainty = np.where(classes == TissueClass.BARE, 0.6, 0.9).astype(np.float32)
    certainty[:, ::2] += np.float32(0.1)
    tissue = replace(tissue_of(classes), certainty=certainty)
    found = {p.kind: p.confidence for p in find_patches(flat_wall(classes), tissue)}
    assert found["bare"] == pytest.approx(0.65, abs=0.01)
    assert found["green"] == pytest.approx(0.95, abs=0.01)


@pytest.mark.parametrize(("gap_mm", "count"), [(4.0, 1), (5.0, 2)])
def test_pieces_within_a_kernel_of_one_another_are_one_area(gap_mm: float, count: int) -> None:
    classes = np.full(SHAPE, TissueClass.MYCELIUM, dtype=np.uint8)
    gap = round(gap_mm / CELL_MM)
    classes[100:140, 80:120] = classes[100:140, 120 + gap : 160 + gap] = TissueClass.BARE
    found = patches_of(classes)
    assert len(found) == count
    assert sum(p.area_cm2 for p in found) == pytest.approx(2.0, rel=0.01)  # the gap is no part


def test_an_outline_goes_along_the_outermost_places() -> None:
    classes = np.full(SHAPE, TissueClass.MYCELIUM, dtype=np.uint8)
    classes[100:140, 80:150] = TissueClass.GREEN
    (patch,) = patches_of(classes)
    wall = flat_wall(classes)
    angles, heights = np.array(patch.outline).T
    assert (angles.min(), angles.max()) == (wall.angles_deg[80], wall.angles_deg[149])
    assert (heights.max(), heights.min()) == (wall.heights_mm[100], wall.heights_mm[139])
    assert len(patch.outline) <= 8


@pytest.mark.parametrize("corner", ["top left", "foot right"])
def test_areas_at_the_ends_of_the_wall_are_whole(corner: str) -> None:
    classes = np.full(SHAPE, TissueClass.MYCELIUM, dtype=np.uint8)
    there = np.s_[:40, :60] if corner == "top left" else np.s_[-40:, -60:]
    classes[there] = TissueClass.BARE
    (patch,) = patches_of(classes)
    wall = flat_wall(classes)
    assert patch.area_cm2 == pytest.approx(40 * 60 * CELL_MM**2 / 100, rel=0.01)
    assert patch.angle_deg == pytest.approx(wall.angles_deg[there[1]].mean(), abs=0.05)
    assert patch.height_mm == pytest.approx(wall.heights_mm[there[0]].mean(), abs=0.05)


@pytest.mark.parametrize(("side", "count"), [(19, 0), (21, 1)])
def test_the_smallest_area_is_a_quarter_of_a_square_centimetre(side: int, count: int) -> None:
    classes = np.full(SHAPE, TissueClass.MYCELIUM, dtype=np.uint8)
    classes[100 : 100 + side, 100 : 100 + side] = TissueClass.BARE  # 20 cells: 0.25 cm2
    assert len(patches_of(classes)) == count
