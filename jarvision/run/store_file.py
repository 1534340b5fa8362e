"""The file of the store: its schema by version, how it is opened, when it is set aside."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Final

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
    """
    CREATE TABLE lean_readings (         -- what of a reading is needed once its jar's story is told
        photo BLOB PRIMARY KEY,          -- as in readings
        jar BLOB NOT NULL,               -- as it was read; empty for none
        digest BLOB NOT NULL,            -- of the whole packed reading
        picture TEXT NOT NULL,           -- tells the shot; empty for none
        reading BLOB NOT NULL            -- packed, without thumbnail and outlines of patches
    );
    CREATE TABLE parts (                 -- what was made of a jar, by what it was made of
        kind TEXT NOT NULL,
        jar BLOB NOT NULL,
        digest BLOB NOT NULL,
        made BLOB NOT NULL,
        PRIMARY KEY (kind, jar)
    );
    CREATE TABLE last_rows (             -- stories and readings of the last scoring
        kind TEXT NOT NULL,
        number INTEGER NOT NULL,
        packed BLOB NOT NULL,
        PRIMARY KEY (kind, number)
    );
    """,
)
"""SQL from each schema version to the next; ``PRAGMA user_version`` counts those applied."""

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

COLUMNS: Final = (
    "photo, size, mtime_ns, inode, content, code, settings, card, jar, reference, by_file_time, "
    "pictures, here, shows, taken_on, bare_look"
)


def open_sound(path: Path, *, tell: Callable[[str], None]) -> sqlite3.Connection:
    """Open the store; one that cannot be used is set aside, and a new one begun."""
    if path.exists():
        with closing(connect(path)) as db:
            fault = _fault(db)
        if fault:
            aside = out_of_the_way(path)
            tell(f"{path.name} {fault}: it is kept as {aside.name}, and all photos are read again.")
    db = connect(path)
    try:
        # write-ahead log: a commit is cheap, and is there although the process is killed
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = NORMAL")
        _migrate(db)
    except sqlite3.Error:
        db.close()
        raise
    return db


def connect(path: Path, *, patience_s: float = 5.0) -> sqlite3.Connection:
    """Connect to a store, which is then held against others; they are waited for so long."""
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
            db.execute(f"SELECT {COLUMNS}, read_at, reading FROM readings LIMIT 0")  # noqa: S608
            db.execute("SELECT number, scored_at, result FROM last_scoring LIMIT 0")
            db.execute("SELECT photo, jar, digest, picture, reading FROM lean_readings LIMIT 0")
            db.execute("SELECT kind, jar, digest, made FROM parts LIMIT 0")
            db.execute("SELECT kind, number, packed FROM last_rows LIMIT 0")
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


def out_of_the_way(path: Path) -> Path:
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
