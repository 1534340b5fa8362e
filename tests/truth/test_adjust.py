"""Readings put right by counts: against ppi-python, and on shelves whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm, t

from jarvision.records import Coverage, FloatArray, JarEntry
from jarvision.settings.count import CountSettings
from jarvision.truth.adjust import Compared, adjustment_from, rectify, shelf_mean
from jarvision.truth.compare import ComparedJar, concordance, figures, figures_by
from jarvision.truth.counted import WallCount

COUNTED = np.array([12.0, 34.0, 58.0, 71.0, 90.0, 44.0, 26.0, 80.0])
READ = np.array([10.0, 31.0, 60.0, 66.0, 88.0, 41.0, 28.0, 73.0])
ALL_READ = np.linspace(2.0, 97.0, 40)
MANY = np.tile(ALL_READ, 20_000)
"""A shelf so large that its own mean is as good as known, which ours is: it is all there is."""


GOLDEN = (51.75, 49.73621372, 53.76378628)
"""What ppi-python 0.2.3 says: ppi_mean_pointestimate, and both ends of ppi_mean_ci, lam=1."""


def wall_count(percent: float, *, sd: float = 0.0, weight: float | None = 1.0) -> WallCount:
    white = round(percent)
    return WallCount("p", "ann", 1, white, 100 - white, 0, 0, sd, weight)


def read(percent: float, half: float) -> Coverage:
    return Coverage(percent, max(percent - half, 0.0), min(percent + half, 100.0), 0.0, 100.0)


def compared(counts: FloatArray, readings: FloatArray, half: float = 10.0) -> list[Compared]:
    pairs = zip(counts, readings, strict=True)
    return [Compared(wall_count(float(y)), read(float(f), half)) for y, f in pairs]


def as_ppi_has_it(low: float, high: float) -> tuple[float, float]:
    """Our interval as it is with the normal quantile and the variance over n, as ppi-python has."""
    count, middle = COUNTED.size, (low + high) / 2
    half = (high - low) / 2 * norm.ppf(0.975) / t.ppf(0.975, count - 1)
    half *= np.sqrt((count - 1) / count)
    return middle - half, middle + half


def test_the_mean_of_the_shelf_is_that_of_ppi_python() -> None:
    found = shelf_mean(ALL_READ.tolist(), rectify(COUNTED - READ, np.ones(8)))
    assert found.percent == pytest.approx(GOLDEN[0], abs=1e-6)
    assert as_ppi_has_it(found.low, found.high) == pytest.approx(GOLDEN[1:], abs=2e-3)


def test_the_golden_numbers_are_those_of_the_package() -> None:
    ppi = pytest.importorskip("ppi_py")
    assert ppi.ppi_mean_pointestimate(COUNTED, READ, MANY, lam=1)[0] == pytest.approx(GOLDEN[0])
    ends = ppi.ppi_mean_ci(COUNTED, READ, MANY, alpha=0.05, lam=1)
    assert [float(end[0]) for end in ends] == pytest.approx(list(GOLDEN[1:]))


def test_weights_undo_unequal_chances() -> None:
    rng = np.random.default_rng(2)
    off = np.concatenate([np.full(50, 6.0), np.zeros(50)])  # half the shelf is read 6 points low
    chances = np.where(off > 0, 1.5, 0.5) / 100
    found = []
    for _ in range(2000):
        drawn = rng.choice(100, 12, p=chances)
        found.append(rectify(off[drawn] + rng.normal(0, 1, 12), 0.01 / chances[drawn]).points)
    assert np.mean(found) == pytest.approx(3.0, abs=0.25)
    assert off.mean() == 3.0


def test_the_interval_of_the_bias_holds() -> None:
    rng = np.random.default_rng(4)
    held = 0
    for _ in range(1000):
        found = rectify(rng.normal(-2.0, 5.0, 6), rng.uniform(0.8, 1.2, 6))
        held += found.low <= -2.0 <= found.high
    assert 930 <= held <= 985


@pytest.mark.parametrize("bias", [-4.0, 0.0, 4.0])
def test_readings_have_no_bias_left_and_their_intervals_hold(bias: float) -> None:
    rng = np.random.default_rng(6)
    left, held, width = [], [], []
    for _ in range(400):
        true = rng.uniform(15, 85, 60)
        readings = np.array(true + bias + rng.normal(0, 3.0, 60))
        counts = true[:6] + rng.normal(0, 4.0, 6)
        pairs = [
            Compared(wall_count(float(y), sd=4.0), read(float(f), 14.0))
            for y, f in zip(np.rint(counts), readings[:6], strict=True)
        ]
        found = adjustment_from(pairs, CountSettings())
        assert found is not None
        right = [found.of(read(float(f), 14.0)) for f in readings]
        left.append(np.mean([r.percent for r in right]) - true.mean())
        held += [r.low <= x <= r.high for r, x in zip(right, true, strict=True)]
        width.append(np.mean([r.high - r.low for r in right]))
    assert abs(np.mean(left)) < 0.5
    assert np.mean(held) >= 0.94
    assert np.mean(width) < 28.0  # narrower than they were


def test_intervals_that_promise_too_much_become_wider() -> None:
    rng = np.random.default_rng(9)
    true = rng.uniform(20, 80, 12)
    pairs = compared(np.rint(true), true + rng.normal(0, 10.0, 12), half=5.0)
    found = adjustment_from(pairs, CountSettings())
    assert found is not None and found.stretch > 2.0


def test_no_reading_leaves_its_range_and_a_sure_one_hardly_moves() -> None:
    found = adjustment_from(compared(READ + 6.0, READ), CountSettings())
    assert found is not None and found.share > 0
    sure, full = found.of(read(50.0, 1.0)), found.of(Coverage(99.5, 96.0, 100.0, 0.0, 100.0))
    assert 50.0 < sure.percent < 51.0
    assert 99.5 < full.percent <= full.high <= 100.0
    assert found.of(read(50.0, 10.0)).percent == pytest.approx(56.0, abs=0.5)


def test_what_somebody_picked_and_too_few_walls_put_nothing_right() -> None:
    pairs = compared(COUNTED, READ)
    assert adjustment_from(pairs[:5], CountSettings()) is None
    assert adjustment_from(pairs[:6], CountSettings()) is not None
    chosen = [Compared(wall_count(99.0, weight=None), read(1.0, 5.0))] * 20
    assert adjustment_from([*pairs[:5], *chosen], CountSettings()) is None
    assert adjustment_from([*pairs, *chosen], CountSettings()) == adjustment_from(
        pairs, CountSettings()
    )


def test_figures_of_counted_walls() -> None:
    entries = [JarEntry(f"J{n}", species="Oyster", substrate="rye" if n < 5 else "")
               for n in range(8)]  # fmt: skip
    pairs = compared(COUNTED, READ)
    jars = [ComparedJar(e.jar, e, pair) for e, pair in zip(entries, pairs, strict=True)]
    found = figures("all", jars)
    off = READ - COUNTED
    assert found.mean_difference == pytest.approx(off.mean())
    assert found.bias is not None and found.bias.points == pytest.approx(-off.mean())
    assert found.error == pytest.approx(np.sqrt(np.mean(off**2)))
    assert found.own_error == pytest.approx(found.error)  # counts without any scatter
    assert found.limits == pytest.approx(
        (off.mean() - 1.96 * off.std(ddof=1), off.mean() + 1.96 * off.std(ddof=1))
    )
    assert (found.hold.count, found.hold.of) == (8, 8)
    groups = figures_by(jars)
    assert [(g.name, g.walls) for g in groups["substrate"]] == [("rye", 5)]
    assert [(g.name, g.walls) for g in groups["species"]] == [("oyster", 8)]


def test_an_interval_that_misses_its_count_does_not_hold_unless_the_count_may_be_off() -> None:
    entry = JarEntry("J")
    for sd, held in ((0.0, 0), (5.0, 1)):
        pair = Compared(wall_count(40.0, sd=sd), read(50.0, 6.0))
        assert figures("one", [ComparedJar("p", entry, pair)]).hold.count == held


def test_concordance_is_one_on_the_line_and_falls_off_it() -> None:
    assert concordance([1.0, 2.0, 3.0], [1.0, 2.0, 3.0]) == pytest.approx(1.0)
    # shift of 1: 2 s_xy / (s_x2 + s_y2 + 1) with variances 2/3
    assert concordance([1.0, 2.0, 3.0], [2.0, 3.0, 4.0]) == pytest.approx((4 / 3) / (4 / 3 + 1))
    assert concordance([1.0, 2.0], [1.0, 2.0]) is None
    assert concordance([5.0] * 3, [5.0] * 3) is None
