"""The commands around the register, as the shell runs them: codes, streams, files."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from contextlib import chdir
from datetime import timedelta
from pathlib import Path

import pytest
import vobject
from commands import call
from fake_shelf import TODAY, fake_shelf

from jarvision.app.cli import outcome
from jarvision.base.errors import ExitCode
from jarvision.report.tables import write_tables

JARS = """jar,kind,species,started,parent
M,spawn,oyster,2026-01-20,
J01,spawn,oyster,2026-03-01,
J02,spawn,oyster,2026-03-01,M
J04,spawn,oyster,2026-03-01,M
K4,fruiting,oyster,2026-03-08,J04
J05,fruiting,lion's mane,2026-03-01,
"""


@pytest.fixture
def shed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A working folder with a register and the tables of a scoring, where defaults find them."""
    monkeypatch.setattr(outcome, "_today", lambda: TODAY + timedelta(days=60))
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "jars.csv").write_text(JARS, encoding="utf-8")
    write_tables(fake_shelf(), tmp_path / "report")
    with chdir(tmp_path):
        yield tmp_path


def records(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.read_text("utf-8").splitlines()))


# --------------------------------------------------------------------------- register
def test_a_register_is_started_and_filled(tmp_path: Path) -> None:
    with chdir(tmp_path):
        code, text, _ = call("jars", "new")
        assert (code, text) == (ExitCode.DONE, "jars.csv\n")
        call("jars", "add", "S1", "--species", "oyster", "--started", "2026-03-01")
        code, text, talk = call("jars", "add", "F1", "--kind", "fruiting", "--parent", "S1")
        assert (code, talk) == (ExitCode.DONE, "")
        assert "F1 added to jars.csv, which now holds 2 jars." in text
        assert "one spawn jar for one jar" in call("jars", "add", "F2", "--parent", "S1")[2]
        assert call("jars", "new")[0] == ExitCode.BAD_USAGE
        code, _, talk = call("jars", "add", "S1")
        assert code == ExitCode.BAD_USAGE
        assert "already on line 4" in talk
        assert len(records_of(tmp_path / "jars.csv")) == 3


def records_of(path: Path) -> list[str]:
    lines = [line for line in path.read_text("utf-8").splitlines() if line[0] != "#"]
    return lines[1:]


def test_doubtful_spawn_is_warned_of_when_it_is_used(shed: Path) -> None:
    good = call("jars", "add", "F1", "--parent", "J01")
    assert (good[0], good[2]) == (ExitCode.DONE, "")
    talk = call("jars", "add", "F2", "--parent", "J02")[2]
    assert "verdict on 'J02' of 2026-03-10 is wait, not go" in talk.replace("\n", " ")
    call("outcome", "M", "contaminated", "--date", "2026-03-01")
    assert "'M' was recorded as contaminated" in call("jars", "add", "F3", "--parent", "M")[2]


# --------------------------------------------------------------------------- trace
def test_trace_prints_who_to_look_at_and_fits_eighty_columns(shed: Path) -> None:
    code, text, _ = call("trace", "J04")
    assert code == ExitCode.DONE
    lines = text.splitlines()
    assert max(map(len, lines)) <= 80
    rows = [line.split()[1] for line in lines if line.split() and line.split()[0].isdigit()]
    assert rows == ["J04", "K4", "J02", "M"]


def test_trace_as_json_is_all_that_is_on_stdout(shed: Path) -> None:
    document = json.loads(call("trace", "J04", "--json")[1])
    first = document["relatives"][0]
    assert (document["suspect"], first["state"], first["action"]) == (True, "no-go", "isolate")
    assert document["relatives"][1]["state"] == "not scored"


def test_trace_works_before_the_first_scoring_and_says_so(shed: Path) -> None:
    code, text, talk = call("trace", "J04", "--out", "elsewhere")
    assert code == ExitCode.DONE
    assert "not scored" in text
    assert "holds no scoring" in talk


# --------------------------------------------------------------------------- explain
def test_explain_tells_the_story_in_sentences(shed: Path) -> None:
    code, text, _ = call("explain", "J04")
    assert code == ExitCode.DONE
    assert "the verdict is no-go" in text
    assert "Green growth" not in text.splitlines()[0]
    assert max(map(len, text.splitlines())) <= 80
    chapters = json.loads(call("explain", "J04", "--json")[1])["chapters"]
    assert chapters[0]["heading"] == "Start"


