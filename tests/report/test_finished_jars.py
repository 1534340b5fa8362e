"""Jars whose story is over, and kin of bad ones, on the page, in the tables and in the story."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import html5lib
import pytest
from fake_shelf import TODAY, fake_refusal, fake_shelf

from jarvision.app.cli.summary import tell_refused
from jarvision.records import Finding, JarEntry, ShelfResult
from jarvision.register.jars import Register
from jarvision.register.outcomes import JarOutcome
from jarvision.report import write_report
from jarvision.report.page import render_page
from jarvision.report.read_back import read_result
from jarvision.report.story import tell_story
from jarvision.report.tables import write_tables
from jarvision.verdict.lives import with_lives
from jarvision.verdict.plan import make_plan

REGISTER = Register(
    {
        "M": JarEntry("M"),
        "J01": JarEntry("J01", parent="M"),
        "J02": JarEntry("J02", parent="M"),
        "J04": JarEntry("J04", parent="M"),
        "J03": JarEntry("J03"),
        "J05": JarEntry("J05"),
    }
)
HARVEST = JarOutcome("J05", "harvested", TODAY, ((TODAY, 84.5),), 100.0, "wait", TODAY)
THROWN = JarOutcome("J03", "discarded", TODAY - timedelta(days=1), (), None, None, None)
COVERED = {"percent": 98.0, "low": 96.0, "high": 100.0, "rested_days": 4.0}
READY = Finding.of("spawn_ready", "go", day=TODAY, since=TODAY, shown_since=TODAY, **COVERED)


@pytest.fixture
def by_photos() -> ShelfResult:
    """J01 would be go, J04 of the same spawn is no-go; J03 had a photo refused today."""
    shelf = fake_shelf()
    first = replace(shelf.stories[0], verdict=replace(shelf.stories[0].verdict, findings=(READY,)))
    again = fake_refusal("J03_2026-03-10.jpg", "J03", "blurred")
    return replace(shelf, stories=(first, *shelf.stories[1:]), readings=(*shelf.readings, again))


@pytest.fixture
def shelf(by_photos: ShelfResult) -> ShelfResult:
    return with_lives(by_photos, REGISTER, {"J05": HARVEST, "J03": THROWN})


def text_of(page: str, part: str) -> str:
    tree = html5lib.parse(page, namespaceHTMLElements=False)
    found = next((e for e in tree.iter() if e.get("id") == part), None)
    return "" if found is None else " ".join("".join(found.itertext()).split())


# --------------------------------------------------------------------------- the page
def test_finished_jars_stand_in_a_part_of_their_own_and_nowhere_else(
    shelf: ShelfResult, tmp_path: Path
) -> None:
    late = replace(shelf, scored_on=TODAY + timedelta(days=1))  # all jars are asked for
    page = render_page(late, tmp_path, plan=make_plan(late), register=REGISTER)
    for part in ("today", "next", "shelf", "jars"):
        told = text_of(page, part)
        assert told, part
        assert "J05" not in told and "J03" not in told, part
    assert "J05" not in text_of(page, "photos")
    done = text_of(page, "finished")
    assert "J05 Harvested, last on 10 Mar: 84.5 g in all." in done
    assert "J03 Thrown out on 9 Mar. Last photo Tue 10 Mar" in done
    tally = page[page.index('class="tally"') : page.index("<nav")]
    assert "<b>1</b> check" in tally and "<b>1</b> wait" in tally and "go</span>" in tally


def test_a_refused_photo_of_a_finished_jar_is_told_no_more(
    by_photos: ShelfResult, shelf: ShelfResult, tmp_path: Path
) -> None:
    tomorrow = timedelta(days=1)
    photo = by_photos.readings[-1]
    photo = replace(photo, taken_at=photo.taken_at + tomorrow)
    for result, again in ((by_photos, True), (shelf, False)):
        late = replace(result, readings=(photo,), scored_on=TODAY + tomorrow)
        page = render_page(late, tmp_path)
        assert (photo.photo in page) is again
        assert ("Take again today" in page) is again
        assert (photo.photo in " ".join(tell_refused(late))) is again


def test_without_a_finished_jar_the_page_has_no_such_part(tmp_path: Path) -> None:
    page = render_page(fake_shelf(), tmp_path)
    assert 'id="finished"' not in page and 'href="#finished"' not in page


def test_the_page_tells_bad_kin_in_the_list_and_on_the_card(
    shelf: ShelfResult, tmp_path: Path
) -> None:
    page = render_page(shelf, tmp_path, register=REGISTER)
    assert "of its kin, J04 (same spawn) turned bad" in text_of(page, "today")
    card = next(text for n in range(1, 6) if (text := text_of(page, f"jar-{n}")).startswith("J01"))
    assert "J04 (same spawn) turned bad. Coverage 98 %" in card
    assert "look it over on all sides" in card
    assert "use as spawn" not in card
    assert "spawn from M used up" in " ".join(card.replace("no photo", "used up").split())


def test_the_report_of_a_shelf_on_which_all_is_over_is_written(
    by_photos: ShelfResult, tmp_path: Path
) -> None:
    jars = [s.verdict.jar for s in by_photos.stories]
    over = {jar: replace(HARVEST, jar=jar) for jar in jars}
    result = with_lives(by_photos, REGISTER, over)
    write_report(result, tmp_path, plan=make_plan(result), register=REGISTER)
    page = (tmp_path / "report.html").read_text("utf-8")
    html5lib.HTMLParser(strict=True).parse(page)
    assert all(jar in text_of(page, "finished") for jar in jars)


# --------------------------------------------------------------------------- the tables
def table(path: Path) -> dict[str, dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return {row["jar"]: row for row in csv.DictReader(file)}


def test_a_finished_jar_has_its_row_without_a_verdict(shelf: ShelfResult, tmp_path: Path) -> None:
    write_tables(shelf, tmp_path)
    rows = table(tmp_path / "verdicts.csv")
    assert list(rows) == ["J01", "J02", "J04", "J03", "J05"]
    told = [(r["verdict"], r["ended"], r["last_verdict"]) for r in rows.values()]
    assert told == [
        ("check", "", ""),
        ("wait", "", ""),
        ("no-go", "", ""),
        ("", "discarded", "check"),
        ("", "harvested", "wait"),
    ]
    assert rows["J05"]["reasons"] == "Harvested, last on 2026-03-10: 84.5 g in all"
    assert rows["J01"]["reasons"].startswith("Of its kin, J04 (same spawn) turned bad. Coverage")
    assert "J03" in table(tmp_path / "days.csv")
    assert "J03" not in table(tmp_path / "flags.csv")


def test_the_tables_give_back_what_the_photos_said(
    by_photos: ShelfResult, shelf: ShelfResult, tmp_path: Path
) -> None:
    """So that another outcome of today makes another verdict, as from the store."""
    write_tables(shelf, tmp_path)
    back = read_result(tmp_path, REGISTER)
    said = {s.verdict.jar: s.verdict.verdict for s in back.stories}
    assert said == {s.verdict.jar: s.verdict.verdict for s in by_photos.stories}
    assert {f.flag for s in back.stories for f in s.flags} == {"off_colour"}
    again = with_lives(back, REGISTER, {"J05": HARVEST, "J03": THROWN})
    for story, truth in zip(again.stories, shelf.stories, strict=True):
        assert story.verdict.verdict == truth.verdict.verdict
        assert [f.flag for f in story.flags] == [f.flag for f in truth.flags]
    assert [done.jar for done in again.finished] == ["J03", "J05"]
    well = with_lives(back, REGISTER, {"J04": replace(HARVEST, jar="J04", outcome="clean")})
    assert next(s.verdict.verdict for s in well.stories if s.verdict.jar == "J01") == "go"


# --------------------------------------------------------------------------- the story
def test_the_story_of_a_finished_jar_ends_with_nothing_to_do(shelf: ShelfResult) -> None:
    done = next(done for done in shelf.finished if done.jar == "J05")
    chapters = {
        chapter.heading: " ".join(chapter.sentences)
        for chapter in tell_story(
            done.story, scored_on=TODAY, register=REGISTER, outcome=HARVEST, ending=done.ending
        )
    }
    assert chapters["Verdict"] == (
        "It has none any more. Harvested, last on 2026-03-10: 84.5 g in all."
    )
    assert "The verdict had been wait, on Tue 10 Mar." in chapters["Outcome"], "told once"
    assert chapters["What to do"] == "Nothing: its story is over."


def test_of_a_jar_without_a_recorded_verdict_that_of_its_photos_is_told(
    shelf: ShelfResult,
) -> None:
    done = next(done for done in shelf.finished if done.jar == "J03")
    told = tell_story(done.story, scored_on=TODAY, outcome=THROWN, ending=done.ending)
    verdict = next(chapter for chapter in told if chapter.heading == "Verdict")
    assert verdict.sentences[0].endswith("The last one, for Tue 10 Mar, was check.")
    unread = replace(done.story, history=replace(done.story.history, days=()))
    told = tell_story(unread, scored_on=TODAY, outcome=THROWN, ending=done.ending)
    verdict = next(chapter for chapter in told if chapter.heading == "Verdict")
    assert verdict.sentences[0].endswith("Thrown out on 2026-03-09.")


def test_the_story_of_a_bad_jar_that_is_gone_still_sends_to_its_kin(
    by_photos: ShelfResult,
) -> None:
    outcome = replace(HARVEST, jar="J04", outcome="contaminated")
    (done,) = with_lives(by_photos, REGISTER, {"J04": outcome}).finished
    *_, todo, _ = tell_story(done.story, scored_on=TODAY, register=REGISTER, ending=done.ending)
    assert todo.heading == "What to do"
    assert "jarvision trace J04" in " ".join(todo.sentences)
