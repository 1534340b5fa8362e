from __future__ import annotations

import stat
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jarvision.base.errors import NotWritableError, RegisterError
from jarvision.register.edit import Added, add_jars, new_register
from jarvision.register.jars import REGISTER_COLUMNS, read_register
from jarvision.register.species import is_known

PLAIN = "jar,kind,species,substrate,started,parent,profile,notes\nS1,spawn,oyster,rye,,,,\n"


def register(tmp_path: Path, content: str | bytes = PLAIN) -> Path:
    path = tmp_path / "jars.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def add(path: Path, **cells: str) -> Added:
    jar = cells.pop("jar", "")
    return add_jars(path, (jar,), cells, is_known_species=is_known)


# --------------------------------------------------------------------------- new
def test_a_new_register_has_every_column_and_takes_jars(tmp_path: Path) -> None:
    path = new_register(tmp_path / "shelf" / "jars.csv")
    assert len(read_register(path)) == 0
    added = add(path, jar="K01", species="oyster")
    assert list(added.register) == ["K01"]
    header = next(line for line in path.read_text().splitlines() if line[0] != "#")
    assert header == ",".join(REGISTER_COLUMNS)


def test_a_register_that_is_there_is_never_overwritten(tmp_path: Path) -> None:
    path = register(tmp_path)
    with pytest.raises(RegisterError, match="left as it is"):
        new_register(path)
    assert path.read_text() == PLAIN


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(NotWritableError):
        new_register(tmp_path / "file" / "jars.csv")


# --------------------------------------------------------------------------- add
@pytest.mark.parametrize(
    "old",
    [
        PLAIN.encode(),
        PLAIN.rstrip("\n").encode(),
        b"\xef\xbb\xbf" + PLAIN.replace(",", ";").replace("\n", "\r\n").encode(),
        b'# mine\n\n weight ,Notes, JAR ,kind,parent,species\n12,"a, b", S1,,,\n\n# end\n',
    ],
)
def test_every_byte_before_the_new_line_stays(tmp_path: Path, old: bytes) -> None:
    path = register(tmp_path, old)
    before = read_register(path)
    added = add(path, jar="F1", kind="fruiting", parent="S1", notes="x; y, z")
    new = path.read_bytes()
    assert new.startswith(old)
    after = read_register(path)
    assert dict(after) == dict(added.register)
    assert [after[jar] for jar in before] == list(before.values())
    assert (after["F1"].kind, after["F1"].parent, after["F1"].notes) == (
        "fruiting",
        "S1",
        "x; y, z",
    )
    assert new.count(b"\r\n") in (0, new.count(b"\n"))  # one manner of ending lines


def test_columns_of_the_grower_stay_empty_on_the_new_line(tmp_path: Path) -> None:
    path = register(tmp_path, "jar,shelf,profile,weight\nA,3,litre,55\n")
    add(path, jar="B", profile="half")
    assert path.read_text() == "jar,shelf,profile,weight\nA,3,litre,55\nB,,half,\n"


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"jar": "S1"}, "line 3: jar 'S1' is already on line 2"),
        ({"jar": ""}, "has no name"),
        ({"jar": "A", "parent": "Z"}, "line 3: parent 'Z'"),
        ({"jar": "A", "parent": "A"}, "A <- A"),
        ({"jar": "A", "started": "soon"}, "'soon' is not a date"),
        ({"jar": "A", "started": "2026-02-30"}, "'2026-02-30' is not a date"),
        ({"jar": "A", "started": "3/2/2026"}, "either of two days"),
        ({"jar": "A", "started": "2098-01-01"}, "lies ahead"),
        ({"jar": "s 1"}, "almost as 'S1'"),
        ({"jar": "  "}, "has no name"),
        ({"jar": "A", "kind": "bulk"}, "line 3: kind 'bulk'"),
        ({"jar": "#A"}, "reads back the same"),
        ({"jar": "A\nB,spawn"}, "line break"),
        ({"jar": "A", "notes": "x\x1b[31m"}, "does not show"),
        *(({"jar": f"{sign}A"}, "formula") for sign in "=+-@"),
        ({"jar": "A", "notes": "=HYPERLINK(1)"}, "formula"),
        ({"jar": "A", "colour": "blue"}, "no column 'colour'"),
    ],
)
def test_a_wrong_jar_is_told_and_nothing_is_written(
    tmp_path: Path, cells: dict[str, str], words: str
) -> None:
    path = register(tmp_path)
    with pytest.raises(RegisterError) as caught:
        add(path, **{"kind": "spawn", **cells})
    assert words in str(caught.value)
    assert path.read_text() == PLAIN
    assert [p.name for p in tmp_path.iterdir()] == ["jars.csv"]


