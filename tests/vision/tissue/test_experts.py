"""Which network is believed."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from skimage import data

from jarvision.records import BareLook, BoolArray, Float32Array, RawWall, TissueClass
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.card.layout import load_layout
from jarvision.vision.jar.unroll import burnt_out
from jarvision.vision.photo import read_photo
from jarvision.vision.read import wall_of
from jarvision.vision.tissue import experts
from jarvision.vision.tissue.experts import (
    KNOWN_WITHIN,
    LOST_FROM,
    STRANGE_FROM,
    consult,
    strangeness,
)
from jarvision.vision.tissue.fill import find_contents
from jarvision.vision.tissue.inputs import network_inputs
from jarvision.vision.tissue.network import COVER, MULTIPLE, Expert, chances_of, run_network
from jarvision.vision.tissue.reference import COLOURS

SAMPLES = Path(__file__).parents[3] / "sample_images"


@cache
def wall() -> tuple[RawWall, Float32Array, Float32Array, BoolArray]:
    """A sample jar of oats with some growth: wall, inputs, the specialist's logits, contents."""
    settings = PhotoSettings()
    name = "SL02_2026-03-05.jpg"
    photo = read_photo(SAMPLES / name, name=name)
    raw = wall_of(photo, layout=load_layout(), settings=settings).wall
    return _asked(raw, burnt_out(raw, photo, settings=settings.masks))


def _asked(raw: RawWall, burnt: BoolArray) -> tuple[RawWall, Float32Array, Float32Array, BoolArray]:
    channels = network_inputs(raw, burnt, multiple=MULTIPLE)
    rows, cols = burnt.shape
    first = run_network("specialist", channels)[:, :rows, :cols]
    filled = find_contents(
        raw, chances_of(first, TissueClass.OUTSIDE)[0], settings=PhotoSettings().jar
    ).filled
    return raw, channels, first, filled


@cache
def strange() -> tuple[RawWall, Float32Array, Float32Array, BoolArray]:
    """The same jar with bricks for contents: edges in straight rows, as no grain has."""
    raw, *_ = wall()
    rows, cols = raw.linear.shape[:2]
    brick = np.resize(data.brick(), (rows, cols)).astype(np.float32) / 255.0
    linear = raw.linear * brick[..., None]
    found = _asked(replace(raw, linear=linear), np.zeros((rows, cols), np.bool_))
    return (*found[:3], wall()[3])


def never(*_: object) -> Float32Array:
    raise AssertionError("another network was asked")


def test_on_known_contents_the_specialist_alone_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    raw, channels, first, filled = wall()
    monkeypatch.setattr(experts, "run_network", never)
    opinion = consult(raw, channels, first, filled, bare=None)
    assert opinion.novelty is not None and opinion.novelty <= KNOWN_WITHIN
    assert opinion.forecast_points == 0.0
    np.testing.assert_allclose(opinion.seen.covered, 1.0 / (1.0 + np.exp(-first[COVER])), atol=1e-5)


def test_on_strange_contents_all_are_asked_and_an_error_is_expected() -> None:
    raw, channels, first, filled = strange()
    opinion = consult(raw, channels, first, filled, bare=None)
    assert opinion.novelty is not None and opinion.novelty > STRANGE_FROM
    assert opinion.forecast_points > 0.0


def test_the_further_apart_the_others_are_the_more_dispute() -> None:
    filled = np.array([[True, True, False]])
    one, other = np.full((14, 1, 3), -9.0, np.float32), np.full((14, 1, 3), -9.0, np.float32)
    one[COVER, 0] = (9.0, -9.0, 9.0)
    assert experts._dispute_points([one, other.copy()], filled) == pytest.approx(50.0, abs=0.1)
    one[COVER, 0, 2] = -9.0  # no contents there
    other[COVER, 0, 0] = 9.0
    assert experts._dispute_points([one, other], filled) == pytest.approx(0.0, abs=0.1)


