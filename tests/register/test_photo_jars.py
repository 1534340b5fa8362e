"""The jars of photos whose names do not say them, told by the grower and kept."""

from __future__ import annotations

from pathlib import Path

import pytest

from jarvision.base.errors import UsageError
from jarvision.register.photo_jars import add_photo_jars, read_photo_jars


def test_without_the_file_nothing_is_told(tmp_path: Path) -> None:
    assert read_photo_jars(tmp_path) == {}


def test_what_is_told_is_kept_and_the_last_word_counts(tmp_path: Path) -> None:
    add_photo_jars(tmp_path, {"in/IMG_1.jpg": "K07", "=IMG.jpg": "Glas Ä"})
    path = add_photo_jars(tmp_path, {"in/IMG_1.jpg": "K08"})
    assert read_photo_jars(tmp_path) == {"in/IMG_1.jpg": "K08", "=IMG.jpg": "Glas Ä"}
    assert path.read_text(encoding="utf-8").splitlines()[:2] == ["photo,jar", "in/IMG_1.jpg,K07"]


def test_a_spreadsheet_may_have_saved_it(tmp_path: Path) -> None:
    path = tmp_path / "photo_jars.csv"
    path.write_bytes("note;jar;photo\r\n;Gläser 1;in\\IMG_1.jpg".encode("cp1252"))
    add_photo_jars(tmp_path, {"IMG_2.jpg": "Gläser 2"})
    assert read_photo_jars(tmp_path) == {"in/IMG_1.jpg": "Gläser 1", "IMG_2.jpg": "Gläser 2"}
    before = path.read_bytes()
    with pytest.raises(UsageError, match="UTF-8"):
        add_photo_jars(tmp_path, {"IMG_3.jpg": "Słoik"})
    assert path.read_bytes() == before


@pytest.mark.parametrize("line", ["IMG_1.jpg,", ",K07"])
def test_half_a_line_is_told_with_its_number(tmp_path: Path, line: str) -> None:
    (tmp_path / "photo_jars.csv").write_text(f"photo,jar\n{line}\n")
    with pytest.raises(UsageError, match=r"photo_jars\.csv, line 2"):
        read_photo_jars(tmp_path)
