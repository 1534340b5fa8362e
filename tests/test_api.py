"""Use from Python: the page that shows it is run, names load late, results are typed."""

from __future__ import annotations

import ast
import doctest
import inspect
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import get_type_hints

import pytest

import jarvision
from jarvision import Reading, ShelfResult, records, score_folder, score_photo
from jarvision.base.errors import UsageError

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "python.md"
SAMPLES = ROOT / "sample_images"


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in, with the sample photos where the page expects them."""
    (tmp_path / "sample_images").symlink_to(SAMPLES)
    (tmp_path / "few").mkdir()
    for day in (2, 3, 4):
        shutil.copy(SAMPLES / f"SL01_2026-03-0{day}.jpg", tmp_path / "few")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_every_example_of_the_page_says_what_it_does(place: Path) -> None:
    text = PAGE.read_text("utf-8")
    names = {"photos": place / "few"}
    example = doctest.DocTestParser().get_doctest(text, names, PAGE.name, str(PAGE), 0)
    told: list[str] = []
    result = doctest.DocTestRunner().run(example, out=told.append)
    assert result.failed == 0, "".join(told)
    assert result.attempted > 20


def test_the_table_of_results_names_real_attributes() -> None:
    rows = re.findall(r"^\| `(\w+)` \| [^|]+ \| (.+) \|$", PAGE.read_text("utf-8"), re.MULTILINE)
    assert len(rows) == 9
    for name, cells in rows:
        kind = getattr(jarvision, name, None) or getattr(records, name)
        known = {
            *get_type_hints(kind),
            *(n for n, v in vars(kind).items() if isinstance(v, property)),
        }
        assert set(re.findall(r"`(\w+)`", cells)) <= known


# --------------------------------------------------------------------------- names
def test_every_public_name_is_there_and_documented() -> None:
    for name in jarvision.__all__:
        thing = getattr(jarvision, name)
        assert name == "__version__" or inspect.getdoc(thing)
    assert set(jarvision.__all__) <= set(dir(jarvision))


def test_names_for_the_type_checker_are_those_that_load() -> None:
    tree = ast.parse(Path(jarvision.__file__).read_text("utf-8"))
    block = next(node for node in tree.body if isinstance(node, ast.If))
    imports = [node for node in block.body if isinstance(node, ast.ImportFrom)]
    typed = {(node.module, alias.name) for node in imports for alias in node.names}
    loaded = {(module, name) for module, names in jarvision._HOMES.items() for name in names}
    assert typed == loaded
    assert {name for _, name in loaded} | {"__version__"} == set(jarvision.__all__)


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        jarvision.nothing  # noqa: B018


def test_the_package_says_that_it_is_typed() -> None:
    assert (Path(jarvision.__file__).parent / "py.typed").is_file()
    assert get_type_hints(score_photo)["return"] is Reading
    assert get_type_hints(score_folder)["return"] is ShelfResult


def test_importing_the_package_loads_none_of_its_stages() -> None:
    code = "import sys, jarvision; print(*(n for n in sys.modules if n.startswith('jarvision.')))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert set(done.stdout.split()) == {"jarvision.base", "jarvision.base.version"}


# --------------------------------------------------------------------------- one photo
def test_a_photo_must_be_in_the_folder_that_is_named(place: Path) -> None:
    (place / "other").mkdir()
    with pytest.raises(UsageError, match="is not in"):
        score_photo(place / "few" / "SL01_2026-03-02.jpg", folder=place / "other")


def test_what_lies_beside_the_photos_holds_for_one_photo_too(place: Path) -> None:
    """Settings in the folder above the jar's own are found, as they are when it is scored."""
    (place / "few" / "K1").mkdir()
    photo = place / "few" / "K1" / "2026-03-02.jpg"
    shutil.move(place / "few" / "SL01_2026-03-02.jpg", photo)
    usual = score_photo(photo, folder=place / "few")
    (place / "few" / "jarvision.toml").write_text("[coverage]\nfloor_points = 9\n")
    wide = score_photo(photo, out=place / "drawn")
    assert (usual.jar, wide.jar) == ("K1", "K1")
    assert usual.coverage is not None and wide.coverage is not None
    assert wide.coverage.percent == usual.coverage.percent
    assert wide.coverage.high - wide.coverage.low > usual.coverage.high - usual.coverage.low
    assert (place / "drawn" / wide.overlay).is_file()


def test_a_file_that_is_not_there_is_a_reading_with_its_reason(place: Path) -> None:
    reading = score_photo(place / "few" / "none.jpg")
    assert (reading.status, reading.reason) == ("unusable", "unreadable")
