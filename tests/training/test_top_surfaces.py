"""Painted surfaces: drawn again from their seeds, and bodies lie where the classes say."""

from __future__ import annotations

import numpy as np
import pytest

from tests.scenes.tops.spec import TopClass

from .top_surfaces import CELL_MM, SIDE, TopSurface, top_surface, with_owners

SEEDS = (1_000_003, 1_000_005)


@pytest.fixture(scope="module")
def drawn() -> list[TopSurface]:
    return [top_surface(seed) for seed in SEEDS]


def test_a_surface_is_drawn_again_from_its_seed(drawn: list[TopSurface]) -> None:
    again = top_surface(SEEDS[0])
    np.testing.assert_array_equal(again.picture, drawn[0].picture)
    np.testing.assert_array_equal(again.bodies, drawn[0].bodies)
    assert drawn[0].picture.shape == (SIDE, SIDE, 3)
    assert (drawn[0].picture != drawn[1].picture).any()


def test_pins_and_caps_have_their_middle_on_their_own_class(drawn: list[TopSurface]) -> None:
    seen = 0
    for surface in drawn:
        for kind, x, y, wide in surface.bodies:
            row, col = (int(v / CELL_MM + SIDE / 2.0) for v in (y, x))
            there = surface.below[row, col]
            if kind == TopClass.DROPLET:
                assert there in (TopClass.BARE, TopClass.GROWTH, TopClass.OFF_COLOUR)
                assert wide < 4.0
            else:
                assert there == kind
            seen += 1
    assert seen > 100


def test_what_lies_in_a_pool_is_no_droplet(drawn: list[TopSurface]) -> None:
    for surface in drawn:
        drops = surface.bodies[surface.bodies[:, 0] == TopClass.DROPLET]
        rows, cols = ((drops[:, i] / CELL_MM + SIDE / 2.0).astype(int) for i in (2, 1))
        assert not (surface.classes[rows, cols] == TopClass.WATER).any()


def test_bodies_of_several_surfaces_know_theirs(drawn: list[TopSurface]) -> None:
    told = with_owners([surface.bodies for surface in drawn])
    assert told.shape == (sum(len(surface.bodies) for surface in drawn), 5)
    np.testing.assert_array_equal(told[told[:, 0] == 1.0, 1:], drawn[1].bodies)
