"""Jars renamed, corrected and taken out, by command: photos and all else follow."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from contextlib import chdir
from pathlib import Path

import pytest
from commands import call
from fake_shelf import fake_reading
from scoring import fake_reader

from jarvision.app.cli.cells import CELL_OPTIONS
from jarvision.base.errors import ExitCode
from jarvision.records import Reading
from jarvision.register.jars import TOLD_COLUMNS, read_register
from jarvision.register.photo_names import read_name
from jarvision.run.jobs import Job
from jarvision.run.photo_files import STORE_NAME

JARS = """jar,kind,species,started,parent
M,spawn,oyster,2026-01-20,
K1,spawn,oyster,2026-03-01,M
K2,spawn,oyster,2026-03-01,M
"""


@pytest.fixture
def reads(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """A working folder with a register and photos of two jars; the names of photos as read."""
    names: list[str] = []

    def read(job: Job) -> Reading:
        names.append(job.name)
        parts = read_name(job.name)
        assert parts.day is not None
        return fake_reading(parts.jar, parts.day, float(job.path.read_text()))

    fake_reader(monkeypatch, read)
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "jars.csv").write_text(JARS, encoding="utf-8")
    for jar, percent in (("K1", 10), ("K2", 30)):
        for day in (2, 3):
            photo = tmp_path / "photos" / f"{jar}_2026-03-0{day}.jpg"
            photo.write_text(str(percent + day))
    with chdir(tmp_path):
        yield names


def score(*args: str) -> str:
    code, _, talk = call("score", "photos", "--out", "report", *args)
    assert code == ExitCode.DONE
    return talk


def table(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((Path("report") / name).read_text("utf-8").splitlines()))


# --------------------------------------------------------------------------- another name
def test_a_renamed_jar_keeps_photos_outcome_and_diary_under_either_name(reads: list[str]) -> None:
    score()
    call("outcome", "K1", "clean", "--date", "2026-03-04")
    call("diary", "K1", "moved", "--date", "2026-03-03")
    code, text, _ = call("jars", "rename", "K1", "A9")
    assert (code, text) == (ExitCode.DONE, "K1 is now A9; photos may bear either name.\n")
    for jar in ("A9", "K1"):  # before the next scoring, too
        told = call("explain", jar)[1]
        assert "It was called K1 before." in told
        assert "it was moved" in told
        assert "it was recorded as clean" in told
        assert "A9" in call("trace", jar)[1]
    Path("photos/A9_2026-03-04.jpg").write_text("20")
    seen = len(reads)
    score()
    assert reads[seen:] == ["A9_2026-03-04.jpg"]  # no other photo is read again for it
    days = [
        (row["date"], row["coverage_percent"]) for row in table("days.csv") if row["jar"] == "A9"
    ]
    assert days == [("2026-03-02", "12.0"), ("2026-03-03", "13.0"), ("2026-03-04", "20.0")]
    assert {row["jar"] for row in table("verdicts.csv")} == {"A9", "K2"}
    photos = {row["photo"]: row["jar"] for row in table("readings.csv")}
    assert photos["K1_2026-03-02.jpg"] == "A9"  # and the file is called as it was
    assert call("diary", "K1")[1] == "2026-03-03  moved\n"
    code, _, talk = call("jars", "add", "K1")
    assert (code, "was the name of jar 'A9'" in talk) == (ExitCode.BAD_USAGE, True)


def test_a_register_that_mistyped_a_name_meets_its_photos(reads: list[str]) -> None:
    register = Path("photos/jars.csv")
    register.write_text(JARS.replace("K2,", "K22,"))
    assert "K2 has photos but is not in the register. Did you mean K22?" in score()
    call("jars", "rename", "K22", "K2")
    assert "not in the register" not in score()


# --------------------------------------------------------------------------- corrected
def test_a_line_is_corrected_by_either_name(reads: list[str]) -> None:
    call("jars", "rename", "M", "M0")
    args = ("jars", "set", "K2", "--species", "shiitake", "--parent", "M", "--started", "2.3.2026")
    code, text, _ = call(*args)
    assert code == ExitCode.DONE
    assert text == (
        "K2: species was 'oyster', is 'shiitake'; started was '2026-03-01', is '2026-03-02'.\n"
    )
    assert "so already" in call(*args)[1]
    changes = json.loads(call("jars", "set", "K2", "--species", "", "--json")[1])["changes"]
    assert [(c["before"], c["after"]) for c in changes] == [("shiitake", "")]


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (("set", "K2"), "Nothing was given to change. Example: jarvision jars set"),
        (("set", "K22", "--species", "oyster"), "Did you mean K2?"),
        (("set", "K2", "--kind", "jam"), "kind 'jam' is none of spawn, fruiting, bare"),
        (("set", "K2", "--started", "soon"), "'soon' is not a date"),
        (("rename", "K1", "K2"), "in the register already"),
        (("rename", "K9", "K8"), "'K9' is not in the register"),
        (("remove", "M"), "is the parent of K1, K2"),
    ],
)
def test_a_wrong_change_is_told_and_nothing_is_written(
    reads: list[str], args: tuple[str, ...], told: str
) -> None:
    code, _, talk = call("jars", *args)
    assert code == ExitCode.BAD_USAGE
    assert told in talk
    assert Path("photos/jars.csv").read_text() == JARS


# --------------------------------------------------------------------------- taken out
def test_photos_of_a_jar_that_was_taken_out_are_left_out_until_it_comes_back(
    reads: list[str],
) -> None:
    score()
    assert "taken out of the register" in call("jars", "remove", "K1")[1]
    assert call("explain", "K1")[0] == ExitCode.BAD_USAGE
    Path("photos/K1_2026-03-09.jpg").write_text("90")
    talk = " ".join(score().split())
    assert "K1 was taken out of the register: 3 photos of it left out" in talk
    assert "not in the register" not in talk
    assert {row["jar"] for row in table("verdicts.csv")} == {"K2"}
    assert {row["jar"] for row in table("readings.csv")} == {"K1", "K2"}
    assert {row["scored_on"] for row in table("verdicts.csv")} == {"2026-03-03"}
    call("jars", "add", "K1")
    assert "left out" not in score()
    assert {row["jar"]: row["species"] for row in table("verdicts.csv")} == {
        "K1": "oyster",
        "K2": "oyster",
    }


# --------------------------------------------------------------------------- outcomes
def test_an_outcome_of_the_wrong_jar_is_taken_back(reads: list[str]) -> None:
    score()
    call("outcome", "K1", "contaminated", "--date", "2026-03-04")
    code, text, _ = call("outcome", "K1", "undone")
    assert (code, text) == (
        ExitCode.DONE,
        "K1: what was recorded on 2026-03-04 is taken back. Nothing is recorded of it now.\n",
    )
    assert "recorded as contaminated" not in call("explain", "K1")[1]
    for day in ("5", "6"):
        call("outcome", "K2", "harvested", "--grams", "20", "--date", f"{day}.3.2026")
    left = call("outcome", "K2", "undone", "--date", "2026-03-05")[1]
    assert "Now K2: harvested" in left
    assert "20 g in 1 flush" in left
    document = json.loads(call("outcome", "K2", "undone", "--json")[1])
    assert document == {"jar": "K2", "outcome": None, "undone": "2026-03-06"}


def test_a_discarded_jar_is_over_under_its_new_name_until_that_is_undone(reads: list[str]) -> None:
    score()
    call("outcome", "K1", "discarded", "--date", "2026-03-04")
    call("jars", "rename", "K1", "A9")
    states = {
        row["jar"]: row["state"] for row in json.loads(call("jars", "list", "--json")[1])["jars"]
    }
    assert (states["A9"], "K1" in states) == ("finished", False)
    (Path("report") / STORE_NAME).unlink()  # from the tables alone it is so, too
    assert "Thrown out on 2026-03-04" in call("explain", "A9")[1]
    call("outcome", "K1", "undone")
    assert "Thrown out" not in call("explain", "A9")[1]


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (("K1", "undone"), "Nothing is recorded of jar 'K1'"),
        (("K1", "undone", "--grams", "3"), "Undone takes a jar and its day, and nothing else"),
        (("K1", "eaten"), "Say one of clean, contaminated, harvested, discarded, undone"),
    ],
)
def test_what_cannot_be_undone_is_told(reads: list[str], args: tuple[str, ...], told: str) -> None:
    code, _, talk = call("outcome", *args)
    assert code == ExitCode.BAD_USAGE
    assert told in talk
    assert not Path("photos/outcomes.csv").exists()


def test_many_jars_are_added_and_set_at_once_or_none(reads: list[str]) -> None:
    assert reads == []
    register = Path("photos/jars.csv")
    before = register.read_bytes()
    code, text, talk = call("jars", "add", "N08..N10", "P1", "--parent", "K1", "--kind", "spawn")
    assert (code, text) == (
        ExitCode.DONE,
        f"N08..N10 P1 added to {Path('photos/jars.csv')}, which now holds "
        f"{len(read_register(register))} jars.\n",
    )
    assert talk.count("Note:") == 1  # one spawn jar feeds all four
    known = read_register(register)
    assert [known[jar].parent for jar in ("N08", "N09", "N10", "P1")] == ["K1"] * 4
    assert register.read_bytes().startswith(before)
    code, text, _ = call("jars", "set", "N08..N10", "--species", "oyster", "--kind", "fruiting")
    assert (code, text.count("species was '', is 'oyster'")) == (ExitCode.DONE, 3)
    known = read_register(register)
    assert [known[jar].kind for jar in ("N08", "N09", "N10", "P1")] == ["fruiting"] * 3 + ["spawn"]
    stands = register.read_bytes()
    for wrong in (("add", "N09..N12"), ("add", "N20..N18"), ("set", "N08", "N11", "--notes", "x")):
        assert call("jars", *wrong)[0] == ExitCode.BAD_USAGE
        assert register.read_bytes() == stands


def test_a_jar_is_added_and_corrected_with_an_option_for_every_column() -> None:
    assert tuple(CELL_OPTIONS) == TOLD_COLUMNS
    for command in ("add", "set"):
        _, help_text, _ = call("jars", command, "--help")
        assert all(f"--{column}" in help_text for column in TOLD_COLUMNS)
