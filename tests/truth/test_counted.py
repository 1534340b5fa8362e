"""Coverage of a counted wall, and agreement of two counts, against worked examples."""

from __future__ import annotations

from datetime import datetime

import pytest

from jarvision.register.counts import CountedPoint, PointWord
from jarvision.truth.counted import agreement, first_counts, repeats_of, walls_of, wilson

PHOTO = "a" * 64


def points(
    *answers: tuple[PointWord, int], who: str = "ann", photo: str = PHOTO, round_: int = 1
) -> list[CountedPoint]:
    """Points along a row, so many of each answer, in this order."""
    words = [word for word, many in answers for _ in range(many)]
    when = datetime(2026, 3, 1, 9)
    return [
        CountedPoint(photo, float(at), 5.0, word, who, when, len(words), 1.0, round_)
        for at, word in enumerate(words)
    ]


def test_the_interval_of_a_share_is_wilsons() -> None:
    # Newcombe 1998, Stat. Med. 17:857-872, table I, method 3 (from memory)
    for count, of, low, high in ((81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605),
                                 (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)):  # fmt: skip
        assert wilson(count, of) == pytest.approx((low, high), abs=1e-4)


def test_coverage_is_the_share_of_white_and_off_colour_is_not_covered() -> None:
    (wall,) = walls_of(points(("white", 30), ("bare", 15), ("off-colour", 5)))
    assert (wall.percent, wall.of, wall.off_colour) == (60.0, 50, 5)
    assert wall.low == pytest.approx(100 * wilson(30, 50)[0])


def test_what_cannot_be_told_widens_the_interval_both_ways() -> None:
    (sure,) = walls_of(points(("white", 20), ("bare", 20)))
    (unsure,) = walls_of(points(("white", 20), ("bare", 20), ("cannot tell", 10)))
    assert sure.percent == unsure.percent == 50.0
    assert unsure.low == pytest.approx(100 * wilson(20, 50)[0])  # all ten bare
    assert unsure.high == pytest.approx(100 * wilson(30, 50)[1])  # all ten white
    assert unsure.low < sure.low < sure.high < unsure.high
    assert unsure.sd_percent > sure.sd_percent


def test_a_wall_counts_once_all_its_points_have_an_answer() -> None:
    whole = points(("white", 25), ("bare", 25))
    assert walls_of(whole[:-1]) == ()
    assert len(walls_of(whole)) == 1
    assert walls_of(points(("cannot tell", 30))) == ()


def test_a_ragged_wall_is_less_sure_than_one_with_a_single_edge() -> None:
    edge = walls_of(points(("white", 25), ("bare", 25)))[0]
    ragged = walls_of(points(*[("white", 1), ("bare", 1)] * 25))[0]
    assert edge.percent == ragged.percent
    assert edge.sd_percent < 0.4 * ragged.sd_percent
    assert ragged.sd_percent == pytest.approx(100 * (0.25 / 50) ** 0.5, rel=0.02)  # binomial


def test_kappa_of_a_known_table() -> None:
    # 50 cases, two raters: 20 both yes, 15 both no, 5 and 10 apart: kappa 0.40 (from memory)
    first = points(("white", 25), ("bare", 25))
    second = points(("white", 20), ("bare", 5), ("white", 10), ("bare", 15), who="ben")
    both = agreement(first, second)
    assert both is not None
    assert (both.points, both.alike) == (50, 35)
    assert both.kappa == pytest.approx(0.40)
    assert both.difference_percent == pytest.approx(10.0)
    assert both.sd_percent == pytest.approx(100 * (15 - 25 / 50) ** 0.5 / 50)


def test_kappa_is_that_of_scikit_learn() -> None:
    metrics = pytest.importorskip("sklearn.metrics")
    first = points(("white", 14), ("bare", 9), ("off-colour", 4), ("cannot tell", 3))
    second = points(("white", 11), ("bare", 13), ("off-colour", 5), ("cannot tell", 1), who="ben")
    both = agreement(first, second)
    assert both is not None
    expected = metrics.cohen_kappa_score([p.answer for p in first], [p.answer for p in second])
    assert both.kappa == pytest.approx(expected)


def test_there_is_no_kappa_where_both_gave_one_answer_throughout() -> None:
    both = agreement(points(("white", 30)), points(("white", 30), who="ben"))
    assert both is not None
    assert (both.kappa, both.alike) == (None, 30)
    assert agreement(points(("white", 3)), points(("white", 3), photo="b" * 64)) is None


def test_repeats_are_pooled_by_the_people_who_counted() -> None:
    other = "b" * 64
    counts = [
        *points(("white", 20), ("bare", 20)),
        *points(("white", 18), ("bare", 22), round_=2),
        *points(("white", 20), ("bare", 20), who="ben"),
        *points(("white", 30), ("bare", 10), photo=other),
        *points(("white", 31), ("bare", 9), photo=other, who="ben"),
        *points(("white", 10), ("bare", 30), who="cid")[:-1],  # not finished
    ]
    found = {repeat.people: repeat for repeat in repeats_of(counts)}
    assert set(found) == {("ann", "ann"), ("ann", "ben")}
    assert found["ann", "ann"].by_one and found["ann", "ann"].found.difference_percent == -5.0
    assert (found["ann", "ben"].walls, found["ann", "ben"].found.points) == (2, 80)


def test_the_first_finished_count_of_a_wall_is_held_against_its_reading() -> None:
    counts = [*points(("white", 20), ("bare", 20)), *points(("white", 9), ("bare", 31), who="ben")]
    first = first_counts(walls_of(counts))
    assert {wall.who for wall in first.values()} == {"ann"}
