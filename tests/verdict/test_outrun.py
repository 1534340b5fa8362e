"""White that runs faster than its species: from which speed on, and until when it is a doubt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest
from shelves import oyster, reading

from jarvision.history.build import build_history
from jarvision.records import Front, Growth, Turn, Verdict
from jarvision.register.species import find_profile
from jarvision.verdict.decide import decide

TURNED = Turn(0.0, 0.0, 0.9, found=True)


def verdict_of(
    fronts: Mapping[int, float],
    *,
    days: int,
    species: str = "oyster",
    percent: float = 50.0,
    turn: Turn = TURNED,
) -> Verdict:
    """A jar that is covered so far on all days, with the fronts that were measured on some."""
    history = build_history([reading(n, percent) for n in range(days)], oyster(species=species))
    seen = tuple(
        replace(day, turn=turn, front=Front(fronts[n], 1.0, 0.0, 50.0) if n in fronts else None)
        for n, day in enumerate(history.days)
    )
    profile = find_profile(species)
    growth = Growth("logistic")
    return decide(replace(history, days=seen), growth, profile, today=seen[-1].day)[0]


def is_fast(fronts: Mapping[int, float], **more: object) -> bool:
    verdict = verdict_of(fronts, **more)  # type: ignore[arg-type]
    return "fast_front" in [finding.word for finding in verdict.findings]


@pytest.mark.parametrize(
    ("species", "below", "above"),
    [
        ("lion's mane", 7.9, 8.0),  # its front runs at up to 4 mm a day: twice that
        ("enoki", 7.9, 8.0),  # up to 5: 8 is fast in any jar
        ("oyster", 8.7, 8.75),  # up to 7: a warm day brings 8
        ("pink oyster", 9.9, 10.0),
    ],
)
def test_a_front_is_fast_for_its_species_from_a_speed_on(
    species: str, below: float, above: float
) -> None:
    assert not is_fast({4: below}, days=5, species=species)
    assert is_fast({4: above}, days=5, species=species)


def test_where_the_turn_was_not_found_a_front_must_be_faster_by_a_careless_one() -> None:
    lost = replace(TURNED, found=False)
    assert not is_fast({4: 9.7}, days=5, turn=lost)
    assert is_fast({4: 9.75}, days=5, turn=lost)


def test_a_fast_front_is_a_doubt_for_four_days() -> None:
    assert is_fast({4: 12.0}, days=9)
    assert not is_fast({4: 12.0}, days=10)


def test_a_later_day_without_a_fast_front_ends_the_doubt() -> None:
    assert is_fast({4: 12.0, 5: 7.1}, days=6)
    assert not is_fast({4: 12.0, 5: 7.0}, days=6)
    assert not is_fast({4: 12.0, 5: 9.0, 6: 0.0}, days=7)
    assert is_fast({3: 2.0, 4: 12.0}, days=5)  # it was slow before


def test_not_where_the_white_had_no_room_left_to_run() -> None:
    assert not is_fast({4: 12.0, 5: 3.0}, days=6, percent=75.0)
    assert is_fast({4: 12.0, 5: 3.0}, days=6, percent=75.5)
