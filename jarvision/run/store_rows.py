"""Rows of the store: what they hold, as columns and as records."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import lru_cache
from hashlib import sha256
from typing import Any, Final

from jarvision.base.files import stays_inside
from jarvision.records import BareLook, Reading
from jarvision.run.long_histories import lean
from jarvision.run.packing import PackingError, pack_record, unpack_record
from jarvision.run.provenance import Provenance
from jarvision.run.references import Sighting
from jarvision.run.stamps import Stamp

_DIGEST_BYTES: Final = 12


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


def known_in_row(row: tuple[Any, ...]) -> tuple[str, Known] | None:
    """Name and what a row says; None for one that no run of ours wrote: its photo is read again."""
    try:
        name, pictures = as_text(row[0]), tuple(filter(None, row[11].split("\n")))
        known = Known(
            stamp=Stamp(*row[1:4]),
            content=row[4],
            made_with=_provenance(*row[5:10]),
            by_file_time=bool(row[10]),
            pictures=pictures,
            here=bool(row[12]),
            sighting=_sighting(*row[13:16]),
        )
    except (AttributeError, TypeError, ValueError):
        return None
    return (name, known) if all(map(stays_inside, pictures)) else None


KEEP_LEAN: Final = "INSERT OR REPLACE INTO lean_readings VALUES (?, ?, ?, ?, ?)"


def lean_columns(reading: Reading, packed: bytes) -> tuple[bytes, bytes, bytes, str, bytes]:
    """Columns of a lean row; ``packed`` is the whole reading."""
    digest = sha256(packed).digest()[:_DIGEST_BYTES]
    shot = reading.picture if reading.status == "ok" else ""
    return as_bytes(reading.photo), as_bytes(reading.jar), digest, shot, pack_record(lean(reading))


@lru_cache(maxsize=4096)
def _provenance(code: str, settings: str, card: str, jar: str, reference: str) -> Provenance:
    """One record for all readings that were made alike."""
    return Provenance(code, settings, card, jar, reference)


def seen_columns(sighting: Sighting | None) -> tuple[bytes | None, str | None, bytes | None]:
    """Jar, day and packed look of a photo, as columns."""
    if sighting is None:
        return None, None, None
    look = sighting.look
    day = sighting.day.isoformat()
    return as_bytes(sighting.jar), day, pack_record(look) if look else None


def _sighting(jar: bytes | None, day: str | None, look: bytes | None) -> Sighting | None:
    """What the columns say; a look that cannot be unpacked is none."""
    if jar is None or day is None:
        return None
    try:
        found = unpack_record(BareLook, look) if look else None
    except PackingError:
        found = None
    return Sighting(as_text(jar), date.fromisoformat(day), found)


def now_text(timespec: str = "seconds") -> str:
    """The time, UTC, ISO 8601."""
    return datetime.now(UTC).isoformat(timespec=timespec)


def as_bytes(name: str) -> bytes:
    """A name as the store has it; bytes that are no text pass through."""
    return name.encode("utf-8", "surrogatepass")


def as_text(name: bytes) -> str:
    """A name that the store has, as text."""
    return name.decode("utf-8", "surrogatepass")
