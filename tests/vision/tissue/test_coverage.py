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
    assert coverage.low < 25.0
    assert coverage.high > 75.0


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


def test_unseen_wall_and_doubtful_growth_widen_the_interval() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    sure = measure(flat_wall(classes), tissue_of(classes))
    doubtful = measure(
        flat_wall(classes),
        replace(tissue_of(classes), covered=np.abs(tissue_of(classes).covered - np.float32(0.1))),
    )
    hidden = classes.copy()
    hidden[::2] = TissueClass.UNJUDGED
    guessed = tissue_of(classes).covered
    guessed[::2] = 0.4
    unseen = measure(flat_wall(hidden), replace(tissue_of(hidden), covered=guessed))
    widths = [c.high - c.low for c in (sure, doubtful, unseen)]
    assert widths[0] > 0.0
    assert widths[1] > 2 * widths[0]
    assert widths[2] > 2 * widths[0]


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
    sure, doubtful = (
        measure_coverage(wall, tissue, settings=CoverageSettings(), colour_de00=de00)
        for de00 in (1.0, 8.0)
    )
    assert doubtful.high - doubtful.low > sure.high - sure.low
    assert doubtful.percent == sure.percent


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


def test_a_light_whose_colour_changes_over_the_card_widens_the_interval() -> None:
    classes = half(TissueClass.MYCELIUM, TissueClass.BARE)
    wall, tissue, settings = flat_wall(classes), tissue_of(classes), CoverageSettings()
    widths = []
    for ratio in (1.0, settings.tint_from, 1.9):
        seen = measure_coverage(wall, tissue, settings=settings, tint_ratio=ratio)
        widths.append(seen.high - seen.low)
    assert widths[0] == widths[1]
    assert widths[2] > widths[0] + 20.0
