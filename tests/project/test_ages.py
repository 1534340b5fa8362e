"""Figures that are older than the code they describe are told."""

from __future__ import annotations

import runpy
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOOL = runpy.run_path(str(ROOT / "docs" / "ages.py"))


def git(place: Path, *words: str) -> str:
    names = ("-c", "user.name=a", "-c", "user.email=a@example.org")
    return subprocess.run(
        ["git", "-C", str(place), *names, *words], capture_output=True, text=True, check=True
    ).stdout.strip()


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A repository with one page of figures, measured at its first commit."""
    git(tmp_path, "init", "-q")
    (tmp_path / "docs").mkdir()
    (tmp_path / "jarvision" / "vision").mkdir(parents=True)
    change(tmp_path, "jarvision/vision/a.py", "1")
    first = git(tmp_path, "rev-parse", "--short", "HEAD")
    change(tmp_path, "docs/accuracy.md", f"Measured on 3 May 2026 at commit {first}.\n")
    return tmp_path


def change(place: Path, name: str, text: str) -> None:
    (place / name).write_text(text, "utf-8")
    git(place, "add", "-A")
    git(place, "commit", "-qm", name)


def told(place: Path) -> list[str]:
    return [age.tell() for age in TOOL["ages"](place / "docs")]


def test_figures_grow_old_with_the_code_that_they_describe_and_with_no_other(place: Path) -> None:
    (line,) = told(place)
    assert line.endswith("of today's code")
    (place / "jarvision" / "report").mkdir()
    change(place, "jarvision/report/page.py", "1")
    assert told(place) == [line]
    change(place, "jarvision/vision/a.py", "2")
    change(place, "jarvision/vision/a.py", "3")
    (line,) = told(place)
    assert line.endswith("older than the code: it was changed by 2 commits since")


def test_a_commit_that_the_clone_lacks_is_told(place: Path) -> None:
    change(place, "docs/accuracy.md", "Measured on 3 May 2026 at commit 0123abc.\n")
    assert told(place) == ["accuracy.md: figures of commit 0123abc, which is not in this clone"]


def test_pages_made_by_a_measuring_command_name_their_commit() -> None:
    """Every table that a command measured stands below a commit."""
    for page in (ROOT / "docs").glob("*.md"):
        text = page.read_text("utf-8")
        if "made by make " in text:
            assert TOOL["stamps"](page), page.name
