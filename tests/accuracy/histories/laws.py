"""Other ways to grow than the nucleation of the first bench: when growth reaches each place.

Each law gives a map of arrival days on a wall whose ready share is reached after the planned run.
``few`` and ``top`` are fronts in an uneven medium, ``many`` is nucleation, ``layers`` starts from
bands of spawn that are white when the jar is packed. ``richards`` and ``two phase`` take the order
of places from nucleation and the pace from a curve: Richards 1959 (J. Exp. Bot. 10:290-301, from
memory), and a first half of the run that brings a fifth of the way.
"""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from scipy.ndimage import distance_transform_edt
from skimage.graph import MCP_Geometric

from jarvision.records import FloatArray
from jarvision.register.species import find_profile
from tests.scenes.growth_field import Front, arrival_days, scatter_nuclei
from tests.scenes.wall_paint import WallGrid

from .plans import Plan

TUNED_ON: Final = ("few", "many", "top", "two phase")
JUDGED_ON: Final = ("richards", "layers")
"""Laws that no limit was ever chosen on."""

UNEVEN: Final = 0.3  # spread of the logarithm of the medium's slowness
TOP_SHARE: Final = 0.85  # fronts run on average at most at this share of the species' top speed


def arrival_by_law(plan: Plan, grid: WallGrid) -> FloatArray:
    """Return the day (of growing time) on which growth reaches each place."""
    rng = np.random.default_rng([plan.seed, 15])
    run = plan.run_days - plan.lag_days
    if plan.law == "layers":
        arrival = _from_bands(plan, grid, run, rng)
    elif plan.law in ("richards", "two phase"):
        order = _spread(_nucleated(plan, grid, rng))
        ends = float(np.quantile(order, plan.ready_share))
        pace = _pace(plan, ends)
        arrival = plan.lag_days + run * np.interp(order, *pace)
    else:
        distance = _far_enough(plan, grid, run, rng)
        arrival = plan.lag_days + run * distance / np.quantile(distance, plan.ready_share)
    if plan.gaps_share > 0.0:
        lace = _field(grid, rng, 2.2)
        arrival = np.where(lace > np.quantile(lace, 1 - plan.gaps_share), np.inf, arrival)
    return np.asarray(arrival, dtype=np.float64)


def _pace(plan: Plan, ends: float) -> tuple[FloatArray, FloatArray]:
    """Return shares of the wall and the times (1: the ready share) at which they are covered."""
    share = np.linspace(0.0, 1.0, 400)
    if plan.law == "two phase":
        half = 0.2 * ends
        time = np.where(
            share < half, 0.5 * share / half, 0.5 + 0.5 * (share - half) / (ends - half)
        )
        return share, time
    nu = plan.shape
    inside = np.clip(share, 0.01, 0.998)
    time = -np.log((inside**-nu - 1) / nu)  # the inverse of Richards' curve, in units of 1 / rate
    time -= time[0]
    return share, time / np.interp(ends, share, time)


def _spread(order: FloatArray) -> FloatArray:
    """Return the rank of each place, 0 (first) to 1."""
    ranks = np.empty(order.size)
    ranks[np.argsort(order, axis=None)] = np.linspace(0.0, 1.0, order.size)
    return ranks.reshape(order.shape)


def _nucleated(plan: Plan, grid: WallGrid, rng: np.random.Generator) -> FloatArray:
    nuclei = scatter_nuclei(
        grid, rng=rng, per_cm2=plan.nuclei_per_cm2, first_day=0.0, spread_days=plan.spread_days
    )
    front = Front(plan.speed_mm_per_day, speed_spread=0.15, rough_mm=1.6)
    return arrival_days(nuclei, front, grid, rng=rng).astype(np.float64)


def _far_enough(plan: Plan, grid: WallGrid, run: float, rng: np.random.Generator) -> FloatArray:
    """Return how far each place lies from the growth's start, mm of an even medium.

    So many starts that no front must run faster than the species does.
    """
    most_mm = TOP_SHARE * find_profile(plan.entry.species).front_mm_per_day[1] * run
    if plan.law == "many":
        return _nucleated(plan, grid, rng) * plan.speed_mm_per_day
    slow = np.exp(UNEVEN * _field(grid, rng, 10.0))
    if plan.law == "top":
        starts = np.zeros(grid.shape, dtype=bool)
        starts[0] = True
        return _front_from(starts, slow, grid)
    count = int(plan.shape)
    while True:
        starts = np.zeros(grid.shape, dtype=bool)
        starts[rng.integers(0, grid.rows, count), rng.integers(0, grid.cols, count)] = True
        distance = _front_from(starts, slow, grid)
        if np.quantile(distance, plan.ready_share) <= most_mm:
            return distance
        count = 2 * count


def _front_from(starts: np.ndarray, slow: FloatArray, grid: WallGrid) -> FloatArray:
    """Return the way of least time from the starts, around the seam too, mm (eikonal equation)."""
    cols = grid.cols
    walls = np.hstack([slow] * 3)
    places = np.argwhere(np.hstack([starts] * 3))
    costs, _ = MCP_Geometric(walls, sampling=grid.step_mm).find_costs(places)
    return np.asarray(costs[:, cols : 2 * cols])


def _from_bands(plan: Plan, grid: WallGrid, run: float, rng: np.random.Generator) -> FloatArray:
    """Return the arrival from bands of spawn, which are white from the start."""
    bend = 4.0 * _field(grid, rng, 8.0)
    period = rng.uniform(22.0, 34.0)
    wave = np.cos(2 * np.pi * (grid.heights_mm[:, None] + bend) / period)
    wave = wave + 0.6 * _field(grid, rng, 3.0)
    white = wave > np.quantile(wave, 1 - plan.shape)
    away = distance_transform_edt(~np.hstack([white] * 3), sampling=grid.step_mm)
    away = away[:, grid.cols : 2 * grid.cols] * np.exp(0.15 * _field(grid, rng, 6.0))
    reached = plan.lag_days + run * away / np.quantile(away, plan.ready_share)
    return np.asarray(np.where(white, -10.0, reached))


def _field(grid: WallGrid, rng: np.random.Generator, size_mm: float) -> FloatArray:
    """Return smooth noise of unit spread, even around the seam."""
    noise = rng.standard_normal(grid.shape)
    sigma = size_mm / grid.step_mm[0]
    smooth = cv2.GaussianBlur(np.hstack([noise] * 3), (0, 0), sigma)
    smooth = smooth[:, grid.cols : 2 * grid.cols]
    return np.asarray((smooth - smooth.mean()) / smooth.std())
