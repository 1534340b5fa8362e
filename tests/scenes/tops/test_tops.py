"""Photos from above before they are rendered: what is drawn, against closed forms."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

pytest.importorskip("colour")

from tests.scenes.tops import bodies, caustics, droplets, sampler, series
from tests.scenes.tops.held import hold_above
from tests.scenes.tops.sheet import plain_sheet
from tests.scenes.tops.spec import Cap, Ground, Held, Mouth, TopClass, Water, moisture_of
from tests.scenes.tops.surface import surface_of

MOUTH = Mouth(inner_mm=60.0)


@pytest.fixture(scope="module")
def flat():
    return surface_of(Ground(seed=3, covered=0.6, lumps_mm=1.0), MOUTH, Water(pool=0.2))


def test_growth_covers_the_share_that_was_asked_for(flat):
    inside = flat.within(MOUTH)
    assert (flat.classes[inside] == TopClass.GROWTH).mean() == pytest.approx(0.6, abs=0.01)


def test_nothing_and_everything_can_be_covered():
    for share, kind in ((0.0, TopClass.BARE), (1.0, TopClass.GROWTH)):
        drawn = surface_of(Ground(seed=4, covered=share), MOUTH, Water())
        assert (drawn.classes[drawn.within(MOUTH)] == kind).mean() > 0.995


def test_surface_lies_as_deep_as_asked_and_a_pool_takes_its_share(flat):
    inside = flat.within(MOUTH)
    assert flat.z_mm[inside].mean() == pytest.approx(20.0, abs=1e-3)
    assert (flat.z_mm[inside] > flat.pool_z_mm).mean() == pytest.approx(0.2, abs=0.001)


def test_droplets_keep_apart_and_within_the_glass_and_out_of_the_pool(flat):
    water = Water(per_cm2=20.0, middle_mm=0.9, spread=0.3, most_mm=2.5, pool=0.2)
    drops = droplets.scatter(flat, water, MOUTH, seed=5)
    assert len(drops) > 100
    places = np.stack([drops.x_mm, drops.y_mm], axis=-1)
    gap = np.linalg.norm(places[:, None] - places[None], axis=-1)
    touching = (drops.diameter_mm[:, None] + drops.diameter_mm[None]) / 2.0
    np.fill_diagonal(gap, np.inf)
    assert (gap > touching).all()
    assert (np.hypot(*places.T) + drops.diameter_mm / 2.0 < MOUTH.radius_mm).all()
    assert (drops.z_mm < flat.pool_z_mm).all()


def test_droplet_mesh_has_the_height_and_width_that_the_record_says():
    one = droplets.Drops(*(np.array([v]) for v in (3.0, -2.0, 10.0, 1.6, 0.6, 1.0)))
    mesh = droplets.dome_mesh(one)
    assert mesh.points[:, 2].min() == pytest.approx(10.0 - 0.6)
    assert np.ptp(mesh.points[:, 0]) == pytest.approx(1.6, rel=1e-6)
    assert (mesh.normals[mesh.points[:, 2] < 9.5, 2] < 0.0).all()  # up is -z


@pytest.mark.parametrize(
    ("per_cm2", "mean_mm", "pool", "word"),
    [(0.0, None, 0.0, "dry"), (1.9, 0.4, 0.0, "dry"), (2.0, 0.4, 0.0, "moist"),
     (3.0, 1.0, 0.019, "wet"), (0.9, 1.5, 0.0, "dry"), (0.0, None, 0.02, "standing water")],
)  # fmt: skip
def test_moisture_by_its_limits(per_cm2, mean_mm, pool, word):
    assert moisture_of(per_cm2=per_cm2, mean_mm=mean_mm, pool_share=pool) == word


@pytest.mark.parametrize("flattening", [0.0, 0.4, 1.0, 1.25])
def test_flattening_is_what_the_cap_shows(flattening):
    """1 less the middle's height over the edge, in radii: half sphere 0, plate 1, dish above."""
    middle, edge = bodies.cap_height(np.array([0.0, 1.0]), flattening)
    assert 1.0 - (middle - edge) == pytest.approx(flattening)


def test_a_cap_without_waves_is_as_wide_as_its_record_however_it_leans():
    cap = Cap(0.0, 0.0, 4.0, -3.0, -20.0, 37.0, 0.6, tilt_deg=33.0, tilt_to_deg=70.0, wave=0.0)
    assert bodies.widest_mm(cap) == pytest.approx(37.0, rel=1e-4)
    ragged = replace(cap, wave=0.08)
    assert 37.0 < bodies.widest_mm(ragged) < 37.0 * 1.25


@pytest.mark.parametrize("off_deg", [0.0, 25.0, 50.0])
def test_a_droplet_gathers_light_and_loses_only_what_it_mirrors(off_deg):
    """All light that meets the dome lands within its foot, but for the share by Fresnel."""
    off = np.deg2rad(off_deg)
    light = caustics.stamp(np.array([np.sin(off), 0.0, np.cos(off)]))
    axis = (np.arange(caustics.BINS) + 0.5) / caustics.BINS * 2 * caustics.REACH - caustics.REACH
    inside = np.hypot(axis[None], axis[:, None]) < 0.8
    assert light[inside].mean() > 1.1
    corner = np.hypot(axis[None] - 1.4, axis[:, None] - 1.4) < 0.2  # towards the lamp: untouched
    assert light[corner].mean() == pytest.approx(1.0, abs=0.02)
    if off_deg == 0.0:  # nothing is thrown aside: 2 to 10 % of the dome's share is mirrored away
        lost = (1.0 - light.mean()) * (2.0 * caustics.REACH) ** 2 / np.pi
        assert 0.02 < lost < 0.10


