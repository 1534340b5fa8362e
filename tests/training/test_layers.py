"""Layers of contents and growth that networks learn from."""

from __future__ import annotations

import numpy as np
import pytest

from .contents_layers import CANVAS, FAMILIES, MIXTURES, contents_layer
from .growth_layers import _age, _colonies, _nuclei
from .palette import base_colour, to_linear
from .pieces import rounded, scattered, strew


@pytest.mark.parametrize("family", range(len(FAMILIES)))
def test_a_layer_is_drawn_again_from_its_seed(family: int) -> None:
    one, two, other = (contents_layer(family, seed) for seed in (7, 7, 8))
    assert one.maps.shape == (6, *CANVAS)
    assert one.maps.dtype == np.uint8
    np.testing.assert_array_equal(one.maps, two.maps)
    assert (one.maps != other.maps).any()
    assert one.family == family
    assert one.holds & 1 << family


def test_a_mixture_names_the_families_in_it() -> None:
    for seed in range(3):
        bits = contents_layer(MIXTURES, seed).holds
        assert bits & 1 << MIXTURES
        assert bits & ~(1 << MIXTURES)


def test_colours_reach_from_dark_to_pale() -> None:
    rng = np.random.default_rng(1)
    light = np.array([base_colour(rng)[0] for _ in range(400)])
    assert light.min() < 20.0
    assert light.max() > 83.0
    albedo = to_linear(np.array([base_colour(rng) for _ in range(400)]))
    assert albedo.min() > 0.0
    assert albedo.max() <= 0.86


def test_the_last_piece_lies_uppermost_and_knows_its_middle() -> None:
    rng = np.random.default_rng(2)
    size = np.full(30, 8.0)
    outline = rounded(30, rng, square=0.0, ragged=0.0)
    pieces = scattered(30, (120, 160), rng, long=size, wide=size, outline=outline)
    lain = strew(pieces, (120, 160))
    row, col = round(float(pieces.y[-1])), round(float(pieces.x[-1]))
    if 0 <= row < 120 and 0 <= col < 160:
        assert lain.piece[row, col] == 30
        assert abs(float(lain.u[row, col])) < 0.15
    assert np.hypot(lain.u, lain.v)[lain.piece > 0].max() < 1.3


def test_colonies_have_clean_edges_and_other_growth_has_not() -> None:
    def edge_cells(ages: np.ndarray) -> float:
        here = ages < np.quantile(ages, 0.3)
        return float((here[1:] != here[:-1]).mean() + (here[:, 1:] != here[:, :-1]).mean())

    rngs = [np.random.default_rng(seed) for seed in range(6)]
    clean = [edge_cells(_colonies(_nuclei(rng), rng)) for rng in rngs]
    ragged = [edge_cells(_age(_nuclei(rng), rng)) for rng in rngs]
    assert max(clean) < 0.03
    assert np.median(ragged) > 2 * np.median(clean)
