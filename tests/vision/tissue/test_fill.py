"""Where contents begin and end, and how surely: votes whose sum can be worked out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from walls import CELL_MM, flat_wall

from jarvision.records import TissueClass, Wall
from jarvision.settings.jar import JarSettings
from jarvision.vision.tissue.fill import Contents, find_contents

SETTINGS = JarSettings()
ROWS, COLS = 400, 301


def wall(*, below_mm: float = 0.0, foot_sd_mm: float = 0.0) -> Wall:
    """A wall 100 mm high, unrolled so far below the usual floor."""
    plain = flat_wall(np.full((ROWS, COLS), TissueClass.BARE, dtype=np.uint8))
    return replace(plain, heights_mm=plain.heights_mm - below_mm, foot_sd_mm=foot_sd_mm)


def found(empty: np.ndarray, **more: float) -> Contents:
    return find_contents(wall(**more), empty.astype(np.float32), settings=SETTINGS)


def glass(top: int, floor: int, sure: float = 1.0) -> np.ndarray:
    """Emptiness: glass above a row and from another on, as surely as told."""
    empty = np.full((ROWS, COLS), 0.5 - sure / 2)
    empty[:top] = empty[floor:] = 0.5 + sure / 2
    return empty


@pytest.mark.parametrize("sure", [1.0, 0.4])
def test_the_fill_line_is_as_unsure_as_the_votes_on_both_sides_of_it(sure: float) -> None:
    """A split k rows off has k votes against it, a half of ``sure`` each: chances q to the k."""
    contents = found(glass(150, 380, sure))
    assert (contents.filled.sum(axis=0) == 230).all()
    q = np.exp(-sure / 2 * CELL_MM / 0.25)
    assert contents.line_sd_mm == pytest.approx(np.sqrt(2 * q) / (1 - q) * CELL_MM, rel=1e-3)


@pytest.mark.parametrize(("sure", "foot_sd_mm"), [(1.0, 0.0), (0.1, 0.0), (0.1, 4.0)])
def test_the_floor_is_as_unsure_as_its_votes_and_its_usual_height_leave_it(
    sure: float, foot_sd_mm: float
) -> None:
    below_mm = 6.0
    contents = found(glass(150, 380, sure), below_mm=below_mm, foot_sd_mm=foot_sd_mm)
    rows = np.arange(ROWS // 2 + 1)  # the glass under the contents, rows thick
    votes = sure / 2 * (np.minimum(rows, 20) - np.maximum(rows - 20, 0)) * CELL_MM / 0.25
    usual_sd = np.hypot(2.5, foot_sd_mm)
    votes -= ((rows * CELL_MM - below_mm) / usual_sd) ** 2 / 2
    chance = np.exp(votes - votes.max())
    chance /= chance.sum()
    spread = np.sqrt(chance @ (rows - chance @ rows) ** 2) * CELL_MM
    assert contents.floor_row == ROWS - int(votes.argmax())
    assert contents.floor_sd_mm == pytest.approx(np.hypot(spread, foot_sd_mm), rel=1e-3)


@pytest.mark.parametrize("below_mm", [0.0, 5.0, 6.0])
def test_a_floor_of_which_nothing_shows_lies_at_its_usual_height(below_mm: float) -> None:
    contents = found(glass(150, ROWS, 0.0), below_mm=below_mm)
    assert contents.floor_row == ROWS - round(below_mm / CELL_MM)


def fill_rows(empty: np.ndarray) -> np.ndarray:
    return np.asarray(found(empty).filled.argmax(axis=0))


@pytest.mark.parametrize(("off_mm", "bridged"), [(4.5, False), (5.5, True)])
def test_a_line_five_millimetres_off_all_around_it_is_no_line(off_mm: float, bridged: bool) -> None:
    empty = glass(150, ROWS)
    empty[150 : 150 + round(off_mm / CELL_MM), 130:171] = 1.0  # 10 mm wide: less than 33 mm
    line = fill_rows(empty)
    assert bool(np.abs(line - 150).max() <= 1) is bridged
    assert line[:120].tolist() == [150] * 120


def test_a_step_as_wide_as_the_window_is_followed() -> None:
    empty = glass(150, ROWS)
    empty[150:180, 100:] = 1.0
    line = fill_rows(empty)
    assert (line[:85] == 150).all() and (line[115:] == 180).all()


def test_specks_narrower_than_the_median_leave_no_trace() -> None:
    empty = glass(150, ROWS)
    empty[150:160, 140:149] = 1.0  # 2 mm wide
    assert (fill_rows(empty) == 150).all()
