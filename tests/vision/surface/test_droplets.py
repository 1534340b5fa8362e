"""Droplets and moisture, from chances made by hand."""

import numpy as np
import pytest
from surface_maps import WITHIN, chances, disc, picture

from jarvision.vision.surface.droplets import read_droplets
from jarvision.vision.surface.network import CAP, DROPLET, GROWTH, POOL


def spread(count: int, diameter_mm: float) -> np.ndarray:
    """Droplets on a square lattice within the mouth, none touching another."""
    side = int(np.sqrt(count))
    places = np.linspace(-20, 20, side)
    return np.any([disc(x, y, diameter_mm) for x in places for y in places], axis=0)


def test_few_droplets_are_dry_large_ones_wet_a_pool_stands():
    assert read_droplets(picture(), chances()).moisture == "dry"
    wet = read_droplets(picture(), chances(water={DROPLET: spread(144, 1.6)}))
    assert wet.moisture == "wet"
    assert wet.per_cm2 == pytest.approx(144 / (np.pi * 9), rel=0.02)
    assert wet.diameter_mm == pytest.approx(1.6, abs=0.2)
    pool = {POOL: disc(0, 0, 22), DROPLET: spread(49, 1.5) & ~disc(0, 0, 22)}
    assert read_droplets(picture(), chances(water=pool)).moisture == "standing water"


def test_many_fine_droplets_are_moist_and_chances_add_up():
    drops = read_droplets(picture(), chances(water={DROPLET: spread(225, 0.8)}))
    assert drops.moisture == "moist"
    assert sum(drops.chances) == pytest.approx(1.0)


def test_nothing_is_told_of_water_under_caps():
    assert read_droplets(picture(), chances(ground={CAP: WITHIN})) is None
    few = chances(ground={CAP: WITHIN & ~disc(0, 0, 5), GROWTH: disc(0, 0, 5)})
    assert read_droplets(picture(), few) is None
