"""What was read is kept, whatever its fields and names, and older files are understood."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
from fake_shelf import fake_reading
from hypothesis import given
from hypothesis import strategies as st

from jarvision.records import Coverage, Patch, Reading
from jarvision.run.long_histories import lean
from jarvision.run.packing import PackingError, pack_record, unpack_record
from jarvision.run.photo_files import STORE_NAME
from jarvision.run.provenance import Provenance
from jarvision.run.stamps import Stamp
from jarvision.run.store import APPLICATION_ID, MIGRATIONS, KeptScoring, Store, kept_result
from jarvision.run.store_file import out_of_the_way

MADE_WITH = Provenance("0.1.0+abc", "settings", "card")
STAMP = Stamp(1000, 1_700_000_000_000_000_000, "42")
CONTENT = "ab" * 32

finite = st.floats(allow_nan=False)
texts = st.text(st.characters(exclude_categories=()), max_size=30)  # lone surrogates too
outlines = st.lists(st.tuples(finite, finite), max_size=4).map(tuple)
patches = st.builds(Patch, texts, finite, finite, finite, finite, outlines)
readings = st.builds(
    Reading,
    photo=texts,
    jar=texts,
    view=st.sampled_from(["front", "a", "d"]),
    taken_at=st.datetimes(),
    time_source=st.sampled_from(["exif", "name", "file"]),
    status=st.sampled_from(["ok", "unusable"]),
    detail=texts,
    coverage=st.none() | st.builds(Coverage, finite, finite, finite, finite, finite),
    patches=st.lists(patches, max_size=3).map(tuple),
    fill_height_mm=st.none() | finite,
)


@dataclass(frozen=True)
class Grown:
    """A record of a later version: more kinds of fields than today's readings have."""

    day: date
    at: datetime
    kind: Literal["a", "b"]
    thumbnail: bytes
    inner: tuple[Coverage | None, ...]
    added: str = "default"


def silent(_: str) -> None:
    raise AssertionError(_)


def kept(out: Path, *readings: Reading) -> None:
    with Store(out, tell=silent) as store:
        for reading in readings:
            store.keep(reading, stamp=STAMP, content=CONTENT, made_with=MADE_WITH)


# --------------------------------------------------------------------------- packing
@given(readings)
def test_a_packed_reading_comes_back_bit_by_bit(reading: Reading) -> None:
    assert unpack_record(Reading, pack_record(reading)) == reading


def test_fields_of_every_kind_are_packed_without_being_named() -> None:
    inner = (None, Coverage(1 / 3, 0.1, -0.0, 1e-300, 5e300))
    grown = Grown(date(2026, 3, 1), datetime(2026, 3, 1, 8), "b", bytes(range(256)), inner)
    assert unpack_record(Grown, pack_record(grown)) == grown


def test_a_field_added_with_a_default_is_filled_in() -> None:
    @dataclass(frozen=True)
    class Older:
        day: date
        dropped: int

    @dataclass(frozen=True)
    class Newer:
        day: date
        added: str = "default"

    old = Older(date(2026, 3, 1), 5)
    assert unpack_record(Newer, pack_record(old)) == Newer(date(2026, 3, 1))


def test_numbers_of_numpy_are_packed_as_plain_ones() -> None:
    reading = replace(fake_reading("J1", date(2026, 3, 1), 50.0), fill_height_mm=np.float32(0.5))
    assert unpack_record(Reading, pack_record(reading)).fill_height_mm == 0.5


@given(st.integers(min_value=0), st.integers(1, 255))
def test_a_changed_byte_is_noticed(place: int, mask: int) -> None:
    """The checksum of the bytes (Adler-32, RFC 1950) sees every single changed byte."""
    reading = fake_reading("J1", date(2026, 3, 1), 50.0)
    packed = bytearray(pack_record(reading))
    place %= len(packed)
    packed[place] ^= mask
    with suppress(PackingError):  # bytes that carry nothing may change unseen
        assert unpack_record(Reading, bytes(packed)) == reading


