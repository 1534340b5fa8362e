"""Species that the register does not say, and the jars that share them do."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from jarvision.records import JarEntry
from jarvision.register.jars import REGISTER_NAME, Register
from jarvision.register.learned import with_learned_species
from jarvision.run.shelf import open_shelf

DAY, LATER = date(2026, 3, 1), date(2026, 3, 9)


def species(*entries: JarEntry) -> dict[str, str]:
    found = with_learned_species(Register({entry.jar: entry for entry in entries}))
    return {jar: entry.species for jar, entry in found.items()}


def jar(
    name: str, own: str = "", *, parent: str = "", started: date | None = None, rye: str = "rye"
) -> JarEntry:
    return JarEntry(name, species=own, parent=parent, started=started, substrate=rye)


@pytest.mark.parametrize(
    "others",
    [
        (jar("M", "oyster"), jar("A", parent="M")),
        (jar("C", "oyster", parent="A"), jar("A")),
        (jar("M"), jar("B", "oyster", parent="M"), jar("A", parent="M")),
        (jar("B", "Oyster", started=DAY), jar("C", "oyster", started=DAY), jar("A", started=DAY)),
    ],
    ids=["parent", "child", "sibling", "batch"],
)
def test_a_jar_is_of_the_species_of_those_that_share_it(others: tuple[JarEntry, ...]) -> None:
    assert species(*others)["A"].casefold() == "oyster"


@pytest.mark.parametrize(
    "others",
    [
        (jar("B", "oyster", started=DAY), jar("C", "enoki", started=DAY), jar("A", started=DAY)),
        (jar("B", "oyster", started=LATER), jar("A", started=DAY)),
        (jar("B", "oyster", started=DAY, rye="straw"), jar("A", started=DAY)),
        (jar("B", "oyster"), jar("A")),
        (JarEntry("B", "fruiting", "oyster", "rye", DAY), jar("A", started=DAY)),
    ],
    ids=["two species", "another start", "another substrate", "no start", "another kind"],
)
def test_where_they_differ_or_share_nothing_it_is_asked_for(others: tuple[JarEntry, ...]) -> None:
    assert species(*others)["A"] == ""


def test_what_the_register_says_stays_and_spawn_goes_before_a_start() -> None:
    mates = (jar("M", "enoki"), jar("B", "oyster", started=DAY))
    assert species(*mates, jar("A", "reishi", parent="M"))["A"] == "reishi"
    assert species(*mates, jar("A", parent="M", started=DAY))["A"] == "enoki"


def test_a_bare_jar_has_no_species_and_a_line_passes_it_on() -> None:
    bare = JarEntry("A", "bare", started=DAY, substrate="rye")
    assert species(jar("B", "oyster", started=DAY), bare)["A"] == ""
    line = (jar("G", "oyster"), jar("M", parent="G"), jar("A", parent="M"))
    assert species(*line) == {"G": "oyster", "M": "oyster", "A": "oyster"}


def test_the_shelf_knows_it_and_says_so_and_writes_nothing(tmp_path: Path) -> None:
    path = tmp_path / REGISTER_NAME
    lines = ("jar,species,started", "K1,oyster,2026-03-01", "K2,,2026-03-01", "K3,,2026-03-01")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    before = path.read_bytes()
    shelf = open_shelf(tmp_path)
    assert [entry.species for entry in shelf.register.values()] == ["oyster"] * 3
    (told,) = shelf.warnings
    assert told.startswith("the species of K2 K3 is taken to be oyster")
    assert path.read_bytes() == before
