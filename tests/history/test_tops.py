"""Photos from above become days of their own, beside those of the wall, and nothing is lost."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shelves import oyster
from tops import about, day, top, top_reading

from jarvision.history.build import build_history
from jarvision.history.tops import pool_tops, top_days
from jarvision.records import Coverage, Reading
from jarvision.run.packing import pack_record, unpack_record


def of_wall(number: int) -> Reading:
    seen = top_reading(number, top())
    return replace(
        seen, photo="wall.jpg", view="front", top=None, coverage=Coverage(50, 45, 55, 50, 90)
    )


def test_a_jar_may_have_wall_and_top_on_one_day_and_neither_is_refused() -> None:
    history = build_history(
        [of_wall(2), top_reading(2, top(80.0)), top_reading(3, top())], oyster()
    )
    assert [d.day for d in history.days] == [day(2)]
    assert [t.day for t in history.tops] == [day(2), day(3)]
    assert (history.days[0].coverage.percent, history.tops[0].top.coverage.percent) == (50, 80)
    assert history.refused == ()
    assert history.last_day == day(3)


def test_an_unusable_photo_from_above_is_refused_and_makes_no_day() -> None:
    bad = replace(top_reading(2, top()), status="unusable", top=None, reason="no_card")
    history = build_history([bad, top_reading(3, top())], oyster())
    assert [r.photo for r in history.refused] == [bad.photo]
    assert [t.day for t in history.tops] == [day(3)]


def test_two_photos_of_a_day_are_averaged_and_their_spread_widens_the_interval() -> None:
    one, two = top(90.0, pins=[3.0], cap=20.0), top(96.0, pins=[3.0, 4.0], cap=24.0)
    both = pool_tops([one, two])
    assert both.coverage.percent == pytest.approx(93.0)
    assert (both.coverage.low, both.coverage.high) == pytest.approx((93 - 4 - 3, 100.0))
    assert both.largest_cap_mm is not None
    assert (both.largest_cap_mm.value, both.largest_cap_mm.low) == pytest.approx((22.0, 19.0))
    assert len(both.fruit) == 3


def test_a_mould_that_one_photo_shows_stays_whatever_the_other_shows() -> None:
    both = pool_tops([top(green=0.4), top(), top(green=0.1)])
    assert both.area_cm2("green") == pytest.approx(0.4)


def test_what_one_photo_cannot_tell_the_other_may_and_the_reason_goes() -> None:
    both = pool_tops([top(moisture=None), top(moisture="wet")])
    assert both.droplets is not None
    assert both.droplets.moisture == "wet"
    assert both.untold == {}
    assert pool_tops([top(moisture=None)] * 2).untold == {
        "droplets": "a lamp is mirrored on the surface"
    }


def test_no_photo_is_no_day() -> None:
    assert top_days([]) == ()
    with pytest.raises(ValueError, match="no photo"):
        pool_tops([])


def test_a_reading_from_above_is_packed_and_unpacked_as_it_was() -> None:
    seen = replace(top(pins=[3.0], cap=12.0, green=0.2), below_rim_mm=about(20.0))
    reading = top_reading(4, seen)
    assert unpack_record(Reading, pack_record(reading)) == reading
