"""The docs against the code that they describe: nothing in them may go stale."""

from __future__ import annotations

import re
import runpy
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import typer.main

from jarvision.app.cli.main import app
from jarvision.base.errors import ExitCode
from jarvision.records.flags import FLAGS
from jarvision.records.photo_reasons import PHOTO_REASONS
from jarvision.register.counts import COUNT_COLUMNS
from jarvision.register.jars import REGISTER_COLUMNS
from jarvision.register.looks import LOOK_COLUMNS
from jarvision.register.outcomes import OUTCOME_COLUMNS
from jarvision.register.species.profiles import load_profiles
from jarvision.report import tables
from jarvision.report.plan_files import PLAN_COLUMNS
from jarvision.report.top_table import TOPS
from jarvision.report.words import VERDICT_WORDS

ROOT = Path(__file__).parents[2]
PAGES = (
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "CONTRIBUTING.md",
    "SECURITY.md",
    *(f"changelog.d/{path.name}" for path in sorted((ROOT / "changelog.d").glob("*.md"))),
    *(f"docs/{path.name}" for path in sorted((ROOT / "docs").glob("*.md"))),
)
TABLES = {
    "verdicts.csv": tables.VERDICTS,
    "flags.csv": tables.FLAG_COLUMNS,
    "readings.csv": tables.READINGS,
    "days.csv": tables.DAYS,
    "patches.csv": tables.PATCHES,
    "plan.csv": PLAN_COLUMNS,
    "tops.csv": TOPS,
    "outcomes.csv": OUTCOME_COLUMNS,
    "seen.csv": LOOK_COLUMNS,
    "counts.csv": COUNT_COLUMNS,
}