def test_the_sheet_is_in_the_frame_at_zoom_1_and_cut_off_beyond():
    corners = plain_sheet().corners_mm - [80.0, 80.0, -3.0]
    for zoom, whole in ((1.0, True), (1.4, False)):
        held = Held(distance_mm=320.0, lean_deg=14.0, lean_to_deg=40.0, turn_deg=8.0, zoom=zoom)
        eye = hold_above(held, corners, width=900, height=1200)
        to_world = np.array([[1, 0, 0], [0, 0, 1], [0, -1, 0]])
        at = eye.project(corners @ to_world.T)
        assert ((at >= 0).all() and (at <= [899, 1199]).all()) == whole


def test_phone_stands_where_it_was_asked_to():
    held = Held(distance_mm=300.0, lean_deg=12.0, lean_to_deg=90.0)
    eye = hold_above(held, plain_sheet().corners_mm - 80.0, width=90, height=120)
    centre = eye.centre[[0, 2, 1]] * [1, -1, 1]
    assert np.linalg.norm(centre) == pytest.approx(300.0)
    assert np.rad2deg(np.arccos(-centre[2] / 300.0)) == pytest.approx(12.0)
    assert centre[1] > 0


def test_contents_left_out_come_with_judging_seeds_alone():
    def drawn(first):
        return [sampler.random_top(seed).ground.contents for seed in range(first, first + 300)]

    for first in (sampler.TRAINING_FROM, sampler.TUNING_FROM):
        assert not set(drawn(first)) & set(sampler.LEFT_OUT)
    judged = drawn(sampler.JUDGING_FROM)
    share = np.mean([name in sampler.LEFT_OUT for name in judged])
    assert 0.17 < share < 0.33
    assert set(sampler.LEFT_OUT) <= set(judged)


def test_good_photos_keep_the_limits_and_every_fault_is_drawn():
    specs = [sampler.random_top(seed) for seed in range(7_000_000, 7_000_400)]
    good = [spec for spec in specs if spec.fault is None]
    assert {spec.fault for spec in specs} == {None, *sampler.FAULTS}
    for spec in good:
        assert spec.held.lean_deg < 20.0
        assert 250.0 <= spec.held.distance_mm <= 450.0
        assert not spec.hood.on
        assert 5.0 <= spec.ground.depth_mm <= 40.0
        assert spec.mouth.outer_mm <= 92.1
        whole = sum(lamp.share for lamp in spec.lamps) + spec.room.ambient_share
        assert whole == pytest.approx(1.0)


def test_an_unknown_fault_is_told():
    with pytest.raises(ValueError, match="no fault is called 'upside down'"):
        sampler.spoiled(sampler.random_top(1), "upside down", np.random.default_rng(1))


def test_a_series_grows_until_it_is_cut_and_tells_the_stages_in_their_order():
    order = ["recovering", "ready", "dry", "moist", "wet", "pinning", "hood-off", "growing",
             "harvest-today", "resting"]  # fmt: skip
    seen = set()
    for seed in range(12):
        jar = series.fruiting_series(seed)
        for before, after in pairwise(jar.days):
            assert after.covered_share >= before.covered_share
            same = before.flush == after.flush and after.stage != "resting"
            if same and before.largest_cap_mm > 0:
                assert after.largest_cap_mm >= before.largest_cap_mm
            if before.flush == after.flush and before.stage in order[5:9]:
                assert order.index(after.stage) >= order.index(before.stage)
        seen |= {day.stage for day in jar.days}
        for flush in jar.flushes:
            after_it = flush.cut_day + 1
            flattest = max(body.flattening(after_it) for body in flush.bodies)
            assert flattest >= series.FLAT_FROM
            assert jar.flush_on(flush.cut_day)[1] is None
    assert seen == set(order)


def test_a_body_follows_gompertz():
    """Zwietering and others 1990: at the lag plus A / (m e) days the curve stands at A / e."""
    adult = Cap(0, 0, 0, 0, -10.0, 40.0, 1.0)
    body = series.Body(adult, born_day=2.0, lag_days=3.0, mm_per_day=6.0, aborts=False)
    turning = 2.0 + 3.0 + 40.0 / (6.0 * np.e)
    assert body.width_mm(turning) == pytest.approx(40.0 / np.e)
    step = 1e-4
    slope = (body.width_mm(turning + step) - body.width_mm(turning - step)) / (2 * step)
    assert slope == pytest.approx(6.0, rel=1e-4)
    assert body.width_mm(100.0) == pytest.approx(40.0)


def test_a_days_scene_has_that_days_fruit():
    jar = series.fruiting_series(5)
    day = next(d for d in jar.days if d.stage == "growing")
    scene = jar.scene(day.day)
    assert len(scene.fruit.caps) == day.caps
    assert max(cap.diameter_mm for cap in scene.fruit.caps) == day.largest_cap_mm
    assert scene.ground.covered == day.covered_share


def test_photos_to_learn_from_are_never_spoiled_and_show_no_contents_left_out():
    for seed in range(sampler.TRAINING_FROM, sampler.TRAINING_FROM + 24):
        spec = sampler.practice_top(seed)
        assert spec.fault is None and not spec.hood.on
        assert spec.ground.contents not in sampler.LEFT_OUT
        assert spec.mouth == sampler.random_top(seed).mouth
