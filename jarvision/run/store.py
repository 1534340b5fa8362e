"""What has been read, and the last scoring, kept in one SQLite file in the output folder.

One writer at a time (:mod:`jarvision.run.lock`). Every reading is committed as it comes: a run that
is killed loses the photos in work, nothing else. Rows of photos that have left the folder stay,
so that a photo that comes back is not read again.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import astuple, dataclass
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from jarvision.base.errors import NotWritableError
from jarvision.records import Reading
from jarvision.run.long_histories import has_sound_paths
from jarvision.run.packing import PackingError, pack_record, unpack_record
from jarvision.run.photo_files import STORE_NAME
from jarvision.run.provenance import Provenance
from jarvision.run.references import sighting_of
from jarvision.run.stamps import Stamp
from jarvision.run.store_file import APPLICATION_ID, COLUMNS, MIGRATIONS, connect, open_sound
from jarvision.run.store_rows import (
    KEEP_LEAN,
    Known,
    as_bytes,
    as_text,
    known_in_row,
    lean_columns,
    now_text,
    seen_columns,
)

__all__ = [
    "APPLICATION_ID",
    "MIGRATIONS",
    "KeptScoring",
    "Known",
    "LeanRow",
    "Store",
    "has_sound_paths",
    "kept_result",
    "known_of",
]

_PEEK_S: Final = 0.5
"""How long the last result is waited for while a run holds the store: the tables have it, too."""

_BATCH: Final = 500
"""Names in one question: SQLite takes 999 at least in every version."""


@dataclass(frozen=True, slots=True)
class LeanRow:
    """What of a kept reading is needed once its jar's story is told.

    Attributes
    ----------
    jar
        As it was read; empty for none.
    digest
        Of the whole packed reading: another one is another reading.
    packed
        The lean reading (:func:`lean`), packed.
    """

    jar: str
    digest: bytes
    packed: bytes


@dataclass(frozen=True)
class KeptScoring:
    """The packed result of a scoring, and its packed rows by kind: stories and readings."""

    result: bytes
    rows: Mapping[str, Sequence[bytes]]


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
            self._db = open_sound(self.path, tell=tell)
            self._fill_lean()

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
            rows = self._db.execute(f"SELECT {COLUMNS} FROM readings")  # noqa: S608 - our own
            return dict(found for row in rows if (found := known_in_row(row)) is not None)

    def jars_shown(self) -> dict[str, str | None]:
        """The jar that each photo in the folder shows, by name; None where it could not be used."""
        with self._told():
            rows = self._db.execute("SELECT photo, shows FROM readings WHERE here")
            return {as_text(name): None if jar is None else as_text(jar) for name, jar in rows}

    def contents(self) -> dict[str, str]:
        """SHA-256 of each photo in the folder, by name."""
        return {name: known.content for name, known in self.index().items() if known.here}

    def photo_with(self, content: str) -> str | None:
        """Name of a photo in the folder that has this content; None when there is none."""
        with self._told():
            row = self._db.execute(
                "SELECT photo FROM readings WHERE here AND content = ?", (content,)
            ).fetchone()
        return None if row is None else as_text(row[0])

    def keep(self, reading: Reading, *, stamp: Stamp, content: str, made_with: Provenance) -> None:
        """Add a reading, or put it in the place of an older one of the same photo."""
        known = known_of(reading, stamp, content, made_with)
        row = (
            as_bytes(reading.photo),
            *astuple(stamp),
            content,
            *astuple(made_with),
            int(known.by_file_time),
            "\n".join(known.pictures),
            int(known.here),
            *seen_columns(known.sighting),
            now_text(),
            packed := pack_record(reading),
        )
        with self._told(), self._db:  # both rows, or none
            self._db.execute(
                f"INSERT OR REPLACE INTO readings ({COLUMNS}, read_at, reading) "  # noqa: S608
                f"VALUES ({', '.join('?' * len(row))})",
                row,
            )
            self._db.execute(KEEP_LEAN, lean_columns(reading, packed))

    def restamp(self, photo: str, stamp: Stamp) -> None:
        """Note that a photo's file has another stamp and the same content."""
        self._write(
            "UPDATE readings SET size = ?, mtime_ns = ?, inode = ? WHERE photo = ?",
            (*astuple(stamp), as_bytes(photo)),
        )

    def mark(self, photos: Iterable[str], *, here: bool) -> None:
        """Note which photos have left the folder or come back."""
        with self._told(), self._db:
            self._db.executemany(
                "UPDATE readings SET here = ? WHERE photo = ?",
                ((int(here), as_bytes(photo)) for photo in photos),
            )

    def forget(self, photo: str) -> None:
        """Take a reading out."""
        with self._told(), self._db:
            for table in ("readings", "lean_readings"):
                self._db.execute(f"DELETE FROM {table} WHERE photo = ?", (as_bytes(photo),))  # noqa: S608

    def lean_rows(self, photos: Sequence[str]) -> Iterator[LeanRow | None]:
        """What of kept readings is needed once stories are told, in the order of the photos.

        None for a photo without a kept reading.
        """
        jars: dict[bytes, str] = {}  # one text for all photos of a jar
        for start in range(0, len(photos), _BATCH):
            names = [as_bytes(photo) for photo in photos[start : start + _BATCH]]
            marks = ", ".join("?" * len(names))
            with self._told():
                rows = self._db.execute(
                    "SELECT photo, jar, digest, reading FROM lean_readings "  # noqa: S608
                    f"WHERE photo IN ({marks})",
                    names,
                )
                found = {
                    photo: LeanRow(jars.setdefault(jar, as_text(jar)), digest, packed)
                    for photo, jar, digest, packed in rows
                }
            yield from (found.get(name) for name in names)

    def alike_pictures(self) -> frozenset[str]:
        """Photos whose shot another photo shows, too; those that have left the folder count."""
        with self._told():
            rows = self._db.execute(
                "SELECT photo FROM lean_readings WHERE picture IN (SELECT picture FROM "
                "lean_readings WHERE picture != '' GROUP BY picture HAVING count(*) > 1)"
            )
            return frozenset(as_text(photo) for (photo,) in rows)

    def part(self, kind: str, jar: str) -> tuple[bytes, bytes] | None:
        """Digest of what a part was made of, and the part; None where none is kept."""
        with self._told():
            row = self._db.execute(
                "SELECT digest, made FROM parts WHERE kind = ? AND jar = ?", (kind, as_bytes(jar))
            ).fetchone()
        return None if row is None else (row[0], row[1])

    def keep_part(self, kind: str, jar: str, *, digest: bytes, made: bytes) -> None:
        """Keep a part in the place of the one before it."""
        self._write(
            "INSERT OR REPLACE INTO parts VALUES (?, ?, ?, ?)", (kind, as_bytes(jar), digest, made)
        )

    def forget_part(self, kind: str, jar: str) -> None:
        """Take out one part."""
        self._write("DELETE FROM parts WHERE kind = ? AND jar = ?", (kind, as_bytes(jar)))

    def forget_parts(self, jars: Collection[str]) -> None:
        """Take out the parts of all jars but these."""
        with self._told(), self._db:
            known = {as_text(jar) for (jar,) in self._db.execute("SELECT DISTINCT jar FROM parts")}
            for jar in known - set(jars):
                self._db.execute("DELETE FROM parts WHERE jar = ?", (as_bytes(jar),))

    def reading(self, photo: str) -> Reading | None:
        """Reading of a photo; None when there is none that can be unpacked."""
        with self._told():
            row = self._db.execute(
                "SELECT reading FROM readings WHERE photo = ?", (as_bytes(photo),)
            ).fetchone()
        try:
            reading = None if row is None else unpack_record(Reading, row[0])
        except PackingError:
            return None
        return reading if reading is not None and has_sound_paths(reading) else None

    def keep_result(self, packed: bytes, rows: Mapping[str, Iterable[bytes]] | None) -> None:
        """Keep the packed result of a scoring, and its rows, in the place of the one before.

        None leaves the rows as they are.
        """
        with self._told(), self._db:
            self._db.execute(
                "INSERT OR REPLACE INTO last_scoring VALUES (1, ?, ?)",
                (now_text("microseconds"), packed),  # tells one scoring from the next
            )
            if rows is not None:
                self._db.execute("DELETE FROM last_rows")
            for kind, every in (rows or {}).items():
                self._db.executemany(
                    "INSERT INTO last_rows VALUES (?, ?, ?)",
                    ((kind, number, row) for number, row in enumerate(every)),
                )

    def result(self) -> KeptScoring | None:
        """The last scoring; None when there is none."""
        with self._told():
            return _scoring_in(self._db)

    def result_kept_at(self) -> str:
        """When the last scoring was kept, UTC, and its size: another run's is told by it."""
        with self._told():
            row = self._db.execute("SELECT scored_at, length(result) FROM last_scoring").fetchone()
        return "" if row is None else f"{row[0]} {row[1]}"

    def _fill_lean(self) -> None:
        """Make the lean rows of readings that an older version has kept."""
        missing = self._db.execute(
            "SELECT photo FROM readings WHERE photo NOT IN (SELECT photo FROM lean_readings)"
        ).fetchall()
        with self._db:
            for (photo,) in missing:
                (packed,) = self._db.execute(
                    "SELECT reading FROM readings WHERE photo = ?", (photo,)
                ).fetchone()
                try:
                    reading = unpack_record(Reading, packed)
                except PackingError:
                    continue  # its photo is read again
                self._db.execute(KEEP_LEAN, (photo, *lean_columns(reading, packed)[1:]))

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


def kept_result(path: Path) -> KeptScoring | None:
    """The last scoring in a store; nothing is set aside or migrated.

    None when there is none, the file is no store of ours, or a run holds it.
    """
    if not path.is_file():
        return None
    try:
        with closing(connect(path, patience_s=_PEEK_S)) as db:
            if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
                return None
            return _scoring_in(db)
    except sqlite3.Error:  # held by a run, of an older version, damaged, or not to be opened
        return None


def _scoring_in(db: sqlite3.Connection) -> KeptScoring | None:
    """The last scoring; one of an older version has all in one and no rows."""
    found = db.execute("SELECT result FROM last_scoring").fetchone()
    if found is None:
        return None
    rows: dict[str, list[bytes]] = {}
    if db.execute("SELECT 1 FROM sqlite_master WHERE name = 'last_rows'").fetchone():
        for kind, packed in db.execute("SELECT kind, packed FROM last_rows ORDER BY kind, number"):
            rows.setdefault(kind, []).append(packed)
    return KeptScoring(bytes(found[0]), rows)
