"""From logits to opinions, on numbers that can be worked out by hand: no trained network runs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from walls import CELL_MM, flat_wall

from jarvision.records import BareLook, BoolArray, Float32Array, RawWall, TissueClass
from jarvision.vision.tissue import experts, network
from jarvision.vision.tissue.experts import Opinion, consult, strangeness
from jarvision.vision.tissue.inputs import network_inputs
from jarvision.vision.tissue.network import (
    CAPS,
    CLASSES,
    COVER,
    LOG_ERROR,
    OPACITY,
    chances_of,
    run_network,
    told_by,
)

SHAPE = (64, 64)
FILLED = np.ones(SHAPE, dtype=np.bool_)
LOOK = BareLook(((0.0, 0.0, 0.0),) * 12, 0.3, 40.0, novelty=2.6)


def logits(outputs: int = 13, seed: int = 3, spread: float = 3.0) -> Float32Array:
    return np.random.default_rng(seed).normal(0.0, spread, (outputs, *SHAPE)).astype(np.float32)


def logistic(values: np.ndarray) -> np.ndarray:
    return np.asarray(1.0 / (1.0 + np.exp(-values.astype(float))))


# --------------------------------------------------------------------------- one network
def test_chances_are_those_of_softmax_and_of_the_logistic_function() -> None:
    said = logits()
    odds = np.exp(said[:CLASSES].astype(float))
    chance = odds / odds.sum(axis=0)
    seen = told_by(said.copy())
    np.testing.assert_allclose(seen.empty, chance[0], rtol=1e-4)
    np.testing.assert_array_equal(seen.best, 1 + chance[1:].argmax(axis=0))
    np.testing.assert_allclose(seen.share, chance[1:].max(axis=0), rtol=1e-4)
    np.testing.assert_allclose(
        seen.plain, chance[TissueClass.BARE] + chance[TissueClass.MYCELIUM], rtol=1e-4
    )
    for part, output in ((seen.opacity, OPACITY), (seen.covered, COVER), (seen.caps, CAPS)):
        np.testing.assert_allclose(part, logistic(said[output]), rtol=1e-4)
    for kind, found in zip(TissueClass, chances_of(said, *TissueClass), strict=True):
        np.testing.assert_allclose(found, chance[kind], rtol=1e-4)
    assert (CLASSES, OPACITY, COVER, CAPS, LOG_ERROR) == (10, 10, 11, 12, 13)


def test_a_cap_was_counted_five_times_in_training_and_its_odds_are_so_much_less(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    class Net:
        def run(self, outputs: None, inputs: dict[str, np.ndarray]) -> list[np.ndarray]:
            assert inputs["wall"].shape == (1, 7, 8, 8)
            return [np.full((1, 13 * 16, 2, 2), 0.4, np.float32)]

    monkeypatch.setattr(network, "_net", lambda expert: Net())
    said = run_network("specialist", np.zeros((7, 8, 8), np.float32))
    assert said.shape == (13, 8, 8)
    assert said[CAPS] == pytest.approx(0.4 - np.log(5.0))
    others = np.delete(said, CAPS, axis=0)
    assert others == pytest.approx(0.4)


@pytest.mark.parametrize("expert", ["specialist", "generalist"])
def test_the_short_way_to_what_is_hidden_and_covered_says_the_same(expert: network.Expert) -> None:
    bands = {"specialist": 7, "generalist": 13}[expert]
    channels = np.random.default_rng(8).normal(0.0, 1.0, (bands, 64, 96)).astype(np.float32)
    logits = run_network(expert, channels)
    hidden, covered = network.hidden_and_covered(expert, channels)
    (expected,) = chances_of(logits, TissueClass.UNJUDGED)
    assert expected.std() > 1e-3
    np.testing.assert_allclose(hidden, expected, rtol=1e-4)
    np.testing.assert_allclose(covered, logistic(logits[COVER]), rtol=1e-4)


def test_inputs_are_logs_of_light_and_tint_and_where_a_place_is() -> None:
    rng = np.random.default_rng(4)
    linear = rng.uniform(-0.01, 0.9, (40, 60, 3)).astype(np.float32)
    wall = flat_wall(np.full((40, 60), TissueClass.BARE, dtype=np.uint8), linear=linear)
    burnt = np.zeros((40, 60), dtype=np.bool_)
    burnt[3, 5] = True
    found = network_inputs(wall, burnt, multiple=32)
    assert found.shape == (7, 64, 64)
    assert not found[:, 40:].any() and not found[:, :, 60:].any()
    light = np.maximum(linear.astype(float), 0.0) + 0.004
    level = light @ np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1
    red, green, blue = np.moveaxis(light, -1, 0)
    expected = (
        (np.log(level) + 1.2) / 0.9,
        (np.log(red / green) - 0.15) / 0.25,
        (np.log(blue / green) + 0.45) / 0.45,
    )
    for channel, values in zip(found[:3, :40, :60], expected, strict=True):
        np.testing.assert_allclose(channel, values, atol=2e-3)
    sine = np.sin(np.deg2rad(wall.angles_deg))
    np.testing.assert_allclose(found[3, 7, :60], sine, atol=1e-6)
    np.testing.assert_allclose(found[4, 7, :60], sine**2, atol=1e-6)
    np.testing.assert_allclose(found[5, :40, 9], wall.heights_mm / 100.0, atol=1e-6)
    assert found[6].sum() == found[6, 3, 5] == 1.0


# --------------------------------------------------------------------------- three networks
@pytest.mark.parametrize(
    ("novelty", "share"),
    [(None, 0.0), (0.5, 0.0), (2.1, 0.0), (2.35, 0.25), (2.85, 0.75), (3.1, 1.0), (7.0, 1.0)],
)
def test_contents_are_strange_by_their_distance_from_known_looks(
    novelty: float | None, share: float
) -> None:
    assert strangeness(novelty) == pytest.approx(share)


@pytest.mark.parametrize(
    ("novelty", "mine", "theirs"),
    [(None, 1.0, 0.0), (2.35, 0.875, 0.5), (3.1, 0.5, 2.0), (6.55, 0.25, 2.0), (12.0, 0.0, 2.0)],
)
def test_logits_are_mixed_by_novelty_after_the_likeliest_was_set_to_nought(
    novelty: float | None, mine: float, theirs: float
) -> None:
    one, other = logits(13, seed=1, spread=6.0), logits(14, seed=2, spread=6.0)
    mixed = experts._mixed(one, other, novelty)
    said = []
    for raw in (one, other[:13]):
        part = raw.astype(float)
        part[:CLASSES] -= part[:CLASSES].max(axis=0)
        said.append(np.clip(part, -10.0, 10.0))
    expected = mine * said[0] + theirs * said[1]
    black = other[:CLASSES].argmax(axis=0) == TissueClass.BLACK
    expected = np.where(black, said[1], expected)
    assert 100 < black.sum() < black.size / 2
    np.testing.assert_allclose(mixed, expected, rtol=1e-5, atol=1e-5)


def test_bare_is_what_is_plain_and_likelier_not_covered() -> None:
    bare, grown, green = TissueClass.BARE, TissueClass.MYCELIUM, TissueClass.GREEN
    kinds = np.array([bare, bare, bare, grown, grown, green, green])
    covered = np.array([0.1, 0.49, 0.5, 0.49, 0.9, 0.1, 0.9])
    said = np.zeros((13, 1, kinds.size), np.float32)
    said[TissueClass.OUTSIDE] = 9.0  # among contents nothing is empty glass
    said[kinds, 0, np.arange(kinds.size)] = 2.0
    said[COVER, 0] = np.log(covered / (1.0 - covered))
    found = experts._bare_places(said)
    assert found.tolist() == [[True, True, False, True, False, False, False]]
    seen = told_by(said)
    plain = (seen.best == bare) | (seen.best == grown)
    np.testing.assert_array_equal(found, plain & (seen.covered < 0.5))


class Answers:
    """Stands for the other networks and for the measure of novelty; notes what that was asked."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, *novelties: float | None) -> None:
        self.said = {"generalist": logits(14, seed=5), "naturalist": logits(14, seed=6)}
        self.asked: list[BoolArray] = []
        self.novelties = list(novelties)
        monkeypatch.setattr(experts, "run_network", self.run)
        monkeypatch.setattr(experts, "novelty_of", self.novelty)
        monkeypatch.setattr(experts, "with_reference", lambda channels, bare: channels)

    def run(self, expert: str, channels: Float32Array) -> Float32Array:
        padded = np.full((14, SHAPE[0] + 8, SHAPE[1] + 8), 99.0, np.float32)
        padded[:, : SHAPE[0], : SHAPE[1]] = self.said[expert]
        return padded

    @property
    def second(self) -> Float32Array:
        """What both say together: the generalist counts three times."""
        return 0.75 * self.said["generalist"] + 0.25 * self.said["naturalist"]

    def novelty(self, raw: RawWall, bare: BoolArray) -> float | None:
        self.asked.append(bare)
        return self.novelties.pop(0)

    def opinion(self, *, bare: BareLook | None = None, filled: BoolArray = FILLED) -> Opinion:
        wall = flat_wall(np.full(SHAPE, TissueClass.BARE, dtype=np.uint8))
        channels = np.zeros((7, *SHAPE), np.float32)
        return consult(wall, channels, logits(seed=1), filled, bare=bare)


