from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from judging import healthy, judge, with_patches, words
from shelves import Story, day, kjma, oyster, patch, reading, refused

from jarvision.growth.forecast import fit_growth
from jarvision.history.build import build_history
from jarvision.records import Reading
from jarvision.register.species import find_profile
from jarvision.verdict.decide import decide

SEEDS = range(6)


# --------------------------------------------------------------------------- the good jar
@pytest.mark.parametrize("seed", SEEDS)
def test_a_healthy_jar_waits_rests_and_goes(seed: int) -> None:
    readings = healthy(17, seed).readings()
    told = [judge(readings[: n + 1])[0].verdict for n in range(17)]
    assert set(told[:13]) == {"wait"}
    assert told[-1] == "go"
    first = told.index("go")
    assert set(told[first:]) == {"go"}


def test_go_gives_its_numbers() -> None:
    verdict, flags = judge(healthy(17).readings())
    assert verdict.verdict == "go"
    assert re.search(r"Coverage \d+ % \(95 % interval \d+ to \d+ %\)", verdict.reasons[0])
    assert flags == ()


def test_missed_days_and_doubled_photos_still_end_in_go() -> None:
    readings = healthy(17, skip=(3, 4, 8, 12)).readings()
    doubled = [*readings, *(replace(r, photo=f"again-{r.photo}") for r in readings[::3])]
    assert judge(doubled)[0].verdict == "go"


def test_normal_staining_is_a_note_and_still_goes() -> None:
    stained = with_patches(healthy(17), [patch("stain", 4.0, 20, 30)], since=9)
    verdict, flags = judge(stained)
    assert verdict.verdict == "go"
    assert words(flags) == {"stain"}


def test_yellow_is_normal_for_reishi_and_a_mould_on_oyster() -> None:
    yellow = with_patches(healthy(17), [patch("yellow", 3.0)], since=10)
    assert judge(yellow, oyster(species="reishi"))[0].verdict != "no-go"
    assert judge(yellow)[0].verdict == "no-go"


# --------------------------------------------------------------------------- bad jars
def stalled(percent: float, days: int, seed: int) -> list[Reading]:
    rising = kjma(np.arange(40))
    rising = rising[rising < percent]
    return Story(np.concatenate([rising, np.full(days + 1, percent)]), seed=seed).readings()


def bad_jars(seed: int) -> dict[str, list[Reading]]:
    full = 100 * np.ones(17)
    capped = np.minimum(kjma(np.arange(22)), 97.5)
    spot = [patch("green", 0.4, 30, 40)]
    return {
        "stalled at 60 %": stalled(60, 5, seed),
        "stalled at 90 %": stalled(90, 6, seed),
        "green mould, full": with_patches(healthy(17, seed), spot, since=15),
        "green mould, last day": with_patches(healthy(17, seed), spot, since=16),
        "large green mould, last day": with_patches(
            healthy(17, seed), [patch("green", 2.5, 30, 40)], since=16
        ),
        "small green spot": with_patches(healthy(17, seed), [patch("green", 0.1)], since=15),
        "unsure black": with_patches(healthy(17, seed), [patch("black", 2.0, sure=0.2)], since=15),
        "pink": with_patches(healthy(17, seed), [patch("pink", 1.0)], since=12),
        "wet bottom": with_patches(healthy(17, seed), [patch("wet", 3.0, 0, 4)], since=6),
        "soaked": with_patches(healthy(17, seed), [patch("wet", 15.0, 0, 8)], since=6),
        "dead patch": with_patches(
            Story(capped, seed=seed), [patch("bare", 2.2, -20, 60)], since=12
        ),
        "never started": Story(np.full(16, 0.4), seed=seed, noise=0.3).readings(),
        "mould once, then turned away": [
            *with_patches(Story(full[:10], seed=seed), spot, since=9),
            *(reading(i, 99, half_width=1) for i in range(10, 16)),
        ],
    }


@pytest.mark.parametrize("name", bad_jars(0))
def test_no_bad_jar_is_ever_go(name: str) -> None:
    for seed in SEEDS:
        verdict, flags = judge(bad_jars(seed)[name])
        assert verdict.verdict in ("check", "no-go"), (seed, verdict.reasons)
        assert flags