@pytest.mark.parametrize("other", ["generalist", "naturalist"])
def test_each_of_the_others_has_a_say(other: str, monkeypatch: pytest.MonkeyPatch) -> None:
    raw, channels, first, filled = strange()

    def loud(expert: Expert, inputs: Float32Array) -> Float32Array:
        logits = run_network(expert, inputs)
        logits[COVER] += 40.0 * (expert == other)
        return logits

    before = consult(raw, channels, first, filled, bare=None).seen.covered[filled].mean()
    monkeypatch.setattr(experts, "run_network", loud)
    look = BareLook(((0.0, 0.0, 0.0),) * COLOURS, 0.3, 40.0, novelty=5.0)
    assert consult(raw, channels, first, filled, bare=look).seen.covered[filled].mean() > before


def test_a_jar_whose_first_photo_was_known_stays_with_the_specialist(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What bare contents look like is known from the jar's first day, however little shows now."""
    look = BareLook(((0.0, 0.0, 0.0),) * COLOURS, 0.3, 40.0, novelty=1.5)
    raw, channels, first, filled = strange()
    monkeypatch.setattr(experts, "run_network", never)
    assert consult(raw, channels, first, filled, bare=look).novelty == 1.5


def test_a_jar_whose_first_photo_was_strange_is_read_by_all() -> None:
    look = BareLook(((0.0, 0.0, 0.0),) * COLOURS, 0.3, 40.0, novelty=5.0)
    raw, channels, first, filled = wall()
    opinion = consult(raw, channels, first, filled, bare=look)
    assert opinion.novelty == 5.0
    assert opinion.forecast_points > 0.0


def test_the_others_are_believed_the_more_the_stranger_contents_are() -> None:
    assert strangeness(None) == strangeness(KNOWN_WITHIN) == 0.0
    assert strangeness((KNOWN_WITHIN + STRANGE_FROM) / 2) == pytest.approx(0.5)
    assert strangeness(STRANGE_FROM) == strangeness(9.0) == 1.0


def test_where_all_agree_the_mix_says_the_same() -> None:
    logits = np.random.default_rng(5).normal(0.0, 2.0, (13, 8, 8)).astype(np.float32)
    mixed = experts._mixed(logits, logits.copy(), STRANGE_FROM)
    assert ((mixed[COVER] > 0) == (logits[COVER] > 0)).all()
    assert (mixed[:10].argmax(axis=0) == logits[:10].argmax(axis=0)).all()


def test_on_strange_contents_the_specialist_is_outvoted_unless_the_others_are_in_doubt() -> None:
    one, other = np.zeros((13, 4, 4), np.float32), np.zeros((14, 4, 4), np.float32)
    one[COVER], other[COVER, :2], other[COVER, 2:] = 9.0, -3.0, -1.0
    assert (experts._mixed(one, other, STRANGE_FROM)[COVER, :2] < 0.0).all()
    assert (experts._mixed(one, other, STRANGE_FROM)[COVER, 2:] > 0.0).all()
    assert (experts._mixed(one, other, KNOWN_WITHIN + 0.2)[COVER] > 0.0).all()


def test_far_from_all_it_knows_the_specialist_has_no_say() -> None:
    one, other = np.zeros((13, 4, 4), np.float32), np.zeros((14, 4, 4), np.float32)
    one[COVER], other[COVER] = 9.0, -0.1
    assert (experts._mixed(one, other, 5.0)[COVER] > 0.0).all()
    assert (experts._mixed(one, other, LOST_FROM)[COVER] < 0.0).all()
    assert (experts._mixed(one, other, 30.0)[COVER] < 0.0).all()


def test_black_mould_is_the_others_alone() -> None:
    """The specialist takes its turf for growth, however sure it is of that."""
    one, other = (np.zeros((14, 4, 4), np.float32) for _ in range(2))
    one[TissueClass.MYCELIUM], one[COVER] = 9.0, 9.0
    other[TissueClass.BLACK, :2], other[COVER, :2] = 2.0, -2.0
    other[TissueClass.GREEN, 2:] = 2.0
    mixed = experts._mixed(one[:13], other, STRANGE_FROM)
    assert (mixed[:10, :2].argmax(axis=0) == TissueClass.BLACK).all()
    assert (mixed[COVER, :2] < 0.0).all()
    assert (mixed[:10, 2:].argmax(axis=0) == TissueClass.MYCELIUM).all()
