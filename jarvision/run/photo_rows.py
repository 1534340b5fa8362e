"""All readings of a run, lean and packed, in the order of the photos; which are whose.

A reading is put right on the way: its jar's name of today, what the grower has counted, the same
shot in two files. Only readings that ask for it are unpacked for that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256

from jarvision.base.long import LongSequence, chunked
from jarvision.history.repeats import refuse_repeats, tell_shared_pictures
from jarvision.records import Reading
from jarvision.run.long_histories import (
    READINGS_PACKED,
    join_readings,
    lean,
    long_readings,
    reading_chunks,
    unpack_readings,
)
from jarvision.run.packing import PackingError, pack_record, unpack_record
from jarvision.run.store import LeanRow, Store


class DamagedRowsError(Exception):
    """Rows of the store whose bytes no longer hold together; ``photos`` names them."""

    def __init__(self, photos: Sequence[str]) -> None:
        super().__init__(f"{len(photos)} damaged rows")
        self.photos = photos


@dataclass(frozen=True)
class Amend:
    """How readings are put right, each by itself.

    Attributes
    ----------
    now
        The name that a jar has now.
    right
        A reading under its jar's name of today, put right by counts.
    made_of
        All that ``now`` and ``right`` look at, as text.
    plain
        Whether ``right`` leaves every reading as it is.
    """

    now: Callable[[str], str]
    right: Callable[[Reading], Reading]
    made_of: str
    plain: bool


@dataclass
class JarRows:
    """The photos of one jar, in order, and a digest of their readings as they are put right."""

    photos: list[str] = field(default_factory=list)
    digest: bytes = b""


class PhotoRows:
    """See above.

    Attributes
    ----------
    readings
        Lean, put right, in the order of the photos.
    jars
        By jar of today, in the order of the photos; those of no jar under the empty name.
    shared
        Sentences on pictures that stand for several jars.

    Raises
    ------
    DamagedRowsError
        The store has no sound row of some photos; they must be read again.
    """

    def __init__(
        self, store: Store, photos: Sequence[str], loose: Mapping[str, Reading], amend: Amend
    ) -> None:
        self._store, self._loose, self._amend = store, loose, amend
        alike = store.alike_pictures()
        suspects = [name for name in photos if name in alike]
        packed = zip(suspects, store.lean_rows(suspects), strict=True)
        shots = [amend.right(_unpacked(name, row)) for name, row in packed if name not in loose]
        told = refuse_repeats(shots)
        self.shared = tell_shared_pictures(told)
        self._refused = {r.photo: r for r, shot in zip(told, shots, strict=True) if r is not shot}
        self.jars: dict[str, JarRows] = {}
        self.readings = self._gathered(photos)

    def whole(self, jar: str) -> list[Reading]:
        """The readings of a jar with all that the store has of them, put right.

        Raises
        ------
        DamagedRowsError
        """
        found, damaged = [], []
        for name in self.jars[jar].photos:
            reading = self._loose.get(name) or self._store.reading(name)
            if reading is None:
                damaged.append(name)
            else:
                found.append(self._refused.get(name) or self._amend.right(reading))
        if damaged:
            raise DamagedRowsError(damaged)
        return found

    def _gathered(self, photos: Sequence[str]) -> LongSequence[Reading]:
        hashes: dict[str, list[bytes]] = {}
        chunks = []
        rows = zip(photos, self._rows(photos), strict=True)
        for chunk in chunked(rows, READINGS_PACKED):
            if damaged := [name for name, row in chunk if row is None]:
                raise DamagedRowsError(damaged)
            named = [(name, row) for name, row in chunk if row is not None]
            for name, row in named:
                jar = self._amend.now(row.jar)
                self.jars.setdefault(jar, JarRows()).photos.append(name)
                refused = repr(self._refused.get(name)).encode("utf-8", "surrogatepass")
                key = name.encode("utf-8", "surrogatepass")
                hashes.setdefault(jar, []).append(sha256(row.digest + key + refused).digest())
            chunks.append(self._packed(named))
        for jar, parts in hashes.items():
            self.jars[jar].digest = sha256(
                b"".join(parts) + self._amend.made_of.encode("utf-8", "surrogatepass")
            ).digest()
        return long_readings(chunks, len(photos))

    def _rows(self, photos: Sequence[str]) -> Iterator[LeanRow | None]:
        for name, row in zip(photos, self._store.lean_rows(photos), strict=True):
            loose = self._loose.get(name)
            if loose is None:
                yield row
            else:
                packed = pack_record(lean(loose))
                yield LeanRow(loose.jar, sha256(pack_record(loose)).digest(), packed)

    def _packed(self, named: Sequence[tuple[str, LeanRow]]) -> bytes:
        """A chunk; unpacked and packed anew where a reading in it must be put right."""
        try:
            chunk = join_readings([row.packed for _, row in named])
            refused = any(name in self._refused for name, _ in named)
            if self._amend.plain and not refused:
                return chunk
            told = [self._refused.get(r.photo) or r for r in unpack_readings(chunk)]
        except PackingError:
            broken = [name for name, row in named if not _is_sound(row)]
            raise DamagedRowsError(broken or [name for name, _ in named]) from None
        right = [r if r.photo in self._refused else self._amend.right(r) for r in told]
        (made,) = reading_chunks(right)
        return made


def _unpacked(name: str, row: LeanRow | None) -> Reading:
    try:
        if row is None:
            raise DamagedRowsError([name])
        return unpack_record(Reading, row.packed)
    except PackingError:
        raise DamagedRowsError([name]) from None


def _is_sound(row: LeanRow) -> bool:
    try:
        unpack_record(Reading, row.packed)
    except PackingError:
        return False
    return True