@pytest.mark.parametrize(
    ("name", "verdict", "flag"),
    [
        ("stalled at 60 %", "check", "stall"),
        ("green mould, full", "no-go", "off_colour"),
        ("green mould, last day", "check", "off_colour"),
        ("large green mould, last day", "no-go", "off_colour"),
        ("small green spot", "check", "off_colour"),
        ("unsure black", "check", "off_colour"),
        ("wet bottom", "check", "wet"),
        ("soaked", "no-go", "wet"),
        ("dead patch", "no-go", "dead_patch"),
        ("mould once, then turned away", "check", "off_colour"),
    ],
)
def test_each_fault_has_its_verdict_and_flag(name: str, verdict: str, flag: str) -> None:
    told, flags = judge(bad_jars(0)[name])
    assert told.verdict == verdict, told.reasons
    assert flag in words(flags)
    assert re.search(r"\d", told.reasons[0])


def test_a_stall_of_more_than_a_week_ends_the_jar() -> None:
    assert judge(stalled(60, 10, 0))[0].verdict == "no-go"


def test_a_long_stall_close_to_ready_is_looked_at_not_thrown_out() -> None:
    verdict, flags = judge(stalled(92, 12, 0))
    assert verdict.verdict == "check"
    assert "stall" in words(flags)


def test_a_bare_patch_that_closes_is_left_to_close() -> None:
    story = healthy(12)
    story.patches = {
        i: [patch("bare", np.pi * (14.0 - 2.0 * (i - 6)) ** 2 / 100)] for i in range(6, 12)
    }
    verdict, flags = judge(story.readings())
    assert verdict.verdict == "wait"
    assert "dead_patch" not in words(flags)


def test_a_still_patch_in_a_young_jar_is_not_dead() -> None:
    young = with_patches(Story(kjma(np.arange(8), t95=14.0)), [patch("bare", 3.0)], since=2)
    assert judge(young)[0].verdict == "wait"


def test_a_bare_patch_in_a_jar_beyond_its_species_days_is_dead_whatever_the_rest() -> None:
    slow = Story(kjma(np.arange(26), t95=40.0))
    verdict, flags = judge(with_patches(slow, [patch("bare", 3.0)], since=18))
    assert slow.percents[-1] < 80
    assert verdict.verdict == "no-go"
    assert "dead_patch" in words(flags)


@pytest.mark.parametrize("species", ["", "moon cap"])
def test_staining_of_a_species_that_is_not_known_is_a_note_on_old_growth_only(species: str) -> None:
    stained = with_patches(healthy(22), [patch("stain", 1.0)], since=12)
    unnamed = oyster(species=species)  # full from day 11 on
    verdict, flags = judge(stained[:13], unnamed)
    assert verdict.verdict == "check"
    assert "off_colour" in words(flags)
    verdict, flags = judge(stained, unnamed)
    assert verdict.verdict == "go"
    assert words(flags) == {"unnamed_stain"}


def test_staining_that_a_known_species_does_not_show_is_looked_at_however_old() -> None:
    stained = with_patches(healthy(20), [patch("stain", 1.0)], since=12)
    history = build_history(stained, oyster())
    profile, today = replace(find_profile("oyster"), normal_kinds=()), history.days[-1].day
    growth = fit_growth(history, profile, today=today)
    verdict, _ = decide(history, growth, profile, today=today)
    assert [f.word for f in verdict.findings] == ["odd_stain"]


def test_a_stain_on_a_wall_that_is_not_full_is_not_one_of_age() -> None:
    young = with_patches(Story(np.minimum(kjma(np.arange(22)), 80)), [patch("stain", 1.0)], since=9)
    assert "off_colour" in words(judge(young, oyster(species=""))[1])


def test_the_hardest_finding_rules_and_all_reasons_are_told() -> None:
    both = with_patches(healthy(17), [patch("green", 1.0), patch("wet", 1.0, 90)], since=15)
    verdict, flags = judge(both)
    assert verdict.verdict == "no-go"
    assert len(verdict.reasons) == 2
    assert words(flags) == {"off_colour", "wet"}


# --------------------------------------------------------------------------- doubt
def test_one_lucky_reading_is_no_go_ahead() -> None:
    # A jar at 60 % for a week, one photo that reads 100 %, and today's that reads so again.
    lucky = [*stalled(60, 5, 0), reading(12, 100, half_width=1), reading(13, 100, half_width=1)]
    for n in range(len(lucky)):
        assert judge(lucky[: n + 1])[0].verdict != "go"


def test_one_bad_reading_in_a_healthy_jar_costs_a_day_not_the_jar() -> None:
    readings = healthy(17).readings()
    readings[7] = reading(7, 5.0)
    assert judge(readings)[0].verdict == "go"
    for n in range(8, 11):
        assert judge(readings[:n])[0].verdict in ("wait", "check")