# --------------------------------------------------------------------------- rows
@pytest.mark.parametrize(
    "name",
    ["a/b.jpg", "\udcff.jpg", "\ud800.jpg", "é\u202e😀.jpg", "'; --.jpg"],  # noqa: PT014 - two halves
)
def test_readings_are_kept_under_any_name(tmp_path: Path, name: str) -> None:
    reading = replace(fake_reading("J1", date(2026, 3, 1), 50.0), photo=name)
    kept(tmp_path, reading)
    with Store(tmp_path, tell=silent) as store:
        assert store.reading(name) == reading
        assert list(store.index()) == [name]


def test_the_index_tells_all_but_the_reading(tmp_path: Path) -> None:
    reading = replace(
        fake_reading("J1", date(2026, 3, 1), 50.0),
        overlay="overlays/a.jpg",
        wall_picture="walls/a.jpg",
        time_source="file",
    )
    kept(tmp_path, reading)
    with Store(tmp_path, tell=silent) as store:
        (known,) = store.index().values()
        assert (known.stamp, known.content, known.made_with) == (STAMP, CONTENT, MADE_WITH)
        assert known.pictures == ("overlays/a.jpg", "walls/a.jpg")
        assert known.by_file_time and known.here
        store.restamp(reading.photo, replace(STAMP, inode="7"))
        store.mark([reading.photo], here=False)
        (known,) = store.index().values()
        assert known.stamp.inode == "7" and not known.here
        store.forget(reading.photo)
        assert store.index() == {} and store.reading(reading.photo) is None


def test_a_kept_reading_is_there_although_the_store_was_never_closed(tmp_path: Path) -> None:
    reading = fake_reading("J1", date(2026, 3, 1), 50.0)
    store = Store(tmp_path, tell=silent)
    store.keep(reading, stamp=STAMP, content=CONTENT, made_with=MADE_WITH)
    copy = tmp_path / "copy"
    copy.mkdir()
    for file in tmp_path.glob(f"{STORE_NAME}*"):  # what a cut of power would leave
        (copy / file.name).write_bytes(file.read_bytes())
    with Store(copy, tell=silent) as found:
        assert found.reading(reading.photo) == reading
    store.__exit__(None, None, None)


# --------------------------------------------------------------------------- schema
def test_a_store_of_the_first_version_is_brought_up_to_date(tmp_path: Path) -> None:
    reading = fake_reading("J1", date(2026, 3, 1), 50.0)
    old = sqlite3.connect(tmp_path / STORE_NAME)
    old.executescript(
        f"{MIGRATIONS[0]} PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = 1;"
    )
    values = (b"a.jpg", 1000, STAMP.mtime_ns, "42", CONTENT, "0.1.0+abc", "settings", "card", "")
    row = (*values, 0, "", "2026-03-01T00:00:00+00:00", pack_record(reading))
    old.execute(f"INSERT INTO readings VALUES ({', '.join('?' * len(row))})", row)
    old.commit()
    old.close()
    with Store(tmp_path, tell=silent) as store:
        assert store.reading("a.jpg") == reading
        (known,) = store.index().values()
        assert (known.stamp, known.made_with, known.here) == (STAMP, MADE_WITH, True)
    assert version_of(tmp_path) == len(MIGRATIONS)


def test_a_store_of_the_second_version_gets_a_place_for_the_last_scoring(tmp_path: Path) -> None:
    reading = fake_reading("J1", date(2026, 3, 1), 50.0)
    kept(tmp_path, reading)
    old = sqlite3.connect(tmp_path / STORE_NAME)
    for column in ("reference", "shows", "taken_on", "bare_look"):
        old.execute(f"ALTER TABLE readings DROP COLUMN {column}")
    newest = ("last_scoring", "last_rows", "parts", "lean_readings")
    drops = " ".join(f"DROP TABLE {table};" for table in newest)
    old.executescript(f"{drops} PRAGMA user_version = 2;")
    old.close()
    assert kept_result(tmp_path / STORE_NAME) is None
    with Store(tmp_path, tell=silent) as store:
        assert store.reading(reading.photo) == reading
        store.keep_result(b"packed", {"story": [b"one"]})
    assert kept_result(tmp_path / STORE_NAME) == KeptScoring(b"packed", {"story": [b"one"]})
    assert version_of(tmp_path) == len(MIGRATIONS)