def page(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def section(text: str, heading: str) -> str:
    """Text from a level two heading to the next one."""
    begin = text.index(f"\n## {heading}\n")
    end = text.find("\n## ", begin + 4)
    return text[begin : end if end >= 0 else None]


def table_rows(text: str) -> list[list[str]]:
    """Cells of all table rows, heads and rules left out."""
    rows = [line.strip("| ").split(" | ") for line in text.splitlines() if line.startswith("|")]
    return [row for row in rows if row[0].startswith("`") or row[0].isdigit()]


def first_words(text: str) -> list[str]:
    return [row[0].strip("`") for row in table_rows(text)]


@cache
def commands() -> dict[str, Any]:
    """Commands by name; those of a group by both names, such as ``jars add``."""
    found = {}
    for name, command in typer.main.get_command(app).commands.items():  # type: ignore[attr-defined]
        group = getattr(command, "commands", None)
        within = {f"{name} {word}": c for word, c in group.items()} if group else {name: command}
        found.update(within)
    return found


def command_of(words: list[str]) -> str:
    """Name of the command that a call begins with; empty when it is none."""
    names = (" ".join(words[:2]), *words[:1])
    return next((name for name in names if name in commands()), "")


def long_options(command: Any) -> set[str]:
    return {name for p in command.params for name in p.opts if name.startswith("--")}


# --------------------------------------------------------------------------- files and columns
@pytest.mark.parametrize(("name", "columns"), TABLES.items())
def test_every_column_is_described_in_its_order(name: str, columns: list[str]) -> None:
    assert first_words(section(page("docs/files.md"), f"`{name}`")) == list(columns)


def test_every_register_column_is_described() -> None:
    listed = first_words(section(page("docs/files.md"), "The register, `jars.csv`"))
    assert listed == list(REGISTER_COLUMNS)


def test_the_register_shown_to_growers_can_be_read(tmp_path: Path) -> None:
    from jarvision.register.jars import read_register
    from jarvision.register.species import is_known

    (block,) = re.findall(r"```\n(jar,.*?)```", page("README.md"), re.DOTALL)
    (tmp_path / "jars.csv").write_text(block, encoding="utf-8")
    register = read_register(tmp_path / "jars.csv", is_known_species=is_known)
    assert len(register) == len(block.splitlines()) - 1
    assert register.warnings == ()


# --------------------------------------------------------------------------- words
def test_the_tables_made_from_the_code_are_fresh() -> None:
    made = runpy.run_path(str(ROOT / "docs" / "tables.py"))["pages"]()
    stale = [path.name for path, text in made.items() if path.read_text("utf-8") != text]
    assert not stale, "run: python docs/tables.py"


def test_every_reason_and_flag_is_explained() -> None:
    text = page("docs/questions.md")
    assert first_words(section(text, "A photo was refused. Why?")) == list(PHOTO_REASONS)
    assert first_words(section(text, "What do the flags mean?")) == list(FLAGS)


def test_every_verdict_is_explained_in_the_readme() -> None:
    listed = first_words(section(page("README.md"), "What the verdicts mean"))
    assert set(listed) == set(VERDICT_WORDS)


def test_every_species_has_its_section() -> None:
    headings = re.findall(r"^## (.+)$", page("docs/species.md"), re.MULTILINE)
    assert headings == list(load_profiles())


# --------------------------------------------------------------------------- the command
def test_every_command_and_option_is_described_and_no_other() -> None:
    text = section(page("docs/files.md"), "Commands")
    rows = table_rows(text)
    calls = [row[0].strip("`").split()[1:] for row in rows if row[0].startswith("`jarvision ")]
    described = {command_of(words) for words in calls}
    assert described == set(commands())
    options = {(row[0].strip("`"), row[1].strip("`")) for row in rows if len(row) == 3}
    real = {(name, o) for name, c in commands().items() for o in long_options(c) - {"--help"}}
    assert options == real


def test_every_exit_code_is_described_and_no_other() -> None:
    codes = [int(word) for word in first_words(page("docs/files.md")) if word.isdigit()]
    assert codes == sorted(ExitCode)


def shown_calls() -> Iterator[tuple[str, list[str]]]:
    """Every ``jarvision ...`` that the pages tell somebody to type."""
    for name in PAGES:
        for call in re.findall(r"(?:`|^\S*)jarvision ([^`\n]+)", page(name), re.MULTILINE):
            words = call.split("#")[0].split()
            if words and (command_of(words) or words[0].startswith("--")):
                yield name, words


def test_calls_shown_on_the_pages_name_real_options() -> None:
    top = typer.main.get_command(app)
    calls = list(shown_calls())
    for name, words in calls:
        command = commands().get(command_of(words), top)
        known = long_options(command) | {"--help"}
        used = {word.split("=")[0] for word in words if word.startswith("--")}
        assert used <= known, f"{name}: jarvision {' '.join(words)}"
    assert {command_of(words) for _, words in calls} >= set(commands())


# --------------------------------------------------------------------------- places
@pytest.mark.parametrize("name", PAGES)
def test_links_between_pages_lead_somewhere(name: str) -> None:
    text = page(name)
    here = (ROOT / name).parent
    anchors = {h.lower().replace(" ", "-") for h in re.findall(r"^#+ (.+)$", text, re.MULTILINE)}
    for target in re.findall(r"\]\(([^)]+)\)", text):
        if target.startswith("#"):
            assert target[1:] in anchors
        elif not target.startswith("http"):
            assert (here / target.split("#")[0]).exists(), target


def test_paths_that_developers_are_sent_to_exist() -> None:
    paths = re.findall(r"(?:jarvision|tests|docs|calibration)/[\w./-]*\w/?", page("DEVELOPERS.md"))
    assert [path for path in paths if not (ROOT / path).exists()] == []


def test_every_module_has_its_place_on_the_map() -> None:
    text = page("DEVELOPERS.md")
    modules = [p for p in (ROOT / "jarvision").iterdir() if p.name[0] not in "._"]
    wanted = [f"jarvision/{p.name}" for p in modules if p.suffix == ".py" or p.is_dir()]
    lost = [name for name in wanted if name not in text and "__" not in name]
    assert lost == []


def test_modules_named_in_the_method_exist() -> None:
    named = set(re.findall(r"`([\w/]+\.py)`", page("docs/method.md")))
    lost = [n for n in named if not any((ROOT / p / n).is_file() for p in ("", "jarvision"))]
    assert lost == []
    assert len(named) > 15
