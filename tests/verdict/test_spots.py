"""Small off-colour spots that one photo alone showed: forgotten on good grounds only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from judging import healthy
from shelves import oyster, patch

from jarvision.growth.forecast import fit_growth
from jarvision.history.build import build_history
from jarvision.records import JarDay, Patch, Reading, Turn, Verdict
from jarvision.register.species import find_profile
from jarvision.settings.groups import Settings
from jarvision.verdict.decide import decide

SPOT = patch("green", 0.6, 10, 40)
LIMITS = Settings().verdict


def judged(
    readings: Sequence[Reading],
    *,
    absent: int,
    turns: Sequence[float] = (3.0, -4.0, 5.0),
    turned_away: bool = False,
) -> tuple[Verdict, set[str]]:
    """A verdict where the spot's place was seen without it on so many days since."""
    history = build_history(readings, oyster())
    days: list[JarDay] = list(history.days)
    for number, turn in enumerate(turns, 2):
        days[number] = replace(days[number], turn=Turn(turn, 0.0, 0.8, found=True))
    days[1] = replace(days[1], turned_away=turned_away)
    spots = {p.patch for d in days for p in d.patches if p.kind == "green"}
    days[-1] = replace(days[-1], absent=dict.fromkeys(spots, absent))
    history = replace(history, days=tuple(days))
    profile, today = find_profile("oyster"), days[-1].day
    growth = fit_growth(history, profile, today=today)
    verdict, flags = decide(history, growth, profile, today=today)
    return verdict, {flag.flag for flag in flags}


def spotted(number: int = 12, spots: Sequence[Patch] = (SPOT,)) -> list[Reading]:
    readings = healthy(18).readings()
    readings[number] = replace(readings[number], patches=tuple(spots))
    return readings


def test_a_spot_of_a_single_photo_is_forgotten_after_days_without_it_and_told() -> None:
    days = LIMITS.spot_alone_days
    assert judged(spotted(), absent=days - 1)[0].verdict == "check"
    verdict, flags = judged(spotted(), absent=days)
    assert verdict.verdict == "go"
    assert "spot_gone" in flags


def test_a_spot_that_another_photo_of_its_day_did_not_show_is_forgotten_sooner() -> None:
    readings = spotted()
    twin = replace(readings[12], photo="twin.jpg", patches=())
    days = LIMITS.spot_twin_days
    assert days < LIMITS.spot_alone_days
    assert judged([*readings, twin], absent=days - 1)[0].verdict == "check"
    assert judged([*readings, twin], absent=days, turns=())[0].verdict == "go"
    other_side = replace(twin, view="b")
    assert judged([*readings, other_side], absent=days, turns=())[0].verdict == "check"


@pytest.mark.parametrize(
    ("turns", "turned_away"),
    [((3.0, -4.0), False), ((3.0, -25.0, 5.0), False), ((3.0, -4.0, 5.0), True)],
    ids=["seldom seen to stand", "turned far", "turned away"],
)
def test_a_jar_that_may_have_been_turned_keeps_its_doubt(
    turns: Sequence[float], turned_away: bool
) -> None:
    told = judged(spotted(), absent=9, turns=turns, turned_away=turned_away)
    assert told[0].verdict == "check"


def test_a_large_spot_is_never_forgotten() -> None:
    large = [patch("green", LIMITS.off_colour_alone_cm2, 10, 40)]
    assert judged(spotted(spots=large), absent=9)[0].verdict == "check"
    smaller = [patch("green", LIMITS.off_colour_alone_cm2 - 0.1, 10, 40)]
    assert judged(spotted(spots=smaller), absent=9)[0].verdict == "go"


def test_two_spots_in_one_jar_are_too_many_for_chance() -> None:
    readings = spotted()
    readings[9] = replace(readings[9], patches=(patch("green", 0.3, -40, 70),))
    assert judged(readings, absent=9)[0].verdict == "check"


def test_a_spot_of_two_photos_is_mould_and_stays_so() -> None:
    readings = spotted()
    twin = replace(readings[12], photo="twin.jpg")
    assert judged([*readings, twin], absent=9)[0].verdict == "no-go"
