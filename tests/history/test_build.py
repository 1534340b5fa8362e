from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from shelves import day, oyster, patch, reading, refused

from jarvision.history.build import build_histories, build_history
from jarvision.history.linking import _overlap, area_sd_cm2, turned
from jarvision.history.pooling import seen_share
from jarvision.records import JarEntry, JarHistory, Patch
from jarvision.records.wall import radius_mm
from jarvision.settings.groups import Settings

LIMITS = Settings().tracking


def names(history: JarHistory) -> list[list[str]]:
    return [[p.patch for p in d.patches] for d in history.days]


def trends(history: JarHistory, name: str) -> list[str]:
    return [p.trend for d in history.days for p in d.patches if p.patch == name]


# --------------------------------------------------------------------------- days
def test_days_come_in_order_and_refused_photos_apart() -> None:
    shuffled = [reading(3, 30), refused(2), reading(1, 10), reading(2, 20)]
    history = build_history(shuffled, oyster())
    assert [d.day for d in history.days] == [day(1), day(2), day(3)]
    assert [r.reason for r in history.refused] == ["blurred"]


def test_readings_are_sorted_into_their_jars_and_strangers_are_unregistered() -> None:
    shelf = [reading(1, 10, jar="B"), reading(1, 20, jar="A"), reading(2, 30, jar="B")]
    lost = reading(1, 99, jar="")
    histories = build_histories([*shelf, lost], {"A": oyster(jar="A")})
    assert [(h.entry.jar, h.entry.registered, len(h.days)) for h in histories] == [
        ("A", True, 1),
        ("B", False, 2),
    ]


def test_two_photos_of_the_same_side_are_averaged_and_their_spread_widens_the_interval() -> None:
    twice = [reading(1, 60, half_width=2), reading(1, 64, half_width=2, photo="again.jpg")]
    pooled = build_history(twice, oyster()).days[0]
    assert pooled.views == 2
    assert pooled.coverage.percent == pytest.approx(62)
    assert (pooled.coverage.low, pooled.coverage.high) == (pytest.approx(58), pytest.approx(66))
    assert pooled.coverage.seen_percent == pytest.approx(90)


def test_sides_are_weighted_by_what_they_could_see() -> None:
    sides = [reading(1, 80, view="a", seen=90), reading(1, 50, view="c", seen=30)]
    pooled = build_history(sides, oyster()).days[0].coverage
    assert pooled.percent == pytest.approx((80 * 90 + 50 * 30) / 120)
    assert pooled.high - pooled.low == pytest.approx(4.0)  # one day's errors do not average out


@pytest.mark.parametrize(
    ("quarters", "degrees"), [([0], 120), ([0, 1], 210), ([0, 2], 240), ([0, 1, 2, 3], 360)]
)
def test_seen_share_is_the_union_of_the_views(quarters: list[int], degrees: float) -> None:
    assert seen_share(quarters, LIMITS) == pytest.approx(degrees / 360, abs=0.005)


def test_a_day_without_fill_height_has_none() -> None:
    history = build_history([reading(1, 10, fill_height_mm=None)], oyster())
    assert math.isnan(history.days[0].fill_height_mm)


# --------------------------------------------------------------------------- views of one day
def test_a_patch_on_the_edge_of_two_views_is_one_patch() -> None:
    # At 45 degrees in the front view; after a quarter turn that brings the right side to the
    # front it stands at 45 - 90 = -45 degrees.
    front = reading(1, 80, view="a", patches=[patch("green", 1.0, angle_deg=45)])
    right = reading(1, 80, view="b", patches=[patch("green", 1.4, angle_deg=-45)])
    patches = build_history([front, right], oyster()).days[0].patches
    assert len(patches) == 1
    assert patches[0].area_cm2 == pytest.approx(1.4)
    assert patches[0].angle_deg == pytest.approx(45)


