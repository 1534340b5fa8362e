"""What is good to know and touches no verdict."""

from __future__ import annotations

from dataclasses import replace

from judging import healthy, judge, words
from shelves import oyster, patch, reading

from jarvision.records import JarEntry, Reading
from jarvision.settings.groups import Settings
from jarvision.settings.verdict import VerdictSettings


def test_notes_are_told_and_change_no_verdict() -> None:
    readings = [replace(r, time_source="file") for r in healthy(17).readings()]
    settings = Settings(verdict=VerdictSettings(groove_height_mm=120.0))
    verdict, flags = judge(readings, oyster(parent="S1"), siblings=("J2", "J3"), settings=settings)
    assert verdict.verdict == "go"
    assert words(flags) == {"file_date", "low_fill", "shared_parent"}
    assert any("S1 feeds J1, J2, J3" in f.message for f in flags)


def test_a_fill_below_the_groove_of_the_jar_is_noted_with_its_margin() -> None:
    readings = [
        replace(r, groove_height_mm=130.0, fill_sd_mm=1.5, shape_conflict="It is wider")
        for r in healthy(17).readings()
    ]
    verdict, flags = judge(readings)
    assert verdict.verdict == "go"
    low = next(f for f in flags if f.flag == "low_fill")
    assert "give or take 3 mm" in low.message
    assert "130 mm" in low.message
    assert any("wider" in f.message for f in flags if f.flag == "jar_shape")
    filled = [replace(r, groove_height_mm=100.0) for r in healthy(17).readings()]
    assert "low_fill" not in words(judge(filled)[1])


def test_a_large_area_that_counts_as_bare_though_it_looks_like_stain_is_noted() -> None:
    plain = list(healthy(17).readings())
    for area_cm2, noted in ((3.9, False), (12.0, True)):
        readings = [*plain[:-1], replace(plain[-1], unproven_cm2=area_cm2)]
        verdict, flags = judge(readings)
        assert verdict.verdict == "go"  # the coverage speaks, not the note
        told = [f.message for f in flags if f.flag == "unproven_stain"]
        assert ["12.0 cm2 look like stain" in message for message in told] == [True] * noted


def test_an_interval_too_wide_to_act_on_is_told_with_what_makes_it_so() -> None:
    plain = list(healthy(8).readings())

    def told(half: float, seen: float, reference: str) -> list[str]:
        was = plain[-1].coverage
        assert was is not None
        wide = replace(
            was, low=was.percent - half, high=min(100.0, was.percent + half), seen_percent=seen
        )
        last = replace(plain[-1], coverage=wide, reference_jar=reference)
        flags = judge([*plain[:-1], last])[1]
        return [f.message for f in flags if f.flag == "wide_interval"]

    assert not told(12.0, 95.0, "")
    (strange,), (known,), (hidden,) = told(20.0, 95.0, ""), told(20.0, 95.0, "J9"), told(20, 60, "")
    assert "before anything grew" in strange
    assert "before anything grew" not in known
    assert "40 % of the wall is hidden" in hidden


def test_where_two_photos_of_a_day_differ_that_is_told_and_no_missing_look() -> None:
    *earlier, last = healthy(8).readings()
    was = last.coverage
    assert was is not None

    def photo(name: str, percent: float) -> Reading:
        seen = replace(was, percent=percent, low=percent - 4.0, high=percent + 4.0)
        return replace(last, photo=name, coverage=seen)

    flags = judge([*earlier, photo("one.jpg", 40.0), photo("two.jpg", 80.0)])[1]
    (told,) = [f.message for f in flags if f.flag == "wide_interval"]
    assert "its photos of that day differ" in told
    assert "before anything grew" not in told


def test_an_unregistered_jar_is_noted_and_judged_by_the_cautious_profile() -> None:
    entry = JarEntry("J1", registered=False)
    verdict, flags = judge(healthy(17).readings(), entry)
    assert verdict.verdict == "wait"  # 97 % and five days of rest
    assert words(flags) == {"unregistered"}


def test_a_jar_turned_too_far_is_told() -> None:
    shown = [patch("bare", 1.0, a, h) for a, h in ((-50, 20), (-40, 60), (-45, 100))]
    turned = [replace(p, angle_deg=p.angle_deg + 95) for p in shown]
    _, flags = judge([reading(3, 60, patches=shown), reading(4, 70, patches=turned)])
    assert "turned" in words(flags)
