"""One template, told as files write it and as the page does."""

from __future__ import annotations

from datetime import date

import pytest

from jarvision.records.wording import PLAIN, Fact, put_into_words
from jarvision.report.words import PAGE

DAY = date(2026, 3, 9)


@pytest.mark.parametrize(
    ("template", "facts", "plain", "page"),
    [
        ("{area:.1f cm2} wet", {"area": 3.26}, "3.3 cm2 wet", "3.3 cm² wet"),
        ("on {day}.", {"day": DAY}, "on 2026-03-09.", "on 9 Mar."),
        ("on {day:weekday}", {"day": DAY}, "on Mon 2026-03-09", "on Mon 9 Mar"),
    ],
)
def test_each_voice_has_its_own_units_and_days(
    template: str, facts: dict[str, Fact], plain: str, page: str
) -> None:
    assert put_into_words(template, facts, PLAIN) == plain
    assert put_into_words(template, facts, PAGE) == page


@pytest.mark.parametrize(
    ("angle_deg", "side"),
    [
        (0.0, "in front"),
        (-0.3, "in front"),
        (-9.9, "in front"),
        (10.0, "10 degrees to the right"),
        (-35.2, "35 degrees to the left"),
        (112.0, "112 degrees to the right"),
        (-172.0, "at the back"),
        (180.0, "at the back"),
        (250.0, "110 degrees to the left"),
    ],
)
def test_a_place_is_told_by_side_and_height_alike_in_every_voice(
    angle_deg: float, side: str
) -> None:
    facts: dict[str, Fact] = {"angle_deg": angle_deg, "height_mm": 40.0}
    for voice in (PLAIN, PAGE):
        assert put_into_words("({place})", facts, voice) == f"({side}, 40 mm up)"


@pytest.mark.parametrize(
    ("template", "facts", "told"),
    [
        ("{n:day/days}", {"n": 1.0}, "1 day"),
        ("{n:day/days}", {"n": 3.0}, "3 days"),
        ("{kind:capital} growth", {"kind": "green"}, "Green growth"),
        ("ready[ on {day}].", {}, "ready."),
        ("ready[ on {day}].", {"day": DAY}, "ready on 2026-03-09."),
        ("from {low|?} to {high|not known}", {"low": DAY}, "from 2026-03-09 to not known"),
    ],
)
def test_counts_and_what_is_not_known(template: str, facts: dict[str, Fact], told: str) -> None:
    assert put_into_words(template, facts) == told


@pytest.mark.parametrize("text", ["{area}", "a [b] c", "100%", "K1_2026-03-09.jpg at 3 deg, 4 mm"])
def test_what_the_grower_wrote_is_told_as_it_is(text: str) -> None:
    assert put_into_words("{photo}: seen.", {"photo": text}, PAGE) == f"{text}: seen."


def test_a_fact_that_is_missing_is_an_error_outside_of_brackets() -> None:
    with pytest.raises(KeyError):
        put_into_words("{area:.1f cm2} wet", {})
