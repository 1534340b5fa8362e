"""What is told of each change: well-formed, and put together as the changelog will show it."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
NOTES = sorted(p for p in (ROOT / "changelog.d").iterdir() if p.name != "README.md")
LONGEST_LINE = 110


def kinds() -> list[str]:
    tools = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]
    return [kind["directory"] for kind in tools["towncrier"]["type"]]


@pytest.mark.parametrize("note", NOTES, ids=lambda path: path.name)
def test_a_note_is_named_by_its_kind_and_holds_one_paragraph(note: Path) -> None:
    assert re.fullmatch(rf"\+[a-z0-9]+(-[a-z0-9]+)*\.({'|'.join(kinds())})\.md", note.name)
    text = note.read_text("utf-8")
    assert text == text.strip() + "\n"
    assert "\n\n" not in text
    assert text[0] not in "-*#"
    assert text.endswith(".\n")
    assert max(map(len, text.splitlines())) <= LONGEST_LINE


def test_the_kinds_are_those_that_the_readme_names() -> None:
    readme = (ROOT / "changelog.d" / "README.md").read_text("utf-8")
    assert all(f"`{kind}`" in readme for kind in kinds())


def test_every_note_stands_in_the_next_changelog() -> None:
    pytest.importorskip("towncrier")
    done = subprocess.run(
        [sys.executable, "-m", "towncrier", "build", "--draft", "--version", "9.9.9"],
        capture_output=True,
        encoding="utf-8",
        cwd=ROOT,
        check=True,
    )
    shown = re.sub(r"\s+", " ", done.stdout)
    assert "## 9.9.9 - " in shown
    missing = [n.name for n in NOTES if " ".join(n.read_text("utf-8").split()) not in shown]
    assert missing == []
    assert "<!-- releases -->\n" in (ROOT / "CHANGELOG.md").read_text("utf-8")