def test_a_wide_interval_never_goes() -> None:
    wide = [
        reading(i, float(p), half_width=8.0)
        for i, p in enumerate(np.minimum(kjma(np.arange(18)), 99))
    ]
    assert judge(wide)[0].verdict == "wait"


@pytest.mark.parametrize(("half_width", "verdict"), [(7.5, "wait"), (6.5, "go")])
def test_the_lower_bound_must_come_near_ready_on_two_days(half_width: float, verdict: str) -> None:
    readings = [reading(i, float(p), half_width=9.0) for i, p in enumerate(kjma(np.arange(16)))]
    readings += [reading(n, 99.0, half_width=half_width) for n in (16, 17)]  # 91.5, 92.5
    assert judge(readings)[0].verdict == verdict
    if verdict == "go":
        told, _ = judge(readings[:-1])
        assert (told.verdict, "so far 1" in told.reasons[0]) == ("wait", True)


def test_neither_the_day_nor_the_days_together_alone_make_a_jar_sure() -> None:
    history = build_history(healthy(18).readings(), oyster())
    last_cover = history.days[-1].coverage
    own = replace(history.days[-1], coverage=replace(last_cover, percent=94.0))  # others lift it
    lifted = replace(history.days[-1], together=replace(last_cover, percent=90.0))  # ... doubt it
    profile, today = find_profile("oyster"), history.days[-1].day
    growth = fit_growth(history, profile, today=today)
    told = [
        decide(replace(history, days=(*history.days[:-1], last)), growth, profile, today=today)[0]
        for last in (history.days[-1], own, lifted)
    ]
    assert [[f.word for f in v.findings] for v in told] == [
        ["spawn_ready"],
        ["reading_fell"],
        ["not_sure"],
    ]


def test_the_lower_bound_of_one_day_alone_is_not_enough() -> None:
    readings = [reading(i, float(p), half_width=9.0) for i, p in enumerate(kjma(np.arange(16)))]
    readings.append(reading(16, 99.0, half_width=2.0))
    verdict, _ = judge(readings)
    assert verdict.verdict == "wait"
    assert "so far 1" in verdict.reasons[0]
    assert judge([*readings, reading(17, 99.0, half_width=2.0)])[0].verdict == "go"


@pytest.mark.parametrize(("age", "verdict"), [(0, "go"), (2, "go"), (3, "check"), (9, "check")])
def test_an_old_photo_never_goes(age: int, verdict: str) -> None:
    told, flags = judge(healthy(17).readings(), today=day(16 + age))
    assert told.verdict == verdict
    assert ("old_photo" in words(flags)) == (verdict == "check")


def test_mould_on_an_old_photo_is_still_mould() -> None:
    mouldy = with_patches(healthy(17), [patch("green", 2.0)], since=14)
    verdict, flags = judge(mouldy, today=day(25))
    assert verdict.verdict == "no-go"
    assert {"off_colour", "old_photo"} <= words(flags)


@pytest.mark.parametrize(("area_cm2", "verdict"), [(0.2, "go"), (2.5, "check")])
def test_a_small_spot_that_is_seen_to_be_gone_is_forgotten_a_large_one_never(
    area_cm2: float, verdict: str
) -> None:
    readings = healthy(17).readings()
    readings[9] = replace(readings[9], patches=(patch("green", area_cm2, 30, 40),))
    history = build_history(readings, oyster())
    (spot,) = (p.patch for d in history.days for p in d.patches)
    last = replace(history.days[-1], cleared=(spot,))
    history = replace(history, days=(*history.days[:-1], last))
    profile, today = find_profile("oyster"), last.day
    growth = fit_growth(history, profile, today=today)
    assert decide(history, growth, profile, today=today)[0].verdict == verdict


def test_an_overdue_jar_is_looked_at() -> None:
    # Oyster: 3 days of rest and 10 of keeping after day 11.
    verdict, flags = judge(healthy(27).readings())
    assert verdict.verdict == "check"
    assert words(flags) == {"overdue"}
    assert judge(healthy(24).readings())[0].verdict == "go"


def test_a_jar_far_beyond_its_species_days_is_looked_at() -> None:
    verdict, _ = judge(Story(kjma(np.arange(33), t95=50.0)).readings())
    assert verdict.verdict == "check"
    assert "32 days old" in verdict.reasons[0]


