"""One photo scored on its own comes to what a scoring of the whole folder says."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from fake_shelf import fake_reading, fake_refusal
from scoring import score_folder

from jarvision.base.errors import UsageError
from jarvision.records import JarStory, Reading, ShelfResult
from jarvision.register.photo_names import read_name
from jarvision.run.jobs import Job
from jarvision.run.one import ScoredOne, held, lives_of, no_photo_yet
from jarvision.run.shelf import open_shelf
from jarvision.run.workers import local_fleet

REGISTER = """jar,kind,species,substrate,started,parent
A1,spawn,oyster,rye,2026-03-01,
A2,spawn,oyster,rye,2026-03-01,
A3,spawn,oyster,rye,2026-03-01,
B1,fruiting,oyster,straw,2026-03-03,A3
"""
PERCENTS = (2, 5, 11, 23, 44, 68, 86, 95, 98)


def reader(job: Job) -> Reading:
    """Read the coverage from the file; what is not a number is refused."""
    parts = read_name(job.name)
    assert parts.day is not None
    text = job.path.read_text()
    if not text.replace(".", "").isdigit():
        return fake_refusal(job.name, parts.jar, "blurred", parts.day)
    return replace(fake_reading(parts.jar, parts.day, float(text)), photo=job.name)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    found = tmp_path / "photos"
    found.mkdir()
    (found / "jars.csv").write_text(REGISTER)
    for lag, jar in enumerate(("A1", "A2", "A3")):
        for n, percent in enumerate(PERCENTS[: 9 - lag]):
            (found / f"{jar}_2026-03-{n + 2 + lag:02d}.jpg").write_text(str(percent))
    return found


def add(folder: Path, out: Path, name: str, today: date | None = None) -> ScoredOne:
    shelf = open_shelf(folder)
    with held(shelf, out, tell=lambda _: None) as opened:
        before = opened.last() or no_photo_yet(shelf, date(2000, 1, 1))
        scored = opened.add(folder / name, before, fleet=local_fleet(1), read=reader, today=today)
        opened.keep(scored.by_photos)
    return scored


def story_of(result: ShelfResult, jar: str) -> JarStory:
    return next(story for story in result.all_stories if story.verdict.jar == jar)


@pytest.mark.parametrize("name", ["A2_2026-03-11.jpg", "A3_2026-03-11.jpg", "B1_2026-03-11.jpg"])
@pytest.mark.parametrize("content", ["97", "not a photo"])
def test_one_photo_comes_to_what_the_whole_folder_says(
    folder: Path, tmp_path: Path, name: str, content: str
) -> None:
    out = tmp_path / "out"
    before = score_folder(folder, out=out, read=reader, publish=lambda _: None)
    (folder / name).write_text(content)
    one = add(folder, out, name)
    whole = score_folder(folder, out=tmp_path / "whole", read=reader)
    assert one.story == story_of(whole, read_name(name).jar)
    assert one.by_photos.scored_on == whole.scored_on
    assert one.by_photos.readings == whole.readings
    assert len(one.by_photos.readings) == len(before.readings) + 1
    later = score_folder(folder, out=out, read=never)
    assert later.stories == whole.stories


def never(job: Job) -> Reading:
    raise AssertionError(f"{job.name} was read again")


def test_no_other_photo_is_opened(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    score_folder(folder, out=out, read=reader, publish=lambda _: None)
    for path in folder.glob("A1*.jpg"):
        path.write_text("changed since, which the next scoring finds")
    (folder / "A1_2026-03-12.jpg").write_text("99")
    one = add(folder, out, "A1_2026-03-12.jpg")
    assert one.story is not None
    assert len(one.story.history.days) == 10


def test_the_first_photo_of_all_begins_a_shelf(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    one = add(folder, out, "A1_2026-03-02.jpg")
    assert one.story is not None and one.story.verdict.jar == "A1"
    assert [r.photo for r in one.by_photos.readings] == ["A1_2026-03-02.jpg"]
    assert one.by_photos.scored_on == date(2026, 3, 2)


def test_mates_that_grew_meanwhile_teach(folder: Path, tmp_path: Path) -> None:
    """Readings of the batch that the last scoring does not know, as a watch keeps them."""
    out = tmp_path / "out"
    late = [path for path in folder.glob("A2*.jpg") if path.stem > "A2_2026-03-06"]
    texts = {path: path.read_text() for path in late}
    for path in late:
        path.unlink()
    score_folder(folder, out=out, read=reader, publish=lambda _: None)
    for path, text in texts.items():
        path.write_text(text)
    score_folder(folder, out=out, read=reader)  # kept as readings, not as the last scoring
    (folder / "A3_2026-03-11.jpg").write_text("90")
    one = add(folder, out, "A3_2026-03-11.jpg")
    whole = score_folder(folder, out=tmp_path / "whole", read=reader)
    assert one.story == story_of(whole, "A3")


def test_a_jar_is_told_anew_when_its_diary_changes(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    before = score_folder(folder, out=out, read=reader, publish=lambda _: None)
    (folder / "diary.csv").write_text(
        "jar,date,what,celsius,text,undone\nA2,2026-03-06,shaken,,,\n"
    )
    shelf = open_shelf(folder)
    with held(shelf, out, tell=lambda _: None) as opened:
        told = lives_of(opened.retell("A2", before), shelf)
    whole = score_folder(folder, out=tmp_path / "whole", read=reader)
    assert story_of(told, "A2") == story_of(whole, "A2")
    assert story_of(told, "A2") != story_of(before, "A2")


def test_a_photo_that_went_away_is_told(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    with pytest.raises(UsageError, match="not there any more"):
        add(folder, out, "A1_2026-03-30.jpg")


def test_a_photo_of_no_jar_has_a_reading_and_no_story(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (folder / "IMG_2026-03-12.jpg").write_text("dark")
    one = add(folder, out, "IMG_2026-03-12.jpg")
    assert (one.reading.status, one.story) == ("unusable", None)