def test_explain_ends_with_what_became_of_the_jar(shed: Path) -> None:
    args = ("--grams", "45", "--dry-grams", "90", "--date", TODAY.isoformat())
    call("outcome", "J05", "harvested", *args)
    text = call("explain", "J05")[1]
    assert "The verdict had been wait" in text
    assert "45 g in 1 flush" in text
    assert "biological efficiency of 50 %" in text


# --------------------------------------------------------------------------- plan
def test_plan_prints_and_writes_what_is_due(shed: Path) -> None:
    code, text, talk = call("plan")
    assert code == ExitCode.DONE
    assert max(map(len, text.splitlines())) <= 80
    rows = records(shed / "report" / "plan.csv")
    assert {row["jars"] for row in rows if row["task"] == "isolate"} == {"J04"}
    assert "plan.ics" in talk
    (calendar,) = vobject.readComponents((shed / "report" / "plan.ics").read_text("utf-8"))
    assert len(calendar.vevent_list) == len(rows)


def test_plan_takes_amounts_from_beside_the_register(shed: Path) -> None:
    (shed / "photos" / "jarvision.toml").write_text("[plan]\ndry_substrate_g = 250\n")
    document = json.loads(call("plan", "--json", "--days", "5", "--today", "2026-03-12")[1])
    assert document["first"] == "2026-03-12"
    assert document["last"] == "2026-03-16"
    assert document["substrate"][0]["dry_g"] % 250 == 0
    (shed / "photos" / "jarvision.toml").write_text("[plan]\ngrams = 250\n")
    assert call("plan")[0] == ExitCode.BAD_USAGE


@pytest.mark.parametrize(("first", "far"), [("2026-03-17", False), ("2030-01-01", True)])
def test_a_plan_far_from_its_verdicts_is_shown_and_written_nowhere(
    shed: Path, first: str, far: bool
) -> None:
    call("plan")
    files = [shed / "report" / name for name in ("plan.csv", "plan.ics")]
    before = [path.read_bytes() for path in files]
    code, text, talk = call("plan", "--today", first, "--quiet")
    assert code == ExitCode.DONE
    assert text
    assert (talk != "") is far
    assert ("too far apart" in talk) is far
    assert ([path.read_bytes() for path in files] == before) is far
    assert ("new photos may say otherwise" in call("plan", "--today", first)[2]) is not far