@pytest.mark.parametrize("novelty", [1.0, 2.1])
def test_up_to_the_known_distance_the_specialist_is_believed_alone(
    monkeypatch: pytest.MonkeyPatch, novelty: float
) -> None:
    answers = Answers(monkeypatch, novelty)
    found = answers.opinion()
    assert (found.novelty, found.forecast_points) == (novelty, 0.0)
    np.testing.assert_array_equal(found.seen.covered, told_by(logits(seed=1)).covered)


@pytest.mark.parametrize(
    ("log_error", "points"), [(-3.0, 100 * np.exp(-3.0)), (-9.0, 100 * np.exp(-6.5)), (2.0, 100.0)]
)
@pytest.mark.parametrize(("novelty", "share"), [(2.6, 0.5), (4.0, 1.0)])
def test_the_error_that_is_expected_counts_as_far_as_contents_are_strange(
    monkeypatch: pytest.MonkeyPatch, log_error: float, points: float, novelty: float, share: float
) -> None:
    answers = Answers(monkeypatch)
    filled = FILLED.copy()
    filled[:20] = False
    for said, aside in zip(answers.said.values(), (-0.1, 0.3), strict=True):
        said[LOG_ERROR] = 50.0  # outside of the contents
        said[LOG_ERROR][filled] = log_error + aside + np.resize([-0.5, 0.5], filled.sum())
    found = answers.opinion(bare=replace(LOOK, novelty=novelty), filled=filled)
    assert found.novelty == novelty
    assert found.forecast_points == pytest.approx(share * points, rel=1e-4)
    mixed = told_by(experts._mixed(logits(seed=1), answers.second, novelty))
    np.testing.assert_allclose(found.seen.covered, mixed.covered, rtol=1e-4)
    apart = [logistic(said[COVER][filled]).mean() for said in answers.said.values()]
    assert found.dispute_points == pytest.approx(100 * share * abs(apart[0] - apart[1]), rel=1e-4)


