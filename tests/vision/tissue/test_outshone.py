"""Beside a bright veil growth may look like contents: the upper end says so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from walls import flat_wall

from jarvision.records import TissueClass
from jarvision.settings.tissue import VeilSettings
from jarvision.vision.tissue.outshone import outshone_points

SHAPE = 160, 100
SETTINGS = VeilSettings()
FOG = np.array([0.62, 0.63, 0.63])


def points(
    rest: np.ndarray, *, doubted: int = 40, covered: float = 0.1, kind: int = TissueClass.BARE,
    empty: int = 0, settings: VeilSettings = SETTINGS,
) -> float:  # fmt: skip
    """Of a wall of which so many columns of 100 are doubted fog and the rest has one colour."""
    classes = np.full(SHAPE, kind, np.uint8)
    veil = np.zeros(SHAPE, np.bool_)
    veil[:, :doubted] = True
    classes[veil] = TissueClass.MYCELIUM
    filled = np.ones(SHAPE, np.bool_)
    filled[:, 100 - empty :] = False
    linear = np.where(veil[..., None], FOG, rest).astype(np.float32)
    chance = np.full(SHAPE, covered, np.float32)
    wall = flat_wall(classes, linear=linear)
    return outshone_points(wall, classes, chance, filled, veil, settings=settings)


def test_grey_of_the_veils_hue_may_be_growth_by_what_it_was_not_said_to_be() -> None:
    assert points(0.5 * FOG) == pytest.approx(100.0 * 0.6 * 0.9)
    assert points(0.5 * FOG, covered=0.4) == pytest.approx(100.0 * 0.6 * 0.6)
    assert points(0.5 * FOG, empty=20) == pytest.approx(100.0 * 40 / 80 * 0.9)


def test_mould_and_brown_contents_are_none() -> None:
    assert points(0.5 * FOG, kind=TissueClass.GREEN) == 0.0
    assert points(np.array([0.42, 0.26, 0.13])) < 100.0 * 0.05  # where their colours run together


@pytest.mark.parametrize(("less_blue", "alike"), [(0.12, True), (0.18, False)])
def test_the_hue_counts_from_its_limit_on(less_blue: float, alike: bool) -> None:
    warm = 0.5 * FOG * [1.0, 1.0, np.exp(-less_blue)]
    assert (points(warm) > 50.0) == alike


@pytest.mark.parametrize(("share", "alike"), [(0.27, True), (0.22, False)])
def test_the_light_counts_from_its_limit_on(share: float, alike: bool) -> None:
    settings = replace(SETTINGS, outshone_hue=1.0)
    assert (points(share * FOG, settings=settings) > 50.0) == alike


@pytest.mark.parametrize(("doubted", "told"), [(0, False), (19, False), (20, True)])
def test_a_veil_outshines_from_a_fifth_of_the_wall_on(doubted: int, told: bool) -> None:
    assert (points(0.5 * FOG, doubted=doubted) > 0.0) == told
