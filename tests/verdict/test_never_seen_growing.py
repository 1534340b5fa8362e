"""A jar that is white from its first photo on is not proven grown."""

from __future__ import annotations

import numpy as np
import pytest
from judging import healthy, judge
from shelves import Story, kjma, oyster, patch, reading

from jarvision.records import Verdict


def found(verdict: Verdict) -> list[str]:
    return [finding.word for finding in verdict.findings]


@pytest.mark.parametrize("level", [99.5, 97.5])
def test_a_jar_that_was_always_white_is_looked_at_however_long_it_stays_so(level: float) -> None:
    drift = level + 0.4 * np.sin(np.arange(12))
    for days in (5, 8, 12):
        verdict, flags = judge(Story(drift[:days]).readings())
        assert verdict.verdict == "check"
        assert found(verdict) == ["never_seen_growing"]
        assert [f.flag for f in flags if f.flag == "never_seen_growing"] == ["never_seen_growing"]


def test_a_jar_that_was_seen_to_grow_is_go_although_it_came_nearly_full() -> None:
    percents = np.array([90.0, 94.0, 97.0, 99.0, 99.5, 99.6, 99.7, 99.7, 99.8, 99.8])
    assert found(judge(Story(percents).readings())[0]) == ["spawn_ready"]
    assert judge(healthy().readings())[0].verdict == "go"


def test_a_stain_that_is_normal_for_the_species_shows_old_growth() -> None:
    story = Story(np.full(9, 99.5))
    story.patches = {day: [patch("stain", 4.0)] for day in range(9)}
    shiitake = oyster(species="shiitake", kind="fruiting")
    assert "never_seen_growing" not in found(judge(story.readings(), shiitake)[0])
    assert "never_seen_growing" not in found(judge(story.readings())[0])  # its stain is the doubt
    story.patches = {}
    assert found(judge(story.readings(), shiitake)[0]) == ["never_seen_growing"]


@pytest.mark.parametrize("misread_day", [0, 3, 6])
def test_a_day_misread_as_bare_is_not_seen_growth(misread_day: int) -> None:
    percents = np.full(14, 99.5)
    percents[misread_day] = 54.0
    verdict, _ = judge(Story(percents).readings())
    assert found(verdict) == ["never_seen_growing"]


def test_a_wide_interval_does_not_hide_that_a_jar_was_never_seen_growing() -> None:
    white = [reading(i, 99.5, half_width=12.0) for i in range(12)]
    assert found(judge(white)[0]) == ["never_seen_growing"]
    grown = [reading(i, float(p), half_width=12.0) for i, p in enumerate(kjma(np.arange(16)))]
    assert found(judge(grown)[0]) == ["not_sure"]
