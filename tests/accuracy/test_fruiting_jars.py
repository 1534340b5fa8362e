"""Simulated fruiting jars: laws grow as they say, readings err as they say, stages follow truth."""

from __future__ import annotations

import numpy as np
import pytest

from jarvision.verdict.stages import follow_fruiting

from .fruiting.jars import PIN_MM, date_of, plan_jar
from .fruiting.laws import JUDGED_ON, TUNED_ON
from .fruiting.seeing import history_of
from .fruiting.table import ToldDay, rows, tell_jar


@pytest.mark.parametrize("name", JUDGED_ON)
def test_every_law_leads_from_a_pin_to_a_flat_cap(name: str) -> None:
    u = np.linspace(0, 1, 20)
    widths = 50.0 * JUDGED_ON[name](u, PIN_MM / 50.0, 0.85)
    assert widths[0] == pytest.approx(PIN_MM, rel=0.02)
    assert widths[-1] == pytest.approx(50.0, rel=0.02)
    assert (np.diff(widths) > 0).all()


def test_widths_err_by_less_than_a_millimetre_at_the_median() -> None:
    errors = []
    for seed in range(6):
        jar = plan_jar(seed, TUNED_ON)
        for seen in history_of(jar).tops:
            number = (seen.day - date_of(0)).days
            flush, cap = jar.flush_on(number), seen.top.largest_cap_mm
            if cap is not None and flush is not None and flush.width_mm(number) > 15:
                errors.append(abs(cap.value - flush.width_mm(number)))
    assert len(errors) > 15
    assert 0.3 < float(np.median(errors)) < 1.2


def test_a_seed_tells_the_same_jar_again_and_another_another() -> None:
    assert plan_jar(7, TUNED_ON) == plan_jar(7, TUNED_ON)
    assert plan_jar(7, TUNED_ON).flushes != plan_jar(8, TUNED_ON).flushes


def test_a_stage_is_right_only_when_what_was_said_holds() -> None:
    def said(stage: str, true: str, **more: int) -> ToldDay:
        return ToldDay(1, 1, photo=True, said=stage, true=true, **more)  # type: ignore[arg-type]

    assert said("harvest-soon", "growing", within=3, left=3).right
    assert not said("harvest-soon", "growing", within=2, left=3).right
    assert not said("harvest-soon", "harvest-today", within=2, left=0).right
    assert not said("growing", "growing", within=5, left=1).right
    early = said("harvest-today", "growing", within=1, left=1)
    assert (early.right, early.nearly) == (False, True)


def test_nothing_of_later_days_is_known_and_most_days_are_right() -> None:
    jar = plan_jar(3, TUNED_ON)
    days, cuts = tell_jar(jar)
    assert np.mean([told.right for told in days]) > 0.8
    assert len(dict(rows(days, cuts))) > 8
    whole = follow_fruiting(history_of(jar), jar.profile, today=date_of(jar.photo_days[10]))
    assert whole is not None
    assert whole.days[-1].day == date_of(jar.photo_days[10])
