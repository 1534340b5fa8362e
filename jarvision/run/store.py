"""What has been read, and the last scoring, kept in one SQLite file in the output folder.

One writer at a time (:mod:`jarvision.run.lock`). Every reading is committed as it comes: a run that
is killed loses the photos in work, nothing else. Rows of photos that have left the folder stay,
so that a photo that comes back is not read again.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import astuple, dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from jarvision.base.errors import NotWritableError
from jarvision.base.files import stays_inside
from jarvision.records import BareLook, Reading
from jarvision.run.packing import PackingError, pack_record, unpack_record
from jarvision.run.photo_files import STORE_NAME
from jarvision.run.provenance import Provenance
from jarvision.run.references import Sighting, sighting_of
from jarvision.run.stamps import Stamp

APPLICATION_ID: Final = 0x6A617276
"""Marks the file as ours ("jarv"), https://www.sqlite.org/pragma.html#pragma_application_id."""

MIGRATIONS: Final = (
    """
    CREATE TABLE readings (
        photo BLOB PRIMARY KEY,          -- name under the folder, UTF-8, odd bytes passed through
        size INTEGER NOT NULL,
        mtime_ns INTEGER NOT NULL,
        inode TEXT NOT NULL,
        content TEXT NOT NULL,           -- SHA-256 of the file
        code TEXT NOT NULL,
        settings TEXT NOT NULL,
        card TEXT NOT NULL,
        jar TEXT NOT NULL,
        by_file_time INTEGER NOT NULL,   -- 1: the day came from the file's own time
        pictures TEXT NOT NULL,          -- files under OUT that belong to it, one a line
        read_at TEXT NOT NULL,           -- UTC
        reading BLOB NOT NULL
    );
    """,
    "ALTER TABLE readings ADD COLUMN here INTEGER NOT NULL DEFAULT 1;  -- 0: left the folder",
    """
    CREATE TABLE last_scoring (
        number INTEGER PRIMARY KEY CHECK (number = 1),  -- one row: the newest
        scored_at TEXT NOT NULL,                        -- UTC
        result BLOB NOT NULL
    );
    """,
    """
    ALTER TABLE readings ADD COLUMN reference TEXT NOT NULL DEFAULT '';
    ALTER TABLE readings ADD COLUMN shows BLOB;      -- jar in a photo that could be used
    ALTER TABLE readings ADD COLUMN taken_on TEXT;   -- its day, ISO 8601
    ALTER TABLE readings ADD COLUMN bare_look BLOB;  -- packed; only where read on its own
    """,
)
"""SQL from each schema version to the next; ``PRAGMA user_version`` counts those applied."""

_PEEK_S: Final = 0.5
"""How long the last result is waited for while a run holds the store: the tables have it, too."""

_PASSING: Final = frozenset(
    {
        sqlite3.SQLITE_PERM,
        sqlite3.SQLITE_BUSY,
        sqlite3.SQLITE_LOCKED,
        sqlite3.SQLITE_NOMEM,
        sqlite3.SQLITE_READONLY,
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_FULL,
        sqlite3.SQLITE_CANTOPEN,
    }
)
"""What says nothing about a store: rights, other programs, disk. All else is damage."""

_COLUMNS: Final = (
    "photo, size, mtime_ns, inode, content, code, settings, card, jar, reference, by_file_time, "
    "pictures, here, shows, taken_on, bare_look"
)


@dataclass(frozen=True, slots=True)
class Known:
    """What the store knows of a photo, its reading left out.

    Attributes
    ----------
    content
        SHA-256 of the file in hex.
    by_file_time
        The day came from the file's own time, which a copy may change.
    pictures
        Paths under the output folder.
    here
        False for a photo that has left the folder.
    sighting
        Which jar it shows on which day, and how bare contents look in it; None where it could not
        be used.
    """

    stamp: Stamp
    content: str
    made_with: Provenance
    by_file_time: bool
    pictures: tuple[str, ...]
    here: bool = True
    sighting: Sighting | None = None


def known_of(reading: Reading, stamp: Stamp, content: str, made_with: Provenance) -> Known:
    """What the store will know of a reading once it is kept."""
    return Known(
        stamp=stamp,
        content=content,
        made_with=made_with,
        by_file_time=reading.time_source == "file",
        pictures=tuple(filter(None, (reading.overlay, reading.wall_picture))),
        sighting=sighting_of(reading),
    )


