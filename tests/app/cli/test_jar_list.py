"""A season's end on the command line: outcomes are known at once, and every jar is listed."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import chdir
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from fake_shelf import TODAY, fake_shelf
from typer.testing import CliRunner

from jarvision.app.cli import main, outcome
from jarvision.app.cli.document import result_document
from jarvision.app.cli.places import last_scoring
from jarvision.app.cli.summary import print_summary
from jarvision.records import ShelfResult
from jarvision.report.tables import write_tables
from jarvision.run.results import keep_result
from jarvision.run.shelf import open_shelf
from jarvision.run.store import Store

JARS = """jar,kind,species,substrate,started,parent
M,spawn,oyster,rye,2026-01-20,
J01,spawn,oyster,rye,2026-03-01,M
J02,spawn,oyster,rye,2026-03-01,M
J03,spawn,oyster,oat,2026-03-01,
J04,spawn,oyster,oat,2026-03-01,
F4,fruiting,oyster,straw,2026-03-08,J03
"""


@pytest.fixture(params=["store", "tables"])
def shed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest
) -> Iterator[Path]:
    """A register and a scoring, from before anything was recorded."""
    monkeypatch.setattr(outcome, "_today", lambda: TODAY + timedelta(days=60))
    (tmp_path / "jars.csv").write_text(JARS, encoding="utf-8")
    result = fake_shelf()
    *most, twin, stray = result.readings
    other = replace(twin, photo="J03_2026-03-09_b.jpg")  # every file has a name of its own
    result = replace(result, readings=(*most, other, stray), stories=tuple(
        replace(s, history=replace(s.history, refused=(other,) if s.history.refused else ()))
        for s in result.stories
    ))  # fmt: skip
    (tmp_path / "report").mkdir()
    if request.param == "tables":
        write_tables(result, tmp_path / "report")
    else:
        with Store(tmp_path / "report", tell=print) as store:
            keep_result(store, result)
    with chdir(tmp_path):
        yield tmp_path


def call(*args: str) -> str:
    result = CliRunner().invoke(main.app, list(args))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert result.exit_code == 0
    return result.stdout


def known(shed: Path) -> ShelfResult:
    result = last_scoring(Path("report"), open_shelf(shed))
    assert result is not None
    return result


def record(jar: str, word: str, *more: str) -> None:
    call("outcome", jar, word, "--date", TODAY.isoformat(), *more)


def test_an_outcome_changes_what_every_command_says_without_scoring_again(shed: Path) -> None:
    assert "the verdict is go" in call("explain", "J01")
    record("J02", "contaminated")
    told = call("explain", "J01")
    assert "the verdict is check" in told
    assert "Of its kin, J02 (same spawn) turned bad." in " ".join(told.split())
    items = json.loads(call("plan", "--json"))["items"]
    assert {(i["task"], *i["jars"]) for i in items if "J01" in i["jars"]} == {("look", "J01")}
    family = json.loads(call("trace", "J02", "--json"))["relatives"]
    assert {r["jar"]: r["state"] for r in family}["J01"] == "check"
    record("J02", "clean")
    assert "the verdict is go" in call("explain", "J01")


def test_trace_tells_of_a_finished_jar_what_was_recorded_and_no_verdict_beside_it(
    shed: Path,
) -> None:
    record("J02", "contaminated")
    row = next(line for line in call("trace", "J02").splitlines() if "the jar itself" in line)
    assert "contaminated" in row and "wait" not in row and "go" not in row


def test_a_finished_jar_has_nothing_to_do_anywhere(shed: Path) -> None:
    before = json.loads(call("plan", "--json"))["items"]
    assert any("J04" in item["jars"] for item in before)
    record("J04", "discarded")
    assert "J04" not in json.dumps(json.loads(call("plan", "--json"))["items"])
    assert "Nothing: its story is over." in call("explain", "J04")
    result = known(shed)
    assert {done.jar for done in result.finished} == {"J03", "J04"}
    document = result_document(result)
    assert "J04" not in {jar["jar"] for jar in document["jars"]}
    assert {(d["jar"], d["ended"], d["last_photo"]) for d in document["finished"]} == {
        ("J03", "used up", "2026-03-10"),
        ("J04", "discarded", "2026-03-10"),
    }


def test_the_verdict_of_a_used_up_jar_is_kept_with_its_outcome(shed: Path) -> None:
    told = (
        CliRunner()
        .invoke(main.app, ["outcome", "J03", "clean", "--date", TODAY.isoformat()])
        .stdout
    )
    assert told == "J03: clean, the verdict of 2026-03-10 was check.\n"


def test_every_jar_is_listed_the_finished_ones_last(shed: Path) -> None:
    record("J02", "harvested", "--grams", "84")
    rows = json.loads(call("jars", "list", "--json"))["jars"]
    told = [(r["jar"], r["state"], r["outcome"], r["ended"], r["last_photo"]) for r in rows]
    assert told == [
        ("J01", "go", "", None, "2026-03-10"),
        ("J04", "no-go", "", None, "2026-03-10"),
        ("F4", "not scored", "", None, None),
        ("J05", "wait", "", None, "2026-03-10"),  # in no register
        ("M", "finished", "used up", "2026-03-01", None),
        ("J02", "finished", "harvested", "2026-03-10", "2026-03-10"),
        ("J03", "finished", "used up", "2026-03-08", "2026-03-10"),
    ]
    ages = {r["jar"]: r["age_days"] for r in rows}
    assert (ages["M"], ages["J02"], ages["J03"]) == (40, 9, 7)
    assert ages["J01"] == (date.today() - date(2026, 3, 1)).days
    text = call("jars", "list")
    assert "4 jars on the shelf, 3 finished." in text
    assert max(map(len, text.splitlines())) <= 80


def test_the_list_works_before_the_first_scoring_and_says_so(shed: Path) -> None:
    result = CliRunner().invoke(main.app, ["jars", "list", "--out", "elsewhere"])
    assert "holds no scoring" in result.stderr
    assert "not scored" in result.stdout
    assert "J05" not in result.stdout


def test_the_table_counts_what_is_on_the_shelf(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from rich.console import Console

    record("J04", "contaminated")
    print_summary(Console(width=80), known(shed))
    shown = capsys.readouterr().out
    assert "J04" not in shown and "no-go" not in shown
    assert "2 jars finished: jarvision jars list" in shown
    for jar in ("J01", "J02"):
        record(jar, "clean")
    print_summary(Console(width=80), replace(known(shed), stories=()))
    assert "No jar is left on the shelf." in capsys.readouterr().out


def test_hindsight_tells_groups_and_leaves_out_what_nobody_looked_at(shed: Path) -> None:
    for jar, word in (("J01", "clean"), ("J02", "contaminated"), ("J04", "discarded")):
        record(jar, word)
    text = call("hindsight")
    assert "no-go: no jar with an outcome yet." in text
    assert "thrown out without a look: 1 jar, not counted." in text
    assert "all jars: 1 of 2 jars contaminated, too few" in text
    assert "By substrate:\n  oat: 0 of 0 jars contaminated; 1 thrown out" in text
    document = json.loads(call("hindsight", "--json"))
    assert document["discarded"] == 1
    assert document["all"]["contaminated"]["of"] == 2
    assert [g["name"] for g in document["groups"]["substrate"]] == ["oat", "rye"]
