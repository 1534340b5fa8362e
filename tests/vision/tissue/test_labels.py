"""What is flat between two straight, level lines is stuck on the glass; growth never is."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from walls import flat_wall

from jarvision.records import Photo, TissueClass, Wall
from jarvision.settings.tissue import LabelSettings
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.tissue.classify import classify
from jarvision.vision.tissue.coverage import measure_coverage
from jarvision.vision.tissue.labels import find_labels
from tests.scenes.contents import JarRecipe, paint
from tests.training.painted_walls import shade

KRAFT, TAPE, WHITE, BLACK = (0.36, 0.22, 0.11), (0.7, 0.6, 0.36), (0.8, 0.8, 0.78), (0.02,) * 3
SETTINGS = PhotoSettings()


@cache
def grown(day: float) -> Wall:
    """A painted jar of rye within 60 degrees."""
    jar = paint(JarRecipe(seed=41, substrate="rye", speed_mm_per_day=3.0), day=day)
    front = np.abs(jar.angles_deg) <= 60.0
    colour = shade(jar, np.random.default_rng([41, round(day)]))[:, front]
    return replace(
        flat_wall(jar.classes[:, front], linear=colour),
        angles_deg=jar.angles_deg[front].astype(np.float64),
        heights_mm=jar.heights_mm.astype(np.float64),
        radius_mm=jar.radius_mm,
    )


def all_white(tall_mm: float, headspace_mm: float) -> Wall:
    """Smooth growth that fills a jar up to a level fill line, bluish glass above it."""
    classes = np.full((round(tall_mm / 0.25), 335), TissueClass.MYCELIUM, np.uint8)
    above = round(headspace_mm / 0.25)
    classes[:above] = TissueClass.OUTSIDE
    rng = np.random.default_rng(3)
    linear = (0.7 * rng.normal(1.0, 0.02, (*classes.shape, 1)) * np.ones(3)).astype(np.float32)
    linear[:above] *= np.array([0.2, 0.2, 0.5], np.float32)
    return flat_wall(classes, linear=linear)


def found(wall: Wall) -> np.ndarray:
    return find_labels(wall, wall.filled, settings=SETTINGS.label)


def box(
    wall: Wall, *, wide_mm: float, low: float, high: float, tilt_deg: float = 0.0
) -> np.ndarray:
    """A rectangle on the contents, its heights as shares of theirs; wider than the view: a tape."""
    rows, cols = wall.filled.shape
    filled = np.flatnonzero(wall.filled.any(axis=1))
    up, right = np.mgrid[rows - 1 : -1 : -1, :cols] * wall.step_mm
    right = right - right.mean()
    foot, tall = (rows - 1 - filled[-1]) * wall.step_mm, np.ptp(filled) * wall.step_mm
    up = up - foot + right * np.tan(np.deg2rad(tilt_deg))
    return (np.abs(right) < wide_mm / 2) & (up > low * tall) & (up < high * tall)


def stuck(wall: Wall, where: np.ndarray, rgb: tuple[float, float, float]) -> Wall:
    """The wall with something of one colour, a little uneven and seen a little blurred."""
    grain = np.random.default_rng(5).normal(1.0, 0.04, where.shape)[..., None]
    paper = np.array(rgb) * (0.85 + 0.15 * np.cos(np.deg2rad(wall.angles_deg)))[:, None] * grain
    share = cv2.GaussianBlur(where.astype(np.float32), (0, 0), 1.2)[..., None]
    return replace(wall, linear=(wall.linear * (1 - share) + paper * share).astype(np.float32))


def missed_and_beside(hidden: np.ndarray, where: np.ndarray) -> tuple[float, float]:
    """Shares of a label that were not found, and of what is 3 mm off it that were."""
    off = cv2.dilate(where.astype(np.uint8), np.ones((25, 25), np.uint8)) == 0
    return 1.0 - float(hidden[where].mean()), float(hidden[off].mean())


# --------------------------------------------------------------------------- labels
@pytest.mark.parametrize("tilt_deg", [0.0, 1.2, -3.0])
@pytest.mark.parametrize(
    ("rgb", "day"), [(KRAFT, 9.0), (TAPE, 9.0), (BLACK, 9.0), (WHITE, 4.0), (TAPE, 4.0)]
)
def test_a_label_of_any_colour_is_found_even_askew(
    rgb: tuple[float, float, float], day: float, tilt_deg: float
) -> None:
    wall = grown(day)
    where = box(wall, wide_mm=40.0, low=0.3, high=0.65, tilt_deg=tilt_deg)
    missed, beside = missed_and_beside(found(stuck(wall, where, rgb)), where)
    assert missed < 0.15
    assert beside == 0.0


@pytest.mark.parametrize("rgb", [TAPE, WHITE])
@pytest.mark.parametrize("day", [0.0, 4.0, 14.0])
def test_tape_around_the_jar_is_found(rgb: tuple[float, float, float], day: float) -> None:
    wall = grown(day)
    where = box(wall, wide_mm=999.0, low=0.4, high=0.6)
    missed, beside = missed_and_beside(found(stuck(wall, where, rgb)), where)
    assert missed < 0.1
    assert beside == 0.0


def test_a_label_with_print_is_found() -> None:
    wall = grown(4.0)
    where = box(wall, wide_mm=40.0, low=0.25, high=0.7)
    paper = stuck(wall, where, WHITE)
    for share in (0.37, 0.47, 0.57):
        line = box(wall, wide_mm=26.0, low=share, high=share + 0.03)
        paper = stuck(paper, line & (np.arange(line.shape[1]) // 7 % 3 > 0), BLACK)
    missed, _ = missed_and_beside(found(paper), where)
    assert missed < 0.15


# --------------------------------------------------------------------------- no labels
@pytest.mark.parametrize("day", [0.0, 2.0, 4.0, 9.0, 14.0, 22.0])
def test_contents_and_growth_are_no_label(day: float) -> None:
    assert not found(grown(day)).any()


def test_a_flat_area_with_a_ragged_edge_is_no_label() -> None:
    wall = grown(4.0)
    where = box(wall, wide_mm=40.0, low=0.3, high=0.65)
    assert found(stuck(wall, where, WHITE)).any()
    wave = np.rint(8 * np.sin(np.arange(where.shape[1]) / 9.0)).astype(int)  # 2 mm up and down
    rows = (np.arange(where.shape[0])[:, None] + wave) % where.shape[0]
    ragged = np.take_along_axis(where, rows, axis=0)
    assert not found(stuck(wall, ragged, WHITE)).any()


def test_one_level_line_is_no_label() -> None:
    """Water at the foot has a level, and below it all may be dark and flat."""
    wall = grown(4.0)
    assert not found(stuck(wall, box(wall, wide_mm=999.0, low=-1.0, high=0.35), BLACK)).any()


def test_rings_of_the_glass_are_no_label() -> None:
    wall = all_white(80.0, 20.0)
    for low in (0.3, 0.6):
        ring = box(wall, wide_mm=999.0, low=low, high=low + 0.025)  # 1.5 mm
        wall = stuck(wall, ring, (0.1, 0.1, 0.1))
    assert not found(wall).any()


@pytest.mark.parametrize("off_mm", [0.0, 8.0])
def test_growth_that_fills_a_jar_is_no_label(off_mm: float) -> None:
    """Its fill line and its floor are level; either may be found some way off."""
    wall = all_white(80.0, 20.0)
    off = round(off_mm / 0.25)
    filled = wall.filled.copy()
    filled[80 - off :] = True
    floor = wall.linear.copy()
    floor[-12 - off :] *= 0.2
    assert not found(replace(wall, filled=filled, linear=floor)).any()


def test_level_growth_from_above_is_no_label_where_the_fill_line_is_found_too_high() -> None:
    """Spawn on top grows downwards evenly; the table behind the jar was taken for contents."""
    wall = all_white(80.0, 20.0)
    linear = wall.linear.copy()
    linear[140:] *= np.array([0.25, 0.15, 0.08], np.float32)  # bare from 15 mm below the fill line
    for too_high_mm in (0.0, 4.0, 6.0):
        filled = wall.filled.copy()
        filled[80 - round(too_high_mm / 0.25) :] = True
        assert not found(replace(wall, filled=filled, linear=linear)).any(), too_high_mm


def test_a_rubber_band_and_a_small_sticker_are_left() -> None:
    wall = grown(9.0)
    assert not found(stuck(wall, box(wall, wide_mm=999.0, low=0.5, high=0.54), KRAFT)).any()
    assert not found(stuck(wall, box(wall, wide_mm=12.0, low=0.4, high=0.6), WHITE)).any()


def test_stripes_without_end_take_no_time() -> None:
    """Every stripe is a line: without a bound each would be paired with each."""
    wall = all_white(80.0, 20.0)
    bands = np.arange(wall.filled.shape[0]) // 12 % 2 > 0  # 3 mm each
    striped = np.where(bands[:, None, None], wall.linear, wall.linear * 0.2)
    with_label = stuck(
        replace(wall, linear=striped), box(wall, wide_mm=60, low=0.3, high=0.7), TAPE
    )
    begin = cv2.getTickCount()
    found(with_label)
    assert (cv2.getTickCount() - begin) / cv2.getTickFrequency() < 5.0


def test_a_wall_without_contents_has_no_label() -> None:
    wall = grown(9.0)
    nothing = np.zeros_like(wall.filled)
    assert not find_labels(wall, nothing, settings=LabelSettings()).any()


# --------------------------------------------------------------------------- what it means
def test_what_tape_hides_is_neither_growth_nor_bare() -> None:
    wall = grown(4.0)
    where = box(wall, wide_mm=999.0, low=0.4, high=0.65)
    grey = np.full((*wall.filled.shape, 3), 128, np.uint8)
    photo = Photo(
        path=Path("wall.png"), name="wall.png", rgb=grey, scale=1.0, focal_px=1500.0,
        focal_known=True, taken_at=datetime(2026, 3, 1, 12), time_source="exif",
    )  # fmt: skip
    clear, taped = (
        classify(seen, photo, settings=SETTINGS) for seen in (wall, stuck(wall, where, TAPE))
    )
    assert (taped.tissue.classes[where[: taped.wall.filled.shape[0]]] == TissueClass.UNJUDGED).all()
    before, after = (
        measure_coverage(seen.wall, seen.tissue, settings=SETTINGS.coverage)
        for seen in (clear, taped)
    )
    assert before.seen_percent - after.seen_percent > 20.0
    assert after.high - after.low > before.high - before.low
