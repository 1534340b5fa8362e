"""Species that the register does not say, and the jars that share them do."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from jarvision.records import JarEntry
from jarvision.register.jars import REGISTER_NAME, Register
from jarvision.register.learned import with_what_is_learned
from jarvision.run.shelf import open_shelf

DAY, LATER = date(2026, 3, 1), date(2026, 3, 9)


def species(*entries: JarEntry) -> dict[str, str]:
    found = with_what_is_learned(Register({entry.jar: entry for entry in entries}))
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
        (jar("B", "oyster", started=DAY, rye="Rye"), jar("A", started=DAY)),
    ],
    ids=["parent", "child", "sibling", "batch", "batch in capitals"],
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


def kinds(*entries: JarEntry) -> dict[str, str]:
    found = with_what_is_learned(Register({entry.jar: entry for entry in entries}))
    return {jar: entry.kind for jar, entry in found.items()}


def untold(name: str, *, parent: str = "", rye: str = "straw") -> JarEntry:
    return JarEntry(name, substrate=rye, started=DAY, parent=parent, kind_told=False)


def packed(name: str, *, parent: str = "", rye: str = "straw", started: date = DAY) -> JarEntry:
    return JarEntry(name, "fruiting", substrate=rye, started=started, parent=parent)


BARE = JarEntry("X", "bare", substrate="straw", started=DAY)


@pytest.mark.parametrize(
    "others",
    [
        (packed("B"), packed("C")),
        (packed("B"), BARE),
        (jar("M"), packed("B", parent="M", started=LATER), jar("C", started=DAY)),
    ],
    ids=["batch", "bare contents beside it", "its spawn goes before its start"],
)
def test_a_jar_is_of_the_kind_of_those_that_share_its_start(others: tuple[JarEntry, ...]) -> None:
    parent = "M" if others[0].jar == "M" else ""
    assert kinds(*others, untold("A", parent=parent))["A"] == "fruiting"


@pytest.mark.parametrize(
    "others",
    [
        (packed("B"), JarEntry("C", "spawn", substrate="straw", started=DAY)),
        (packed("B", rye="shavings"),),
        (packed("B", started=LATER),),
        (untold("B"),),
        (BARE,),
    ],
    ids=["two kinds", "another substrate", "another start", "none told", "bare contents alone"],
)
def test_where_kinds_differ_or_nobody_tells_one_it_is_spawn(others: tuple[JarEntry, ...]) -> None:
    assert kinds(*others, untold("A"))["A"] == "spawn"


def test_a_kind_that_was_learned_is_told_and_teaches_the_species() -> None:
    told = JarEntry("B", "fruiting", "enoki", "straw", DAY)
    found = with_what_is_learned(Register({"B": told, "A": untold("A")}))
    assert (found["A"].kind, found["A"].species) == ("fruiting", "enoki")
    assert [warning.split(",")[0] for warning in found.warnings] == [
        "the kind of A is taken to be fruiting",
        "the species of A is taken to be enoki",
    ]


def test_a_kind_that_the_register_tells_is_kept(tmp_path: Path) -> None:
    path = tmp_path / REGISTER_NAME
    lines = ["jar,kind,substrate,started", "A,spawn,straw,2026-03-01", "B,,straw,2026-03-01",
             "C,fruiting,straw,2026-03-01"]  # fmt: skip
    path.write_text("\n".join(lines))
    assert {jar: entry.kind for jar, entry in open_shelf(tmp_path).register.items()} == {
        "A": "spawn", "B": "spawn", "C": "fruiting",
    }  # fmt: skip
    path.write_text("\n".join([lines[0], *lines[2:]]))
    assert open_shelf(tmp_path).register["B"].kind == "fruiting"
