"""The speed of the white, measured on walls on which it is known."""

from __future__ import annotations

import numpy as np
import pytest

from jarvision.history.fronts import fastest_front
from jarvision.records import TissueClass
from jarvision.settings.groups import Settings
from jarvision.vision.tissue.thumbnail import SMALL_CELL_MM, SmallWall

LIMITS = Settings().front
RADIUS_MM, ROWS, COLS = 45.0, 50, 60
WIDTH_MM = RADIUS_MM * np.deg2rad(2.0)
Y, X = np.meshgrid(
    (np.arange(ROWS) + 0.5) * SMALL_CELL_MM, (np.arange(COLS) + 0.5) * WIDTH_MM, indexing="ij"
)
Place = tuple[float, float]


def discs(*grown: tuple[Place, float]) -> np.ndarray:
    """Opacity of a wall on which discs ((x, y) mm, radius mm) have grown."""
    opacity = np.zeros((ROWS, COLS))
    for (x, y), radius in grown:
        opacity[np.hypot(X - x, Y - y) <= radius] = 1.0
    return opacity


def wall(opacity: np.ndarray) -> SmallWall:
    classes = np.where(opacity >= 0.5, TissueClass.MYCELIUM, TissueClass.BARE).astype(np.uint8)
    return SmallWall(
        opacity.astype(np.float32), classes, np.zeros((100, 120), np.float32), RADIUS_MM
    )


def speed(before: np.ndarray, after: np.ndarray, gap_days: float = 1.0) -> float:
    front = fastest_front([before], wall(after), gap_days=gap_days, settings=LIMITS)
    return 0.0 if front is None else front.mm_per_day


MIDDLE: Place = (47.0, 50.0)


@pytest.mark.parametrize("mm_per_day", [4.0, 8.0, 12.0, 16.0])
@pytest.mark.parametrize("gap_days", [1.0, 2.0])
def test_a_disc_that_widens_has_the_speed_of_its_edge(mm_per_day: float, gap_days: float) -> None:
    before, after = discs((MIDDLE, 8.0)), discs((MIDDLE, 8.0 + mm_per_day * gap_days))
    assert speed(before, after, gap_days) == pytest.approx(mm_per_day, abs=0.1)


def test_a_disc_that_was_not_there_has_grown_half_way_through_the_time() -> None:
    assert speed(discs(), discs((MIDDLE, 6.0))) == pytest.approx(12.0, abs=2.0)  # a cell of 2 mm


def test_colonies_that_all_widen_by_a_slow_front_and_meet_are_slow() -> None:
    # nuclei 15 mm apart, fronts of 3 mm/day: their discs meet, no front is faster than that
    places = [(x, y) for x in np.arange(5, 95, 15.0) for y in np.arange(5, 100, 15.0)]
    for radius in (3.0, 6.0, 9.0):
        before, after = (discs(*((p, r) for p in places)) for r in (radius, radius + 3.0))
        assert speed(before, after) <= 4.0


def test_growth_that_thickens_where_it_was_is_no_front() -> None:
    assert speed(np.full((ROWS, COLS), 0.4), np.full((ROWS, COLS), 0.9)) == 0.0


def test_a_wall_that_stands_still_and_one_never_seen_have_no_front() -> None:
    half = discs((MIDDLE, 20.0))
    assert speed(half, half) == 0.0
    assert speed(np.full((ROWS, COLS), np.nan), half) == 0.0


def test_a_front_stands_still_only_where_there_was_room_for_one() -> None:
    cell_cm2 = SMALL_CELL_MM * WIDTH_MM / 100.0
    for area_cm2, stands in ((1.95, False), (2.05, True)):
        opacity = np.ones((ROWS, COLS))
        opacity.flat[: round(area_cm2 / cell_cm2)] = 0.0
        front = fastest_front([opacity], wall(opacity), gap_days=1.0, settings=LIMITS)
        assert (front is not None) is stands
        assert front is None or (front.mm_per_day, front.area_cm2) == (0.0, 0.0)


def test_places_that_could_not_be_judged_are_no_growth() -> None:
    after = discs((MIDDLE, 20.0))
    after[:, 20:40] = np.nan
    before = discs()
    before[:, :20] = before[:, 40:] = np.nan
    assert speed(before, after) == 0.0


def test_specks_are_no_front() -> None:
    rng = np.random.default_rng(2)
    specks = (rng.random((ROWS, COLS)) < 0.03).astype(float)
    assert speed(discs((MIDDLE, 10.0)), np.maximum(discs((MIDDLE, 12.0)), specks)) <= 4.0


def test_the_front_says_where_it_ran() -> None:
    front = fastest_front(
        [discs()], wall(discs(((70.0, 30.0), 9.0))), gap_days=1.0, settings=LIMITS
    )
    assert front is not None
    assert front.angle_deg == pytest.approx(np.rad2deg(70.0 / RADIUS_MM) - 60.0, abs=2.0)
    assert front.height_mm == pytest.approx(ROWS * SMALL_CELL_MM - 30.0, abs=2.0)
    assert front.area_cm2 == pytest.approx(np.pi * 0.9**2, rel=0.2)
