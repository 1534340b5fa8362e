from __future__ import annotations

import time
from datetime import date
from pathlib import Path

import pytest

from jarvision.base.errors import RegisterError
from jarvision.records import NothingGrown
from jarvision.register.jars import Register, nothing_grown, parse_register, read_register
from jarvision.register.species import is_known

PLAIN = """jar,kind,species,substrate,started,parent,profile,notes
S1,spawn,oyster,rye,2026-02-01,,,mother
F1,fruiting,oyster,straw,2026-02-20,S1,litre,"first, of two"
F2,fruiting,oyster,straw,2026-02-20,S1,,
L1,spawn,lion's mane,millet,,,,
"""


def read(tmp_path: Path, text: str, encoding: str = "utf-8") -> Register:
    path = tmp_path / "jars.csv"
    path.write_text(text, encoding=encoding)
    return read_register(path, is_known_species=is_known)


def test_three_thousand_generations_are_followed_at_once_and_a_ring_of_them_is_told() -> None:
    """Each line of descent once: it took minutes when every jar was followed to the first."""
    jars = [f"J{n}" for n in range(3000)]
    pairs = list(zip(jars, ["", *jars], strict=False))
    begun_s = time.process_time()
    for lines in (pairs, pairs[::-1]):
        text = "jar,parent\n" + "".join(f"{jar},{parent}\n" for jar, parent in lines)
        assert len(parse_register(text, file="jars.csv")) == len(jars)
    assert time.process_time() - begun_s < 2.0
    ring = "jar,parent\n" + "".join(f"{jar},{parent or jars[-1]}\n" for jar, parent in pairs)
    with pytest.raises(RegisterError, match="descends from itself") as caught:
        parse_register(ring, file="jars.csv")
    assert len(caught.value.message) < 200


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (f"B,{'x' * 300_000}", "too long"),
        ('"B,,,', "quotation mark"),
        ('B,"open', "quotation mark"),
    ],
)
def test_a_line_that_cannot_be_parted_is_told(line: str, told: str) -> None:
    with pytest.raises(RegisterError, match=f"^jars.csv, line 3: .*{told}"):
        parse_register(f"jar,notes\nA,fine\n{line}\n", file="jars.csv")


def test_a_plain_register_is_read_line_by_line(tmp_path: Path) -> None:
    register = read(tmp_path, PLAIN)
    assert list(register) == ["S1", "F1", "F2", "L1"]
    first = register["F1"]
    assert (first.kind, first.substrate, first.parent, first.profile) == (
        "fruiting",
        "straw",
        "S1",
        "litre",
    )
    assert first.started == date(2026, 2, 20)
    assert first.notes == "first, of two"
    assert register["L1"].started is None
    assert register.warnings == ()


def test_what_spreadsheets_do_to_a_csv_changes_nothing(tmp_path: Path) -> None:
    exported = "# my shelf\n\n" + PLAIN.replace('"first, of two"', "x").replace(",", ";")
    exported = exported.replace("jar;", "Jar;").replace("notes\n", "notes;weight\n", 1)
    exported = exported.replace("S1;spawn", " S1 ;Spawn").replace("\n", "\r\n") + ";;;;;;;\r\n"
    register = read(tmp_path, exported, "utf-8-sig")
    assert list(register) == ["S1", "F1", "F2", "L1"]
    assert register["S1"].notes == "mother"


def test_a_register_of_names_alone_is_enough(tmp_path: Path) -> None:
    register = read(tmp_path, "jar\nA\nB\n")
    assert register["B"].kind == "spawn"
    assert register["B"].registered


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("name,species\nA,oyster\n", 1, "no column 'jar'"),
        ("jar,started\nA,2026-01-01\nB,31.13.2026\n", 3, "'31.13.2026' is not a date"),
        ("jar,started\n\n# x\nA,2026-02-30\n", 4, "'2026-02-30' is not a date"),
        ("jar,started\nA,3/2/2026\n", 2, "either of two days"),
        ("jar,kind\nA,bulk\n", 2, "kind 'bulk'"),
        ("jar\nA\nB\nA\n", 4, "jar 'A' is already on line 2"),
        ("jar,parent\nA,Z\n", 2, "parent 'Z'"),
        ("jar,parent\nA,A\n", 2, "A <- A"),
        ("jar,parent\nA,C\nB,A\nC,B\n", 2, "A <- C <- B <- A"),
        ("jar,species\n,oyster\n", 2, "no name"),
    ],
)
def test_a_slip_is_told_with_its_line(tmp_path: Path, text: str, line: int, words: str) -> None:
    with pytest.raises(RegisterError, match=f"line {line}: ") as caught:
        read(tmp_path, text)
    assert words in str(caught.value)


