"""Where the straight wall and the page end, on views that are drawn as they are."""

from __future__ import annotations

import numpy as np
import pytest
from plain_views import SHAPE, box, col, ridges, row, view_of

from jarvision.settings.jar import JarSettings
from jarvision.vision.card.layout import load_layout
from jarvision.vision.jar.edges import EdgeLine
from jarvision.vision.jar.page import page_ends_mm
from jarvision.vision.jar.plane_view import PlaneView
from jarvision.vision.jar.top import _edge_shows, _first_run, _lid_mm, _top_of_edges, top_of_wall_mm

LAYOUT, SETTINGS = load_layout(), JarSettings()


# --------------------------------------------------------------------------- the top
def test_a_run_begins_where_all_of_its_length_is_true() -> None:
    flags = np.array([1, 1, 0, 1, 1, 1, 1, 0, 1, 1, 1], dtype=bool)
    assert _first_run(flags, 2) == 0
    assert _first_run(flags, 3) == 3
    assert _first_run(flags, 4) == 3
    assert _first_run(flags, 5) is None
    assert _first_run(flags[:3], 4) is None
    assert _first_run(np.ones(4, bool), 4) == 0


def test_most_rows_must_show_an_edge_within_a_millimetre_of_its_column() -> None:
    def shows(change: np.ndarray) -> bool | None:
        return _edge_shows(change.astype(np.float32), 20, settings=SETTINGS)

    flat = np.full((12, 41), 0.5)
    for off, seen in ((3, True), (-3, True), (4, False), (-4, False)):
        near = flat.copy()
        near[:, 20 + off] = 2.0
        assert shows(near) is seen
    for rows, seen in ((7, True), (6, False), (5, False)):
        some = flat.copy()
        some[:rows, 20] = 2.0
        assert shows(some) is seen, rows
    half = flat.copy()
    half[:6, 20], half[6:, 20] = 2.4, 0.7  # the middle between both is 1.55
    assert shows(half) is True
    hidden = flat.copy()
    hidden[:, 17:21] = np.nan
    assert shows(hidden) is None
    hidden[:, 20] = 2.0
    assert shows(hidden) is True


