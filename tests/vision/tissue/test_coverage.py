"""Coverage and its interval on walls that were filled in by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from walls import flat_wall, tissue_of

from jarvision.records import Coverage, Tissue, TissueClass, Wall
from jarvision.settings.tissue import CoverageSettings
from jarvision.vision.tissue.coverage import measure_coverage

SHAPE = (40, 60)


def measure(wall: Wall, tissue: Tissue) -> Coverage:
    return measure_coverage(wall, tissue, settings=CoverageSettings())


def half(left: TissueClass, right: TissueClass) -> np.ndarray:
    classes = np.full(SHAPE, right, dtype=np.uint8)
    classes[:, : SHAPE[1] // 2] = left
    return classes


@pytest.mark.parametrize(
    ("kind", "percent"),
    [
        (TissueClass.MYCELIUM, 50.0),
        (TissueClass.STAIN, 50.0),
        (TissueClass.GREEN, 0.0),
        (TissueClass.BLACK, 0.0),
        (TissueClass.PINK, 0.0),
        (TissueClass.YELLOW, 0.0),
        (TissueClass.WET, 0.0),
    ],
)
def test_growth_and_its_stain_count_as_covered_and_nothing_else(
    kind: TissueClass, percent: float
) -> None:
    classes = half(kind, TissueClass.BARE)
    assert measure(flat_wall(classes), tissue_of(classes)).percent == percent


def test_empty_glass_changes_no_share() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    classes[:10] = TissueClass.OUTSIDE
    coverage = measure(flat_wall(classes), tissue_of(classes))
    assert coverage.percent == pytest.approx(50.0)
    assert coverage.seen_percent == pytest.approx(100.0)


def test_what_is_hidden_counts_by_its_chance_and_is_told_as_unseen() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    tissue = tissue_of(classes)
    classes[:, ::2] = TissueClass.UNJUDGED
    tissue.covered[:, ::2] = 0.8
    coverage = measure(flat_wall(classes), tissue)
    assert coverage.percent == pytest.approx(0.5 * 50.0 + 0.5 * 80.0)
    assert coverage.seen_percent == pytest.approx(50.0)


def test_behind_a_veil_all_may_be_bare_or_grown_whatever_was_read_there() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    seen = measure(flat_wall(classes), tissue_of(classes))
    tissue = tissue_of(classes)
    veiled = np.zeros(SHAPE, np.bool_)
    veiled[SHAPE[0] // 2 :] = True
    tissue.covered[veiled] = 1.0  # fog looks like growth
    hidden = np.where(veiled, np.uint8(TissueClass.UNJUDGED), classes)
    coverage = measure(flat_wall(hidden), replace(tissue, classes=hidden, veiled=veiled))
    assert coverage.percent == pytest.approx(seen.percent)
    assert coverage.seen_percent == pytest.approx(50.0)
    # a quarter of the wall may be grown behind it, or bare; half of the wall was not seen
    spread = np.linalg.norm([0.8, 0.05 * 50.0, 0.6 * 25.0])
    assert (coverage.low, coverage.high) == pytest.approx((25.0 - spread, 75.0 + spread))


def test_growth_that_may_be_a_veil_counts_and_the_lower_end_is_without_it() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    tissue = tissue_of(classes)
    doubted = classes == TissueClass.MYCELIUM
    doubted[SHAPE[0] // 2 :] = False  # half of the growth
    tissue.covered[doubted] = 0.8
    same = measure(flat_wall(classes), tissue)
    coverage = measure(flat_wall(classes), replace(tissue, doubted=doubted))
    assert (coverage.percent, coverage.high) == (same.percent, same.high)
    assert coverage.low == pytest.approx(same.low - 80.0 * float(doubted.mean()))


def test_the_lower_end_takes_in_that_less_is_said_head_down() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    settings, tissue = CoverageSettings(), tissue_of(classes)
    same = measure(flat_wall(classes), tissue)
    for less in (0.0, settings.head_down_from, settings.head_down_from + 20.0):
        coverage = measure(flat_wall(classes), replace(tissue, less_head_down_points=less))
        assert (coverage.percent, coverage.high) == (same.percent, same.high)
        beyond = max(0.0, less - settings.head_down_from)
        assert coverage.low == pytest.approx(same.low - settings.head_down_weight * beyond)


def test_the_upper_end_takes_in_what_a_brighter_veil_may_outshine() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    same = measure(flat_wall(classes), tissue_of(classes))
    coverage = measure(flat_wall(classes), replace(tissue_of(classes), outshone_points=12.0))
    assert (coverage.percent, coverage.low) == (same.percent, same.low)
    assert coverage.high == pytest.approx(same.high + 12.0)


def test_doubt_on_both_sides_cancels_in_the_expected_share() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    covered = np.where(classes == TissueClass.MYCELIUM, 0.9, 0.1).astype(np.float32)
    tissue = replace(tissue_of(classes), covered=covered)
    assert measure(flat_wall(classes), tissue).percent == pytest.approx(50.0)


def test_soft_coverage_is_the_mean_share_that_is_hidden() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    opacity = np.where(classes == TissueClass.MYCELIUM, 0.7, 0.2).astype(np.float32)
    tissue = replace(tissue_of(classes), opacity=opacity)
    assert measure(flat_wall(classes), tissue).soft_percent == pytest.approx(45.0)


def half_width(coverage: Coverage) -> float:
    assert coverage.high - coverage.percent == pytest.approx(coverage.percent - coverage.low)
    return coverage.high - coverage.percent


FLOOR_POINTS = 0.8


def test_what_is_sure_and_seen_has_the_interval_that_is_always_there() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    assert half_width(measure(flat_wall(classes), tissue_of(classes))) == pytest.approx(0.8)


@pytest.mark.parametrize(
    ("novelty", "weight", "strange_points"),
    [(None, 1.0, 0.0), (2.0, 1.0, 0.0), (2.6, 2.0, 0.25), (3.6, 3.0, 0.75)],
)
def test_doubt_counts_the_more_the_stranger_the_contents(
    novelty: float | None, weight: float, strange_points: float
) -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    covered = np.abs(tissue_of(classes).covered - np.float32(0.1))  # a doubt of 10 points
    tissue = replace(tissue_of(classes), covered=covered, novelty=novelty)
    wide = half_width(measure(flat_wall(classes), tissue))
    assert wide == pytest.approx(np.hypot(np.hypot(FLOOR_POINTS, strange_points), 10.0 * weight))


def test_strange_contents_add_less_where_their_bare_look_is_known() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    covered = np.abs(tissue_of(classes).covered - np.float32(0.1))  # a doubt of 10 points
    counts = {"novelty": 3.6, "forecast_points": 4.0, "dispute_points": 6.0, "look_known": True}
    tissue = replace(tissue_of(classes), covered=covered, **counts)
    parts = (FLOOR_POINTS, 10.0 * (1.0 + 0.7 * 2.0), 0.7 * 0.75, 0.7 * 8.0, 0.7 * 9.0)
    wide = half_width(measure(flat_wall(classes), tissue))
    assert wide == pytest.approx(np.linalg.norm(parts))


def test_what_is_hidden_counts_by_its_doubt_and_by_its_area() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    tissue = tissue_of(classes)
    classes[::2] = TissueClass.UNJUDGED
    for doubt in (0.0, 0.4):
        tissue.covered[::2] = doubt  # half of the wall: 50 points, at a doubt of so much
        parts = (FLOOR_POINTS, 0.6 * 50.0 * doubt, 0.05 * 50.0)
        wide = half_width(measure(flat_wall(classes), tissue))
        assert wide == pytest.approx(np.linalg.norm(parts))


def test_the_error_that_is_expected_of_strange_contents_counts_twice() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    tissue = replace(tissue_of(classes), forecast_points=4.0)
    assert half_width(measure(flat_wall(classes), tissue)) == pytest.approx(np.hypot(0.8, 8.0))


@pytest.mark.parametrize("kind", [TissueClass.MYCELIUM, TissueClass.BARE])
def test_an_interval_ends_at_nothing_and_at_all_of_the_wall(kind: TissueClass) -> None:
    classes = half(kind, kind)
    tissue = replace(tissue_of(classes), forecast_points=30.0)
    coverage = measure(flat_wall(classes), tissue)
    full = kind == TissueClass.MYCELIUM
    ends = (pytest.approx(100.0 - np.hypot(0.8, 60.0)), 100.0)
    assert (coverage.low, coverage.high) == (ends if full else (0.0, 100.0 - ends[0].expected))


def test_stain_for_which_nothing_speaks_may_be_growth_all_the_same() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    unproven = np.zeros(SHAPE, dtype=np.bool_)
    unproven[:8, -15:] = True  # 120 of 2400 places
    coverage = measure(flat_wall(classes), replace(tissue_of(classes), unproven=unproven))
    assert (coverage.percent, coverage.low) == (50.0, pytest.approx(49.2))
    assert coverage.high == pytest.approx(50.8 + 5.0)


def test_a_wall_that_nothing_can_be_said_of_says_nothing() -> None:
    classes = np.full(SHAPE, TissueClass.UNJUDGED, dtype=np.uint8)
    coverage = measure(flat_wall(classes), tissue_of(classes))
    assert (coverage.low, coverage.high, coverage.seen_percent) == (0.0, 100.0, 0.0)


@given(
    arrays(np.uint8, (6, 7), elements=st.integers(0, max(TissueClass))),
    arrays(np.float32, (6, 7), elements=st.floats(0, 1, width=32)),
)
def test_numbers_stay_in_their_order_and_range(classes: np.ndarray, share: np.ndarray) -> None:
    coverage = measure(
        flat_wall(classes), Tissue(classes, share, share, share, np.zeros_like(share))
    )
    assert 0.0 <= coverage.low <= coverage.percent <= coverage.high <= 100.0
    assert 0.0 <= coverage.soft_percent <= 100.001
    assert 0.0 <= coverage.seen_percent <= 100.0


def test_colours_that_could_not_be_matched_widen_the_interval() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    wall, tissue = flat_wall(classes), tissue_of(classes)
    for de00 in (1.0, 8.0):
        seen = measure_coverage(wall, tissue, settings=CoverageSettings(), colour_de00=de00)
        assert seen.percent == 50.0
        assert half_width(seen) == pytest.approx(np.hypot(0.8, 0.35 * de00))


def test_an_uncertain_fill_line_widens_the_interval_where_the_strip_below_it_differs() -> None:
    classes = np.full(SHAPE, TissueClass.MYCELIUM, dtype=np.uint8)
    classes[: SHAPE[0] // 2] = TissueClass.BARE
    unlike, even = (flat_wall(c) for c in (classes, half(TissueClass.MYCELIUM, TissueClass.BARE)))
    widths = []
    for wall in (unlike, even):
        unsure = replace(wall, line_sd_mm=0.5)
        tissue = tissue_of(
            classes if wall is unlike else half(TissueClass.MYCELIUM, TissueClass.BARE)
        )
        sure, wide = measure(wall, tissue), measure(unsure, tissue)
        assert sure.percent == wide.percent == 50.0
        widths.append((sure.high - sure.low, wide.high - wide.low))
    # 2 x 0.5 mm of 10 mm, wholly bare where half is covered: 5 points, in quadrature
    assert widths[0][1] == pytest.approx(2 * np.hypot(widths[0][0] / 2, 5.0))
    assert widths[1][1] == pytest.approx(widths[1][0])  # the strip is as covered as the rest


@pytest.mark.parametrize("sd_mm", [0.5, 1.0])
def test_an_uncertain_floor_counts_by_the_strip_above_it(sd_mm: float) -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    lowest = round(2 * sd_mm / 0.25)
    classes[-lowest:-2] = TissueClass.BARE  # two standard deviations of 10 mm, but for two rows
    wall, tissue = replace(flat_wall(classes), floor_sd_mm=sd_mm), tissue_of(classes)
    percent, here = 50.0 * (42 - lowest) / 40, 50.0 * 2 / lowest
    seen = measure(wall, tissue)
    assert seen.percent == pytest.approx(percent)
    assert half_width(seen) == pytest.approx(np.hypot(0.8, 2 * sd_mm / 10.0 * (percent - here)))
    swapped = replace(wall, floor_sd_mm=0.0, line_sd_mm=sd_mm)  # the strip at the top is even
    assert half_width(measure(swapped, tissue)) == pytest.approx(
        np.hypot(0.8, 2 * sd_mm / 10.0 * (50.0 - percent))
    )


def test_a_hidden_strip_at_an_uncertain_end_counts_as_unlike_the_rest() -> None:
    classes = np.full(SHAPE, TissueClass.MYCELIUM, dtype=np.uint8)
    tissue = tissue_of(classes)
    classes[-8:] = TissueClass.UNJUDGED
    tissue.covered[:20] = 0.0  # 50 % in all
    seen = measure(replace(flat_wall(classes), floor_sd_mm=1.0), tissue)
    assert seen.percent == 50.0
    parts = (0.8, 0.05 * 20.0, 0.2 * (50.0 - 50.0))
    assert half_width(seen) == pytest.approx(np.linalg.norm(parts))
    tissue.covered[:32] = 0.0  # 20 %: bare may be grown
    seen = measure(replace(flat_wall(classes), floor_sd_mm=1.0), tissue)
    assert half_width(seen) == pytest.approx(
        np.linalg.norm((0.8, 0.05 * 20.0, 0.2 * (80.0 - 20.0)))
    )


def test_a_light_whose_colour_changes_over_the_card_widens_the_interval() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    wall, tissue, settings = flat_wall(classes), tissue_of(classes), CoverageSettings()
    for ratio, points in ((1.0, 0.0), (1.5, 0.0), (1.9, 65.0 * np.log(1.9 / 1.5))):
        seen = measure_coverage(wall, tissue, settings=settings, tint_ratio=ratio)
        assert half_width(seen) == pytest.approx(np.hypot(0.8, points))
