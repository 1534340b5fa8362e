"""Habits of the project that no linter checks."""

from __future__ import annotations

import ast
import re
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


def test_one_version_everywhere_and_the_changelog_begins_with_it() -> None:
    assert project()["project"]["version"] == __version__
    headings = re.findall(r"^## (\S+)", (ROOT / "CHANGELOG.md").read_text("utf-8"), re.MULTILINE)
    assert headings[0] == __version__


def test_every_dependency_has_a_lower_bound() -> None:
    extras = project()["project"]["optional-dependencies"]
    wanted = [*project()["project"]["dependencies"], *(d for ds in extras.values() for d in ds)]
    assert [d for d in wanted if ">=" not in d] == []


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


def test_every_public_function_and_class_of_the_package_is_documented_and_typed() -> None:
    """Ruff's and mypy's settings hold this: nobody may loosen them unseen."""
    tools = project()["tool"]
    assert tools["mypy"]["strict"] is True
    assert {"D", "TID", "PTH"} <= set(tools["ruff"]["lint"]["select"])
    assert set(tools["ruff"]["lint"]["per-file-ignores"]) == {"tests/**"}


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