def test_an_output_folder_that_cannot_be_written_is_told(
    shed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*args: object, **more: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("jarvision.base.files.tempfile.NamedTemporaryFile", full)
    code, text, _ = call("plan")
    assert (code, text) == (ExitCode.NOT_WRITABLE, "")


# --------------------------------------------------------------------------- outcomes
def test_an_outcome_keeps_the_verdict_of_its_time(shed: Path) -> None:
    day = TODAY.isoformat()
    code, text, talk = call("outcome", "J01", "clean", "--date", day, "--note", "=fine")
    assert (code, talk) == (ExitCode.DONE, "")
    assert text == "J01: clean, the verdict of 2026-03-10 was go.\n"
    (row,) = records(shed / "photos" / "outcomes.csv")
    assert (row["verdict"], row["verdict_date"], row["note"]) == ("go", day, "'=fine")


def test_a_verdict_that_is_younger_than_the_outcome_is_not_taken(shed: Path) -> None:
    before = (TODAY - timedelta(days=1)).isoformat()
    code, text, talk = call("outcome", "J01", "clean", "--date", before)
    assert (code, text) == (ExitCode.DONE, "J01: clean.\n")
    assert "does not count" in talk.replace("\n", " ")


def test_flushes_add_up_and_a_jar_whose_story_is_over_leaves_the_plan(shed: Path) -> None:
    call("outcome", "J05", "harvested", "--grams", "60", "--dry-grams", "100",
         "--date", "2026-03-10")  # fmt: skip
    text = call("outcome", "J05", "harvested", "--grams", "25", "--date", "2026-03-19")[1]
    assert "85 g in 2 flushes, biological efficiency 85 % of 100 g dry" in text
    call("plan")
    assert "J05" not in (shed / "report" / "plan.csv").read_text("utf-8")


def test_hindsight_counts_and_gives_intervals(shed: Path) -> None:
    assert "go: no jar with an outcome yet." in call("hindsight")[1]
    for jar, word in (("J01", "clean"), ("J04", "contaminated"), ("J02", "clean")):
        call("outcome", jar, word, "--date", TODAY.isoformat())
    code, text, _ = call("hindsight")
    assert code == ExitCode.DONE
    assert "go: 100 % right (95 % interval 21 to 100 %): 1 of 1 jar clean or harvested." in text
    assert "no-go: 100 % right" in text
    assert "wait or check: 1 jar" in text
    document = json.loads(call("hindsight", "--json")[1])
    assert (document["go"]["count"], document["go"]["of"]) == (1, 1)


# --------------------------------------------------------------------------- for scripts
def test_a_new_jar_as_json_holds_the_notes(shed: Path) -> None:
    code, text, _ = call("jars", "add", "F2", "--parent", "J02", "--json")
    document = json.loads(text)
    assert code == ExitCode.DONE
    assert (document["jar"], document["jars"]) == ("F2", 7)
    assert document["register"] == str(Path("photos/jars.csv"))
    assert any("is wait, not go" in note for note in document["notes"])


def test_an_outcome_as_json_adds_the_flushes_up(shed: Path) -> None:
    for grams, day in (("60", "2026-03-10"), ("25", "2026-03-19")):
        args = ("--grams", grams, "--dry-grams", "100", "--date", day, "--json")
        document = json.loads(call("outcome", "J05", "harvested", *args)[1])
    assert [flush["grams"] for flush in document["flushes"]] == [60.0, 25.0]
    assert (document["fresh_grams"], document["biological_efficiency_percent"]) == (85.0, 85.0)
    assert (document["verdict"], document["verdict_date"]) == ("wait", "2026-03-10")


@pytest.mark.parametrize(
    "args",
    [
        ("jars", "add", "F2", "--parent", "J02"),
        ("trace", "J04", "--out", "elsewhere"),
        ("plan",),
        ("outcome", "J01", "clean", "--date", "2026-03-09"),
        ("hindsight",),
    ],
)
def test_quiet_leaves_the_result_alone(shed: Path, args: tuple[str, ...]) -> None:
    code, text, talk = call(*args, "--quiet")
    assert code == ExitCode.DONE
    assert text and not talk


def test_without_quiet_those_commands_have_something_to_say(shed: Path) -> None:
    assert call("trace", "J04", "--out", "elsewhere")[2]
    assert call("plan")[2]
    assert call("outcome", "J01", "clean", "--date", "2026-03-09")[2]
    assert call("hindsight")[2]
    assert call("jars", "add", "F2", "--parent", "J02")[2]


# --------------------------------------------------------------------------- slips
@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("trace", "J40"), "Did you mean"),
        (("trace", "J04", "--register", "none.csv"), "no register none.csv"),
        (("explain", "M"), "was not scored"),
        (("explain", "j 01"), "Did you mean J01"),
        (("outcome", "j01", "clean"), "Did you mean J01"),
        (("jars", "add", ""), "has no name"),
        (("jars", "add", "N", "--started", "2098-01-01"), "lies ahead"),
        (("jars", "add", "j01"), "almost as 'J01'"),
        (("trace", "J04", "--register", "photos"), "is a folder"),
        (("explain", "J01", "--out", "none"), "jarvision score"),
        (("plan", "--out", "none"), "jarvision score"),
        (("outcome", "J01", "lost"), "'lost' is no outcome"),
        (("outcome", "J99", "clean"), "not in the register"),
        (("outcome", "J01", "clean", "--grams", "3"), "Only a harvest"),
        (("outcome", "J01", "clean", "--date", "2999-01-01"), "lies ahead"),
        (("outcome", "J01", "clean", "--date", "2020-01-01"), "before jar 'J01' was started"),
        (("jars", "add", "N", "--register", "none.csv"), "jarvision jars new"),
    ],
)
def test_each_slip_is_bad_usage_told_in_words(
    shed: Path, args: tuple[str, ...], words: str
) -> None:
    code, text, talk = call(*args)
    assert (code, text) == (ExitCode.BAD_USAGE, "")
    assert words in talk
    assert not (shed / "photos" / "outcomes.csv").exists()
