"""The jar's own bare look as inputs of the network."""

from __future__ import annotations

import numpy as np
import pytest
from walls import flat_wall, tissue_of

from jarvision.records import BareLook, TissueClass
from jarvision.vision.tissue.reference import (
    COLOURS,
    REFERENCE_CHANNELS,
    bare_look_of,
    look_of,
    reference_channels,
    with_reference,
)


@pytest.fixture
def logs() -> np.ndarray:
    """Two kinds of pieces, dark and pale, with some spread; ``(3, 60, 80)``."""
    rng = np.random.default_rng(4)
    kind = rng.random((60, 80)) < 0.4
    middle = np.where(kind, 0.6, -1.0)
    return (middle + 0.1 * rng.standard_normal((3, 60, 80))).astype(np.float32)


def test_without_a_look_all_channels_are_zero(logs) -> None:
    assert reference_channels(logs, None).shape == (REFERENCE_CHANNELS, 60, 80)
    assert not reference_channels(logs, None).any()


def test_bare_places_are_near_and_others_far(logs) -> None:
    look = look_of(logs, np.ones((60, 80), bool), 40.0)
    other = np.full_like(logs, 2.5)
    assert reference_channels(logs, look)[0].mean() < 0.15
    assert reference_channels(other, look)[0].min() > 0.6


def test_both_kinds_of_pieces_are_in_the_look(logs) -> None:
    look = look_of(logs, np.ones((60, 80), bool), 40.0)
    colours = np.array(look.colours)
    assert colours.shape == (COLOURS, 3)
    assert (colours[:, 0] < -0.5).any()
    assert (colours[:, 0] > 0.3).any()


def test_only_bare_places_count(logs) -> None:
    bare = np.zeros((60, 80), bool)
    bare[:30] = True
    logs[:, 30:] = 5.0
    look = look_of(logs, bare, 40.0)
    assert np.max(look.colours) < 2.0


def test_the_channels_come_behind_the_others(logs) -> None:
    channels = np.concatenate([logs, np.zeros((4, 60, 80), np.float32)])
    look = BareLook(((0.0, 0.0, 0.0),) * COLOURS, 0.4, 40.0)
    both = with_reference(channels, look)
    assert both.shape == (7 + REFERENCE_CHANNELS, 60, 80)
    np.testing.assert_array_equal(both[:7], channels)
    assert both[-1].min() == 1.0
    np.testing.assert_allclose(both[-2], 0.4)


def test_training_sees_what_the_package_sees(logs) -> None:
    torch = pytest.importorskip("torch")
    from tests.training.composed_walls import looks_of

    places = logs.reshape(3, -1).T[:1024]
    bare = np.zeros(60 * 80, bool)
    bare[:1024] = True
    look = look_of(logs, bare.reshape(60, 80), 40.0)
    learned = looks_of(torch.from_numpy(places)[None], torch.ones(1, 1, 1, 1))
    np.testing.assert_allclose(learned.colours[0].numpy(), look.colours, atol=1e-4)
    channels = learned.channels(torch.from_numpy(logs)[None])[0].numpy()
    np.testing.assert_allclose(channels, reference_channels(logs, look), atol=1e-3)


def test_pale_contents_called_growth_teach_only_where_nothing_is_said_to_have_grown() -> None:
    rng = np.random.default_rng(2)
    grey = rng.uniform(0.4, 0.9, (160, 160, 1)).astype(np.float32)
    classes = np.full((160, 160), TissueClass.MYCELIUM, np.uint8)
    classes[:20] = TissueClass.OUTSIDE
    classes[20:40] = TissueClass.UNJUDGED
    wall, tissue = flat_wall(classes, linear=np.repeat(grey, 3, axis=2)), tissue_of(classes)
    assert bare_look_of(wall, tissue) is None
    look = bare_look_of(wall, tissue, nothing_grown=True)
    assert look is not None
    assert look.area_cm2 == pytest.approx(120 * 160 * wall.cell_cm2)
    assert look.novelty is not None and look.novelty > 0.0, "told of all contents, too"


def test_a_whole_bare_wall_teaches_the_same_either_way() -> None:
    grey = np.random.default_rng(2).uniform(0.1, 0.3, (160, 160, 1)).astype(np.float32)
    classes = np.full((160, 160), TissueClass.BARE, np.uint8)
    wall, tissue = flat_wall(classes, linear=np.repeat(grey, 3, axis=2)), tissue_of(classes)
    called, said = (bare_look_of(wall, tissue, nothing_grown=word) for word in (False, True))
    assert called is not None and said is not None
    assert called.colours == said.colours
