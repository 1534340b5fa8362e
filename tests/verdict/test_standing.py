"""A nearly full wall on which three areas keep their places was not turned."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest
from judging import healthy
from shelves import oyster, patch

from jarvision.growth.forecast import fit_growth
from jarvision.history.build import build_history
from jarvision.records import JarDay, Patch
from jarvision.register.species import find_profile
from jarvision.verdict.decide import decide

SPOTTED = 12
DAYS = 18
GREEN = patch("green", 0.6, 0, 40)
AREAS = (patch("bare", 0.3, -30, 60), patch("bare", 0.4, 20, 20), patch("stain", 0.3, 35, 70))
RADIUS_MM = 45.0
"""That of a wall whose photos tell none."""


def moved(areas: Sequence[Patch], around_mm: float, up_mm: float = 0.0) -> tuple[Patch, ...]:
    turn = float(np.rad2deg(around_mm / RADIUS_MM))
    return tuple(
        replace(p, angle_deg=p.angle_deg + turn, height_mm=p.height_mm + up_mm) for p in areas
    )


def verdict_of(
    later: Mapping[int, Sequence[Patch]],
    *,
    absent: Mapping[int, int] | None = None,
    before: Sequence[Patch] = AREAS,
    spot: Patch = GREEN,
) -> str:
    """The verdict where a spot was seen once; ``later``: what other areas some days showed since.

    ``absent``: on how many days its place had been seen without it by then; else on all since.
    """
    readings = healthy(DAYS).readings()
    readings[SPOTTED] = replace(readings[SPOTTED], patches=(spot, *before))
    for number, areas in later.items():
        readings[number] = replace(readings[number], patches=tuple(areas))
    history = build_history(readings, oyster())
    without = absent or {n: n - SPOTTED for n in range(SPOTTED + 1, DAYS)}
    days: list[JarDay] = [
        replace(day, absent={"green-1": without[n]} if n in without else {})
        for n, day in enumerate(history.days)
    ]
    history = replace(history, days=tuple(days))
    profile, today = find_profile("oyster"), days[-1].day
    growth = fit_growth(history, profile, today=today)
    return decide(history, growth, profile, today=today)[0].verdict


def test_a_spot_is_gone_once_two_days_show_its_place_without_it_and_three_areas_in_place() -> None:
    assert verdict_of({13: AREAS, 14: AREAS}) == "go"
    assert verdict_of({13: AREAS, 15: AREAS}) == "go"
    assert verdict_of({13: AREAS}) == "check"
    assert verdict_of({}) == "check"  # a white wall does not tell whether the jar was turned


def test_areas_are_compared_with_those_of_the_day_on_which_the_spot_was_seen_last() -> None:
    small = replace(GREEN, area_cm2=0.2)
    for before, verdict in (((*AREAS, small), "go"), ((small,), "check")):
        found = verdict_of(
            {11: (*AREAS, small), 13: AREAS, 14: AREAS}, before=before[:-1], spot=small
        )
        assert found == verdict


def test_a_careless_turn_moves_all_areas_alike() -> None:
    turned = moved(AREAS, 6.0, 1.0)
    assert verdict_of({13: turned, 14: turned}) == "go"


@pytest.mark.parametrize(("off_mm", "verdict"), [(1.9, "go"), (2.1, "check")])
@pytest.mark.parametrize("way", [(1.0, 0.0), (0.0, -1.0)])
def test_an_area_that_lies_elsewhere_does_not_count(
    way: tuple[float, float], off_mm: float, verdict: str
) -> None:
    other = (*AREAS[:2], *moved(AREAS[2:], way[0] * off_mm, way[1] * off_mm))
    assert verdict_of({13: other, 14: other}) == verdict


def test_two_areas_are_too_few_and_a_fourth_may_have_moved() -> None:
    assert verdict_of({13: AREAS[:2], 14: AREAS[:2]}, before=AREAS[:2]) == "check"
    assert verdict_of({13: AREAS, 14: AREAS}, before=AREAS[:2]) == "check"
    four = (*AREAS, patch("bare", 0.3, -40, 20))
    other = (*AREAS, *moved(four[3:], 5.0))
    assert verdict_of({13: other, 14: other}, before=four) == "go"


def test_days_on_which_the_place_of_the_spot_was_not_seen_do_not_count() -> None:
    in_place = {13: AREAS, 14: AREAS, 15: AREAS}
    assert verdict_of(in_place, absent={13: 1, 14: 1, 15: 1, 17: 1}) == "check"
    assert verdict_of(in_place, absent={13: 1, 14: 1, 15: 2, 17: 2}) == "go"


def test_a_large_spot_is_never_forgotten_whatever_keeps_its_place() -> None:
    large = replace(GREEN, area_cm2=2.0)
    assert verdict_of({13: AREAS, 14: AREAS}, spot=large) == "check"


def test_areas_of_odd_colours_are_no_landmarks() -> None:
    odd = (patch("black", 0.04, -35, 20),)
    both = (*AREAS[:2], *odd)
    assert verdict_of({13: both, 14: both}, before=both) == "check"
