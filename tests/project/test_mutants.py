"""The mutation run's own parts: what is drawn, which tests are asked first, how it is told."""

from __future__ import annotations

import ast
import difflib
import subprocess
import sys
from pathlib import Path

import pytest

from tests.mutants import page, reach
from tests.mutants.making import ROOMS, ROOT, Mutant, draw
from tests.mutants.reach import Reached, in_order
from tests.mutants.trying import Outcome, Tried, start

MUTANT = Mutant("jarvision/growth/stall.py", 10, 12, "NumberReplacer", 3, "a = 1", "a = 2")


@pytest.mark.parametrize("room", ROOMS)
def test_a_seed_draws_the_same_faults_each_in_one_statement_that_is_code(room: str) -> None:
    pytest.importorskip("cosmic_ray")
    drawn = draw(room, 6, seed=5)
    assert len(set(drawn)) == 6
    assert drawn == draw(room, 6, seed=5) != draw(room, 6, seed=6)
    for mutant in drawn:
        assert mutant.room == room
        before, after = (ROOT / mutant.module).read_text("utf-8"), mutant.code()
        ast.parse(after)
        diff = difflib.unified_diff(before.splitlines(), after.splitlines(), n=0, lineterm="")
        changed = [line[1:] for line in list(diff)[2:] if line.startswith("+")]
        assert " ".join(" ".join(changed).split()) == mutant.now != mutant.was
        assert mutant.first_line <= mutant.last_line


def test_tests_that_run_the_line_are_asked_first_then_the_others_of_their_files() -> None:
    module = "jarvision/growth/stall.py"
    known = [
        Reached("a.py::slow", 9.0, {module: [11]}),
        Reached("b.py::elsewhere", 0.1, {module: [40, 41]}),
        Reached("a.py::quick", 1.0, {module: [3, 10]}),
        Reached("a.py::endless", 291.0, {module: [41]}),
        Reached("b.py::shares", 0.2, {}),  # what the one before it has made
        Reached("c.py::another", 0.1, {"jarvision/growth/models.py": [11]}),
    ]
    asked = [test.test for test in in_order(known, module, 10, 12)]
    assert asked == ["a.py::quick", "a.py::slow", "b.py::elsewhere", "b.py::shares"]


def test_tests_of_a_room_and_those_that_name_it_are_asked() -> None:
    files = reach.test_files("growth")
    assert "tests/growth/test_stall.py" in files
    assert "tests/verdict/test_decide.py" in files
    assert "tests/register/test_lineage.py" not in files


def test_no_mutant_is_tried_where_the_package_is_loaded_already(tmp_path: Path) -> None:
    import jarvision.records  # noqa: F401

    with pytest.raises(RuntimeError, match="loaded already"):
        start(MUTANT, [], tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("line", "outcome"), [("return 1 + 1", "killed"), ("return 2", "survived")]
)
def test_faults_are_tried_in_memory_some_at_once_and_noticed_by_a_test(
    tmp_path: Path, line: str, outcome: str
) -> None:
    """The whole way, on a module and a test of one line each; their files stay as they are."""
    package, tests = tmp_path / "jarvision" / "growth", tmp_path / "tests" / "growth"
    for folder in (package, tests):
        folder.mkdir(parents=True)
    (tmp_path / "jarvision" / "__init__.py").touch()
    (package / "__init__.py").touch()
    (package / "one.py").write_text("def one():\n    return 1\n")
    test = (
        "from jarvision.growth.one import one\n\ndef test_one():\n    assert one() != 2 - 0 * 1\n"
    )
    (tests / "test_one.py").write_text(test if outcome == "killed" else test.replace("!= 2", "< 9"))
    script = f"""
import os, sys
from pathlib import Path
import tests.mutants.trying as trying
work = Path({str(tmp_path)!r})
os.chdir(work)
sys.path.insert(0, str(work))
trying.ROOT = work
trying.Mutant.code = lambda self: "def one():\\n    {line}\\n"
mutant = trying.Mutant("jarvision/growth/one.py", 2, 2, "X", 0, "", "")
known = [trying.Reached("tests/growth/test_one.py::test_one", 0.1, {{mutant.module: [2]}})]
for found in trying.attempts([(mutant, known)] * 3, work, jobs=2):
    print(found.outcome, found.by)
"""
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=False
    )
    by = "tests/growth/test_one.py::test_one" if outcome == "killed" else ""
    assert done.stdout.splitlines()[-3:] == [f"{outcome} {by}"] * 3, done.stderr
    assert not list(tmp_path.glob("killer-*"))


def tried(outcome: Outcome, was: str = "a = 1") -> Tried:
    mutant = Mutant("jarvision/growth/stall.py", 10, 12, "NumberReplacer", 3, was, "a = 2")
    return Tried(mutant, outcome, "tests/growth/test_stall.py::test_x", 3, 1.5)


def test_equal_and_invalid_mutants_count_neither_way(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page, "size", lambda room: 100)
    monkeypatch.setattr(
        page, "equal", lambda: {("jarvision/growth/stall.py", "b = 1", "a = 2"): "only speed"}
    )
    results = [
        *[tried("killed")] * 8,
        tried("too slow"),
        tried("survived"),
        tried("survived", "b = 1"),
        tried("invalid"),
    ]
    table = page.score_table(results).splitlines()
    assert "| growth | 100 | 12 | 1 | 9 of 10 | 90 % | 60 to 98 % |" in table
    assert "| verdict | 100 | 0 | 0 | 0 of 0 | – | – |" in table
    assert "| all | 400 | 12 | 1 | 9 of 10 | 90 % | 60 to 98 % |" in table
    assert page.survivors(results).splitlines()[2:] == ["| `growth/stall.py` | `a = 1` | `a = 2` |"]
    assert page.same(results).splitlines()[2:] == ["| `b = 1` | `a = 2` | only speed |"]
    assert "only speed" in page.line(results[-2])


def test_each_equal_mutant_is_of_a_line_that_is_there_and_has_its_reason() -> None:
    for (module, was, now), why in page.equal().items():
        source = " ".join((ROOT / module).read_text("utf-8").split())
        assert was in source, (module, was)
        assert now != was
        assert len(why) > 10