def test_a_mould_that_only_one_of_two_photos_shows_is_kept() -> None:
    twice = [reading(1, 80, patches=[patch("green", 1.0)]), reading(1, 80, photo="again.jpg")]
    patches = build_history(twice, oyster()).days[0].patches
    assert [p.area_cm2 for p in patches] == [1.0]


# --------------------------------------------------------------------------- identity
def test_patches_keep_their_names_through_small_moves_and_a_turn_past_180_degrees() -> None:
    rng = np.random.default_rng(4)
    places = [(-40.0, 30.0), (10.0, 30.0), (50.0, 80.0), (179.0, 60.0)]
    readings = []
    for number in range(8):
        moved = [
            patch("bare", 2.0, (a + rng.normal(0, 2) + 180) % 360 - 180, h + rng.normal(0, 1))
            for a, h in places
        ]
        readings.append(reading(number, 80, patches=rng.permutation(np.array(moved, dtype=object))))
    history = build_history(readings, oyster())
    assert all(sorted(n) == ["bare-1", "bare-2", "bare-3", "bare-4"] for n in names(history))
    for name in names(history)[0]:
        angles = [p.angle_deg for d in history.days for p in d.patches if p.patch == name]
        assert np.ptp(np.unwrap(angles, period=360)) < 15


def test_the_reach_grows_with_skipped_days() -> None:
    step_deg = np.rad2deg(22.0 / LIMITS.wall_radius_mm)  # 22 mm along the wall, a 2.8 mm patch
    small = [patch("green", 0.25, 0.0)], [patch("green", 0.25, float(step_deg))]
    tomorrow = build_history(
        [reading(1, 80, patches=small[0]), reading(2, 80, patches=small[1])], oyster()
    )
    in_two_days = build_history(
        [reading(1, 80, patches=small[0]), reading(3, 80, patches=small[1])], oyster()
    )
    assert names(tomorrow) == [["green-1"], ["green-2"]]
    assert names(in_two_days) == [["green-1"], ["green-1"]]


def test_a_patch_missed_for_a_day_keeps_its_name() -> None:
    there = [patch("green", 0.5, 20)]
    history = build_history(
        [reading(1, 80, patches=there), reading(2, 80), reading(3, 80, patches=there)], oyster()
    )
    assert names(history) == [["green-1"], [], ["green-1"]]


@pytest.mark.parametrize(("days", "name"), [(7, "green-1"), (8, "green-2")])
def test_a_patch_that_was_not_seen_for_a_week_is_forgotten_after_it(days: int, name: str) -> None:
    there = [patch("green", 0.5, 20)]
    readings = [reading(1, 80, patches=there), reading(1 + days, 80, patches=there)]
    assert names(build_history(readings, oyster())) == [["green-1"], [name]]


def outlined(angle_deg: float, wide_mm: float, high_mm: float) -> Patch:
    """A bare rectangle about a height of 50 mm; its angles may run past 180 degrees."""
    half_deg = float(np.rad2deg(wide_mm / 2 / LIMITS.wall_radius_mm))
    corners = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    outline = tuple((angle_deg + x * half_deg, 50.0 + y * high_mm / 2) for x, y in corners)
    return Patch("bare", wide_mm * high_mm / 100, angle_deg, 50.0, 0.9, outline)


@pytest.mark.parametrize(
    ("one", "two"),
    [
        (outlined(0.0, 20.0, 20.0), outlined(13.0, 20.0, 20.0)),  # half of each: 10 of 30 mm
        (outlined(179.0, 20.0, 20.0), outlined(-168.0, 20.0, 20.0)),
        (outlined(-176.0, 20.0, 20.0), outlined(171.0, 20.0, 20.0)),
    ],
    ids=["in front", "across the back", "the other way round"],
)
def test_outlines_that_share_a_third_do_so_across_the_back_as_well(one: Patch, two: Patch) -> None:
    radius_mm = 20.0 / 2 / math.radians(13.0)  # 13 degrees are 10 mm
    scaled = [
        replace(
            p,
            outline=tuple(
                (p.angle_deg + (a - p.angle_deg) * LIMITS.wall_radius_mm / radius_mm, h)
                for a, h in p.outline
            ),
        )
        for p in (one, two)
    ]
    assert _overlap(*scaled, radius_mm) == pytest.approx(1 / 3, abs=0.04)