@pytest.mark.parametrize(
    "flaw",
    [{"seen": 40.0}, {"colour_de00_median": 8.0}],
    ids=["little seen", "colours not matched"],
)
def test_a_last_photo_of_too_little_worth_never_goes(flaw: dict[str, float]) -> None:
    readings = healthy(17).readings()
    readings[-1] = reading(16, 99.5, half_width=1.5, **flaw)  # type: ignore[arg-type]
    assert judge(readings)[0].verdict == "check"


def test_a_refused_newest_photo_never_goes() -> None:
    verdict, flags = judge([*healthy(17).readings(), refused(17)])
    assert verdict.verdict == "check"
    assert "photo_refused" in words(flags)


def test_a_refused_photo_of_a_growing_jar_is_only_a_note() -> None:
    verdict, flags = judge([*healthy(8).readings(), refused(8)])
    assert verdict.verdict == "wait"
    assert words(flags) == {"photo_refused"}


def test_a_rested_jar_with_a_bare_area_left_is_looked_at_even_if_it_was_not_followed() -> None:
    readings = with_patches(healthy(17), [patch("bare", 1.5)], since=16)
    assert judge(readings)[0].verdict == "check"
    assert judge(readings[:-1])[0].verdict == "go"


def test_a_still_bare_area_of_a_thin_species_is_looked_at_not_thrown_out() -> None:
    readings = with_patches(healthy(17), [patch("bare", 1.5)], since=10)
    verdict, flags = judge(readings, oyster(species="lion's mane"))
    assert verdict.verdict == "check"
    assert words(flags) == {"dead_patch"}
    assert judge(readings)[0].verdict == "no-go"


def test_photos_from_the_future_never_go() -> None:
    assert judge(healthy(19).readings(), today=day(16))[0].verdict == "check"


def test_beside_a_wrong_clock_the_name_tells_the_day_and_the_time_of_a_file_does_not() -> None:
    *early, last = healthy(17).readings()
    wrong = replace(last, ignored_day=date(9999, 12, 31))
    named, flags = judge([*early, replace(wrong, time_source="name")])
    assert (named.verdict, words(flags)) == ("go", {"wrong_date"})
    assert any("9999-12-31" in flag.message for flag in flags)
    copied, flags = judge([*early, replace(wrong, time_source="file")])
    assert (copied.verdict, words(flags)) == ("check", {"wrong_date", "file_date"})


@pytest.mark.parametrize("today", [date.min, date.max])
def test_a_day_at_an_end_of_the_calendar_gives_a_verdict(today: date) -> None:
    assert judge(healthy(9).readings(), today=today)[0].verdict == "check"


def test_a_jar_with_refused_photos_only_is_looked_at() -> None:
    verdict, flags = judge([refused(1), refused(2)])
    assert (verdict.verdict, verdict.coverage) == ("check", None)
    assert [f.flag for f in flags] == ["photo_refused"] * 2


def test_a_jar_without_any_photo_is_looked_at() -> None:
    assert judge([], today=day(5))[0].verdict == "check"


def test_what_looks_like_pins_on_two_days_is_looked_at_and_ends_no_jar() -> None:
    plain = list(healthy(17).readings())
    assert judge(plain)[0].verdict == "go"
    pins = (patch("pins", 0.4, 10, 60),)
    once = [*plain[:-1], replace(plain[-1], patches=pins)]
    assert "pins" not in words(judge(once)[1])
    last = [r.taken_at.date() for r in plain][-2:]
    twice = [replace(r, patches=pins) if r.taken_at.date() in last else r for r in plain]
    verdict, flags = judge(twice)
    assert verdict.verdict == "check"
    assert "pins" in words(flags)


def test_a_fruiting_jar_is_sent_to_fruiting_conditions() -> None:
    verdict, _ = judge(healthy(17).readings(), oyster(kind="fruiting"))
    assert "fruiting conditions" in verdict.reasons[0]


@pytest.mark.parametrize(("half", "known"), [(24.9, "low"), (25.0, "least")])
def test_the_reason_names_the_ends_alone_where_the_interval_is_half_the_scale(
    half: float, known: str
) -> None:
    *before, last = healthy(6).readings()
    assert last.coverage is not None
    cover = replace(last.coverage, percent=50.0, low=50.0 - half, high=50.0 + half)
    verdict, _ = judge([*before, replace(last, coverage=cover)])
    assert verdict.findings[0].numbers[known] == pytest.approx(50.0 - half)
