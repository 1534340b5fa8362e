"""What a reading was made with: all that it reaches through imports, and nothing else."""

from __future__ import annotations

import ast
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from jarvision.run import provenance
from jarvision.run.provenance import AFTER_THE_READING, PACKAGE, made_with, reading_code
from jarvision.vision.calibration.values import nominal_values

START = "vision/read.py"
DATA_SUFFIXES = (".onnx", ".npz", ".toml", ".csv")


def imported(tree: ast.AST) -> Iterator[str]:
    """Dotted names that a module imports when it runs, late ones too; not those for types alone."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.If) and ast.unparse(node.test).endswith("TYPE_CHECKING"):
            continue
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)
        else:
            yield from imported(node)


def file_of(name: str) -> str:
    """File of a module under the package, with slashes; empty for what is none of its modules."""
    first, *rest = name.split(".")
    place = PACKAGE.joinpath(*rest)
    found = place / "__init__.py" if place.is_dir() else place.with_suffix(".py")
    return found.relative_to(PACKAGE).as_posix() if first == "jarvision" and found.is_file() else ""


def reached(start: str) -> set[str]:
    """Modules that a module reaches, with the packages that they lie in.

    The package's own ``__init__`` is left out: it gives names to users, who are above all rooms.
    """
    found: set[str] = set()
    waiting = [start]
    while waiting:
        name = waiting.pop()
        if name in found or name in ("", "__init__.py"):
            continue
        found.add(name)
        waiting += map(file_of, imported(ast.parse((PACKAGE / name).read_text("utf-8"))))
        waiting += (f"{room.as_posix()}/__init__.py" for room in Path(name).parents[:-1])
    return found


def data_of(modules: set[str]) -> set[str]:
    """Data files that lie beside one of the modules and are named in it."""
    return {
        path.relative_to(PACKAGE).as_posix()
        for name in modules
        for path in (PACKAGE / name).parent.iterdir()
        if path.suffix in DATA_SUFFIXES and path.name in (PACKAGE / name).read_text("utf-8")
    }


def all_files() -> set[str]:
    paths = [path for suffix in (".py", *DATA_SUFFIXES) for path in PACKAGE.rglob(f"*{suffix}")]
    return {path.relative_to(PACKAGE).as_posix() for path in paths}


def is_after(name: str) -> bool:
    return bool({name, *(p.as_posix() for p in Path(name).parents)} & AFTER_THE_READING)


def test_what_comes_after_a_reading_is_what_a_reading_does_not_reach() -> None:
    """Too long a list keeps stale readings, too short a one reads photos again for nothing."""
    makes = reached(START)
    makes |= data_of(makes)
    assert {"vision/tissue/specialist.onnx", "vision/tissue/known_contents.npz"} <= makes
    assert {name for name in all_files() if not is_after(name)} == makes


def test_the_list_is_as_short_as_it_can_be() -> None:
    """Every name is there, none lies in another, and a room that comes after is named whole."""
    for name in AFTER_THE_READING:
        assert (PACKAGE / name).exists(), name
        assert not any(parent.as_posix() in AFTER_THE_READING for parent in Path(name).parents)
        room = Path(name).parent
        inside = {n for n in all_files() if room in Path(n).parents}
        assert room == Path() or not all(map(is_after, inside)), room


@pytest.mark.parametrize(
    ("name", "counts"),
    [
        ("vision/tissue/coverage.py", True),
        ("vision/tissue/generalist.onnx", True),
        ("records/wall.py", True),
        ("settings/vision.py", True),
        ("new_room/new.py", True),
        ("verdict/readiness.py", False),
        ("history/pooling.py", False),
        ("register/edit.py", False),
        ("register/species/profiles/oyster.toml", False),
        ("api.py", False),
        ("__init__.py", False),
    ],
)
def test_a_comment_makes_photos_be_read_again_only_where_readings_are_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, counts: bool
) -> None:
    copy = tmp_path / "jarvision"
    shutil.copytree(PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(provenance, "PACKAGE", copy)
    before = provenance.code_version.__wrapped__()
    (copy / name).parent.mkdir(exist_ok=True)
    with (copy / name).open("ab") as file:
        file.write(b"\n# a comment\n")
    assert (provenance.code_version.__wrapped__() != before) is counts


def test_the_code_is_found_under_the_package() -> None:
    assert PACKAGE.name == "jarvision"
    assert PACKAGE / START in set(reading_code(PACKAGE))


@pytest.mark.parametrize(
    "change",
    [lambda v: replace(v, print_scale=1.001), lambda v: replace(v, linear=v.linear + 1e-9)],
)
def test_the_digest_of_the_card_sees_every_number(change: Callable[..., object]) -> None:
    values = nominal_values()
    assert made_with(values) == made_with(nominal_values())
    assert made_with(change(values)) != made_with(values)  # type: ignore[arg-type]


def test_what_is_told_of_a_jar_is_part_of_the_provenance() -> None:
    plain = made_with(nominal_values())
    assert plain.with_jar("") == plain
    assert plain.with_jar("K1: 90 mm") != plain.with_jar("K1: 91 mm") != plain
