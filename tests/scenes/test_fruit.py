"""Fruit bodies of the drawn jars: caps at the glass and bodies above the contents, with truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from jarvision.records import TissueClass
from tests.scenes.anomalies import Pins, StandingPins
from tests.scenes.contents import JarRecipe, WallPaint, paint
from tests.scenes.fruit import colours, standing
from tests.scenes.glass import profiles
from tests.scenes.meshes import JarFrame, MeshData
from tests.scenes.spec import Jar
from tests.scenes.suite import (
    HALF_GROWN_SEEDS,
    HARD_SEEDS,
    PIN_SEEDS,
    SUITE_RANGES,
    half_grown_jar,
    hard_jar,
    pin_jar,
)
from tests.scenes.textures import lab_to_linear

SMALL = JarRecipe(4, radius_mm=25.0, height_mm=70.0, fill_mm=42.0, cell_mm=0.5)
FACING = JarFrame.facing(axis_x=0.0, axis_z=0.0, floor_y=0.0, camera=np.array([0.0, -30.0, -400.0]))


def with_event(event: Pins | StandingPins, *, day: float = 20.0) -> WallPaint:
    return paint(replace(SMALL, events=(event,)), day=day)


def mesh_of(wall: WallPaint) -> MeshData:
    return standing(FACING, wall, profiles(Jar(), radius_mm=25.0, wall_mm=70.0))


def test_caps_at_the_glass_are_mycelium_and_have_the_area_of_their_ellipses() -> None:
    cap_mm = 3.0
    wall = with_event(Pins(from_day=2.0, height_mm=25.0, count=1, cap_mm=(cap_mm, cap_mm)))
    assert (wall.classes[wall.pins] == TissueClass.MYCELIUM).all()
    area_mm2 = np.count_nonzero(wall.pins) * wall.cell_cm2 * 100.0
    half_axes = 0.75 * cap_mm * 0.92, 0.55 * cap_mm * 0.92
    assert area_mm2 == pytest.approx(np.pi * half_axes[0] * half_axes[1], rel=0.06)


def test_there_are_no_pins_before_their_day() -> None:
    early = with_event(Pins(from_day=25.0), day=20.0), with_event(StandingPins(from_day=25.0))
    assert not any(wall.pins.any() or wall.standing for wall in early)


def test_bodies_stand_on_the_contents_inside_the_glass() -> None:
    wall = with_event(StandingPins(count=8, back_mm=6.0, spread_deg=40.0))
    assert len(wall.standing) == 8
    assert not wall.pins.any()
    points = mesh_of(wall).points
    _, heights = FACING.cylinder(points)
    radii = np.hypot(points[:, 0], points[:, 2])
    assert radii.max() < 25.0
    lowest = wall.fill_height_mm.min()
    assert heights.min() > lowest - 2.0
    tallest = max(body.tall_mm for body in wall.standing)
    assert heights.max() <= wall.fill_height_mm.max() + tallest + 0.01


def test_normals_of_a_body_point_outwards() -> None:
    wall = with_event(StandingPins(count=1, spread_deg=0.0, back_mm=0.0))
    mesh = mesh_of(wall)
    axis = mesh.points.mean(axis=0)
    sideways = (mesh.points - axis)[:, [0, 2]]
    assert np.mean(np.sum(sideways * mesh.normals[:, [0, 2]], axis=1) > 0.0) > 0.8


def test_without_bodies_the_mesh_is_out_of_sight() -> None:
    plain = paint(SMALL, day=5.0)
    assert plain.standing == ()
    assert FACING.cylinder(mesh_of(plain).points)[1].max() < -1000.0
    assert colours(plain).shape == (8, 2, 3)


def test_stalk_and_cap_have_their_colours() -> None:
    wall = with_event(StandingPins(cap_lab=(45.0, 7.0, 17.0), stalk_lab=(88.0, 0.0, 6.0)))
    picture = colours(wall)
    np.testing.assert_allclose(picture[0, 0], lab_to_linear(np.array([88.0, 0.0, 6.0])), rtol=1e-5)
    np.testing.assert_allclose(
        picture[-1, 0], lab_to_linear(np.array([45.0, 7.0, 17.0])), rtol=1e-5
    )


def test_suites_never_share_a_seed() -> None:
    seeds = [seed for suite in SUITE_RANGES for seed in suite]
    assert len(seeds) == len(set(seeds))
    assert PIN_SEEDS in SUITE_RANGES
    assert HARD_SEEDS in SUITE_RANGES
    assert HALF_GROWN_SEEDS in SUITE_RANGES


@pytest.mark.parametrize("seed", PIN_SEEDS[:12])
def test_a_pin_jar_has_pins_and_the_same_every_time(seed: int) -> None:
    jar = pin_jar(seed)
    assert jar == pin_jar(seed)
    assert any(isinstance(event, Pins | StandingPins) for event in jar.recipe.events)


def test_hard_jars_are_of_many_kinds() -> None:
    faults = {hard_jar(seed).fault for seed in HARD_SEEDS[:120]}
    assert {"pins", "pale", "thin", "stain", "wet", "mould"} <= faults


def test_half_grown_jars_are_of_many_kinds_and_the_same_every_time() -> None:
    jars = [half_grown_jar(seed) for seed in HALF_GROWN_SEEDS[:120]]
    assert jars == [half_grown_jar(seed) for seed in HALF_GROWN_SEEDS[:120]]
    assert {"skin", "stain", "thin", "pale", "mould", "wet", "pins"} <= {j.fault for j in jars}
