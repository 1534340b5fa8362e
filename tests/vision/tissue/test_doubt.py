"""Growth that may be a veil: smooth and grey, with what the networks say of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from walls import flat_wall

from jarvision.records import RawWall, TissueClass
from jarvision.vision.tissue import doubt
from jarvision.vision.tissue.doubt import Chances, find_doubt, odds_of, veil_signs

SIGNS = (
    "detail of 0.4 mm", "detail of 1 mm", "detail of 2.5 mm",
    "quiet of 0.4 mm", "quiet of 1 mm", "spread of the lighter",
    "light", "light over the brightest",
    "red over green", "blue over green", "fog upright", "fog head down", "label head down",
    "cover head down, first", "cover head down, second",
)  # fmt: skip
SHAPE = 160, 120
ALL = np.ones(SHAPE, dtype=np.bool_)


def wall_of(light: np.ndarray, colour: tuple[float, float, float] = (1.0, 1.0, 1.0)) -> RawWall:
    """A wall of one colour whose light is ``(rows, cols)``."""
    classes = np.full(SHAPE, TissueClass.MYCELIUM, dtype=np.uint8)
    linear = (light[..., None] * np.array(colour)).astype(np.float32)
    return flat_wall(classes, linear=linear)


def said(chance: float = 0.0) -> Chances:
    return Chances(*np.full((5, *SHAPE), chance, dtype=np.float32))


def rough(share: float) -> np.ndarray:
    """Light about 0.5 that varies from cell to cell by a share."""
    return 0.5 * (1.0 + share * np.random.default_rng(7).normal(size=SHAPE))


def sign(name: str, wall: RawWall, chances: Chances, filled: np.ndarray = ALL) -> np.ndarray:
    return veil_signs(wall, filled, chances)[..., SIGNS.index(name)]


def test_smooth_places_have_less_detail_at_every_size() -> None:
    for name in SIGNS[:3]:
        smooth, lively = (sign(name, wall_of(rough(share)), said()) for share in (0.01, 0.2))
        assert smooth.max() + 0.5 < lively.min()


def test_a_veil_with_clear_drops_is_quiet_between_them_and_growth_nowhere() -> None:
    """As lively in the mean: drops let dark contents through, fibres are everywhere."""
    veil = np.full(SHAPE, 0.5)
    for row in range(0, SHAPE[0], 24):
        veil[row : row + 8, ::24] = veil[row : row + 8, 1::24] = 0.05
    drops, fibres = wall_of(veil), wall_of(rough(0.3))
    for name in ("quiet of 0.4 mm", "quiet of 1 mm", "spread of the lighter"):
        assert sign(name, drops, said()).mean() + 0.5 < sign(name, fibres, said()).mean()


def test_colours_are_ratios_and_chances_are_log_odds() -> None:
    wall = wall_of(np.full(SHAPE, 0.5), (1.2, 1.0, 0.8))
    assert sign("red over green", wall, said()) == pytest.approx(np.log(0.61 / 0.51), abs=1e-4)
    assert sign("blue over green", wall, said()) == pytest.approx(np.log(0.41 / 0.51), abs=1e-4)
    assert sign("fog head down", wall, said(0.8)) == pytest.approx(np.log(4.0), abs=1e-4)
    assert sign("light over the brightest", wall, said()) == pytest.approx(0.0, abs=0.01)


def test_what_is_no_contents_is_not_looked_at() -> None:
    filled = ALL.copy()
    filled[:80] = False
    light = rough(0.01)
    light[:80] = rough(0.5)[:80]
    lively = sign("detail of 0.4 mm", wall_of(light), said())
    alone = sign("detail of 0.4 mm", wall_of(light), said(), filled)
    edge = len(alone) // 2 + 1  # half of the window is no contents
    assert alone[edge].mean() + 1.0 < lively[edge].mean()


def test_only_growth_over_the_limit_is_doubted(monkeypatch: pytest.MonkeyPatch) -> None:
    """With weights by which the odds are the log odds of fog head down."""
    weights = np.zeros(2 * len(SIGNS) + 1)
    weights[SIGNS.index("fog head down")] = 1.0
    learned = np.zeros(len(SIGNS)), np.ones(len(SIGNS)), weights
    monkeypatch.setattr(doubt, "_learned", lambda: learned)
    fog = np.full(SHAPE, 0.5, dtype=np.float32)
    fog[80:] = 0.9
    chances = replace(said(), fog=fog)
    grown = ALL.copy()
    grown[:, 60:] = False
    found = find_doubt(wall_of(rough(0.1)), grown, ALL, chances, odds_min=1.0)
    assert found[96:, :60].all()
    assert not found[:64].any()
    assert not found[:, 60:].any()
    assert not find_doubt(wall_of(rough(0.1)), grown, ALL, chances, odds_min=2.3).any()


def test_odds_are_those_of_the_signs_and_their_squares() -> None:
    signs = np.array([[1.0, 2.0], [3.0, 0.0]])
    middle, spread = np.array([1.0, 0.0]), np.array([2.0, 1.0])
    weights = np.array([1.0, 10.0, 100.0, 1000.0, 7.0])
    assert odds_of(signs, middle, spread, weights) == pytest.approx([4027.0, 108.0])


def test_learned_weights_doubt_a_grey_veil_and_believe_white_fibres() -> None:
    """Both as sure to be growth, upright; head down the one is half taken for fog."""
    veil = wall_of(0.42 * (1.0 + 0.004 * np.random.default_rng(3).normal(size=SHAPE)))
    doubtful = replace(said(0.001), fog=np.full(SHAPE, 0.4, np.float32),
                       fog_cover=np.full(SHAPE, 0.7, np.float32),
                       label_cover=np.full(SHAPE, 0.9, np.float32))  # fmt: skip
    fibres = wall_of(rough(0.06) * 1.3, (1.08, 1.0, 0.86))
    sure = replace(said(0.001), fog_cover=np.full(SHAPE, 0.97, np.float32),
                   label_cover=np.full(SHAPE, 0.97, np.float32))  # fmt: skip
    assert find_doubt(veil, ALL, ALL, doubtful, odds_min=1.0).mean() > 0.8
    assert not find_doubt(fibres, ALL, ALL, sure, odds_min=1.0).any()