class Store:
    """The readings of one output folder, and its last scoring; a context manager.

    Raises
    ------
    NotWritableError
        From every method, when the file cannot be written: disk full, folder read-only.
    """

    def __init__(self, out: Path, *, tell: Callable[[str], None]) -> None:
        self.path = out / STORE_NAME
        with self._told():
            self._db = _open_sound(self.path, tell=tell)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._db.close()

    def index(self) -> dict[str, Known]:
        """All that is known, by name; a few hundred bytes a photo."""
        with self._told():
            rows = self._db.execute(f"SELECT {_COLUMNS} FROM readings")  # noqa: S608 - our own
            return dict(found for row in rows if (found := _known(row)) is not None)

    def jars_shown(self) -> dict[str, str | None]:
        """The jar that each photo in the folder shows, by name; None where it could not be used."""
        with self._told():
            rows = self._db.execute("SELECT photo, shows FROM readings WHERE here")
            return {_text(name): None if jar is None else _text(jar) for name, jar in rows}

    def contents(self) -> dict[str, str]:
        """SHA-256 of each photo in the folder, by name."""
        return {name: known.content for name, known in self.index().items() if known.here}

    def photo_with(self, content: str) -> str | None:
        """Name of a photo in the folder that has this content; None when there is none."""
        with self._told():
            row = self._db.execute(
                "SELECT photo FROM readings WHERE here AND content = ?", (content,)
            ).fetchone()
        return None if row is None else _text(row[0])

    def keep(self, reading: Reading, *, stamp: Stamp, content: str, made_with: Provenance) -> None:
        """Add a reading, or put it in the place of an older one of the same photo."""
        known = known_of(reading, stamp, content, made_with)
        row = (
            _bytes(reading.photo),
            *astuple(stamp),
            content,
            *astuple(made_with),
            int(known.by_file_time),
            "\n".join(known.pictures),
            int(known.here),
            *_seen(known.sighting),
            _now(),
            pack_record(reading),
        )
        self._write(
            f"INSERT OR REPLACE INTO readings ({_COLUMNS}, read_at, reading) "  # noqa: S608 - our own
            f"VALUES ({', '.join('?' * len(row))})",
            row,
        )

    def restamp(self, photo: str, stamp: Stamp) -> None:
        """Note that a photo's file has another stamp and the same content."""
        self._write(
            "UPDATE readings SET size = ?, mtime_ns = ?, inode = ? WHERE photo = ?",
            (*astuple(stamp), _bytes(photo)),
        )

    def mark(self, photos: Iterable[str], *, here: bool) -> None:
        """Note which photos have left the folder or come back."""
        with self._told(), self._db:
            self._db.executemany(
                "UPDATE readings SET here = ? WHERE photo = ?",
                ((int(here), _bytes(photo)) for photo in photos),
            )

    def forget(self, photo: str) -> None:
        """Take a reading out."""
        self._write("DELETE FROM readings WHERE photo = ?", (_bytes(photo),))

    def reading(self, photo: str) -> Reading | None:
        """Reading of a photo; None when there is none that can be unpacked."""
        with self._told():
            row = self._db.execute(
                "SELECT reading FROM readings WHERE photo = ?", (_bytes(photo),)
            ).fetchone()
        try:
            reading = None if row is None else unpack_record(Reading, row[0])
        except PackingError:
            return None
        return reading if reading is not None and has_sound_paths(reading) else None

    def keep_result(self, packed: bytes) -> None:
        """Keep the packed result of a scoring in the place of the one before."""
        self._write("INSERT OR REPLACE INTO last_scoring VALUES (1, ?, ?)", (_now(), packed))

    def result(self) -> bytes | None:
        """The packed result of the last scoring; None when there is none."""
        with self._told():
            row = self._db.execute("SELECT result FROM last_scoring").fetchone()
        return None if row is None else bytes(row[0])

    def result_kept_at(self) -> str:
        """When the last scoring was kept, UTC, and its size: another run's is told by it."""
        with self._told():
            row = self._db.execute("SELECT scored_at, length(result) FROM last_scoring").fetchone()
        return "" if row is None else f"{row[0]} {row[1]}"

    def _write(self, statement: str, values: tuple[object, ...]) -> None:
        with self._told(), self._db:  # one transaction, committed at the end
            self._db.execute(statement, values)

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise NotWritableError(
                f"{self.path.name} cannot be written ({error})",
                "Free some space, close it in other programs, or choose another --out.",
            ) from error


def kept_result(path: Path) -> bytes | None:
    """The packed result of the last scoring in a store; nothing is set aside or migrated.

    None when there is none, the file is no store of ours, or a run holds it.
    """
    if not path.is_file():
        return None
    try:
        with closing(_connect(path, patience_s=_PEEK_S)) as db:
            if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
                return None
            row = db.execute("SELECT result FROM last_scoring").fetchone()
    except sqlite3.Error:  # held by a run, of an older version, damaged, or not to be opened
        return None
    return None if row is None else bytes(row[0])


