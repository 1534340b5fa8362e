"""Edges, top and page on views that are drawn as they are: where a line lies is known."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from plain_views import SHAPE, box, col, ridges, row, view_of

from jarvision.base.errors import PhotoRefusedError
from jarvision.settings.jar import JarSettings
from jarvision.vision.card.layout import load_layout
from jarvision.vision.jar.edges import (
    EdgeLine,
    _beside_print,
    _fit_line,
    _median_slope,
    _outermost,
    _outermost_peaks,
    _plain_strips_mm,
    _profile,
    _quiet_level,
    _sought_mm,
    liveliness,
    windows_of_edges,
    windows_of_lines,
)
from jarvision.vision.jar.plane_view import PlaneView
from jarvision.vision.jar.span import Span

LAYOUT, SETTINGS = load_layout(), JarSettings()
BAND = slice(row(195.0), row(280.0))
UPRIGHT = EdgeLine(80.0, 0.0, 237.5, 1.0)


# --------------------------------------------------------------------------- the view
def test_places_of_the_view_are_millimetres_of_the_card() -> None:
    view = view_of()
    assert (view.column(80.0), view.row(195.0)) == (270, 597)
    assert (view.x_mm(270.0), view.y_mm(597.0)) == (80.0, 195.0)
    assert view.window((-99.0, 10.0), (80.0, 999.0)) == (slice(0, 42), slice(270, 630))
    assert view.window((10.0, 999.0), (-99.0, 80.0)) == (slice(42, 912), slice(0, 270))
    assert view.whole == (slice(0, 912), slice(0, 630))


@pytest.mark.parametrize(
    "to_photo",
    [
        np.array([[1.0, 0.1, -60.0], [0.05, 1.1, -90.0], [0.0, 0.0, 1.0]]),
        np.array([[0.5, -0.2, 150.0], [0.1, 0.6, 20.0], [1e-4, 2e-4, 1.0]]),
        np.array([[-1.0, 0.0, 500.0], [0.0, -1.0, 700.0], [0.0, 0.0, 1.0]]),
        np.array([[0.3, 0.0, 40.0], [0.0, 0.3, 30.0], [0.0, 0.0, 1.0]]),
    ],
)
def test_a_view_knows_which_of_its_places_the_photo_holds(to_photo: np.ndarray) -> None:
    photo = np.zeros((800, 560, 3), dtype=np.uint8)
    view = view_of(photo, to_photo)
    for window in (view.whole, (slice(100, 300), slice(50, 400)), (slice(400, 401), slice(9, 12))):
        rows, cols = (np.arange(part.start, part.stop) for part in window)
        x, y = np.meshgrid(cols, rows)
        u, v, depth = np.moveaxis(np.stack([x, y, np.ones_like(x)], -1) @ to_photo.T, -1, 0)
        room = np.min([u, 559 * depth - u, v, 799 * depth - v], axis=0)
        sure = np.abs(room) > 1e-6
        np.testing.assert_array_equal(view.inside(window)[sure], (room >= 0.0)[sure])


def test_a_window_shows_the_part_of_the_photo_that_it_is() -> None:
    rng = np.random.default_rng(1)
    photo = rng.integers(0, 255, (*SHAPE, 3)).astype(np.uint8)
    window = slice(100, 180), slice(40, 300)
    np.testing.assert_array_equal(view_of(photo).rgb(window), photo[window])
    shifted = np.array([[1.0, 0.0, 5.0], [0.0, 1.0, -7.0], [0.0, 0.0, 1.0]])
    np.testing.assert_array_equal(
        view_of(photo, shifted).rgb(window), photo[100 - 7 : 180 - 7, 45:305]
    )


# --------------------------------------------------------------------------- liveliness
def test_liveliness_is_the_change_of_colour_across_and_none_outside_the_photo() -> None:
    rgb = np.full((*SHAPE, 3), 90, dtype=np.uint8)
    rgb[:, 300:] = 180
    view = view_of(rgb)
    window = slice(600, 800), slice(200, 400)
    change = liveliness(view, LAYOUT, [window])
    assert np.isnan(change[:600]).all() and np.isnan(change[:, 400:]).all()
    inside = change[600:800, 200:400]
    lab = [cv2.cvtColor(np.full((1, 1, 3), v, np.uint8), cv2.COLOR_RGB2LAB)[0, 0, 0]
           for v in (90, 180)]  # fmt: skip
    step = float(lab[1]) - float(lab[0])
    line = np.nanmedian(inside, axis=0)
    assert np.argmax(line) in (99, 100)
    # a bell of one pixel: half of what lies between two neighbours, 68 % / 2 of the step
    assert line.max() == pytest.approx(step * 0.3413, rel=0.08)
    assert np.nansum(line) == pytest.approx(step, rel=0.02)
    left = view_of(rgb[:, :350])
    short = PlaneView(left.photo_rgb, left.to_photo, SHAPE)
    assert not np.nan_to_num(liveliness(short, LAYOUT, [window])[:, 351:]).any()


def test_near_the_cards_own_edges_nothing_can_be_told() -> None:
    change = liveliness(view_of(), LAYOUT, [(slice(0, 912), slice(0, 630))])
    field = LAYOUT.field
    unknown = np.isnan(change[row(150.0)])
    for edge in (field.x_mm, field.x_mm + field.width_mm):
        assert unknown[col(edge - 1.1) : col(edge + 1.1) + 1].all()
        assert not unknown[col(edge - 2.0)] or edge == field.x_mm
    assert not unknown[col(60.0) : col(130.0)].any()
    mark = LAYOUT.markers[0]
    inside = box(change, (mark.x_mm + 1, mark.x_mm + 19), (mark.y_mm + 1, mark.y_mm + 19))
    assert np.isnan(inside).all()
    assert not np.isnan(change[row(290.0)]).any()


def test_a_columns_profile_is_what_four_tenths_of_its_known_rows_stay_below() -> None:
    rng = np.random.default_rng(3)
    change = rng.uniform(0.0, 9.0, (60, 5)).astype(np.float32)
    change[10:30, 1] = np.nan
    change[19:, 2] = np.nan
    change[20:, 3] = np.nan
    found = _profile(change)
    for column in (0, 1, 3, 4):
        known = change[:, column][np.isfinite(change[:, column])]
        assert found[column] == pytest.approx(np.quantile(known, 0.4), rel=1e-5)
    assert found[2] == 0.0  # nineteen rows say nothing


def test_plain_paper_beside_the_field_tells_what_is_quiet() -> None:
    strips = _plain_strips_mm(LAYOUT)
    gap = strips[0][1] - strips[0][0]
    field = LAYOUT.field
    starts = (field.x_mm - 3 * gap, field.x_mm - 2 * gap, 158.0 + gap, 158.0 + 2 * gap)
    assert [low for low, _ in strips] == pytest.approx(starts)
    assert [high - low for low, high in strips] == pytest.approx([gap] * 4)
    widest = max(s.x_mm + s.width_mm for s in LAYOUT.swatches if s.x_mm < 95.0)
    assert gap == pytest.approx((field.x_mm - widest) / 4)
    change = np.full(SHAPE, 9.0, np.float32)
    for (low, high), level in zip(strips, (3.0, 5.0, 0.8, 4.0), strict=True):
        box(change, (low - 0.4, high + 0.4), (190.0, 290.0))[:] = level
    view = view_of()
    assert _quiet_level(view, change, BAND, layout=LAYOUT, settings=SETTINGS) == pytest.approx(0.8)
    box(change, (strips[2][0] - 0.4, strips[2][1] + 0.4), (190.0, 290.0))[:] = 0.1
    assert _quiet_level(view, change, BAND, layout=LAYOUT, settings=SETTINGS) == 0.3


# --------------------------------------------------------------------------- one edge
@pytest.mark.parametrize(
    ("span", "left", "right"),
    [
        (Span(60.0, 120.0), (52.0, 66.0), (114.0, 128.0)),
        (Span(60.0, 120.0, (10.0, 12.0)), (55.0, 66.0), (114.0, 126.0)),
        (Span(34.9, 155.1), (34.9 - 29.0, 34.9 + 30.0), (155.1 - 30.0, 155.1 + 29.0)),
        (Span(35.1, 154.9), (35.1 - 8.0, 35.1 + 6.0), (154.9 - 6.0, 154.9 + 8.0)),
    ],
    ids=["free", "neighbours", "at the border", "near it"],
)
def test_an_edge_is_sought_about_the_hidden_span(
    span: Span, left: tuple[float, float], right: tuple[float, float]
) -> None:
    assert _sought_mm(span, -1, LAYOUT, SETTINGS) == pytest.approx(left)
    assert _sought_mm(span, 1, LAYOUT, SETTINGS) == pytest.approx(right)


def test_windows_hold_where_edges_are_sought_and_a_little_more() -> None:
    view = view_of()
    windows = windows_of_edges(
        view, Span(60.0, 120.0), rows_mm=(195.0, 280.0), layout=LAYOUT, settings=SETTINGS
    )
    strips = _plain_strips_mm(LAYOUT)
    sides = [(52.0 - 4.0, 66.0 + 4.0), (114.0 - 4.0, 128.0 + 4.0), (strips[0][0], strips[1][1]),
             (strips[2][0], strips[3][1])]  # fmt: skip
    assert windows == [(BAND, slice(col(low), col(high))) for low, high in sides]
    lines = EdgeLine(60.0, 0.1, 200.0, 1.0), EdgeLine(120.0, -0.1, 200.0, 1.0)
    found = windows_of_lines(view, lines, rows_mm=(0.0, 195.0), settings=SETTINGS)
    rows = slice(row(0.0), row(195.0))
    assert found == [
        (rows, slice(col(40.0 - 5.0), col(59.5 + 5.0))),
        (rows, slice(col(120.5 - 5.0), col(140.0 + 5.0))),
    ]


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize(
    ("heights", "outer"),
    [
        ((1.0, 3.0), False),  # a third of the strongest: 0.333 < 0.35
        ((1.2, 3.0), True),
        ((2.1, 20.0), False),
        ((2.3, 20.0), True),  # clear by itself
    ],
)
def test_the_outermost_strong_peak_is_the_edge(
    side: int, heights: tuple[float, float], outer: bool
) -> None:
    outside, inside = 95.0 + side * 34.0, 95.0 + side * 31.0
    change = ridges((outside, heights[0]), (inside, heights[1]))
    found = _outermost(
        view_of(), change[BAND], side=side, quiet=0.3, settings=SETTINGS,
        sought_mm=(min(outside, inside) - 5.0, max(outside, inside) + 5.0),
    )  # fmt: skip
    assert found == col(outside if outer else inside)


def test_an_edge_is_two_and_a_half_times_as_lively_as_plain_print() -> None:
    for quiet, found in ((1.18, True), (1.22, False)):
        asked = {"side": -1, "sought_mm": (60.0, 70.0), "quiet": quiet, "settings": SETTINGS}
        if found:
            assert _outermost(view_of(), ridges((65.0, 3.0))[BAND], **asked) == col(65.0)
        else:
            with pytest.raises(PhotoRefusedError):
                _outermost(view_of(), ridges((65.0, 3.0))[BAND], **asked)


@pytest.mark.parametrize("side", [-1, 1])
def test_in_each_row_the_outermost_peak_of_half_the_highest_counts(side: int) -> None:
    rows = np.array(
        [
            [0, 4, 0, 9, 0, 0, 0],
            [0, 5, 0, 9, 0, 0, 0],
            [0, 0, 0, 9, 0, 5, 0],
            [0, 0, 0, 9, 0, 4, 0],
            [9, 0, 0, 8, 0, 0, 9],
            [0, 3, 3, 3, 3, 3, 0],
        ],
        dtype=np.float32,
    )
    found = _outermost_peaks(rows, side=side, share=0.5)
    expected = {-1: [3, 1, 3, 3, 3, 5], 1: [3, 3, 5, 3, 3, 5]}[side]
    assert found.tolist() == expected


def fitted(change: np.ndarray, start: EdgeLine = UPRIGHT, side: int = -1) -> EdgeLine:
    return _fit_line(view_of(), change, start, BAND, side=side, settings=SETTINGS)


@pytest.mark.parametrize("slope", [0.0, 0.012, -0.009])
@pytest.mark.parametrize("x_mm", [80.0, 80.11, 79.8])
def test_a_line_is_fitted_to_a_fraction_of_a_pixel(slope: float, x_mm: float) -> None:
    found = fitted(ridges((x_mm, 6.0), slope=slope))
    middle = 195.0 - 4.0 + (BAND.stop - BAND.start - 1) / 6.0 + 4.0
    assert found.y0_mm == pytest.approx(middle)
    assert found.x_mm(237.5) == pytest.approx(x_mm, abs=0.02)
    assert found.slope == pytest.approx(slope, abs=1e-3)
    assert found.sd_mm < 0.05
    assert found.x_mm(247.5) - found.x_mm(237.5) == pytest.approx(10.0 * found.slope)


def test_a_line_of_which_too_little_shows_stays_where_it_was_sought() -> None:
    for rows, shown in ((19, False), (21, True)):
        change = np.full(SHAPE, 0.2, np.float32)
        change[BAND.start : BAND.start + rows] = ridges((80.3, 6.0))[BAND.start : BAND.start + rows]
        found = fitted(change)
        if shown:
            assert found.x_mm(237.5) == pytest.approx(80.3, abs=0.02)
        else:
            assert (found.x_mm(237.5), found.sd_mm) == (80.0, 1.5)


def test_rows_below_the_least_change_say_nothing_of_a_line() -> None:
    assert fitted(ridges((80.3, 1.45))).sd_mm == 1.5
    assert fitted(ridges((80.3, 1.6))).sd_mm < 0.05


def test_a_line_is_as_unsure_as_its_rows_differ() -> None:
    rng = np.random.default_rng(4)
    change = ridges((80.0, 6.0))
    shifts = rng.normal(0.0, 1.0, SHAPE[0]).round().astype(int).clip(-2, 2)
    for at in range(SHAPE[0]):
        change[at] = np.roll(change[at], shifts[at])
    found = fitted(change)
    off = np.abs(shifts[BAND] / 3.0 - np.median(shifts[BAND]) / 3.0)
    assert found.sd_mm == pytest.approx(1.4826 * np.median(off), abs=0.05)


def test_a_slope_is_the_median_over_all_pairs() -> None:
    y = np.array([0.0, 1.0, 2.0, 3.0, 5.0])
    x = 0.5 * y + np.array([0.0, 0.0, 9.0, 0.0, 0.0])
    pairs = [(x[j] - x[i]) / (y[j] - y[i]) for i in range(5) for j in range(i + 1, 5)]
    assert _median_slope(x, y) == pytest.approx(np.median(pairs)) == pytest.approx(0.5)


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize(("off_mm", "hidden"), [(2.4, True), (3.2, False), (-1.5, False)])
def test_print_just_outside_an_edge_may_hide_the_true_one(
    side: int, off_mm: float, hidden: bool
) -> None:
    change = ridges((80.0, 6.0))
    at = col(80.0 + side * off_mm)
    change[:, at : at + 1] = np.nan
    view = view_of()
    asked = {"side": side, "settings": SETTINGS}
    assert _beside_print(view, change, UPRIGHT, BAND, **asked) is hidden
    assert (fitted(change, side=side).sd_mm == 1.0) is hidden
    change[BAND.start : (BAND.start + BAND.stop) // 2 + 2] = 1.0
    assert not _beside_print(view, change, UPRIGHT, BAND, **asked)  # less than half of the rows
