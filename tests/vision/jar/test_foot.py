"""The foot in profiles of which it is known where the arcs lie."""

from __future__ import annotations

import numpy as np
import pytest

from jarvision.settings.jar import JarSettings
from jarvision.vision.jar.foot import _bend, _expected, _last_clear, _lowest, _profile

SETTINGS = JarSettings()


# --------------------------------------------------------------------------- the foot
def profile(*arcs: tuple[float, float], quiet: float = 0.2, rows: int = 400) -> np.ndarray:
    """A lively row at some heights (mm below the start), and how lively each is."""
    found = np.full(rows, quiet, dtype=np.float32)
    for at_mm, height in arcs:
        row = round(at_mm / 0.25)
        found[row - 1 : row + 2] = (height / 2, height, height / 2)
    return found


def lowest(*arcs: tuple[float, float], **more: float) -> float | None:
    found = _lowest(profile(*arcs, **more), settings=SETTINGS)  # type: ignore[arg-type]
    return None if found is None else found * 0.25


STACK = ((40.0, 20.0), (43.0, 16.0), (46.0, 12.0))


def test_the_foot_is_the_lowest_arc_of_the_lowest_strong_stack() -> None:
    assert lowest(*STACK) == 46.0
    assert lowest((20.0, 25.0), *STACK) == 46.0  # a label's edge is stronger, and higher
    assert lowest(*STACK, (75.0, 8.0)) == 46.0  # a board of the table stands alone
    assert lowest(*((at, height * 0.3) for at, height in STACK)) == 46.0


@pytest.mark.parametrize(("last", "found"), [(7.0, 49.0), (5.0, 46.0)])
def test_an_arc_of_three_tenths_of_the_strongest_is_clear(last: float, found: float) -> None:
    assert lowest(*STACK, (49.0, last)) == found


@pytest.mark.parametrize(("height", "found"), [(1.9, None), (2.1, 46.0)])
def test_an_arc_has_a_least_change(height: float, found: float | None) -> None:
    assert lowest((46.0, height), quiet=0.02) == found


@pytest.mark.parametrize(("quiet", "found"), [(0.84, 184), (0.87, None)])
def test_an_arc_is_three_and_a_half_times_as_lively_as_the_table(
    quiet: float, found: int | None
) -> None:
    arcs = profile((46.0, 3.0), quiet=quiet)
    assert _last_clear(arcs, (150, 200), least=0.0, settings=SETTINGS) == found


def test_two_millimetres_of_table_show_below_the_foot() -> None:
    for rows, found in ((184 + 9, 184), (184 + 7, 172)):
        assert _lowest(profile(*STACK, rows=rows), settings=SETTINGS) == found


def test_the_top_of_a_peak_is_told() -> None:
    wide = np.full(200, 0.2, dtype=np.float32)
    wide[100:107] = (3, 6, 9, 8, 7, 5, 4)
    assert _last_clear(wide, (90, 130), least=3.5, settings=SETTINGS) == 102
    assert _last_clear(wide, (90, 104), least=3.5, settings=SETTINGS) == 102
    assert _last_clear(wide, (110, 130), least=0.0, settings=SETTINGS) is None
    assert _last_clear(wide, (150, 140), least=0.0, settings=SETTINGS) is None


def test_a_lower_arc_where_the_page_ends_is_the_foot() -> None:
    arcs = profile(*STACK, (60.0, 3.0))
    for around_mm, row, found in (
        (60.0, 184, 240),
        (60.0 + 6.3, 184, 240),
        (60.0 + 6.8, 184, 184),
        (60.0 - 6.3, 184, 240),
        (60.0 - 6.8, 184, 184),
        (60.0, 300, 300),  # a lower one was found
        (60.0, None, 240),
        (80.0, None, None),
    ):
        assert _expected(arcs, around_mm / 0.25, row, settings=SETTINGS) == found, around_mm


def test_a_rows_profile_is_what_four_tenths_of_its_columns_stay_below() -> None:
    change = np.random.default_rng(1).uniform(0, 9, (5, 51)).astype(np.float32)
    np.testing.assert_allclose(_profile(change), np.sort(change, axis=1)[:, 20])


@pytest.mark.parametrize("bent_mm", [-2.0, 0.0, 1.5, 4.0])
def test_the_bend_is_how_much_lower_the_arcs_lie_at_the_sides(bent_mm: float) -> None:
    change = np.full((300, 51), 0.2, dtype=np.float32)
    for column in range(51):
        outer = column < 17 or column >= 34
        for at in (160, 172, 184):
            row = at + round(bent_mm / 0.25) * outer
            change[row - 1 : row + 2, column] = (5.0, 10.0, 5.0)
    assert _bend(change, 184, settings=SETTINGS) == pytest.approx(bent_mm)
