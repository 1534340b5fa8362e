"""Small off-colour spots that one photo alone showed: forgotten on good grounds only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from judging import healthy
from shelves import oyster, patch

from jarvision.growth.forecast import fit_growth
from jarvision.history.build import build_history
from jarvision.records import JarDay, Patch, Reading, Verdict
from jarvision.register.species import find_profile
from jarvision.settings.groups import Settings
from jarvision.verdict.decide import decide

SPOT = patch("green", 0.6, 10, 40)
LIMITS = Settings().verdict


def judged(readings: Sequence[Reading], *, absent: int) -> tuple[Verdict, set[str]]:
    """A verdict where the spots' places were seen without them on so many days since."""
    history = build_history(readings, oyster())
    days: list[JarDay] = list(history.days)
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


def twinned(readings: Sequence[Reading], number: int = 12, **more: object) -> list[Reading]:
    """The readings, and another photo of a day that does not show its spot."""
    twin = replace(readings[number], photo="twin.jpg", patches=())
    return [*readings, replace(twin, **more)]  # type: ignore[arg-type]


def test_a_spot_that_another_photo_of_its_day_did_not_show_is_forgotten_and_told() -> None:
    days = LIMITS.spot_twin_days
    assert judged(twinned(spotted()), absent=days - 1)[0].verdict == "check"
    verdict, flags = judged(twinned(spotted()), absent=days)
    assert verdict.verdict == "go"
    assert "spot_gone" in flags


def test_without_another_photo_of_its_day_and_side_a_spot_is_not_forgotten() -> None:
    """The jar may have been turned since, which a white wall does not show."""
    assert judged(spotted(), absent=9)[0].verdict == "check"
    assert judged(twinned(spotted(), view="b"), absent=9)[0].verdict == "check"


def test_a_large_spot_is_never_forgotten() -> None:
    large = [patch("green", LIMITS.off_colour_alone_cm2, 10, 40)]
    assert judged(twinned(spotted(spots=large)), absent=9)[0].verdict == "check"
    smaller = [patch("green", LIMITS.off_colour_alone_cm2 - 0.1, 10, 40)]
    assert judged(twinned(spotted(spots=smaller)), absent=9)[0].verdict == "go"


def test_two_spots_in_one_jar_are_too_many_for_chance() -> None:
    readings = spotted()
    readings[9] = replace(readings[9], patches=(patch("green", 0.3, -40, 70),))
    both = twinned(twinned(readings), 9, photo="other-twin.jpg")
    assert judged(both, absent=9)[0].verdict == "check"


def test_a_spot_of_two_photos_is_mould_and_stays_so() -> None:
    readings = spotted()
    twin = replace(readings[12], photo="again.jpg")
    assert judged(twinned([*readings, twin]), absent=9)[0].verdict == "no-go"
