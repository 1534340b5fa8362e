"""Simulated histories: laws grow as they say, readings err as they say, no shelf is another."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from jarvision.records import Growth
from jarvision.register.species import find_profile

from .histories.growing import grow_jar, truth_of
from .histories.laws import JUDGED_ON, TUNED_ON
from .histories.laws_table import of_one_spawn
from .histories.plans import FIRST_DAY, Plan
from .histories.reading import READERS, read_jar
from .histories.shelves import FATES, plan_shelf
from .histories.table import cost_of_kin
from .histories.telling import Said, Told, photographed


def healthy(law: str, seed: int = 40) -> Plan:
    plans = [p for s in range(seed, seed + 20) for p in plan_shelf(s, (law,))]
    plan = next(p for p in plans if p.story == "healthy" and not p.gaps_share)
    return replace(plan, day_factors=(1.0,) * len(plan.day_factors))


@pytest.mark.parametrize("law", [*TUNED_ON, *JUDGED_ON])
def test_every_law_fills_the_wall_in_about_the_planned_run(law: str) -> None:
    plan = healthy(law)
    truth = truth_of(grow_jar(plan), plan.entry)
    assert truth.ready_day is not None
    assert abs(truth.ready_day - plan.run_days) <= 0.25 * plan.run_days + 2
    assert (np.diff(truth.percents) >= -1e-9).all()
    first = truth.percents[0]
    assert (20 < first < 60) if law == "layers" else first < 5


def test_half_of_a_two_phase_run_brings_about_a_fifth() -> None:
    plan = healthy("two phase")
    percents = truth_of(grow_jar(plan), plan.entry).percents
    half = round((plan.lag_days + plan.run_days) / 2)
    assert 8 < percents[half] < 35


@pytest.mark.parametrize("reader", ["seen", "never seen"])
def test_readings_err_as_much_as_their_intervals_say(reader: str) -> None:
    errors, held, halves = [], [], []
    for seed in range(40, 52):
        plan = replace(plan_shelf(seed, ("many",))[0], reader=reader, narrow=False, turned=None)
        jar = grow_jar(plan)
        error = replace(READERS[reader], outlier=0.0, turn_sd_deg=0.0)
        for reading in read_jar(jar, error).readings:
            taken = reading.photo.rsplit("_", 1)[1].removesuffix(".jpg")
            true = jar.coverage((date.fromisoformat(taken) - FIRST_DAY).days)
            cover = reading.coverage
            assert cover is not None
            if 20 < true < 80:
                errors.append(cover.percent - true)
                held.append(cover.low <= true <= cover.high)
                halves.append((cover.high - cover.low) / 2)
    wide = {"seen": 5.0, "never seen": 8.0}[reader]
    assert np.median(halves) == pytest.approx(wide, rel=0.2)
    assert np.mean(held) >= 0.85
    assert np.std(errors) < 0.7 * wide


def test_a_seed_tells_the_same_shelf_again_and_another_another() -> None:
    assert plan_shelf(7, TUNED_ON) == plan_shelf(7, TUNED_ON)
    assert plan_shelf(7, TUNED_ON) != plan_shelf(8, TUNED_ON)
    fates = {p.story for s in range(40) for p in plan_shelf(s, TUNED_ON)}
    assert fates == set(FATES)


def test_a_jar_without_a_register_has_no_species_and_its_own_level_of_ready() -> None:
    case = photographed(healthy("many"), registered=False)
    assert (case.entry.registered, case.entry.species) == (False, "")
    ready = case.truth.ready_day
    assert ready is not None
    assert case.truth.percents[ready] >= find_profile("").ready_percent


def test_what_kin_cost_is_counted_on_days_of_good_jars_that_are_go_by_their_photos() -> None:
    plan = healthy("many")
    truth = truth_of(grow_jar(plan), plan.entry)
    said = [
        Said(number, verdict, frozenset(), Growth(""), 99.0, with_kin=kin)
        for number, (verdict, kin) in enumerate(
            [("wait", "wait"), ("check", "check"), ("go", "go"), ("go", "check"), ("go", "check")]
        )
    ]
    lucky, never = Told(plan, truth, None, tuple(said)), Told(plan, truth, None, tuple(said[3:]))
    bad = replace(lucky, plan=replace(plan, story="wet"))
    assert cost_of_kin([lucky, never, bad]) == (4, 5, 2, 1)
    heard = of_one_spawn([never])[0].said
    assert [(s.verdict, s.words) for s in heard] == [("check", ("bad_kin",))] * 2
    assert of_one_spawn([lucky])[0].said[:3] == lucky.said[:3]