def test_an_old_slip_is_told_with_its_own_line(tmp_path: Path) -> None:
    path = register(tmp_path, "jar,started\nA,soon\n")
    with pytest.raises(RegisterError, match=r"line 2: 'soon' is not a date. Write dates"):
        add(path, jar="B")


def test_loops_among_old_jars_are_found(tmp_path: Path) -> None:
    path = register(tmp_path, "jar,parent\nA,B\nB,A\n")
    with pytest.raises(RegisterError, match="descends from itself"):
        add(path, jar="C")


def test_a_register_that_is_not_there_says_how_to_start_one(tmp_path: Path) -> None:
    with pytest.raises(RegisterError, match="jarvision jars new"):
        add(tmp_path / "jars.csv", jar="A")


@pytest.mark.parametrize("content", [b"", b"# only this\n", b"jar\n\x00\n", b"PK\x03\x04jar\n"])
def test_what_is_no_register_is_left_alone(tmp_path: Path, content: bytes) -> None:
    path = register(tmp_path, content)
    with pytest.raises(RegisterError):
        add(path, jar="A")
    assert path.read_bytes() == content


def test_links_and_permissions_outlive_the_new_line(tmp_path: Path) -> None:
    path = register(tmp_path)
    path.chmod(0o600)
    link = tmp_path / "link.csv"
    link.symlink_to(path)
    add(link, jar="A")
    assert link.is_symlink()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert "A" in read_register(path)


@given(
    jar=st.text(min_size=1, max_size=12).filter(lambda t: t.strip()),
    notes=st.text(max_size=20),
)
def test_whatever_is_written_reads_back_the_same(
    tmp_path_factory: pytest.TempPathFactory, jar: str, notes: str
) -> None:
    path = register(tmp_path_factory.mktemp("r"))
    try:
        add(path, jar=jar, notes=notes)
    except RegisterError:
        assert path.read_text() == PLAIN
        return
    read = read_register(path)
    assert len(read) == 2
    assert read[jar.strip()].notes == notes.strip()


# --------------------------------------------------------------------------- warnings
def test_a_second_jar_from_one_spawn_jar_is_a_warning(tmp_path: Path) -> None:
    path = register(tmp_path)
    assert add(path, jar="F1", kind="fruiting", parent="S1").warnings == ()
    (warning,) = add(path, jar="F2", kind="fruiting", parent="S1").warnings
    assert "'S1' now feeds F1, F2" in warning


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"jar": "A", "species": "moon cap"}, "'moon cap'"),
        ({"jar": "A_1"}, "underscore"),
        ({"jar": "A", "parent": "F0"}, "fruiting jar"),
        ({"jar": "A", "parent": "S0", "started": "2026-01-01"}, "before its parent"),
    ],
)
def test_what_is_odd_is_written_and_warned_of(
    tmp_path: Path, cells: dict[str, str], words: str
) -> None:
    lines = "F0,fruiting,moon cup,,,,,\nS0,spawn,,,2026-02-01,,,\n"
    path = register(tmp_path, PLAIN + lines)
    (warning,) = add(path, **cells).warnings
    assert words in warning
    assert cells["jar"] in read_register(path)


@pytest.mark.parametrize("encoding", ["cp1252", "utf-16", "utf-8-sig"])
def test_a_line_is_added_in_the_encoding_of_the_file(tmp_path: Path, encoding: str) -> None:
    old = "jar;species;started\r\nGlas Ä;oyster;20.02.2026\r\n".encode(encoding)
    path = register(tmp_path, old)
    added = add(path, jar="Glas Ö", started="1.3.2026")
    assert path.read_bytes().startswith(old)
    assert path.read_bytes().decode(encoding).endswith("\r\nGlas Ö;;2026-03-01\r\n")
    assert added.entry.started == date(2026, 3, 1)
    assert list(read_register(path)) == ["Glas Ä", "Glas Ö"]


def test_a_letter_that_the_file_cannot_hold_is_told(tmp_path: Path) -> None:
    content = "jar\nGlas Ä\n".encode("cp1252")
    path = register(tmp_path, content)
    with pytest.raises(RegisterError, match=r"cannot hold 'ł'.*UTF-8"):
        add(path, jar="Słoik")
    assert path.read_bytes() == content


def test_the_register_is_read_once_so_that_nothing_unchecked_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a spreadsheet saves between the check and the writing would go in unchecked."""
    path = register(tmp_path)
    read, asked = Path.read_bytes, []

    def counted(self: Path) -> bytes:
        asked.append(self.name)
        return read(self)

    monkeypatch.setattr(Path, "read_bytes", counted)
    add(path, jar="K1")
    assert asked.count("jars.csv") == 1