def test_a_store_of_the_fourth_version_gets_lean_rows_of_its_sound_readings(tmp_path: Path) -> None:
    ring = ((1.0, 2.0), (3.0, 2.0), (2.0, 4.0))
    patch = Patch("bare", 1.0, 2.0, 3.0, 0.9, ring)
    readings = [
        replace(fake_reading("J1", date(2026, 3, day), 50.0, (patch,)), picture="shot")
        for day in (1, 2, 3)
    ]
    kept(tmp_path, *readings)
    with Store(tmp_path, tell=silent) as store:
        before = list(store.lean_rows([r.photo for r in readings]))
    old = sqlite3.connect(tmp_path / STORE_NAME)
    for table in ("last_rows", "parts", "lean_readings"):
        old.execute(f"DROP TABLE {table}")
    last = (readings[2].photo.encode(),)
    old.execute("UPDATE readings SET reading = x'00' WHERE photo = ?", last)
    old.executescript("PRAGMA user_version = 4;")
    old.close()
    with Store(tmp_path, tell=silent) as store:
        rows = list(store.lean_rows([r.photo for r in readings]))
        assert store.alike_pictures() == {r.photo for r in readings[:2]}
    assert rows == [*before[:2], None]
    assert rows[0] is not None and rows[1] is not None
    assert unpack_record(Reading, rows[0].packed) == lean(readings[0])
    assert lean(readings[0]).patches == (replace(patch, outline=()),)
    assert rows[0].digest != rows[1].digest and rows[0].jar == "J1"
    assert version_of(tmp_path) == len(MIGRATIONS)


def test_a_reading_that_is_forgotten_has_no_lean_row(tmp_path: Path) -> None:
    reading = fake_reading("J1", date(2026, 3, 1), 50.0)
    kept(tmp_path, reading)
    with Store(tmp_path, tell=silent) as store:
        assert [row is None for row in store.lean_rows([reading.photo, "none"])] == [False, True]
        store.forget(reading.photo)
        assert list(store.lean_rows([reading.photo])) == [None]


def test_a_migration_that_fails_leaves_the_store_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from jarvision.base.errors import NotWritableError
    from jarvision.run import store_file as module

    kept(tmp_path, fake_reading("J1", date(2026, 3, 1), 50.0))
    bad = "ALTER TABLE readings ADD COLUMN extra TEXT; SELECT nonsense FROM nowhere;"
    monkeypatch.setattr(module, "MIGRATIONS", (*MIGRATIONS, bad))
    with pytest.raises(NotWritableError):
        Store(tmp_path, tell=silent)
    monkeypatch.undo()
    assert version_of(tmp_path) == len(MIGRATIONS)
    with Store(tmp_path, tell=silent) as store:
        assert len(store.index()) == 1


def newer(path: Path) -> None:
    db = sqlite3.connect(path)
    db.execute("PRAGMA user_version = 999")
    db.close()


def foreign(path: Path) -> None:
    path.unlink()
    db = sqlite3.connect(path)
    db.execute("CREATE TABLE theirs (x)")
    db.close()