def test_outlines_beside_or_above_one_another_share_nothing() -> None:
    low, high, beside = outlined(0.0, 40.0, 8.0), outlined(0.0, 40.0, 8.0), outlined(80, 40.0, 8.0)
    high = replace(high, outline=tuple((a, h + 30.0) for a, h in high.outline))
    assert _overlap(low, high, LIMITS.wall_radius_mm) == 0.0
    assert _overlap(low, beside, LIMITS.wall_radius_mm) == 0.0
    assert _overlap(low, low, LIMITS.wall_radius_mm) == 1.0


@pytest.mark.parametrize(
    ("angle_deg", "by_deg", "found"),
    [(170.0, 30.0, -160.0), (-170.0, -30.0, 160.0), (10.0, 30.0, 40.0), (100.0, 80.0, -180.0)],
)
def test_a_turned_patch_takes_its_outline_along(
    angle_deg: float, by_deg: float, found: float
) -> None:
    before = outlined(angle_deg, 20.0, 10.0)
    after = turned(before, by_deg, up_mm=3.0)
    assert (after.angle_deg, after.height_mm) == pytest.approx((found, 53.0))
    for (a, h), (b, g) in zip(before.outline, after.outline, strict=True):
        assert (b - after.angle_deg, g) == pytest.approx((a - angle_deg, h + 3.0))


def test_a_colour_in_a_bare_patch_is_a_new_patch() -> None:
    history = build_history(
        [
            reading(1, 80, patches=[patch("bare", 2.0)]),
            reading(2, 80, patches=[patch("green", 2.0)]),
        ],
        oyster(),
    )
    assert names(history) == [["bare-1"], ["green-1"]]


# --------------------------------------------------------------------------- trend
def follow(areas: list[float], kind: str = "bare") -> list[str]:
    readings = [reading(i, 80, patches=[patch(kind, a)]) for i, a in enumerate(areas)]
    return trends(build_history(readings, oyster()), f"{kind}-1")


def test_a_front_of_two_mm_a_day_closes_a_patch() -> None:
    radii = [12.0, 10.0, 8.0, 6.0, 4.0]
    assert follow([math.pi * r**2 / 100 for r in radii])[1:] == ["closing"] * 4


def test_a_mould_that_doubles_grows() -> None:
    assert follow([0.5, 1.0, 2.0, 4.0], "green")[1:] == ["growing"] * 3


def test_the_first_sighting_is_new() -> None:
    assert follow([1.0])[0] == "new"


def test_noise_of_the_stated_size_is_seldom_called_a_change() -> None:
    rng = np.random.default_rng(7)
    told = [follow(list(2.0 + rng.normal(0, area_sd_cm2(2.0, LIMITS), 5)))[-1] for _ in range(300)]
    # Two one-sided 5 % tails: 10 % of 300 are 30, give or take 5.2.
    assert 300 - told.count("still") <= 30 + 3 * 5.2


def test_a_patch_seen_again_after_a_week_is_compared_with_its_last_sighting() -> None:
    history = build_history(
        [
            reading(0, 50, patches=[patch("bare", 9.0)]),
            reading(7, 90, patches=[patch("bare", 2.0)]),
        ],
        oyster(),
    )
    assert trends(history, "bare-1") == ["new", "closing"]


def test_radius_is_that_of_the_disc_of_equal_area() -> None:
    assert radius_mm(math.pi) == pytest.approx(10.0)


def test_an_empty_jar_has_no_days() -> None:
    assert build_history([], JarEntry("J9")).days == ()


def test_photos_of_one_date_share_a_day_whatever_the_hour() -> None:
    first = reading(1, 50)
    late = reading(1, 52, taken_at=first.taken_at + timedelta(hours=14), photo="late.jpg")
    assert len(build_history([first, late], oyster()).days) == 1
