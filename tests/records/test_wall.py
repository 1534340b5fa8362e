"""Walls: what they measure, and how the unrolled wall is cut at its floor."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from jarvision.records import Coverage, RawWall

ROWS, COLS, FLOOR_ROW = 40, 30, 35
STEP_MM, STEP_DEG, RADIUS_MM = 0.5, 1.5, 40.0


def raw_wall() -> RawWall:
    """20 mm of wall, numbered by row, that reaches 5 mm below the expected floor."""
    rows = np.repeat(np.arange(ROWS, dtype=np.float32), COLS).reshape(ROWS, COLS)
    return RawWall(
        linear=np.repeat(rows[..., None], 3, axis=2),
        angles_deg=(np.arange(COLS) - (COLS - 1) / 2) * STEP_DEG,
        heights_mm=(ROWS - 0.5 - np.arange(ROWS)) * STEP_MM - 5.0,
        radius_mm=RADIUS_MM,
        pixels=np.repeat(rows[..., None], 2, axis=2),
        groove_mm=12.0,
    )


def test_a_cell_has_its_true_area_on_the_cylinder() -> None:
    wall = raw_wall()
    assert wall.step_mm == pytest.approx(STEP_MM)
    assert wall.cell_cm2 == pytest.approx(STEP_MM * RADIUS_MM * math.radians(STEP_DEG) / 100.0)


@pytest.mark.parametrize("groove_mm", [12.0, None])
def test_heights_of_a_wall_with_contents_begin_at_its_floor(groove_mm: float | None) -> None:
    raw = replace(raw_wall(), groove_mm=groove_mm)
    mask = np.arange(ROWS)[:, None] >= np.full(COLS, 10)
    wall = raw.with_contents(
        floor_row=FLOOR_ROW, filled=mask, judged=~mask, line_sd_mm=0.3, floor_sd_mm=0.4
    )
    floor_mm = raw.heights_mm[FLOOR_ROW - 1] - STEP_MM / 2
    assert wall.heights_mm[-1] == pytest.approx(STEP_MM / 2)
    assert wall.groove_mm == (None if groove_mm is None else pytest.approx(groove_mm - floor_mm))
    shapes = {part.shape[0] for part in (wall.linear, wall.pixels, wall.filled, wall.judged)}
    assert shapes == {FLOOR_ROW}
    np.testing.assert_array_equal(wall.linear[:, 0, 0], np.arange(FLOOR_ROW))
    np.testing.assert_array_equal(wall.filled, mask[:FLOOR_ROW])
    assert (wall.line_sd_mm, wall.floor_sd_mm) == (0.3, 0.4)


@pytest.mark.parametrize(("low", "high", "words"), [
    (31.0, 80.9, "56"), (31.0, 81.0, "31 to 81"), (0.0, 100.0, "0 to 100"),
])  # fmt: skip
def test_an_interval_of_half_the_scale_is_shown_without_a_number(
    low: float, high: float, words: str
) -> None:
    cover = Coverage(percent=56.2, low=low, high=high, soft_percent=50.0, seen_percent=90.0)
    assert cover.in_words() == words
    assert cover.is_told == (words == "56")
