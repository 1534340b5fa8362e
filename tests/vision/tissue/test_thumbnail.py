"""What a thumbnail keeps: every map against the wall that it was made of."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from walls import CELL_MM, RADIUS_MM, flat_wall, tissue_of

from jarvision.records import TissueClass, Wall
from jarvision.vision.tissue.thumbnail import (
    SmallWall,
    pack_thumbnail,
    shrink,
    unpack_thumbnail,
)

ROWS, COLS = 320, 336  # 80 mm high: 40 rows of 2 mm


def plain(kind: TissueClass = TissueClass.BARE) -> np.ndarray:
    return np.full((ROWS, COLS), kind, dtype=np.uint8)


def small_of(classes: np.ndarray, **more: object) -> SmallWall:
    return unpack_thumbnail(shrink(replace(flat_wall(classes), **more), tissue_of(classes)))


def places(wall: Wall, row: int, col: int) -> np.ndarray:
    """The places of the wall in one cell of two degrees and two millimetres."""
    across = np.floor((wall.angles_deg + 60.0) / 2.0) == col
    up = np.floor(wall.heights_mm / 2.0) == 39 - row
    return np.asarray(up[:, None] & across[None, :])


def test_cells_are_two_degrees_by_two_millimetres_and_the_last_row_stands_on_the_floor() -> None:
    small = small_of(plain())
    assert small.opacity.shape == small.classes.shape == (40, 60)
    assert small.pattern.shape == (80, 120)
    assert small.cell_width_mm == pytest.approx(RADIUS_MM * np.deg2rad(2.0))
    assert small.cell_cm2 == pytest.approx(RADIUS_MM * np.deg2rad(2.0) * 2.0 / 100.0)
    low = flat_wall(plain()[:315])
    assert unpack_thumbnail(shrink(low, tissue_of(plain()[:315]))).classes.shape[0] == 40


@pytest.mark.parametrize(("row", "col"), [(20, 31), (39, 1), (5, 58), (38, 12)])
def test_a_cell_is_where_its_places_are(row: int, col: int) -> None:
    classes = plain()
    classes[places(flat_wall(classes), row, col)] = TissueClass.MYCELIUM
    small = small_of(classes)
    assert np.argwhere(small.classes == TissueClass.MYCELIUM).tolist() == [[row, col]]
    assert np.unravel_index(small.opacity.argmax(), small.opacity.shape) == (row, col)
    assert small.opacity[row, col] > 0.75
    assert small.opacity.sum() == pytest.approx(1.0, abs=0.25)


def test_what_was_not_judged_takes_no_part_in_the_opacity_of_its_cell() -> None:
    classes = plain()
    wall = flat_wall(classes)
    tissue = tissue_of(classes)
    tissue.opacity[:, ::2], tissue.opacity[:, 1::2] = 0.9, 0.3
    judged = np.ones(classes.shape, np.bool_)
    judged[:, 1::2] = False
    half = unpack_thumbnail(shrink(replace(wall, judged=judged), tissue))
    assert np.nanmedian(half.opacity) == pytest.approx(0.9, abs=0.01)
    judged[:, ::4] = False
    quarter = unpack_thumbnail(shrink(replace(wall, judged=judged), tissue))
    assert np.isnan(quarter.opacity[:, 5:-5]).all()


def test_packing_keeps_percents_classes_and_fifteen_steps_of_the_pattern() -> None:
    rng = np.random.default_rng(2)
    opacity = np.round(rng.uniform(0, 1, (5, 6)), 2).astype(np.float32)
    opacity[0, :3] = (np.nan, 0.0, 1.0)
    classes = rng.integers(0, 10, (5, 6)).astype(np.uint8)
    pattern = rng.normal(0, 1.2, (10, 12)).astype(np.float32)
    pattern[0, :4] = (0.0, 2.5, -2.5, 7.0)
    small = unpack_thumbnail(pack_thumbnail(SmallWall(opacity, classes, pattern, 41.0)))
    np.testing.assert_allclose(small.opacity, opacity, atol=1e-6)
    np.testing.assert_array_equal(small.classes, classes)
    assert small.radius_mm == 41.0
    step = 5.0 / 14.0
    nearest = np.round((np.clip(pattern, -2.5, 2.5) + 2.5) / step) * step - 2.5
    nearest[0, 0] = 0.0
    np.testing.assert_allclose(small.pattern, nearest, atol=1e-5)
    assert len(np.unique(small.pattern)) <= 16


def test_a_stain_without_evidence_is_kept_as_a_stain() -> None:
    classes = plain()
    unproven = places(flat_wall(classes), 20, 30)
    tissue = replace(tissue_of(classes), unproven=unproven)
    small = unpack_thumbnail(shrink(flat_wall(classes), tissue))
    assert np.argwhere(small.classes == TissueClass.STAIN).tolist() == [[20, 30]]


def test_the_pattern_is_the_green_lights_logarithm_in_its_wide_spread() -> None:
    rng = np.random.default_rng(4)
    field = gaussian_filter(rng.normal(size=(ROWS, COLS)), 8.0, mode="nearest")
    light = np.exp(0.3 * field / field.std() - 1.5)
    linear = rng.uniform(0.1, 0.9, (ROWS, COLS, 3))
    linear[..., 1] = light
    small = small_of(plain(), linear=linear.astype(np.float32))
    brighter = small_of(plain(), linear=(2.0 * linear).astype(np.float32))
    assert np.abs(brighter.pattern - small.pattern).max() <= 5.0 / 14.0 + 1e-5
    across = np.repeat(np.log(light).reshape(80, 4, COLS).mean(axis=1), 1, axis=0)
    cells = np.stack(
        [across[:, round(c * COLS / 120) : round((c + 1) * COLS / 120)].mean(axis=1)
         for c in range(120)], axis=1,
    )  # fmt: skip
    wide = 6.0 * 2 / 2.0
    narrow = cells - gaussian_filter(cells, wide, mode="mirror")
    scaled = narrow / np.sqrt(gaussian_filter(narrow**2, wide, mode="mirror"))
    inner = np.s_[4:-4, 4:-4]
    assert np.corrcoef(small.pattern[inner].ravel(), scaled[inner].ravel())[0, 1] > 0.97
    assert np.abs(small.pattern[inner] - np.clip(scaled, -2.5, 2.5)[inner]).mean() < 0.2


def test_there_is_no_pattern_where_nothing_was_seen_and_none_of_an_even_wall() -> None:
    classes = plain()
    classes[:160] = TissueClass.OUTSIDE
    rng = np.random.default_rng(4)
    linear = rng.uniform(0.1, 0.9, (ROWS, COLS, 3)).astype(np.float32)
    small = small_of(classes, linear=linear)
    assert not small.pattern[:39].any()
    assert (small.pattern[41:] != 0.0).mean() > 0.8  # a step lies at nought
    even = small_of(plain(), linear=np.full((ROWS, COLS, 3), 0.3, np.float32))
    assert np.abs(even.pattern).max() <= 5.0 / 14.0
    assert CELL_MM * ROWS == 80.0
