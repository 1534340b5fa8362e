"""seen.csv: what a person found fine, written so that it reads back, never rewritten."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from jarvision.base.errors import UsageError
from jarvision.register.looks import LOOK_COLUMNS, SeenFine, add_looks, read_looks

WET = SeenFine("K07", date(2026, 3, 9), "wet", "", 1.25, "dew, dry by noon")
SPOT = SeenFine("K07", date(2026, 3, 10), "perhaps_mould", "green-1 2026-03-08", 1.0)
OTHER = SeenFine("K08", date(2026, 3, 10), "never_seen_growing", "2026-03-01")


def test_looks_come_back_as_they_were_added(tmp_path: Path) -> None:
    path = tmp_path / "seen.csv"
    assert read_looks(path) == {}
    add_looks(path, [WET])
    before = path.read_bytes()
    add_looks(path, [SPOT, OTHER])
    assert path.read_bytes().startswith(before)
    assert read_looks(path) == {"K07": (WET, SPOT), "K08": (OTHER,)}


def test_a_file_of_a_spreadsheet_keeps_its_own_manner(tmp_path: Path) -> None:
    path = tmp_path / "seen.csv"
    path.write_text(
        "date;jar;finding;size;note;about\n9.3.2026;K07;wet;1,25;dew;", encoding="utf-8"
    )
    add_looks(path, [SPOT])
    first, second = read_looks(path)["K07"]
    assert (first.day, first.size, first.note) == (date(2026, 3, 9), 1.25, "dew")
    assert second == SPOT


def test_a_look_follows_the_names_of_its_jar_and_of_its_kin(tmp_path: Path) -> None:
    path = tmp_path / "seen.csv"
    kin = SeenFine("K07", date(2026, 3, 11), "bad_kin", "K08 / K09")
    add_looks(path, [SPOT, kin])
    names = {"K07": "A1", "K09": "A2", "green-1 2026-03-08": "A3"}
    (spot, relatives) = read_looks(path, names=names)["A1"]
    assert spot == replace(SPOT, jar="A1")
    assert relatives == replace(kin, jar="A1", about="K08 / A2")


@pytest.mark.parametrize(
    ("line", "what"),
    [
        (",2026-03-09,wet,,1,", "the jar has no name"),
        ("K07,2026-03-09,,,1,", "the finding has no name"),
        ("K07,yesterday,wet,,1,", "yesterday"),
        ("K07,2026-03-09,wet,,inf,", "size"),
        ("K07,2026-03-09,wet,,big,", "big"),
    ],
)
def test_a_wrong_line_is_named(line: str, what: str, tmp_path: Path) -> None:
    path = tmp_path / "seen.csv"
    path.write_text(f"{','.join(LOOK_COLUMNS)}\n{line}\n", encoding="utf-8")
    with pytest.raises(UsageError, match=f"seen.csv, line 2: .*{what}"):
        read_looks(path)


def test_a_note_that_the_file_cannot_hold_changes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "seen.csv"
    path.write_bytes(f"{','.join(LOOK_COLUMNS)}\nK07,2026-03-09,wet,,1,trüb\n".encode("cp1252"))
    before = path.read_bytes()
    with pytest.raises(UsageError, match="not saved as UTF-8"):
        add_looks(path, [SeenFine("K07", date(2026, 3, 9), "wet", note="✓")])
    assert path.read_bytes() == before
