"""A scoring knows what became of the jars, and keeps what the photos alone said."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from scoring import score_folder
from text_photos import TextShelf, read_text

from jarvision.records import Reading, ShelfResult
from jarvision.register.amend import remove, rename
from jarvision.register.jars import REGISTER_NAME
from jarvision.register.outcomes import OUTCOME_COLUMNS, OUTCOMES_NAME
from jarvision.run.former_names import under_todays_names
from jarvision.run.jobs import Job
from jarvision.run.results import last_result
from jarvision.run.shelf import open_shelf


def read(job: Job) -> Reading:
    return read_text(job, 40.0)[0]


@pytest.fixture
def shelf(tmp_path: Path) -> TextShelf:
    one = TextShelf(tmp_path / "photos", tmp_path / "out")
    for jar in ("J1", "J2"):
        for day in (1, 2):
            one.put(f"{jar}_2026-03-0{day}.jpg")
    lines = ("jar,started,parent", "M,2026-01-01,", "J1,2026-02-20,M", "J2,2026-02-20,M", "J3,,")
    (one.folder / REGISTER_NAME).write_text("\n".join(lines) + "\n")
    return one


def score(shelf: TextShelf, *outcomes: str) -> ShelfResult:
    lines = (",".join(OUTCOME_COLUMNS), *outcomes)
    (shelf.folder / OUTCOMES_NAME).write_text("\n".join(lines) + "\n")
    return score_folder(shelf.folder, out=shelf.out, read=read, publish=lambda _: None)


def test_a_scoring_parts_finished_jars_and_keeps_the_photos_verdicts(shelf: TextShelf) -> None:
    result = score(shelf, "J2,contaminated,2026-03-02")
    (story,), (done,) = result.stories, result.finished
    assert (story.verdict.jar, done.jar) == ("J1", "J2")
    assert "bad_kin" in {flag.flag for flag in story.flags}
    kept = last_result(shelf.out, open_shelf(shelf.folder))
    assert kept is not None
    assert [s.verdict.jar for s in kept.stories] == ["J1", "J2"]
    assert kept.finished == ()
    assert not any(f.flag == "bad_kin" for s in kept.stories for f in s.flags)


def test_finished_jars_follow_their_names_and_leave_with_them(shelf: TextShelf) -> None:
    """J1 was fed from J0, which has another name now; J2 was taken out."""
    for day in (1, 2):
        shelf.put(f"J0_2026-03-0{day}.jpg")
    register = shelf.folder / REGISTER_NAME
    register.write_text("jar,started,parent\nJ0,,\nJ2,,\nJ1,2026-02-20,J0\n")
    result = score(shelf, "J1,clean,2026-03-02", "J2,clean,2026-03-02")
    assert [done.jar for done in result.finished] == ["J0", "J1", "J2"]
    for old, new in (("J0", "A0"), ("J1", "A1")):
        rename(register, old, new, today=date(2026, 3, 3))
    remove(register, "J2", today=date(2026, 3, 3))
    now = under_todays_names(result, open_shelf(shelf.folder))
    assert [done.jar for done in now.finished] == ["A0", "A1"]
    assert now.finished[0].ending.jars == ("A1",)
    assert {r.jar for d in now.finished for day in d.story.history.days for r in day.readings} == {
        "A0",
        "A1",
    }


def test_a_jar_that_is_over_is_not_missed(shelf: TextShelf) -> None:
    missed = "in the register but without a photo: J3"
    assert missed in score(shelf).warnings  # M is used up
    assert not any("J3" in warning for warning in score(shelf, "J3,clean,2026-03-02").warnings)


@pytest.mark.parametrize(
    ("outcome", "told"),
    [
        ("J1,clean,2026-03-01", True),
        ("J1,clean,2026-03-02", False),
        ("J1,harvested,2026-03-01", False),
    ],
)
def test_a_jar_that_is_photographed_after_its_end_is_told(
    shelf: TextShelf, outcome: str, told: bool
) -> None:
    sentence = (
        "J1 was photographed on 2026-03-02, but its story is over, so that it has no verdict: "
        "opened and used on 2026-03-01; nothing was wrong with it"
    )
    assert (sentence in score(shelf, outcome).warnings) is told