def test_novelty_is_that_of_what_all_call_bare_else_of_what_the_others_do(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    one, other = logits(seed=1), Answers(monkeypatch).second
    filled = FILLED.copy()
    filled[:20] = False
    bare = [experts._bare_places(said) & filled for said in (one, other)]
    for told, novelty in (((5.0, 4.0), 4.0), ((5.0, None, 3.0), 3.0), ((None, None, None), None)):
        answers = Answers(monkeypatch, *told)
        assert answers.opinion(filled=filled).novelty == novelty
        for asked, places in zip(
            answers.asked, (bare[0], bare[0] & bare[1], bare[1]), strict=False
        ):
            np.testing.assert_array_equal(asked, places)
    answers = Answers(monkeypatch, 4.5)  # a look of which only the colours are known
    assert answers.opinion(bare=replace(LOOK, novelty=None)).novelty == 4.5


def test_a_wall_without_contents_is_told_by_the_specialist(monkeypatch: pytest.MonkeyPatch) -> None:
    answers = Answers(monkeypatch, None, None, None)
    found = answers.opinion(filled=np.zeros(SHAPE, np.bool_))
    assert (found.novelty, found.forecast_points) == (None, 0.0)
    np.testing.assert_array_equal(found.seen.best, told_by(logits(seed=1)).best)


def test_cells_of_these_walls_are_quarter_millimetres() -> None:
    wall = flat_wall(np.full(SHAPE, TissueClass.BARE, dtype=np.uint8))
    assert wall.step_mm == CELL_MM
    assert wall.cell_cm2 == pytest.approx(CELL_MM**2 / 100.0)
