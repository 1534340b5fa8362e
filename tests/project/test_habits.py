"""Habits of the project that no linter checks."""

from __future__ import annotations

import ast
import json
import re
import runpy
import subprocess
import sys
import tomllib
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from jarvision.base.version import __version__

ROOT = Path(__file__).parents[2]
HEAVY = {"cv2", "pandas", "scipy", "matplotlib", "skimage", "PIL", "reportlab", "jinja2"}
MOST_LINES = 400


def project() -> dict[str, Any]:
    return tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))


def test_one_version_everywhere() -> None:
    assert project()["project"]["version"] == __version__
    citation = (ROOT / "CITATION.cff").read_text("utf-8")
    assert re.findall(r"^version: (.+)$", citation, re.MULTILINE) == [__version__]


def test_every_dependency_has_a_lower_bound_and_one_only() -> None:
    """Continuous integration installs these bounds, and runs a part of the tests."""
    extras = project()["project"]["optional-dependencies"]
    wanted = [*project()["project"]["dependencies"], *(d for ds in extras.values() for d in ds)]
    bounds: dict[str, set[str]] = {}
    for dependency in wanted:
        name, _, bound = dependency.partition(">=")
        bounds.setdefault(name, set()).add(bound)
    assert {name: found for name, found in bounds.items() if len(found) > 1 or "" in found} == {}
    written = subprocess.run(
        [sys.executable, ROOT / ".ci" / "oldest_bounds.py"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    names = [d.partition(">=")[0] for d in (*project()["project"]["dependencies"], *extras["test"])]
    assert [line.partition("==")[0] for line in written] == names


@pytest.mark.parametrize("folder", ["jarvision", "docs"])
def test_no_module_outgrows_its_reader(folder: str) -> None:
    files = list((ROOT / folder).rglob("*.py"))
    lines = {str(f.relative_to(ROOT)): len(f.read_text("utf-8").splitlines()) for f in files}
    assert files
    assert {name: n for name, n in lines.items() if n > MOST_LINES} == {}


def public_names(source: str) -> Iterator[str]:
    """Classes, functions and constants that a module defines at its top."""
    for node in ast.parse(source).body:
        match node:
            case ast.FunctionDef() | ast.ClassDef():
                names = [node.name]
            case ast.Assign():
                within = (ast.walk(target) for target in node.targets)
                names = [n.id for nodes in within for n in nodes if isinstance(n, ast.Name)]
            case ast.AnnAssign(target=ast.Name()):
                names = [node.target.id]
            case _:
                names = []
        yield from (name for name in names if not name.startswith("_"))


def test_no_public_name_means_two_things() -> None:
    owners: dict[str, list[str]] = defaultdict(list)
    for file in (ROOT / "jarvision").rglob("*.py"):
        for name in public_names(file.read_text("utf-8")):
            owners[name].append(file.relative_to(ROOT).as_posix())
    shared = {name: files for name, files in owners.items() if len(files) > 1}
    assert shared == {}


@pytest.mark.parametrize(
    "module",
    ["jarvision", "jarvision.app.cli.main", "jarvision.records.flags", "jarvision.settings.groups"],
)
def test_what_help_needs_loads_nothing_heavy(module: str) -> None:
    """pandas alone takes longer than the whole of ``jarvision --help`` may."""
    code = f"import sys, {module}; print(*sorted({HEAVY!r} & set(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stdout.split() == []


def test_the_checks_are_as_strict_as_ever() -> None:
    """Nobody may loosen unseen what ruff, mypy, pytest and coverage hold."""
    tools = project()["tool"]
    assert tools["mypy"]["strict"] is True
    lint = tools["ruff"]["lint"]
    assert {"BLE", "C90", "D", "PLR0917", "PTH", "S", "TID"} <= set(lint["select"])
    loose = {place for place, rules in lint["per-file-ignores"].items() if {"D", "S"} & set(rules)}
    assert loose == {"tests/**"}
    assert lint["mccabe"]["max-complexity"] <= 10
    assert tools["pytest"]["ini_options"]["filterwarnings"][0] == "error"
    assert tools["pytest"]["ini_options"]["xfail_strict"] is True
    assert {"subprocess", "_exit"} <= set(tools["coverage"]["run"]["patch"])
    floor = runpy.run_path(str(ROOT / ".ci" / "coverage_floor.py"))
    assert floor["LINES_PERCENT"] >= 97
    assert floor["BRANCHES_PERCENT"] >= 90


@pytest.mark.parametrize(("lines", "branches", "code"), [(970, 90, 0), (969, 99, 1), (999, 89, 1)])
def test_too_little_coverage_fails(lines: int, branches: int, code: int, tmp_path: Path) -> None:
    totals = {"covered_lines": lines, "num_statements": 1000}
    totals |= {"covered_branches": branches, "num_branches": 100}
    (tmp_path / "coverage.json").write_text(json.dumps({"totals": totals}))
    script = ROOT / ".ci" / "coverage_floor.py"
    done = subprocess.run([sys.executable, script, tmp_path / "coverage.json"], check=False)
    assert done.returncode == code


def test_only_the_photo_stage_decodes_pictures_of_the_grower() -> None:
    """OpenCV ignores colour profiles and turns pictures its own way."""
    users = [
        f.relative_to(ROOT).as_posix()
        for f in (ROOT / "jarvision").rglob("*.py")
        if re.search(r"\bcv2\.(imread|imdecode)\b", f.read_text("utf-8"))
    ]
    assert [name for name in users if not name.startswith("jarvision/vision/photo/")] == []


def test_continuous_integration_runs_the_commands_of_the_readme() -> None:
    script = (ROOT / ".ci" / "run").read_text("utf-8")
    readme = (ROOT / "README.md").read_text("utf-8")
    makefile = (ROOT / "Makefile").read_text("utf-8")
    for command in ("make test", "make demo"):
        assert f"\n{command}" in readme
        assert re.search(rf"^\s*{command}$", script, re.MULTILINE)
        assert re.search(rf"^{command.split()[1]}:", makefile, re.MULTILINE)
    libraries = re.search(r"apt install (libgl1 \S+)`", readme)
    assert libraries is not None
    assert all(name in script for name in libraries[1].split())


def test_continuous_integration_needs_no_person_and_no_machine_of_its_own() -> None:
    for name in ("run", "oldest", "wheel"):
        script = ROOT / ".ci" / name
        text = script.read_text("utf-8")
        assert text.startswith("#!/usr/bin/env bash\n")
        assert "set -euo pipefail" in text
        assert not re.search(r"/(home|root|opt|work|tmp)/", text)


def test_hooks_before_a_commit_work_on_every_system() -> None:
    """Windows has no bin folder in its environments, and nothing is fetched."""
    text = (ROOT / ".pre-commit-config.yaml").read_text("utf-8")
    entries = re.findall(r"^ +entry: (.+)$", text, re.MULTILINE)
    assert len(entries) == len(re.findall(r"^ +- id: ", text, re.MULTILINE)) > 0
    assert [e for e in entries if re.search(r"[/\\](bin|Scripts)[/\\]|\.venv", e)] == []
    assert [e for e in entries if not e.startswith(("python -m ", "lint-imports"))] == []
    assert set(re.findall(r"^ +language: (.+)$", text, re.MULTILINE)) == {"system"}
    assert re.findall(r"repo: (.+)$", text, re.MULTILINE) == ["local"]
