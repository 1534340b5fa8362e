"""Lines of the register put right: every other line stays, and nothing is lost."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jarvision.base.errors import NotWritableError, RegisterError, UsageError
from jarvision.register.amend import Amended, remove, rename, set_cells
from jarvision.register.changes import CHANGES_NAME, Past, past_of, read_changes
from jarvision.register.edit import add_jars
from jarvision.register.jars import read_register

TODAY = date(2026, 3, 10)
LINES = (
    "# mine",
    "weight,jar,kind,species,started,parent,notes",
    '12,S1,spawn,oyster,2026-02-01,,"rye, soaked"',
    "",
    "13, K1 ,fruiting,,2026-02-20,S1,",
    "14,K2,,,,,x",
)


def register(tmp_path: Path, content: bytes | None = None) -> Path:
    path = tmp_path / "jars.csv"
    path.write_bytes("\r\n".join(LINES).encode() if content is None else content)
    return path


def lines(path: Path) -> list[str]:
    return path.read_bytes().decode().split("\r\n")


def put(path: Path, jar: str, **cells: str) -> Amended:
    (done,) = set_cells(path, (jar,), cells, today=TODAY)
    return done


def past(path: Path) -> Past:
    return past_of(read_changes(path.parent / CHANGES_NAME), read_register(path))


def history(path: Path) -> list[tuple[str, str, str, str, str]]:
    told = read_changes(path.parent / CHANGES_NAME)
    return [(c.jar, c.change, c.column, c.before, c.after) for c in told]


# --------------------------------------------------------------------------- another cell
def test_cells_are_corrected_and_every_other_line_stays(tmp_path: Path) -> None:
    path = register(tmp_path)
    done = put(path, "S1", species="shiitake", started="3.2.2026", notes="")
    assert lines(path)[2] == "12,S1,spawn,shiitake,2026-02-03,,"
    assert [*lines(path)[:2], *lines(path)[3:]] == [*LINES[:2], *LINES[3:]]
    assert (done.entry.species, done.entry.started) == ("shiitake", date(2026, 2, 3))
    assert history(path) == [
        ("S1", "set", "species", "oyster", "shiitake"),
        ("S1", "set", "started", "2026-02-01", "2026-02-03"),
        ("S1", "set", "notes", "rye, soaked", ""),
    ]


def test_what_is_so_already_writes_nothing(tmp_path: Path) -> None:
    path = register(tmp_path)
    assert put(path, "S1", species="oyster").changes == ()
    assert lines(path) == list(LINES)
    assert not (tmp_path / CHANGES_NAME).exists()


@pytest.mark.parametrize(
    ("jar", "cells", "told"),
    [
        ("S9", {"species": "oyster"}, "'S9' is not in the register"),
        ("K1", {"parent": "S7"}, "parent 'S7' of jar 'K1' is not in the register"),
        ("S1", {"parent": "K1"}, "descends from itself"),
        ("K1", {"kind": "jam"}, "kind 'jam'"),
        ("K1", {"started": "soon"}, "'soon' is not a date"),
        ("K1", {"started": "2999-01-01"}, "lies ahead"),
        ("K1", {"substrate": "rye"}, "has no column 'substrate'"),
        ("K1", {"notes": "=1+1"}, "formula"),
        ("K1", {"notes": "two\nlines"}, "line break"),
    ],
)
def test_a_wrong_correction_is_told_and_nothing_is_written(
    tmp_path: Path, jar: str, cells: dict[str, str], told: str
) -> None:
    path = register(tmp_path)
    with pytest.raises(RegisterError, match=told):
        put(path, jar, **cells)
    assert lines(path) == list(LINES)
    assert not (tmp_path / CHANGES_NAME).exists()


@given(text=st.text(st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=12))
def test_whatever_is_written_into_a_cell_reads_back_the_same(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    path = register(tmp_path_factory.mktemp("shelf"))
    try:
        put(path, "K2", notes=text)
    except RegisterError:
        assert lines(path) == list(LINES)
        return
    assert read_register(path)["K2"].notes == text
    assert lines(path)[:5] == list(LINES[:5])


@pytest.mark.parametrize("encoding", ["utf-8-sig", "cp1252", "utf-16"])
def test_a_line_is_written_anew_in_the_encoding_of_the_file(tmp_path: Path, encoding: str) -> None:
    path = register(tmp_path, "jar;notes\nK1;süß\nK2;\n".encode(encoding))
    put(path, "K2", notes="größer")
    assert path.read_bytes().decode(encoding) == "jar;notes\nK1;süß\nK2;größer\n"


def test_a_letter_that_the_file_cannot_hold_changes_no_file(tmp_path: Path) -> None:
    content = "jar;notes\nK1;süß\n".encode("cp1252")
    path = register(tmp_path, content)
    with pytest.raises(RegisterError, match=r"cannot hold 'ł'"):
        put(path, "K1", notes="łubin")
    assert path.read_bytes() == content
    assert not (tmp_path / CHANGES_NAME).exists()


def test_without_a_history_the_register_stays_as_it_is(tmp_path: Path) -> None:
    path = register(tmp_path)
    (tmp_path / CHANGES_NAME).mkdir()
    with pytest.raises(UsageError, match="is a folder"):
        put(path, "K1", notes="x")
    assert lines(path) == list(LINES)


def test_a_register_that_cannot_be_written_leaves_a_history_from_which_nothing_follows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = register(tmp_path)
    whole = "jarvision.register.lines.write_whole"

    def full(*_: object) -> None:
        raise NotWritableError("disk full")

    monkeypatch.setattr(whole, full)
    with pytest.raises(NotWritableError):
        rename(path, "K1", "K9", today=TODAY)
    with pytest.raises(NotWritableError):
        remove(path, "K2", today=TODAY)
    assert lines(path) == list(LINES)
    assert past(path) == Past()


# --------------------------------------------------------------------------- another name
def test_a_former_name_leads_to_the_new_one_and_children_follow(tmp_path: Path) -> None:
    path = register(tmp_path)
    done = rename(path, "S1", "S01", today=TODAY)
    assert done.entry.jar == "S01"
    assert read_register(path)["K1"].parent == "S01"
    assert lines(path)[4] == "13, K1 ,fruiting,,2026-02-20,S01,"
    assert lines(path)[5] == LINES[5]
    assert past(path).names == {"S1": "S01"}
    rename(path, "S01", "A1", today=TODAY)
    assert past(path).names == {"S1": "A1", "S01": "A1"}
    assert past(path).once("A1") == ("S1", "S01")


def test_a_jar_may_take_its_old_name_again(tmp_path: Path) -> None:
    path = register(tmp_path)
    rename(path, "K1", "K9", today=TODAY)
    rename(path, "K9", "K1", today=TODAY)
    assert lines(path)[5] == LINES[5]
    assert past(path).names == {"K9": "K1"}


def test_a_slip_in_capitals_of_its_own_name_may_be_mended(tmp_path: Path) -> None:
    path = register(tmp_path)
    assert rename(path, "K1", "k1", today=TODAY).entry.jar == "k1"


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("K2", "in the register already"),
        ("k2", "almost as 'K2'"),
        (" ", "no name"),
        ("=K", "formula"),
    ],
)
def test_a_name_that_would_confuse_is_refused(tmp_path: Path, name: str, told: str) -> None:
    path = register(tmp_path)
    with pytest.raises(RegisterError, match=told):
        rename(path, "K1", name, today=TODAY)
    assert lines(path) == list(LINES)


def test_no_other_jar_gets_a_name_that_one_has_had(tmp_path: Path) -> None:
    path = register(tmp_path)
    rename(path, "K1", "K9", today=TODAY)
    with pytest.raises(RegisterError, match="was the name of jar 'K9'"):
        rename(path, "K2", "K1", today=TODAY)
    with pytest.raises(RegisterError, match="was the name of jar 'K9'"):
        add_jars(path, ("K1",), {})
    path.write_bytes(path.read_bytes() + b"\r\n15,K1,,,,,")  # by hand: then it is that jar's
    assert past(path).names == {}


def test_a_name_with_an_underscore_is_warned_of(tmp_path: Path) -> None:
    assert "underscore" in rename(register(tmp_path), "K1", "K_1", today=TODAY).warnings[0]


# --------------------------------------------------------------------------- taken out
def test_a_jar_taken_out_comes_back_with_its_line(tmp_path: Path) -> None:
    path = register(tmp_path)
    before = read_register(path)
    done = remove(path, "K1", today=TODAY)
    assert done.entry == before["K1"]
    assert lines(path) == [*LINES[:4], LINES[5]]
    assert past(path).removed == {"K1"}
    add_jars(path, ("K1",), {"notes": "again"})
    assert past(path).removed == frozenset()
    again = read_register(path)["K1"]
    assert (again.kind, again.parent, again.started) == ("fruiting", "S1", date(2026, 2, 20))
    assert again.notes == "again"
    assert lines(path)[-2] == "13,K1,fruiting,,2026-02-20,S1,again"  # the grower's own column, too


def test_the_last_line_goes_without_an_end(tmp_path: Path) -> None:
    path = register(tmp_path)
    remove(path, "K2", today=TODAY)
    assert list(read_register(path)) == ["S1", "K1"]


def test_a_parent_of_others_is_not_taken_out(tmp_path: Path) -> None:
    path = register(tmp_path)
    with pytest.raises(RegisterError, match="is the parent of K1") as caught:
        remove(path, "S1", today=TODAY)
    assert "jarvision jars set K1 --parent" in caught.value.remedy
    assert lines(path) == list(LINES)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("2026-03-01,K1,eaten,jar,K1,", "change 'eaten' is none of set, renamed, removed"),
        ("2026-03-01,K1,renamed,jar,K1,", "no name"),
        ("2026-03-01,,removed,jar,K1,", "no name"),
        ("soon,K1,removed,jar,K1,", "not a date"),
    ],
)
def test_a_wrong_line_of_the_history_is_told_with_its_number(
    tmp_path: Path, line: str, told: str
) -> None:
    path = tmp_path / CHANGES_NAME
    path.write_text(f"date,jar,change,column,before,after\n{line}\n")
    with pytest.raises(UsageError, match=f"jars_history.csv, line 2: .*{told}"):
        read_changes(path)