def edges_up_to(top_mm: float, *, gap: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    """Both edges shown below a height, but for a gap in the left one."""
    change = ridges((60.0, 5.0), (120.0, 5.0))
    change[: row(top_mm)] = 0.2
    change[row(gap[0]) : row(gap[1]), : col(90.0)] = 0.2
    return change


LINES = EdgeLine(60.0, 0.0, 237.5, 0.1), EdgeLine(120.0, 0.0, 237.5, 0.1)


@pytest.mark.parametrize(
    ("gap", "top"),
    [((0.0, 0.0), 103.0), ((130.0, 139.0), 103.0), ((130.0, 143.0), 143.0)],
    ids=["none", "two steps", "three steps"],
)
def test_the_wall_ends_where_an_edge_is_off_its_line_for_three_steps(
    gap: tuple[float, float], top: float
) -> None:
    change = edges_up_to(102.0, gap=gap)
    found = _top_of_edges(view_of(), change, LINES, settings=SETTINGS)
    assert found == pytest.approx(top, abs=0.01)  # from 195 mm in steps of 4


def test_edges_are_followed_to_the_cards_upper_end() -> None:
    assert _top_of_edges(view_of(), edges_up_to(-4.0), LINES, settings=SETTINGS) == 3.0


def hidden_by(lid_mm: tuple[float, float] | None, *, share: float = 1.0) -> np.ndarray:
    """Contents from 180 mm on, and a lid above them that hides so much of the jar's width."""
    hidden = np.zeros(SHAPE, dtype=np.bool_)
    box(hidden, (60.0, 120.0), (180.0, 240.0))[:] = True
    if lid_mm is not None:
        box(hidden, (72.0, 72.0 + 36.0 * share), lid_mm)[:] = True
    return hidden


@pytest.mark.parametrize(
    ("lid", "share", "found"),
    [
        ((80.0, 90.0), 1.0, 90.0),
        ((80.0, 90.0), 0.65, 90.0),
        ((80.0, 90.0), 0.55, None),
        ((87.0, 90.0), 1.0, None),  # too flat
        ((80.0, 177.0), 1.0, None),  # no empty glass below it
        ((80.0, 175.0), 1.0, 175.0),
        (None, 1.0, None),
    ],
)
def test_a_lid_hides_the_field_again_above_the_empty_glass(
    lid: tuple[float, float] | None, share: float, found: float | None
) -> None:
    told = _lid_mm(view_of(), hidden_by(lid, share=share), LINES, settings=SETTINGS)
    row_mm = 1 / 3  # the lid's last row
    assert told == (None if found is None else pytest.approx(found - row_mm, abs=0.01))


def test_a_thread_across_the_empty_glass_is_no_lid() -> None:
    hidden = hidden_by((80.0, 90.0))
    box(hidden, (72.0, 72.0 + 36.0 * 0.25), (90.0, 180.0))[:] = True  # seen through
    assert _lid_mm(view_of(), hidden, LINES, settings=SETTINGS) == pytest.approx(90.0, abs=0.4)
    box(hidden, (72.0, 72.0 + 36.0 * 0.35), (90.0, 180.0))[:] = True
    assert _lid_mm(view_of(), hidden, LINES, settings=SETTINGS) is None


def test_the_lower_of_lid_and_shoulder_ends_the_wall() -> None:
    view, change = view_of(), edges_up_to(102.0)
    for lid, top in (((80.0, 90.0), 103.0), ((80.0, 120.0), 120.0), (None, 103.0)):
        found = top_of_wall_mm(view, change, hidden_by(lid), LINES, settings=SETTINGS)
        assert found == pytest.approx(top, abs=0.4)


# --------------------------------------------------------------------------- the page's end
A4_MM, LETTER_MM = 278.5, 269.7


def page(*steps: tuple[float, int], sides: tuple[bool, bool] = (True, True)) -> PlaneView:
    """A page whose grey changes at some heights by some levels, left or right of the jar."""
    rgb = np.full((*SHAPE, 3), 100, dtype=np.uint8)
    for y_mm, levels in steps:
        for shown, part in zip(sides, (np.s_[: col(60.0)], np.s_[col(120.0) :]), strict=True):
            if shown:
                rgb[row(y_mm) :, part] += np.uint8(levels)
    return view_of(rgb)


def ends(view: PlaneView, jar_mm: tuple[float, float] = (60.0, 120.0)) -> tuple[float, float]:
    return page_ends_mm(view, jar_mm=jar_mm, layout=LAYOUT, settings=SETTINGS)


@pytest.mark.parametrize("off_mm", [-3.7, 0.0, 3.7])
def test_the_page_ends_at_an_edge_near_the_end_of_either_paper(off_mm: float) -> None:
    for end in (A4_MM, LETTER_MM):
        assert ends(page((end + off_mm, 60)))[0] == pytest.approx(end + off_mm, abs=0.5)


def test_the_stronger_of_two_edges_is_the_likelier_end_and_the_other_is_kept() -> None:
    for a4, letter in ((60, 0), (0, 60), (60, 30), (30, 60)):
        first = A4_MM if a4 > letter else LETTER_MM
        found = ends(page((LETTER_MM, letter), (A4_MM, a4)))
        second = A4_MM + LETTER_MM - first
        assert found == pytest.approx((first, second), abs=0.5)


def test_where_no_edge_shows_the_page_is_a4() -> None:
    assert ends(page()) == pytest.approx((A4_MM, LETTER_MM))
    assert ends(page((A4_MM + 6.0, 60))) == pytest.approx((A4_MM, LETTER_MM))
    assert ends(page((LETTER_MM - 6.0, 60))) == pytest.approx((A4_MM, LETTER_MM))
    for levels, seen in ((4, False), (12, True)):  # over four rows: 1 and 3 levels a row
        assert (ends(page((A4_MM + 2.0, levels)))[0] != pytest.approx(A4_MM)) is seen


def test_a_side_that_the_jar_hides_is_left_out() -> None:
    wide = (-5.0, 120.0)
    assert ends(page((A4_MM + 2.0, 60), sides=(False, True)), wide)[0] == pytest.approx(
        A4_MM + 2.0, abs=0.5
    )
    assert ends(page((A4_MM + 2.0, 60)), (5.5, 184.5)) == pytest.approx((A4_MM, LETTER_MM))


def test_a_photo_that_ends_above_the_pages_end_shows_none() -> None:
    view = page((A4_MM, 60))
    cut = PlaneView(view.photo_rgb[: row(262.0)], view.to_photo, SHAPE)
    assert ends(cut) == pytest.approx((A4_MM, LETTER_MM))
