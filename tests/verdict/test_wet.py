"""Wet contents that the white closes over, and rot at which it stops: each limit from both sides.

A jar of oyster has 21 days to fill, so that half its pace is 2.4 points a day; 6 cm2 of wet end it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from judging import with_patches
from shelves import Story, day, kjma, oyster, patch, reading

from jarvision.growth.forecast import fit_growth
from jarvision.history.build import build_history
from jarvision.records import Growth, Verdict
from jarvision.records.settling import what_settles
from jarvision.records.wording import PLAIN
from jarvision.register.looks import SeenFine
from jarvision.register.species import find_profile
from jarvision.verdict.decide import decide
from jarvision.verdict.settled import looks_at

GROWING = ("check", "wet_in_growth")
ROT = ("no-go", "wet")
LOOKED_AT = ("check", "wet")


def verdict_of(
    percents: Mapping[int, float],
    wets: Mapping[int, float],
    *,
    turned: int | None = None,
    looks: tuple[SeenFine, ...] = (),
) -> Verdict:
    """A jar with a wet foot of so many cm2 on some days, covered so far on each."""
    areas = {n: [patch("wet", wets[n], 0, 6)] if n in wets else [] for n in percents}
    readings = [reading(n, p, patches=areas[n]) for n, p in percents.items()]
    history = build_history(readings, oyster())
    days = tuple(
        replace(one, together=None, turned_away=number == turned)
        for number, one in zip(percents, history.days, strict=True)
    )
    profile = find_profile("oyster")
    told = replace(history, days=days)
    return decide(told, Growth("logistic"), profile, today=days[-1].day, looks=looks)[0]


def said(
    percents: Mapping[int, float], wets: Mapping[int, float], turned: int | None = None
) -> tuple[str, str]:
    """The verdict that the wet area asks for, and its finding."""
    findings = verdict_of(percents, wets, turned=turned).findings
    (found,) = (f for f in findings if f.flag == "wet")
    return str(found.verdict), found.word


def rising(gain: float, days: int, start: float = 20.0) -> dict[int, float]:
    return {n: start + gain * n for n in range(days)}


# --------------------------------------------------------------------------- while growth goes on
def test_wet_contents_that_the_white_closes_over_are_looked_at() -> None:
    """A healthy jar: large wet areas on two photos, then a small one, while the wall fills."""
    percents = {0: 44.5, 2: 54.0, 5: 68.0, 7: 77.5, 10: 88.5}
    wets = {5: 9.9, 7: 9.6, 10: 0.7}
    until = {n: {k: v for k, v in percents.items() if k <= n} for n in wets}
    told = {n: said(until[n], {k: v for k, v in wets.items() if k <= n}) for n in wets}
    assert told == {5: GROWING, 7: GROWING, 10: LOOKED_AT}


@pytest.mark.parametrize(("gain", "told"), [(2.3, ROT), (2.4, GROWING), (0.0, ROT), (-5.0, ROT)])
def test_the_wall_must_fill_at_half_the_pace_of_its_species(
    gain: float, told: tuple[str, str]
) -> None:
    assert said(rising(gain, 5), {4: 9.0}) == told


@pytest.mark.parametrize(("days", "told"), [([0, 1], ROT), ([0, 2], GROWING), ([2], ROT)])
def test_a_gain_is_one_of_two_days(days: list[int], told: tuple[str, str]) -> None:
    assert said({n: 20.0 + 8.0 * n for n in days}, {days[-1]: 9.0}) == told


def test_the_days_together_tell_the_gain_too() -> None:
    """Readings that only seem to rise: the smaller gain of the two counts."""
    percents = kjma(np.arange(9.0), t95=12.0)
    percents[6:] = percents[5]
    readings = with_patches(Story(percents, noise=0.1), [patch("wet", 9.0, 0, 6)], since=8)
    history = build_history(readings, oyster())
    lucky = replace(history.days[-1].coverage, percent=percents[5] + 9.0)
    days = (*history.days[:-1], replace(history.days[-1], coverage=lucky))
    profile = find_profile("oyster")
    growth = fit_growth(history, profile, today=day(8))
    verdict, _ = decide(replace(history, days=days), growth, profile, today=day(8))
    assert ROT in [(f.verdict, f.word) for f in verdict.findings]


@pytest.mark.parametrize(("last", "told"), [(94.9, GROWING), (95.0, ROT)])
def test_on_a_wall_full_enough_for_use_large_wet_ends_the_jar(
    last: float, told: tuple[str, str]
) -> None:
    assert said({0: 60.0, 2: 75.0, 4: last}, {4: 9.0}) == told


@pytest.mark.parametrize(("turned", "told"), [(None, GROWING), (4, ROT), (3, ROT), (2, GROWING)])
def test_another_side_tells_no_gain(turned: int | None, told: tuple[str, str]) -> None:
    assert said(rising(6.0, 5), {4: 9.0}, turned) == told


# --------------------------------------------------------------------------- rot
@pytest.mark.parametrize(("now", "told"), [(8.4, GROWING), (8.5, ROT), (14.0, ROT)])
def test_wet_that_grows_ends_the_jar(now: float, told: tuple[str, str]) -> None:
    assert said(rising(6.0, 6), {4: 7.0, 5: now}) == told


def test_wet_that_was_small_and_grew_ends_the_jar() -> None:
    assert said(rising(6.0, 6), {4: 1.0, 5: 7.0}) == ROT


@pytest.mark.parametrize(
    ("days", "now", "told"),
    [(3, 10.0, GROWING), (4, 10.0, ROT), (4, 8.1, ROT), (4, 8.0, GROWING), (6, 6.5, GROWING)],
)
def test_wet_that_stays_for_four_days_ends_the_jar_unless_it_shrinks(
    days: int, now: float, told: tuple[str, str]
) -> None:
    assert said(rising(6.0, 3 + days), {2: 10.0, 2 + days: now}) == told


def test_wet_beside_growth_that_has_stopped_ends_the_jar() -> None:
    percents = {0: 40.0, 2: 52.0, 4: 64.0, 5: 66.0, 6: 66.0}
    assert said({n: p for n, p in percents.items() if n <= 4}, {4: 9.0}) == GROWING
    assert said(percents, {4: 9.0, 5: 9.0, 6: 9.0}) == ROT


def test_what_has_ended_a_jar_ends_it_for_as_long_as_it_is_large() -> None:
    """A day on which the wall stood still counts on later days, on which it fills again."""
    percents = {0: 40.0, 2: 52.0, 4: 53.0, 6: 66.0, 8: 80.0}
    assert said(percents, {4: 9.0, 6: 7.0, 8: 6.5}) == ROT
    assert said(percents, {4: 5.0, 6: 6.0, 8: 6.0}) == ROT
    assert said(percents, {4: 9.0, 6: 7.0, 8: 5.9}) == LOOKED_AT
    assert said(percents, {6: 7.0, 8: 6.5}) == GROWING


@pytest.mark.parametrize(("area", "told"), [(5.9, LOOKED_AT), (6.0, GROWING)])
def test_a_small_wet_area_asks_for_a_look_as_ever(area: float, told: tuple[str, str]) -> None:
    assert said(rising(6.0, 5), {4: area}) == told


# --------------------------------------------------------------------------- the way out
def test_it_says_what_settles_it() -> None:
    (found,) = (f for f in verdict_of(rising(6.0, 5), {4: 9.0}).findings if f.flag == "wet")
    told = found.tell(PLAIN)
    assert "9.0 cm2 look wet, but the white still gains 6.0 points a day" in told
    assert "fluid pooled at the foot" in told
    assert "smell" not in told
    assert "on which it is dry or grown over, or by your eyes" in what_settles(found, "J1")


def test_a_look_settles_it_until_it_ends_the_jar() -> None:
    asked = verdict_of(rising(6.0, 5), {4: 9.0})
    looks = looks_at(asked, day=day(4))
    assert verdict_of(rising(6.0, 6), {4: 9.0, 5: 9.0}, looks=looks).verdict == "wait"
    stood = {**rising(6.0, 6), 6: 50.0, 7: 50.0}
    assert verdict_of(stood, {4: 9.0, 5: 9.0, 6: 9.0, 7: 9.0}, looks=looks).verdict == "no-go"
