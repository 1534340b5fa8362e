"""The words of the report: short reasons, plain sentences, what to do."""

from __future__ import annotations

from dataclasses import replace

import pytest
from fake_shelf import TODAY, fake_growth, fake_shelf, fake_story

from jarvision.records import Growth, JarEntry, JarHistory, TrackedPatch
from jarvision.report.why import MOST_LETTERS, reasons_of, short_why
from jarvision.report.words import in_plain_words


def patch(kind: str, area_cm2: float, trend: str = "still") -> TrackedPatch:
    return TrackedPatch(f"{kind}-1", kind, area_cm2, -15.0, 40.0, trend)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("flag", "seen", "line"),
    [
        ("off_colour", patch("green", 2.54), "green growth, 2.5 cm²"),
        ("off_colour", patch("stain", 2.0), "odd staining, 2.0 cm²"),
        ("wet", patch("wet", 6.3), "wet at the glass, 6.3 cm²"),
        ("dead_patch", patch("bare", 3.3), "bare area stays open, 3.3 cm²"),
    ],
)
def test_the_short_reason_names_what_decides_and_its_area(
    flag: str, seen: TrackedPatch, line: str
) -> None:
    story = fake_story("J1", "no-go", ("the reason",), flags=((flag, "the reason"),), patch=seen)
    assert short_why(story) == line


def test_a_stall_is_told_with_its_level_and_days() -> None:
    growth = Growth("logistic", stalled=True, stall_reason="r", stalled_days=5)
    story = fake_story("J1", "check", ("r",), flags=(("stall", "r"),), growth=growth)
    cover = story.verdict.coverage
    assert cover is not None
    assert short_why(story) == f"stands still at {cover.percent:.0f} % for 5 days"


def test_a_jar_that_does_well_is_told_by_its_date() -> None:
    later = fake_story("J1", "wait", ("r",), middle=6.0)
    assert later.growth.ready_date is not None and later.growth.ready_date > TODAY
    assert short_why(later).startswith("growing, ready about ")
    done = fake_story("J1", "go", ("r",), middle=1.0, growth=fake_growth(1.0, 1.2))
    assert short_why(done) == "covered since 7 Mar, rested"
    unknown = fake_story("J1", "wait", ("r",), growth=Growth("too-few-days"))
    assert short_why(unknown) == "growing; too early for a date"


def test_a_reason_without_a_flag_is_cut_to_fit_a_phone() -> None:
    long = "The lower bound must reach 95 percent today and on two days and so on and on and on"
    told = short_why(fake_story("J1", "check", (long,)))
    assert len(told) <= MOST_LETTERS + 2
    assert long.startswith(told.removesuffix(" …"))
    stop = "31 days old and 70 % covered: its species takes up to 20 days when all is well."
    assert short_why(fake_story("J1", "check", (stop,))) == "31 days old and 70 % covered"


def test_a_jar_without_a_usable_photo_says_so() -> None:
    story = fake_story("J1", "check", ("r",))
    assert short_why(replace(story, history=JarHistory(JarEntry("J1"), ()))) == (
        "no photo could be used"
    )


def test_every_reason_is_told_once_and_doomed_jars_get_one_thing_to_do() -> None:
    flags = (("off_colour", "r1"), ("off_colour", "r2"), ("unregistered", "n"))
    check = reasons_of(fake_story("J1", "check", ("r1", "r2"), flags=flags))
    assert [r.text for r in check] == ["R1", "R2", "N"]
    assert [r.decides for r in check] == [True, True, False]
    assert check[0].remedy == "" and "Keep the jar closed" in check[1].remedy
    out = reasons_of(fake_story("J1", "no-go", ("r1", "r2"), flags=flags))
    assert [bool(r.remedy) for r in out] == [False, False, True]


def test_every_story_of_the_shelf_fits_two_lines_of_a_phone() -> None:
    assert all(len(short_why(s)) <= MOST_LETTERS + 2 for s in fake_shelf().stories)


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("bare of 3.3 cm2 (at -15 deg, 40 mm)", "Bare of 3.3 cm² (15° to the left, 40 mm up)"),
        ("seen on 2026-03-09 (confidence 97%)", "Seen on 9 Mar (confidence 97 %)"),
        ("photo K1_2026-03-09.jpg is blurred", "Photo K1_2026-03-09.jpg is blurred"),
        ("on 2026-13-45", "On 2026-13-45"),
    ],
)
def test_reasons_are_told_as_people_write(written: str, told: str) -> None:
    assert in_plain_words(written) == told