def truncated(path: Path) -> None:
    with path.open("r+b") as file:
        file.truncate(path.stat().st_size // 2 + 100)


def overwritten(path: Path) -> None:
    path.write_bytes(b"not a database at all" * 500)


def scribbled(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[4096:8192] = bytes(range(256)) * 16
    path.write_bytes(content)


def other_format(path: Path) -> None:
    """Bytes 44 to 47 tell the format of the schema (https://www.sqlite.org/fileformat.html)."""
    content = bytearray(path.read_bytes())
    content[44:48] = bytes((0, 0, 0, 9))
    path.write_bytes(content)


def without(what: str) -> Callable[[Path], None]:
    def spoil(path: Path) -> None:
        db = sqlite3.connect(path)
        db.executescript(f"ALTER TABLE {what}")
        db.close()

    return spoil


@pytest.mark.parametrize(
    "spoil",
    [
        newer,
        foreign,
        truncated,
        overwritten,
        scribbled,
        other_format,
        without("readings RENAME TO others"),
        without("last_scoring RENAME TO others"),
        without("readings RENAME COLUMN size TO other"),
    ],
)
def test_a_store_that_cannot_be_used_is_set_aside_whole_and_said(
    tmp_path: Path, spoil: Callable[[Path], None]
) -> None:
    days = [replace(fake_reading("J1", date(2026, 3, 1), 5.0), photo=f"{n}.jpg") for n in range(50)]
    kept(tmp_path, *days)
    path = tmp_path / STORE_NAME
    for number in (1, 2):
        spoil(path)
        spoilt = path.read_bytes()
        told: list[str] = []
        with Store(tmp_path, tell=told.append) as store:
            assert store.index() == {}
            store.keep(days[0], stamp=STAMP, content=CONTENT, made_with=MADE_WITH)
        aside = tmp_path / f"jarvision-aside-{number}.sqlite"
        assert aside.read_bytes() == spoilt
        assert len(told) == 1 and aside.name in told[0]
        kept(tmp_path, *days)


def test_the_log_of_a_store_that_is_set_aside_goes_with_it(tmp_path: Path) -> None:
    """A write-ahead log belongs to its own database: beside a new one it would spoil that."""
    kept(tmp_path, fake_reading("J1", date(2026, 3, 1), 5.0))
    path = tmp_path / STORE_NAME
    logs = {f"{path.name}{end}": f"log {end}".encode() * 9 for end in ("-wal", "-shm")}
    overwritten(path)
    for name, content in logs.items():
        (tmp_path / name).write_bytes(content)
    out_of_the_way(path)
    for name, content in logs.items():
        assert not (tmp_path / name).exists()
        assert (tmp_path / f"jarvision-aside-1.sqlite{name[-4:]}").read_bytes() == content


def test_an_empty_file_of_nobody_becomes_a_store(tmp_path: Path) -> None:
    """A run that was ended at its first moment, or a database of others with nothing in it."""
    path = tmp_path / STORE_NAME
    for begin in (path.touch, lambda: sqlite3.connect(path).close()):
        path.unlink(missing_ok=True)
        begin()
        told: list[str] = []
        with Store(tmp_path, tell=told.append) as store:
            assert store.index() == {}
        assert told == []
        assert list(tmp_path.glob("*aside*")) == []


@pytest.mark.parametrize(
    "wrong", ["pictures = '../victim.jpg'", "pictures = '/etc/victim'", "pictures = 'C:x'"]
)
def test_a_row_that_leads_out_of_the_folder_is_none_of_ours(tmp_path: Path, wrong: str) -> None:
    kept(tmp_path, fake_reading("J1", date(2026, 3, 1), 5.0))
    set_in_store(tmp_path, wrong)
    with Store(tmp_path, tell=silent) as store:
        assert store.index() == {}


@pytest.mark.parametrize("wrong", ["pictures = x'00'", "taken_on = 'soon', shows = x'41'"])
def test_a_row_of_other_types_is_none_of_ours(tmp_path: Path, wrong: str) -> None:
    kept(tmp_path, fake_reading("J1", date(2026, 3, 1), 5.0))
    set_in_store(tmp_path, wrong)
    with Store(tmp_path, tell=silent) as store:
        assert store.index() == {}


@pytest.mark.parametrize("way", ["../x.jpg", "overlays/../../x.jpg", "/x.jpg", "a\\b.jpg"])
def test_a_reading_whose_pictures_lie_elsewhere_is_read_again(tmp_path: Path, way: str) -> None:
    one = fake_reading("J1", date(2026, 3, 1), 5.0)
    for wrong in (replace(one, overlay=way), replace(one, wall_picture=way)):
        kept(tmp_path, wrong)
        with Store(tmp_path, tell=silent) as store:
            assert store.reading(one.photo) is None


def set_in_store(out: Path, wrong: str) -> None:
    db = sqlite3.connect(out / STORE_NAME)
    db.execute(f"UPDATE readings SET {wrong}")
    db.commit()
    db.close()


def version_of(out: Path) -> int:
    db = sqlite3.connect(out / STORE_NAME)
    try:
        return int(db.execute("PRAGMA user_version").fetchone()[0])
    finally:
        db.close()
