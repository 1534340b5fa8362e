"""What the grower tells by command, from the word to explain, page and tables."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import chdir
from datetime import date
from pathlib import Path

import pytest
from commands import call
from fake_shelf import TODAY, fake_reading, fake_shelf, logistic
from scoring import fake_reader

from jarvision.app.cli import diary
from jarvision.base.errors import ExitCode
from jarvision.records import Reading
from jarvision.register.photo_names import read_name
from jarvision.report.tables import write_tables
from jarvision.run.jobs import Job

JARS = "jar,kind,species,started,parent\nM,,oyster,2026-01-20,\nJ01,,oyster,2026-03-01,M\n"


def read_slowly(job: Job) -> Reading:
    """A jar that grows as ever, whatever is told of it."""
    parts = read_name(job.name)
    assert parts.day is not None
    days = (parts.day - date(2026, 3, 1)).days
    return fake_reading(parts.jar, parts.day, logistic(days, 6.0, 0.5))


@pytest.fixture
def shed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A working folder with a register and photos of one jar on eight days."""
    monkeypatch.setattr(diary, "_today", lambda: TODAY)
    fake_reader(monkeypatch, read_slowly)
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "jars.csv").write_text(JARS, encoding="utf-8")
    for day in range(2, 10):
        (tmp_path / "photos" / f"J01_2026-03-0{day}.jpg").write_text(str(day))
    with chdir(tmp_path):
        yield tmp_path


def score() -> dict[str, object]:
    code, text, _ = call("score", "photos", "--out", "report", "--json", "--quiet")
    assert code == ExitCode.DONE
    (jar,) = json.loads(text)["jars"]
    return dict(jar)


def test_what_is_told_comes_into_the_next_scoring_everywhere(shed: Path) -> None:
    before = score()
    assert call("diary", "J01", "shaken", "before breakfast", "--date", "6.3.2026")[0] == 0
    call("diary", "J01", "temperature", "18,5", "--date", "2026-03-07")
    code, text, talk = call("diary", "J01", "opened", "--date", "2026-03-08")
    assert (code, text) == (ExitCode.DONE, "J01, 2026-03-08: opened.\n")
    assert "Score the photos again" in talk
    told = call("explain", "J01")[1]
    assert "it was shaken: before breakfast" in told
    assert "The verdict does not know all of this yet" in told
    after = score()
    assert after["diary"] == [
        {"date": "2026-03-06", "what": "shaken", "celsius": None, "text": "before breakfast"},
        {"date": "2026-03-07", "what": "temperature", "celsius": 18.5, "text": ""},
        {"date": "2026-03-08", "what": "opened", "celsius": None, "text": ""},
    ]
    flags = {flag["flag"] for flag in after["flags"]} - {flag["flag"] for flag in before["flags"]}  # type: ignore[attr-defined]
    assert flags == {"opened", "temperature"}
    assert after["ready_date"] != before["ready_date"]  # fitted to the days since the shake
    told = " ".join(call("explain", "J01")[1].split())
    assert "On Sat 7 Mar it stood at 18.5 C." in told
    assert "Its growth is fitted from Sat 7 Mar on." in told
    assert "does not know" not in told
    page = (shed / "report" / "report.html").read_text("utf-8")
    assert "6 Mar: shaken, before breakfast" in page
    curve = (shed / "report" / "curves" / "J01.svg").read_text("utf-8")
    assert all(word in curve for word in ("shaken", "opened", "18.5"))


def test_the_diary_of_a_jar_is_listed_and_lines_are_taken_back(shed: Path) -> None:
    assert "Nothing is told of J01" in call("diary", "J01")[2]
    call("diary", "J01", "note", "smells sweet", "--date", "2026-03-05")
    call("diary", "J01", "temperature", "21", "--date", "2026-03-04")
    listed = call("diary", "J01")[1]
    assert listed == "2026-03-04  temperature 21 C\n2026-03-05  note: smells sweet\n"
    code, text, _ = call("diary", "J01", "temperature", "--undo")
    assert (code, text) == (ExitCode.DONE, "J01, 2026-03-04: temperature 21 C, undone.\n")
    document = json.loads(call("diary", "J01", "--json")[1])
    assert [line["what"] for line in document["diary"]] == ["note"]
    assert json.loads(call("diary", "J01", "shaken", "--json")[1])["undone"] is False


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (("J01", "shakn"), "'shakn' is nothing that a diary holds. Did you mean shaken?"),
        (("J01", "eaten"), "Say one of shaken, opened, moved, temperature, note, fruiting"),
        (("J01", "temperature"), "temperature: '' is no number"),
        (("J01", "temperature", "warm"), "jarvision diary K08 temperature 21.5"),
        (("J01", "temperature", "2000"), "not between -30 and 130"),
        (("J01", "note"), "The note has no words"),
        (("J1", "shaken"), "Did you mean J01?"),
        (("Q7", "shaken"), "neither in the register nor was it scored"),
        (("J01", "shaken", "--date", "2026-03-11"), "lies ahead"),
        (("J01", "shaken", "--date", "yesterday"), "--date 2026-03-09"),
        (("J01", "moved", "--undo"), "No 'moved' is told of jar 'J01'"),
    ],
)
def test_what_cannot_be_told_is_said_in_our_words(
    shed: Path, args: tuple[str, ...], told: str
) -> None:
    code, _, talk = call("diary", *args)
    assert code == ExitCode.BAD_USAGE
    assert told in talk
    assert not (shed / "photos" / "diary.csv").exists()


def test_a_jar_that_only_photos_know_has_a_diary_too(shed: Path) -> None:
    write_tables(fake_shelf(), shed / "report")
    assert call("diary", "J03", "shaken", "--date", "2026-03-05")[0] == ExitCode.DONE
    assert "On Thu 5 Mar it was shaken." in call("explain", "J03")[1]
