"""Tables that only grow."""

from __future__ import annotations

from pathlib import Path

import pytest

from jarvision.base.errors import UsageError
from jarvision.base.ledger import open_ledger

COLUMNS = ("jar", "note")


def test_what_is_saved_between_reading_and_writing_is_not_mixed_with_what_was_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "t.csv"
    path.write_text("jar,note\nK1,x\n")
    read = Path.read_bytes
    asked: list[Path] = []

    def counted(self: Path) -> bytes:
        asked.append(self)
        return read(self)

    monkeypatch.setattr(Path, "read_bytes", counted)
    open_ledger(path, COLUMNS).add([{"jar": "K2", "note": "=y"}])
    assert asked == [path.resolve()]
    assert read(path) == b"jar,note\nK1,x\nK2,'=y\n"


def test_a_link_stays_a_link_and_a_new_table_gets_its_columns(tmp_path: Path) -> None:
    real, link = tmp_path / "real.csv", tmp_path / "t.csv"
    link.symlink_to(real)
    open_ledger(link, COLUMNS).add([{"jar": "K1"}])
    open_ledger(link, COLUMNS).add([{"note": "y", "jar": "K2"}])
    assert link.is_symlink()
    assert real.read_text() == "jar,note\nK1,\nK2,y\n"


def test_the_mark_of_the_file_stands_once_and_its_encoding_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_bytes("jar;note\nK1;ü".encode("utf-16"))
    open_ledger(path, COLUMNS).add([{"jar": "Ł"}])
    assert path.read_bytes().decode("utf-16") == "jar;note\nK1;ü\nŁ;\n"


def test_a_letter_too_many_and_a_column_too_few_are_told(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_bytes("jar,note\nK1,ü\n".encode("cp1252"))
    with pytest.raises(UsageError, match="cannot hold 'Ł'"):
        open_ledger(path, COLUMNS).add([{"jar": "Ł"}])
    assert path.read_bytes() == "jar,note\nK1,ü\n".encode("cp1252")
    path.write_text("jar\nK1\n")
    with pytest.raises(UsageError, match="no column 'note'"):
        open_ledger(path, COLUMNS)
