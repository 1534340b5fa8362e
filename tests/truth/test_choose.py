"""Which walls are counted: chances are what the weights say, and the mean has no bias."""

from __future__ import annotations

import hashlib
from collections import Counter

import numpy as np

from jarvision.truth.choose import Candidate, in_order


def candidates(draw: int, *, shelf: int = 40) -> list[Candidate]:
    """A shelf, under photo contents of its own for every draw."""
    rng = np.random.default_rng(3)
    found = []
    for number in range(shelf):
        percent = float(rng.uniform(0, 100))
        half = float(rng.choice([1.0, 3.0, 12.0, 25.0]))
        content = hashlib.sha256(f"{draw} {number}".encode()).hexdigest()
        kind = ("rye" if number % 8 else "straw", "oyster")
        found.append(Candidate(content, percent, percent - half, percent + half, kind))
    return found


def test_the_weighted_mean_of_the_first_walls_is_that_of_the_shelf() -> None:
    widths = np.array([wall.high - wall.low for wall in candidates(0, shelf=120)])
    means, plain = [], []
    for draw in range(800):
        picks = in_order(candidates(draw, shelf=120))[:16]
        values = np.array([pick.candidate.high - pick.candidate.low for pick in picks])
        weights = np.array([pick.weight for pick in picks])
        means.append(np.average(values, weights=weights))
        plain.append(values.mean())
    assert np.mean(plain) > 1.25 * widths.mean()  # wide ones are counted more often
    left, without = np.mean(means) - widths.mean(), np.mean(plain) - widths.mean()
    assert abs(left) < 0.15 * without  # a ratio of few walls leaves a little


def test_no_wall_stands_for_more_than_two_and_every_wall_can_be_drawn() -> None:
    first: Counter[int] = Counter()
    for draw in range(2000):
        every = candidates(draw, shelf=10)
        picks = in_order(every)
        assert all(0.0 < pick.weight <= 2.0 for pick in picks)
        first[every.index(picks[0].candidate)] += 1
    assert len(first) == 10
    assert min(first.values()) > 0.5 / 10 * 2000 * 0.7  # its equal half, and chance


def test_new_contents_and_wide_intervals_come_sooner() -> None:
    ranks: dict[str, list[int]] = {"straw": [], "rye": []}
    for draw in range(500):
        for rank, pick in enumerate(in_order(candidates(draw))):
            ranks[pick.candidate.contents[0]].append(rank)
    assert np.mean(ranks["straw"]) < np.mean(ranks["rye"]) - 2


def test_the_list_does_not_change_with_the_order_in_which_walls_are_named() -> None:
    every = candidates(1)
    assert in_order(every) == in_order(every[::-1])
    assert in_order([]) == ()
