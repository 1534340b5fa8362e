"""Points on walls of known cover: intervals hold, and a regular grid beats random points."""

from __future__ import annotations

import hashlib
from datetime import datetime

import numpy as np
import pytest

from jarvision.records import WallThumbnail
from jarvision.register.counts import CountedPoint
from jarvision.truth.counted import WallCount, walls_of
from jarvision.truth.points import WallPoint, cell_at, points_of
from jarvision.vision.tissue.thumbnail import SmallWall, pack_thumbnail

RADIUS_MM = 42.0
ROWS, COLS = 50, 60
WALLS = 1000


def content(number: int) -> str:
    return hashlib.sha256(f"wall {number}".encode()).hexdigest()


def wall(seen: np.ndarray | None = None) -> WallThumbnail:
    opacity = np.zeros((ROWS, COLS), np.float32)
    if seen is not None:
        opacity[~seen] = np.nan
    blank = np.zeros((2 * ROWS, 2 * COLS), np.float32)
    classes = np.full((ROWS, COLS), 2, np.uint8)
    return pack_thumbnail(SmallWall(opacity, classes, blank, RADIUS_MM))


def blobs(rng: np.random.Generator, share: float) -> np.ndarray:
    """White areas of a few centimetres whose share of the wall is exactly ``share``, nearly."""
    noise = rng.normal(size=(ROWS, COLS))
    spectrum = np.fft.rfft2(noise)
    up, across = np.fft.fftfreq(ROWS)[:, None], np.fft.rfftfreq(COLS)[None]
    smooth = np.fft.irfft2(spectrum * np.exp(-((up**2 + across**2) * 300.0)), (ROWS, COLS))
    return np.asarray(smooth > np.quantile(smooth, 1.0 - share))


def count(white: np.ndarray, points: tuple[WallPoint, ...], name: str = content(0)) -> WallCount:
    """What a person finds who never errs."""
    answers = [
        CountedPoint(
            name,
            *point.place,
            "white" if white[cell_at(white.shape, *point.place)] else "bare",
            "ann",
            datetime(2026, 3, 1),
            len(points),
        )
        for point in points
    ]
    return walls_of(answers)[0]


@pytest.mark.parametrize("share", [0.04, 0.3, 0.5, 0.9])
def test_the_interval_holds_at_least_95_percent_of_walls_of_known_cover(share: float) -> None:
    rng, thumbnail = np.random.default_rng(7), wall()
    held, off = 0, []
    for number in range(WALLS):
        white = blobs(rng, share)
        found = count(white, points_of(content(number), thumbnail, wanted=50))
        true = 100.0 * white.mean()
        held += found.low <= true <= found.high
        off.append(found.percent - true)
    assert held >= 0.95 * WALLS
    assert abs(np.mean(off)) < 3.0 * np.std(off) / np.sqrt(WALLS)  # no bias, wherever it starts


def test_a_regular_grid_scatters_less_than_random_points_and_its_own_error_says_so() -> None:
    rng, thumbnail = np.random.default_rng(8), wall()
    grid, random, told = [], [], []
    for number in range(400):
        white = blobs(rng, 0.5)
        found = count(white, points_of(content(number), thumbnail, wanted=49))
        grid.append(found.percent - 100.0 * white.mean())
        told.append(found.sd_percent)
        drawn = rng.integers(0, white.size, 49)
        random.append(100.0 * (white.ravel()[drawn].mean() - white.mean()))
    assert np.std(random) == pytest.approx(100.0 * np.sqrt(0.25 / 49), rel=0.15)  # the binomial
    assert np.std(grid) < 0.7 * np.std(random)
    assert np.std(grid) < np.sqrt(np.mean(np.square(told))) < np.std(random)  # safe, and sharper


def test_points_lie_on_seen_wall_only_about_as_many_as_wanted() -> None:
    seen = np.ones((ROWS, COLS), bool)
    seen[:, 20:35] = False  # a label
    for wanted in (25, 50, 100):
        counts = []
        for number in range(60):
            points = points_of(content(number), wall(seen), wanted=wanted)
            assert all(seen[cell_at(seen.shape, *point.place)] for point in points)
            counts.append(len(points))
        assert np.mean(counts) == pytest.approx(wanted, rel=0.05)


def test_the_same_photo_has_the_same_points_in_the_same_order_and_another_has_others() -> None:
    thumbnail = wall()
    first = points_of(content(1), thumbnail, wanted=50)
    assert points_of(content(1), thumbnail, wanted=50) == first
    assert set(points_of(content(2), thumbnail, wanted=50)).isdisjoint(first)


def test_the_grid_is_square_on_the_glass() -> None:
    points = points_of(content(3), wall(), wanted=50)
    angles = sorted({point.angle_deg for point in points})
    heights = sorted({point.height_mm for point in points})
    across_mm = np.deg2rad(np.diff(angles)) * RADIUS_MM
    assert across_mm == pytest.approx(np.diff(heights)[0], abs=0.03)
