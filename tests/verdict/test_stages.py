"""A jar seen from above goes through its stages, and no single photo moves it on wrongly."""

from __future__ import annotations

from collections.abc import Collection

import pytest
from tops import a_fruiting_run, day, fruiting_jar, top

from jarvision.records import Fruiting, JarHistory, Stage
from jarvision.register.species import find_profile
from jarvision.settings.fruiting import FruitingSettings
from jarvision.verdict.stages import follow_fruiting

OYSTER = find_profile("oyster")


def followed(
    history: JarHistory, today: int, cut: Collection[int] = (),
    settings: FruitingSettings | None = None,
) -> Fruiting:  # fmt: skip
    found = follow_fruiting(
        history, OYSTER, today=day(today), settings=settings,
        harvests=[day(number) for number in cut],
    )  # fmt: skip
    assert found is not None
    return found


def stages(found: Fruiting) -> list[Stage]:
    return list(dict.fromkeys(seen.stage for seen in found.days))


def test_a_jar_goes_through_all_stages_in_their_order() -> None:
    history = fruiting_jar(a_fruiting_run(), diary={8: "fruiting"})
    found = followed(history, 18, settings=FruitingSettings(soon_days=3))
    assert stages(found) == [
        "recovering", "ready", "moist", "pinning", "hood-off", "growing", "harvest-soon",
        "harvest-today",
    ]  # fmt: skip
    assert found.pins_since == day(12)
    assert found.cut is not None
    assert abs((found.cut.day - day(18)).days) <= 1


def test_what_was_said_on_a_day_stays_what_later_days_show() -> None:
    history = fruiting_jar(a_fruiting_run(), diary={8: "fruiting"})
    whole = followed(history, 18)
    for number in range(3, 18):
        assert followed(history, number).days == whole.days[: len(followed(history, number).days)]


def test_dry_moist_and_wet_are_told_by_the_droplets_of_the_day() -> None:
    tops = {n: top() for n in range(1, 8)}
    tops |= {8: top(moisture="dry"), 9: top(moisture="standing water"), 10: top()}
    found = followed(fruiting_jar(tops, diary={6: "fruiting"}), 10)
    assert [seen.stage for seen in found.days][-5:] == ["moist", "moist", "dry", "wet", "moist"]


def test_a_hood_that_is_seen_means_fruiting_conditions_without_a_word_in_the_diary() -> None:
    bare = {n: top() for n in range(1, 9)}
    assert followed(fruiting_jar(bare), 8).stage == "ready"
    assert followed(fruiting_jar(bare | {8: top(hood=0.95)}), 8).stage == "moist"
    assert followed(fruiting_jar(bare | {8: top(hood=0.6)}), 8).stage == "ready"


def test_one_faint_pin_is_no_pinning_and_two_days_of_it_are() -> None:
    tops = {n: top() for n in range(1, 12)}
    faint = tops | {10: top(pins=[3.0], chance=0.6)}
    assert followed(fruiting_jar(faint, diary={6: "fruiting"}), 10).stage == "moist"
    twice = faint | {11: top(pins=[3.5], chance=0.6)}
    assert followed(fruiting_jar(twice, diary={6: "fruiting"}), 11).stage == "hood-off"


def test_sure_pins_that_are_gone_the_next_day_were_none() -> None:
    tops = {n: top() for n in range(1, 12)} | {10: top(pins=[3.0, 4.0])}
    history = fruiting_jar(tops, diary={6: "fruiting"})
    assert followed(history, 10).stage == "pinning"
    assert followed(history, 11).stage == "moist"


def test_a_told_harvest_begins_the_rest_and_the_next_pins_are_of_the_next_flush() -> None:
    tops = a_fruiting_run() | {19: top(), 20: top(), 28: top(pins=[3.0, 3.0]), 29: top(pins=[4.0])}
    history = fruiting_jar(tops, diary={8: "fruiting"})
    resting = followed(history, 20, cut=[18])
    assert (resting.stage, resting.flush, resting.since) == ("resting", 2, day(18))
    again = followed(history, 29, cut=[18])
    assert (again.stage, again.flush, again.pins_since) == ("hood-off", 2, day(28))


def test_caps_that_are_gone_were_cut_though_nobody_told() -> None:
    history = fruiting_jar(a_fruiting_run() | {19: top()}, diary={8: "fruiting"})
    assert followed(history, 19).stage == "resting"


def test_caps_overlooked_for_a_day_are_no_harvest() -> None:
    tops = a_fruiting_run() | {16: top(), 17: top(cap=40.0)}
    found = followed(fruiting_jar(tops, diary={8: "fruiting"}), 17)
    assert found.flush == 1
    assert found.stage in ("growing", "harvest-soon", "harvest-today")
    assert found.pins_since == day(12)


def test_a_day_without_a_photo_moves_a_forecast_on() -> None:
    history = fruiting_jar(
        {n: seen for n, seen in a_fruiting_run().items() if n < 17}, diary={8: "fruiting"}
    )
    assert followed(history, 22).stage == "harvest-today"


@pytest.mark.parametrize(("kind", "registered", "is_followed"), [
    ("fruiting", True, True), ("spawn", True, False), ("spawn", False, True),
])  # fmt: skip
def test_spawn_has_no_stage(kind: str, registered: bool, is_followed: bool) -> None:
    history = fruiting_jar({1: top()}, kind=kind, registered=registered)
    found = follow_fruiting(history, OYSTER, today=day(1))
    assert (found is not None) == is_followed


def test_without_a_photo_from_above_nothing_is_followed() -> None:
    assert follow_fruiting(fruiting_jar({}), OYSTER, today=day(1)) is None
    assert follow_fruiting(fruiting_jar({5: top()}), OYSTER, today=day(4)) is None