@pytest.mark.parametrize("content", [b"", b"\n# only a remark\n", b"jar\n\xff\xfe\x00"])
def test_a_file_that_is_no_register_is_refused_in_words(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "jars.csv"
    path.write_bytes(content)
    with pytest.raises(RegisterError, match=r"jars\.csv"):
        read_register(path)


def test_a_missing_file_is_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(RegisterError, match="There is no register"):
        read_register(tmp_path / "none.csv")


def test_an_unknown_species_is_a_warning_not_an_error(tmp_path: Path) -> None:
    register = read(tmp_path, "jar,species\nA,oyster\nB,moon cap\n")
    assert len(register) == 2
    assert len(register.warnings) == 1
    assert "line 3" in register.warnings[0]
    assert "moon cap" in register.warnings[0]


def test_a_spawn_jar_that_feeds_two_jars_is_found(tmp_path: Path) -> None:
    register = read(tmp_path, PLAIN)
    assert register.children("S1") == ("F1", "F2")
    assert register.children("F1") == register.children("stranger") == ()
    assert register.siblings("F2") == ("F1",)
    assert register.siblings("S1") == register.siblings("stranger") == ()


def test_a_jar_that_is_not_in_the_register_says_so(tmp_path: Path) -> None:
    entry = read(tmp_path, PLAIN).entry("X9")
    assert (entry.jar, entry.registered) == ("X9", False)


def test_the_register_says_on_which_day_nothing_has_grown() -> None:
    text = (
        "jar,kind,started,parent\nS1,spawn,2026-03-01,\nS2,spawn,2026-03-01,S1\n"
        "S3,,,\nF1,fruiting,2026-03-01,\nB1,Bare,2026-03-01,\n"
    )
    register = parse_register(text, file="jars.csv")
    said = nothing_grown(register.values())
    assert said == {"S1": NothingGrown(date(2026, 3, 1)), "B1": NothingGrown()}
    day, other = date(2026, 3, 1), date(2026, 3, 2)
    assert said["S1"].holds(day, sure=True)
    assert not said["S1"].holds(other, sure=True)
    assert not said["S1"].holds(day, sure=False), "the time of a file is no day of filling"
    assert said["B1"].holds(other, sure=False)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_encodings_and_separators_of_any_spreadsheet_are_read(
    tmp_path: Path, encoding: str, delimiter: str
) -> None:
    text = "jar,substrate,started\nGläschen,Häcksel,2026-02-20\n".replace(",", delimiter)
    register = read(tmp_path, text, encoding)
    assert register["Gläschen"].substrate == "Häcksel"
    assert register["Gläschen"].started == date(2026, 2, 20)
    assert any("Windows-1252" in w for w in register.warnings) is (encoding == "cp1252")


@pytest.mark.parametrize(
    ("dates", "first"),
    [
        (("20.02.2026", "1.3.26"), date(2026, 2, 20)),
        (("20/02/2026", "03/02/2026"), date(2026, 2, 20)),
        (("2/20/2026", "3/2/2026"), date(2026, 2, 20)),
        (("20-02-2026", "01-03-2026"), date(2026, 2, 20)),
        (("2026/02/20", "2026.3.1"), date(2026, 2, 20)),
        (("2026-02-20 00:00:00", "20260301"), date(2026, 2, 20)),
    ],
)
def test_days_as_spreadsheets_of_any_country_write_them(
    tmp_path: Path, dates: tuple[str, str], first: date
) -> None:
    register = read(tmp_path, f"jar,started\nA,{dates[0]}\nB,{dates[1]}\n")
    assert register["A"].started == first
    second = register["B"].started
    assert second in (date(2026, 3, 1), date(2026, 3, 2), date(2026, 2, 3))
    assert (second == date(2026, 2, 3)) is dates[0].startswith("20/")  # the other line tells


def test_days_of_both_orders_in_one_table_stay_uncertain(tmp_path: Path) -> None:
    with pytest.raises(RegisterError, match="line 4: '3/2/2026' may be either of two days"):
        read(tmp_path, "jar,started\nA,20/2/2026\nB,2/20/2026\nC,3/2/2026\n")


def test_a_folder_and_a_spreadsheets_own_file_are_told_as_such(tmp_path: Path) -> None:
    with pytest.raises(RegisterError, match=r"is a folder\. Name the CSV"):
        read_register(tmp_path)
    path = tmp_path / "jars.xlsx"
    path.write_bytes(b"PK\x03\x04\x14\x00")
    with pytest.raises(RegisterError, match=r"own file, not a CSV\. Save it as CSV"):
        read_register(path)


def test_cells_beyond_the_columns_and_names_too_alike_are_told(tmp_path: Path) -> None:
    text = "jar,notes\nK 1,wet, cold\nk1,fine,\n"
    register = read(tmp_path, text)
    assert register["K 1"].notes == "wet"
    assert [w.split(":")[0] for w in register.warnings] == ["jars.csv, line 2", "jars.csv, line 3"]
    assert "quotation marks" in register.warnings[0]
    assert "'k1' is named almost as 'K 1' on line 2" in register.warnings[1]


def test_a_species_without_a_profile_is_told_with_file_and_line(tmp_path: Path) -> None:
    path = tmp_path / "mine.csv"
    path.write_text("jar,species\nA,oyster\nB,fly agaric\n")
    (told,) = read_register(path, is_known_species=lambda name: name == "oyster").warnings
    assert told.startswith("mine.csv, line 3: species 'fly agaric'")
