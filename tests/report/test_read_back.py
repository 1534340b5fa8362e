"""The last scoring read back from its tables, and the story told from it."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from fake_shelf import TODAY, fake_shelf, fake_story

from jarvision.base.errors import UsageError
from jarvision.history.smoothing import read_together
from jarvision.records import Coverage, DiaryLine, JarEntry, JarStory, ShelfResult, TrackedPatch
from jarvision.records.flags import CAUTIONS
from jarvision.register.jars import Register
from jarvision.report.page import render_page
from jarvision.report.read_back import read_result
from jarvision.report.story import Chapter, tell_story
from jarvision.report.tables import write_tables
from jarvision.report.words import tell_as_read
from jarvision.settings.groups import Settings
from jarvision.settings.growth import GrowthSettings
from jarvision.verdict.plan import make_plan

ODD = "=J0;1,\"'"


@pytest.fixture
def shelf() -> ShelfResult:
    reasons = ("The first one; so far 1.", "3.2 cm2 look wet (a look from 0.5 cm2).")
    return fake_shelf(fake_story(ODD, "check", reasons))


def registered(shelf: ShelfResult) -> Register:
    return Register({s.verdict.jar: s.history.entry for s in shelf.stories})


def test_the_tables_give_back_what_they_were_written_from(
    shelf: ShelfResult, tmp_path: Path
) -> None:
    write_tables(shelf, tmp_path)
    found = read_result(tmp_path, registered(shelf))
    assert (found.folder, found.scored_on) == (shelf.folder, shelf.scored_on)
    assert [r.photo for r in found.readings] == [r.photo for r in shelf.readings]
    for back, story in zip(found.stories, shelf.stories, strict=True):
        assert back.history.entry == story.history.entry
        assert (back.verdict.jar, back.verdict.verdict) == (
            story.verdict.jar,
            story.verdict.verdict,
        )
        both = (back.verdict.reasons, story.verdict.reasons)
        told_back, wanted = ("; ".join(r.rstrip(".") for r in reasons) for reasons in both)
        assert told_back == wanted
        assert back.flags == story.flags
        for name in ("ready_date", "ready_low", "ready_high"):
            assert getattr(back.growth, name) == getattr(story.growth, name)
        assert len(back.history.days) == len(story.history.days)
        for day, truth in zip(back.history.days, story.history.days, strict=True):
            assert (day.day, day.views, day.patches) == (truth.day, truth.views, truth.patches)
            assert day.coverage.percent == pytest.approx(truth.coverage.percent, abs=0.051)
            assert day.fill_height_mm == pytest.approx(truth.fill_height_mm)
        assert {(r.photo, r.reason) for r in story.history.refused} <= {
            (r.photo, r.reason) for r in back.history.refused
        }


def test_reasons_are_parted_where_they_were_joined(shelf: ShelfResult, tmp_path: Path) -> None:
    """Sentences begin with a capital or a number; a semicolon within one parts nothing."""
    write_tables(shelf, tmp_path)
    odd = read_result(tmp_path).stories[-1]
    assert odd.verdict.jar == ODD
    assert odd.verdict.findings == shelf.stories[-1].verdict.findings
    assert {(found.word, found.verdict) for found in odd.verdict.findings} == {("told", "check")}


def test_the_plan_of_the_tables_is_the_plan_of_the_scoring(
    shelf: ShelfResult, tmp_path: Path
) -> None:
    write_tables(shelf, tmp_path)
    back = make_plan(read_result(tmp_path, registered(shelf)))
    truth = make_plan(shelf)
    assert back.batches == truth.batches
    assert [(i.day, i.task, i.jars, i.low, i.high) for i in back.items] == [
        (i.day, i.task, i.jars, i.low, i.high) for i in truth.items
    ]


def test_a_folder_without_a_scoring_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="jarvision score"):
        read_result(tmp_path)


@pytest.mark.parametrize(
    ("name", "old", "new", "words"),
    [
        ("verdicts.csv", "no-go", "perhaps", "verdict 'perhaps'"),
        ("verdicts.csv", "2026-03-10", "soon", "soon"),
        ("days.csv", "2026-03-04", "4.3.2026", "days.csv, line"),
        ("flags.csv", "off_colour", "colour", "flag 'colour'"),
        ("patches.csv", "area_cm2", "area", "no column 'area_cm2'"),
    ],
)
def test_a_changed_table_is_told_with_its_place(
    shelf: ShelfResult, tmp_path: Path, name: str, old: str, new: str, words: str
) -> None:
    write_tables(shelf, tmp_path)
    path = tmp_path / name
    path.write_text(path.read_text("utf-8").replace(old, new), encoding="utf-8")
    with pytest.raises(UsageError) as caught:
        read_result(tmp_path)
    assert name in str(caught.value)
    assert words in str(caught.value)


def test_tables_that_a_spreadsheet_saved_with_semicolons_are_read(
    shelf: ShelfResult, tmp_path: Path
) -> None:
    plain = replace(shelf, stories=shelf.stories[:-1])
    write_tables(plain, tmp_path)
    path = tmp_path / "days.csv"
    path.write_text("\ufeff" + path.read_text("utf-8").replace(",", ";"), encoding="utf-8")
    assert len(read_result(tmp_path).stories[0].history.days) == 8


def with_days_together(shelf: ShelfResult) -> ShelfResult:
    def read(story: JarStory) -> JarStory:
        days = read_together(story.history.days, Settings())
        return replace(story, history=replace(story.history, days=days))

    return replace(shelf, stories=tuple(read(s) for s in shelf.stories))


def test_what_the_days_say_together_is_written_told_and_read_back(
    shelf: ShelfResult, tmp_path: Path
) -> None:
    shelf = with_days_together(shelf)
    write_tables(shelf, tmp_path)
    back = read_result(tmp_path, registered(shelf))
    for told_back, story in zip(back.stories, shelf.stories, strict=True):
        for day, truth in zip(told_back.history.days, story.history.days, strict=True):
            assert day.together is not None and truth.together is not None
            assert day.together.percent == pytest.approx(truth.together.percent, abs=0.05)
            assert day.together.low == pytest.approx(truth.together.low, abs=0.05)
            assert day.together.high == pytest.approx(truth.together.high, abs=0.05)
    last = shelf.stories[1].history.days[-1].together
    assert last is not None
    wanted = f"the last day says {last.percent:.1f} % (95 % interval {last.low:.1f}"
    assert wanted in told(shelf.stories[1], "Growth")


def test_tables_of_before_the_days_were_read_together_are_read(
    shelf: ShelfResult, tmp_path: Path
) -> None:
    write_tables(with_days_together(shelf), tmp_path)
    days = pd.read_csv(tmp_path / "days.csv", dtype=str)
    days.loc[:, :"seen_percent"].to_csv(tmp_path / "days.csv", index=False)  # type: ignore[misc]
    found = read_result(tmp_path).stories[0].history.days
    assert len(found) == 8 and {day.together for day in found} == {None}


def test_the_story_told_from_the_tables_is_the_story_of_the_scoring(
    shelf: ShelfResult, tmp_path: Path
) -> None:
    write_tables(shelf, tmp_path)
    found = read_result(tmp_path, registered(shelf))
    for back, story in zip(found.stories, shelf.stories, strict=True):
        both = [tell_story(s, scored_on=TODAY) for s in (back, story)]
        for chapter, truth in zip(*both, strict=True):
            if chapter.heading not in ("Growth", "Verdict", "Photos"):
                assert chapter == truth
            else:
                # Last digits may differ by the tables' rounding; refused photos and reasons of
                # these made-up stories are not in the form that the tables hold.
                assert chapter.sentences[0] == truth.sentences[0]


# --------------------------------------------------------------------------- the story
def told(story: JarStory, heading: str = "", register: Register | None = None) -> str:
    chapters = tell_story(story, scored_on=TODAY, register=register)
    return " ".join(" ".join(c.sentences) for c in chapters if heading in ("", c.heading))


def family() -> Register:
    names = {"M": "", "J04": "M", "X": "M", "Y": "J04"}
    return Register({jar: JarEntry(jar, parent=parent) for jar, parent in names.items()})


def test_a_story_has_its_chapters_in_order_and_whole_sentences(shelf: ShelfResult) -> None:
    for story in shelf.stories:
        chapters = tell_story(story, scored_on=TODAY)
        assert [c.heading for c in chapters] == [
            "Start", "Photos", "Growth", "Areas", "Verdict", "What to do", "Caution"
        ]  # fmt: skip
        assert all(isinstance(c, Chapter) and c.sentences for c in chapters)
        assert all(s.endswith(".") and ".." not in s for c in chapters for s in c.sentences)


def test_numbers_are_told_with_their_intervals(shelf: ShelfResult) -> None:
    story = shelf.stories[1]
    cover = story.history.days[-1].coverage
    wanted = f"{cover.percent:.1f} % (95 % interval {cover.low:.1f} to {cover.high:.1f} %)"
    assert wanted in told(story, "Growth")
    assert "(80 % interval 11 Mar to 14 Mar)" in told(story, "Growth")


def test_areas_are_told_with_their_history(shelf: ShelfResult) -> None:
    text = told(shelf.stories[3], "Areas")
    assert text == (
        "green-1: green area 22 degrees to the right, 40 mm up; "
        "2.5 cm2 on Sun 8 Mar, 2.5 cm2 on Tue 10 Mar, growing."
    )


def test_a_note_of_the_grower_is_told_with_the_start(shelf: ShelfResult) -> None:
    story = shelf.stories[0]
    assert "Your note" not in told(story)
    entry = replace(story.history.entry, notes="from the January culture")
    noted = replace(story, history=replace(story.history, entry=entry))
    assert "Your note: from the January culture." in told(noted, "Start")


def test_an_area_that_closed_is_told_as_such(shelf: ShelfResult) -> None:
    story = shelf.stories[3]
    days = (*story.history.days[:-1], replace(story.history.days[-1], patches=()))
    gone = replace(story, history=replace(story.history, days=days))
    assert told(gone, "Areas").endswith("not seen since.")
    clean = tuple(replace(day, patches=()) for day in days)
    clear = replace(story, history=replace(story.history, days=clean))
    assert "No bare, wet or discoloured area" in told(clear, "Areas")


def test_many_areas_are_cut_short_with_the_largest_first(shelf: ShelfResult) -> None:
    many = tuple(TrackedPatch(f"bare-{n}", "bare", n + 1.0, 0.0, 9.0, "new") for n in range(20))
    story = shelf.stories[0]
    days = (*story.history.days[:-1], replace(story.history.days[-1], patches=many))
    text = told(replace(story, history=replace(story.history, days=days)), "Areas")
    assert text.startswith("bare-19: bare area in front")
    assert "14 smaller areas" in text


def test_a_bad_jar_gets_its_cautions_no_ready_date_and_its_relatives(shelf: ShelfResult) -> None:
    bad = replace(
        shelf.stories[3],
        history=replace(shelf.stories[3].history, entry=family()["J04"]),
    )
    text = told(bad, register=family())
    assert all(caution in text for caution in CAUTIONS[:3])
    assert "expected to be ready" not in text
    assert "It was fed from M, which also feeds X. It feeds Y." in text
    assert "jarvision trace J04" in text


def test_the_story_of_a_good_jar_still_says_what_a_photo_cannot(shelf: ShelfResult) -> None:
    assert told(shelf.stories[0], "Caution") == CAUTIONS[0]


def test_a_jar_without_a_usable_photo_has_a_story_too(shelf: ShelfResult) -> None:
    story = shelf.stories[2]
    bare = replace(story, history=replace(story.history, days=()))
    text = told(bare)
    assert "No photo of it could be used." in text
    assert (
        "J03_2026-03-09.jpg could not be used: the photo, or the jar in it, is not sharp." in text
    )
    assert "nan" not in text


def test_a_jar_that_nobody_registered_says_so(shelf: ShelfResult, tmp_path: Path) -> None:
    write_tables(shelf, tmp_path)
    story = read_result(tmp_path).stories[0]
    assert "J01 is not in the register" in told(story, "Start")
    assert math.isfinite(story.history.days[0].coverage.percent)


def fallen(story: JarStory, *percents: float) -> str:
    """What is told of growth when the last days read so."""
    days = list(story.history.days)
    for place, percent in enumerate(percents, len(days) - len(percents)):
        days[place] = replace(days[place], coverage=replace(days[place].coverage, percent=percent))
    return told(replace(story, history=replace(story.history, days=tuple(days))), "Growth")


def test_a_fall_that_lasts_is_told_as_a_shake_and_one_low_reading_is_not(
    shelf: ShelfResult,
) -> None:
    assert "as if shaken" in fallen(shelf.stories[0], 40.0, 42.0)
    assert "as if shaken" not in fallen(shelf.stories[0], 40.0)


def test_a_told_shake_is_told_as_one_and_growth_begins_anew(shelf: ShelfResult) -> None:
    story = shelf.stories[0]
    days = [replace(d, told_shaken=n == 5) for n, d in enumerate(story.history.days)]
    text = told(replace(story, history=replace(story.history, days=tuple(days))), "Growth")
    assert "Its growth is fitted from Sun 8 Mar on." in text
    assert "as if shaken" not in text and "it was shaken" not in text  # nothing fell
    low = replace(days[5], coverage=replace(days[5].coverage, percent=30.0))
    fell = replace(story.history, days=(*days[:5], low, *days[6:]))
    assert "points: it was shaken." in told(replace(story, history=fell), "Growth")


def test_the_diary_is_told_and_what_the_verdict_does_not_know(shelf: ShelfResult) -> None:
    story = shelf.stories[0]
    lines = (
        DiaryLine("J01", "temperature", date(2026, 3, 4), 21.5),
        DiaryLine("J01", "opened", date(2026, 3, 5), text="lid was loose."),
    )
    knows = replace(story, history=replace(story.history, diary=lines))
    text = told(knows, "Diary")
    assert text == "On Wed 4 Mar it stood at 21.5 C. On Thu 5 Mar it was opened: lid was loose."
    assert not told(story, "Diary")
    newer = (*lines, DiaryLine("J01", "shaken", TODAY))
    for known, said in ((lines, False), (newer, True), (lines[:1], True)):
        chapters = tell_story(knows, scored_on=TODAY, diary=known)
        (diary,) = [c for c in chapters if c.heading == "Diary"]
        assert any("does not know all" in s for s in diary.sentences) == said


def test_what_counts_as_a_shake_is_set_by_the_grower(shelf: ShelfResult) -> None:
    story = shelf.stories[0]
    days = [replace(d, turned_away=n == 6) for n, d in enumerate(story.history.days)]
    days[6] = replace(days[6], coverage=replace(days[6].coverage, percent=80.0))
    shaken = replace(story, history=replace(story.history, days=tuple(days)))
    for points, told_so in ((5.0, True), (40.0, False)):
        settings = replace(GrowthSettings(), shake_drop_points=points)
        chapters = tell_story(shaken, scored_on=TODAY, settings=settings)
        text = " ".join(sentence for chapter in chapters for sentence in chapter.sentences)
        assert ("as if shaken" in text) == told_so


def test_what_a_photo_gave_before_counts_put_it_right_is_read_back_and_told(
    shelf: ShelfResult, tmp_path: Path
) -> None:
    story = shelf.stories[0]
    raw = Coverage(percent=33.2, low=30.1, high=37.5, soft_percent=30.0, seen_percent=90.0)
    photo = story.history.days[-1].readings[0].photo
    readings = tuple(
        replace(r, raw_coverage=raw) if r.photo == photo else r for r in shelf.readings
    )
    write_tables(replace(shelf, stories=(story,), readings=readings), tmp_path)
    (back,) = read_result(tmp_path).stories
    (reading,) = back.history.days[-1].readings
    assert reading.raw_coverage is not None
    assert (reading.raw_coverage.percent, reading.raw_coverage.high) == (33.2, 37.5)
    assert all(r.raw_coverage is None for day in back.history.days[:-1] for r in day.readings)
    assert tell_as_read(back.history.days[-1]) == ", as read 33.2 % (30.1 to 37.5)"
    assert tell_as_read(back.history.days[0]) == ""
    page = " ".join(render_page(read_result(tmp_path), tmp_path).split())
    assert ", as read 33.2 % (30.1 to 37.5)" in page
