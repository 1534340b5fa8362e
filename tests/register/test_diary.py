"""The diary: what counts of it, what cannot be told, and that no line is ever lost."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from jarvision.base.errors import UsageError
from jarvision.records import DiaryLine, JarEntry
from jarvision.register.diary import DIARY_COLUMNS, add_line, by_jar, read_diary, undo_line

TODAY = date(2026, 3, 10)
ENTRY = JarEntry("K1", started=date(2026, 2, 20))


def on(number: int) -> date:
    return date(2026, 3, number)


def tell(path: Path, what: str, day: int, **more: object) -> DiaryLine:
    line = DiaryLine("K1", what, on(day), **more)  # type: ignore[arg-type]
    add_line(path, line, entry=ENTRY, today=TODAY)
    return line


def test_lines_are_read_by_day_with_all_that_was_told(tmp_path: Path) -> None:
    path = tmp_path / "diary.csv"
    warm = tell(path, "temperature", 5, celsius=21.5)
    shaken = tell(path, "shaken", 3, text="=half; -1, once")
    assert read_diary(path) == (shaken, warm)
    assert by_jar(read_diary(path)) == {"K1": (shaken, warm)}
    assert warm.word == "21.5 °C"
    assert path.read_text("utf-8").startswith(",".join(DIARY_COLUMNS))


def test_the_last_word_on_a_day_counts_and_every_note_does(tmp_path: Path) -> None:
    path = tmp_path / "diary.csv"
    tell(path, "temperature", 5, celsius=12.0)
    warm = tell(path, "temperature", 5, celsius=21.0)
    notes = [tell(path, "note", 5, text=text) for text in ("sweet", "sour")]
    tell(path, "note", 5, text="sour")
    assert read_diary(path) == (warm, *notes)
    assert len(path.read_text().splitlines()) == 6  # no line is lost


def test_what_is_taken_back_counts_no_longer_until_told_again(tmp_path: Path) -> None:
    path = tmp_path / "diary.csv"
    first, _ = tell(path, "shaken", 3), tell(path, "shaken", 6)
    opened = tell(path, "opened", 4)
    assert undo_line(path, "K1", "shaken").day == on(6)
    assert read_diary(path) == (first, opened)
    undo_line(path, "K1", "shaken", on(3))
    assert read_diary(path) == (opened,)
    with pytest.raises(UsageError, match="No 'shaken' is told of jar 'K1'"):
        undo_line(path, "K1", "shaken")
    tell(path, "shaken", 3)
    assert read_diary(path) == (first, opened)
    assert len(path.read_text().splitlines()) == 7


def test_a_note_is_taken_back_alone(tmp_path: Path) -> None:
    path = tmp_path / "diary.csv"
    sweet, _ = (tell(path, "note", 5, text=text) for text in ("sweet", "sour"))
    assert undo_line(path, "K1", "note", on(5)).text == "sour"
    assert read_diary(path) == (sweet,)


def test_a_day_that_has_none_says_which_do(tmp_path: Path) -> None:
    path = tmp_path / "diary.csv"
    tell(path, "shaken", 3)
    with pytest.raises(UsageError, match="on 2026-03-04") as caught:
        undo_line(path, "K1", "shaken", on(4))
    assert "2026-03-03" in caught.value.remedy
    with pytest.raises(UsageError, match="No 'shaken' is told of jar 'K2'"):
        undo_line(path, "K2", "shaken")


def test_lines_under_a_former_name_are_those_of_the_jar(tmp_path: Path) -> None:
    path = tmp_path / "diary.csv"
    tell(path, "shaken", 3)
    names = {"K1": "K9"}
    assert [line.jar for line in read_diary(path, names=names)] == ["K9"]
    undo_line(path, "K9", "shaken", names=names)
    assert read_diary(path, names=names) == ()


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (DiaryLine("K1", "shaken", date(2026, 3, 11)), "lies ahead"),
        (DiaryLine("K1", "shaken", date(2026, 2, 19)), "before jar 'K1' was started"),
        (DiaryLine("K1", "shaken", on(3), text="two\nlines"), "line break"),
        (DiaryLine("K1", "note", on(3)), "no words"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path: Path, line: DiaryLine, told: str) -> None:
    path = tmp_path / "diary.csv"
    with pytest.raises(UsageError, match=told):
        add_line(path, line, entry=ENTRY, today=TODAY)
    assert not path.exists()


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (",2026-03-03,shaken,,,", "no name"),
        ("K1,soon,shaken,,,", "not a date"),
        ("K1,2026-03-03,dropped,,,", "what 'dropped' is none of shaken"),
        ("K1,2026-03-03,temperature,warm,,", "celsius 'warm' is no temperature"),
        ("K1,2026-03-03,temperature,,,", "celsius '' is no temperature"),
        ("K1,2026-03-03,temperature,nan,,", "celsius 'nan' is no temperature"),
        ("K1,2026-03-03,shaken,,,perhaps", "undone 'perhaps'"),
    ],
)
def test_a_wrong_line_is_told_with_its_number(tmp_path: Path, line: str, told: str) -> None:
    path = tmp_path / "diary.csv"
    path.write_text(f"{','.join(DIARY_COLUMNS)}\n{line}\n")
    with pytest.raises(UsageError, match=f"diary.csv, line 2: .*{told}"):
        read_diary(path)
    content = path.read_bytes()
    with pytest.raises(UsageError, match="line 2"):
        tell(path, "shaken", 3)
    assert path.read_bytes() == content


def test_a_spreadsheet_may_have_saved_it(tmp_path: Path) -> None:
    path = tmp_path / "diary.csv"
    path.write_bytes(
        "mine;jar;date;what;celsius;text;undone\r\n;K1;03.03.2026;temperature;21,5;kühl;".encode(
            "cp1252"
        )
    )
    tell(path, "opened", 4, text="für länger")
    warm, opened = read_diary(path)
    assert (warm.celsius, warm.text, opened.text) == (21.5, "kühl", "für länger")
    assert path.read_bytes().decode("cp1252").endswith(";K1;2026-03-04;opened;;für länger;\n")
