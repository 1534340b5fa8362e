"""The drawn looks that attack and judge the program: repeatable, and what they say they are."""

from __future__ import annotations

import numpy as np
import pytest

from jarvision.records import TissueClass
from tests.accuracy.judge.draw import (
    FIRST_SEED,
    SCENARIOS,
    front_percent,
    pairs,
    random_shot,
    tasks,
)
from tests.accuracy.judge.families import FAMILIES
from tests.accuracy.judge.growth import HIDES, grow, random_strain
from tests.accuracy.judge.noise import smooth
from tests.accuracy.judge.stage import wall_grid
from tests.accuracy.white_looks import LOOKS


def patch(size: int = 96) -> tuple[np.ndarray, np.ndarray]:
    x, y = np.meshgrid(np.arange(size), np.arange(size))
    return x.astype(np.float32) * 0.25, y.astype(np.float32) * 0.25


@pytest.mark.parametrize("name", LOOKS)
def test_white_looks_are_pale_and_repeat(name: str) -> None:
    first, again = (LOOKS[name]((80, 90), np.random.default_rng(5)) for _ in range(2))
    assert first.shape == (80, 90, 3)
    assert np.array_equal(first, again)
    assert 0.35 < float(first.mean()) < 0.95


@pytest.mark.parametrize("name", FAMILIES)
def test_families_repeat_and_differ_by_seed(name: str) -> None:
    x, y = patch()
    first, again, other = (FAMILIES[name](x, y, seed) for seed in (7, 7, 8))
    assert np.array_equal(first.rgb, again.rgb)
    assert not np.allclose(first.rgb, other.rgb)
    assert float(first.rgb.min()) >= 0.0
    assert float(first.rgb.max()) < 1.3


def test_noise_has_no_seams_and_stays_in_bounds() -> None:
    x, y = patch()
    noise = smooth(x, y, size=3.0, seed=1)
    assert float(np.abs(noise).max()) <= 1.0
    assert float(np.abs(np.diff(noise, axis=1)).max()) < 0.3


def test_growth_covers_more_with_every_day_and_nothing_on_the_first() -> None:
    shot = random_shot(FIRST_SEED, FIRST_SEED)
    x, y = (part[::4, ::4] for part in wall_grid(shot))
    contents = FAMILIES["sawdust"](x, y, FIRST_SEED)
    percents = []
    for day in (0.0, 3.0, 6.0, 40.0):
        grown = grow(x, y, contents, random_strain(FIRST_SEED), (), day=day, seed=FIRST_SEED,
                     tall_mm=shot.fill_mm)  # fmt: skip
        assert ((grown.opacity >= HIDES) == (grown.classes == TissueClass.MYCELIUM)).all()
        percents.append(front_percent(shot, grown, x, y))
    assert percents[0] == 0.0
    assert percents == sorted(percents)


def test_the_judging_set_starts_at_its_own_seeds_and_shows_all_families() -> None:
    todo = list(tasks())
    todo += pairs([task for task in todo if task.group == "single"])
    assert min(task.seed for task in todo) == FIRST_SEED
    assert {task.family for task in todo if task.group == "single"} == set(FAMILIES)
    assert {task.scenario for task in todo if task.group == "single"} == set(SCENARIOS)
    assert len({(task.group, task.name) for task in todo}) == len(todo)