def _open_sound(path: Path, *, tell: Callable[[str], None]) -> sqlite3.Connection:
    """Open the store; one that cannot be used is set aside, and a new one begun."""
    if path.exists():
        with closing(_connect(path)) as db:
            fault = _fault(db)
        if fault:
            aside = _set_aside(path)
            tell(f"{path.name} {fault}: it is kept as {aside.name}, and all photos are read again.")
    db = _connect(path)
    try:
        # write-ahead log: a commit is cheap, and is there although the process is killed
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = NORMAL")
        _migrate(db)
    except sqlite3.Error:
        db.close()
        raise
    return db


def _connect(path: Path, *, patience_s: float = 5.0) -> sqlite3.Connection:
    db = sqlite3.connect(path, timeout=patience_s)
    # exclusive: the log then needs no shared memory, which network shares lack
    db.execute("PRAGMA locking_mode = EXCLUSIVE")
    return db


def _fault(db: sqlite3.Connection) -> str:
    """Why a store cannot be used, empty for a sound one; nothing is written."""
    try:
        version = db.execute("PRAGMA user_version").fetchone()[0]
        ours = db.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
        if not ours and db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
            return "was not made by jarvision"
        if version > len(MIGRATIONS):
            return "was made by a newer jarvision"
        sound = db.execute("PRAGMA quick_check(1)").fetchone()[0] == "ok"
        if version == len(MIGRATIONS):
            db.execute(f"SELECT {_COLUMNS}, read_at, reading FROM readings LIMIT 0")  # noqa: S608
            db.execute("SELECT number, scored_at, result FROM last_scoring LIMIT 0")
    except sqlite3.DatabaseError as error:
        if error.sqlite_errorcode & 0xFF in _PASSING:  # the upper bits tell more of the same
            raise
        sound = False
    return "" if sound else "is damaged"


def _migrate(db: sqlite3.Connection) -> None:
    """Bring the schema up to this version, each step whole or not at all."""
    version = db.execute("PRAGMA user_version").fetchone()[0]
    for number, script in enumerate(MIGRATIONS[version:], start=version + 1):
        db.executescript(
            f"BEGIN IMMEDIATE;\n{script}\nPRAGMA application_id = {APPLICATION_ID};\n"
            f"PRAGMA user_version = {number};\nCOMMIT;"
        )


def _set_aside(path: Path) -> Path:
    """Rename the store and its log out of the way, under a name that is free."""
    number = 1
    while (aside := path.with_name(f"{path.stem}-aside-{number}{path.suffix}")).exists():
        number += 1
    path.rename(aside)
    for log in ("-wal", "-shm"):
        beside = path.with_name(path.name + log)
        if beside.exists():
            beside.rename(aside.with_name(aside.name + log))
    return aside


def has_sound_paths(reading: Reading) -> bool:
    """Tell whether the pictures of a kept reading lie under OUT: a store may come from anywhere."""
    return all(map(stays_inside, (reading.overlay, reading.wall_picture)))


def _known(row: tuple[Any, ...]) -> tuple[str, Known] | None:
    """Name and what a row says; None for one that no run of ours wrote: its photo is read again."""
    try:
        name, pictures = _text(row[0]), tuple(filter(None, row[11].split("\n")))
        known = Known(
            stamp=Stamp(*row[1:4]),
            content=row[4],
            made_with=Provenance(*row[5:10]),
            by_file_time=bool(row[10]),
            pictures=pictures,
            here=bool(row[12]),
            sighting=_sighting(*row[13:16]),
        )
    except (AttributeError, TypeError, ValueError):
        return None
    return (name, known) if all(map(stays_inside, pictures)) else None


def _seen(sighting: Sighting | None) -> tuple[bytes | None, str | None, bytes | None]:
    """Jar, day and packed look of a photo, as columns."""
    if sighting is None:
        return None, None, None
    look = sighting.look
    day = sighting.day.isoformat()
    return _bytes(sighting.jar), day, pack_record(look) if look else None


def _sighting(jar: bytes | None, day: str | None, look: bytes | None) -> Sighting | None:
    """What the columns say; a look that cannot be unpacked is none."""
    if jar is None or day is None:
        return None
    try:
        found = unpack_record(BareLook, look) if look else None
    except PackingError:
        found = None
    return Sighting(_text(jar), date.fromisoformat(day), found)


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


def _bytes(name: str) -> bytes:
    return name.encode("utf-8", "surrogatepass")


def _text(name: bytes) -> str:
    return name.decode("utf-8", "surrogatepass")
