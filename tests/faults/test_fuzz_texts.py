"""Files that growers write: understood, or one sentence on what is wrong; never a traceback."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jarvision.base.cgats import CgatsError, read_cgats
from jarvision.base.errors import UsageError
from jarvision.register import outcomes
from jarvision.register.changes import CHANGE_COLUMNS, CHANGES_NAME, read_changes
from jarvision.register.diary import DIARY_COLUMNS, read_diary
from jarvision.register.jar_shapes import load_jar_shapes
from jarvision.register.jars import REGISTER_COLUMNS, read_register
from jarvision.register.outcomes import read_outcomes
from jarvision.register.species import load_species
from jarvision.settings.groups import Settings
from jarvision.settings.toml import find_settings, to_toml
from jarvision.vision.calibration.value_files import load_card_values, write_as_printed
from jarvision.vision.calibration.values import nominal_values

REGISTER = (
    "jar,kind,species,substrate,started,parent,profile,notes\n"
    "K07,spawn,oyster,rye,2026-02-20,,litre,\n"
    'K08,fruiting,shiitake,"straw, chopped",2026-03-01,K07,,"says ""hello"""\n'
)
OUTCOMES = (
    ",".join(outcomes.OUTCOME_COLUMNS)
    + "\nK08,harvested,2026-03-20,84,,first flush"
    + 2 * ",,"
    + "\n"
)
DIARY = (
    ",".join(DIARY_COLUMNS)
    + "\nK07,2026-03-05,shaken,,once,\nK07,2026-03-06,temperature,21.5,,\n"
    + "K07,2026-03-05,shaken,,once,undone\n"
)
CHANGES = (
    ",".join(CHANGE_COLUMNS)
    + "\n2026-03-05,K07,set,species,,oyster\n2026-03-06,K07,renamed,jar,K07,K08\n"
    + "2026-03-07,K08,removed,jar,K08,\n"
)
PROFILES = "[litre]\ndiameter_mm = 98.0\nheight_mm = 180.0\ngroove_mm = 140.0\n"
SPECIES = 'like = "oyster"\nlatin = "Pleurotus ostreatus"\ncommon = ["grey"]\nready_percent = 95\n'
CARD = "a table of the card"

quick = settings(deadline=None, database=None, suppress_health_check=list(HealthCheck))
places = st.floats(0, 1, exclude_max=True)
words = st.one_of(
    st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=12),
    st.sampled_from(
        [
            *("\n", "\r", '"', "'", ",", ";", "\t", "=", "[", "]", "{", "0", "-1", "1e999", "nan"),
            *("\ufeff", "\x00", "9" * 400, "2026-02-30", "K07", "#", "BEGIN_DATA", "inf"),
        ]
    ),
)
edits = st.lists(st.tuples(places, st.integers(0, 12), words), min_size=1, max_size=8)


def edited(text: str, made: list[tuple[float, int, str]]) -> str:
    """Put words in the place of some characters, one edit after the other."""
    for share, length, new in made:
        at = int(share * (len(text) + 1))
        text = text[:at] + new + text[at + length :]
    return text


def in_folder(*names: str) -> Callable[[Path, bytes], Path]:
    def put(folder: Path, content: bytes) -> Path:
        path = folder.joinpath(*names)
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(content)
        return folder

    return put


READERS: dict[str, tuple[str, Callable[[Path, bytes], Path], Callable[[Path], object]]] = {
    "register": (REGISTER, in_folder("jars.csv"), lambda f: read_register(f / "jars.csv")),
    "outcomes": (OUTCOMES, in_folder("outcomes.csv"), lambda f: read_outcomes(f / "outcomes.csv")),
    "diary": (DIARY, in_folder("diary.csv"), lambda f: read_diary(f / "diary.csv")),
    "history": (CHANGES, in_folder(CHANGES_NAME), lambda f: read_changes(f / CHANGES_NAME)),
    "profiles": (PROFILES, in_folder("jar_profiles.toml"), load_jar_shapes),
    "settings": (to_toml(Settings()), in_folder("jarvision.toml"), find_settings),
    "species": (SPECIES, in_folder("species", "grey.toml"), load_species),
    "card": (CARD, in_folder("calibration", "card.txt"), load_card_values),
}


def sound(kind: str, folder: Path) -> str:
    if kind != "card":
        return READERS[kind][0]
    return write_as_printed(folder / "other", nominal_values(), day=date(2026, 3, 1)).read_text(
        "ascii"
    )


def told(read: Callable[[Path], object], place: Path) -> None:
    try:
        read(place)
    except UsageError as error:
        assert error.message and "\n" not in error.message
        assert "Traceback" not in str(error)


@pytest.mark.parametrize("kind", READERS)
def test_the_files_to_be_spoilt_are_sound(tmp_path: Path, kind: str) -> None:
    _, put, read = READERS[kind]
    read(put(tmp_path, sound(kind, tmp_path).encode()))


@pytest.mark.parametrize("kind", READERS)
@pytest.mark.parametrize(
    "inputs", [60, pytest.param(1500, marks=[pytest.mark.slow, pytest.mark.nightly])]
)
def test_an_edited_file_is_understood_or_one_sentence(
    tmp_path: Path, kind: str, inputs: int
) -> None:
    _, put, read = READERS[kind]
    text = sound(kind, tmp_path)

    @settings(quick, max_examples=inputs)
    @given(edits)
    def one(made: list[tuple[float, int, str]]) -> None:
        told(read, put(tmp_path, edited(text, made).encode()))

    one()


@pytest.mark.parametrize("kind", READERS)
def test_any_bytes_are_understood_or_one_sentence(tmp_path: Path, kind: str) -> None:
    _, put, read = READERS[kind]

    @settings(quick, max_examples=60)
    @given(st.binary(max_size=300))
    def one(content: bytes) -> None:
        told(read, put(tmp_path, content))

    one()
    with zipfile.ZipFile(tmp_path / "x.zip", "w") as file:  # what a spreadsheet saves
        file.writestr("xl/workbook.xml", "<x/>" * 100)
    told(read, put(tmp_path, (tmp_path / "x.zip").read_bytes()))
    told(read, put(tmp_path, REGISTER.encode("utf-16")))


cells = st.text(
    st.characters(exclude_categories=("Cs",), exclude_characters='\r\n\x00"'), max_size=20
)


@settings(quick, max_examples=80)
@given(rows=st.lists(st.tuples(cells, cells, cells), max_size=6))
def test_a_register_keeps_every_jar_or_says_which_line_is_wrong(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[str, str, str]]
) -> None:
    assert {"jar", "species", "notes"} <= set(REGISTER_COLUMNS)
    path = tmp_path_factory.mktemp("register") / "jars.csv"
    quoted = "".join(",".join(f'"{cell}"' for cell in row) + "\n" for row in rows)
    path.write_text(f"jar,species,notes\n{quoted}", encoding="utf-8")
    try:
        register = read_register(path)
    except UsageError as error:
        assert "line" in error.message
    else:
        named = [row[0].strip() for row in rows if any(cell.strip() for cell in row)]
        assert set(register) <= set(named)
        lost = set(named) - set(register)
        assert all(name.startswith("#") or not name for name in lost)


@settings(quick, max_examples=150)
@given(st.text(max_size=400))
def test_any_text_is_a_table_or_no_table(text: str) -> None:
    try:
        tables = read_cgats(text)
    except CgatsError as error:
        assert error.message
    else:
        assert tables
        for table in tables:
            assert len(table.lines) == len(table.column(table.fields[0])) if table.fields else True
