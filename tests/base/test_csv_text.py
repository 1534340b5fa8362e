from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from jarvision.base.csv_text import parse_csv, plain_cell, read_table, to_csv
from jarvision.base.errors import UsageError
from jarvision.base.text import printable

LETTERS = st.one_of(st.sampled_from("=+-@'; ,1a\"\uff1d"), st.characters())
CELLS = st.text(LETTERS, max_size=12).map(printable).map(str.strip)


@given(rows=st.lists(st.tuples(CELLS.filter(bool), CELLS, CELLS), max_size=5))
@example(rows=[(",", "", ""), (";", "", "")])
def test_what_was_written_reads_back(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[str, str, str]]
) -> None:
    path = tmp_path_factory.mktemp("t") / "t.csv"
    path.write_text(to_csv(("jar", "a", "b"), rows), encoding="utf-8", newline="")
    table = read_table(path, ("jar", "a", "b"))
    found = [tuple(cells.values()) for _, cells in table.rows]
    assert found == rows


@given(text=st.text(LETTERS, max_size=12))
@example(text="\x0c@")
@example(text="\t=1+1")
@example(text="a;=cmd|' C calc'!A0;")
@example(text=';"=')
@example(text="+1;")
@pytest.mark.parametrize("comma", [",", ";"])
def test_no_written_cell_is_run_by_a_spreadsheet(text: str, comma: str) -> None:
    """Neither by one that parts at commas, nor by one that parts at semicolons."""
    (row,) = csv.reader(to_csv(["jar", text], ()).splitlines(), delimiter=comma)
    assert not any(re.match(r" *[=+\-@\uff1d](?!\d+(\.\d+)?$)", cell) for cell in row)


def test_a_cell_with_a_semicolon_is_one_cell_for_both_kinds_of_spreadsheet() -> None:
    assert to_csv(["a;b", "c"], ()) == '"a;b",c\n'
    assert to_csv(["a;=b"], ()) == '"a;\'=b"\n'


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-x", "@SUM(A1)", "=", "-1x", "\uff1d1", "'=1"])
def test_formulas_are_made_harmless_and_come_back(text: str) -> None:
    (row,) = csv.reader(to_csv([text], ()).splitlines())
    assert row == [f"'{text}"]
    assert plain_cell(row[0]) == text


@pytest.mark.parametrize("text", ["-1.5", "+2", "plain", "a=b", "'quoted'"])
def test_numbers_and_plain_words_stay_as_they_are(text: str) -> None:
    (row,) = csv.reader(to_csv([text], ()).splitlines())
    assert row == [text]
    assert plain_cell(text) == text


def test_remarks_are_passed_over_in_what_people_write_only(tmp_path: Path) -> None:
    """A jar called #1 must not be lost from the tables."""
    text = "jar,kind\n#1,spawn\nA,spawn\n"
    by_hand = parse_csv(text)
    assert by_hand is not None and [n for n, _ in by_hand.rows] == [3]
    (tmp_path / "t.csv").write_text(text)
    assert [cells["jar"] for _, cells in read_table(tmp_path / "t.csv", ["jar"]).rows] == [
        "#1",
        "A",
    ]


def test_nothing_is_no_table(tmp_path: Path) -> None:
    assert parse_csv("\n# only this\n,,\n") is None
    (tmp_path / "t.csv").write_text("\n")
    with pytest.raises(UsageError, match="no column 'jar'"):
        read_table(tmp_path / "t.csv", ["jar"])
