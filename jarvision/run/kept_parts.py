"""What is made of a jar, kept in the store under a digest of all that it was made of.

Stories are the first such parts (:mod:`jarvision.run.telling`); those of the report go on from them
(:class:`jarvision.records.parts.Parts`). A part that cannot be unpacked is made anew.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping
from hashlib import sha256
from typing import TypeVar

from jarvision.run.packing import PackingError, pack_record, unpack_record
from jarvision.run.provenance import whole_code
from jarvision.run.store import Store

_Record = TypeVar("_Record")

_LEVEL = 1


def part_digest(kind: str, *made_of: object) -> bytes:
    """Digest of what a part is made of; each thing by its ``repr``, which must tell its value.

    The code of the whole package is in it.
    """
    text = repr((whole_code(), kind, made_of))
    return sha256(text.encode("utf-8", "backslashreplace")).digest()


class KeptParts:
    """Parts of the report, kept in an open store: see :class:`jarvision.records.parts.Parts`.

    ``told_of`` is the digest of what each jar's story was told of; parts of other jars are made
    anew.
    """

    def __init__(self, store: Store, told_of: Mapping[str, bytes]) -> None:
        self._store, self._told_of = store, told_of

    def text(
        self, kind: str, jar: str, made_of: tuple[object, ...], make: Callable[[], str]
    ) -> str:
        """Text, as it was kept, or made now."""

        def unpack(packed: bytes) -> str:
            return zlib.decompress(packed).decode("utf-8", "surrogatepass")

        def pack(text: str) -> bytes:
            return zlib.compress(text.encode("utf-8", "surrogatepass"), _LEVEL)

        return self._part((kind, jar), made_of, make, pack=pack, unpack=unpack)

    def record(
        self,
        kind: str,
        jar: str,
        made_of: tuple[object, ...],
        make: Callable[[], _Record],
        *,
        like: type[_Record],
    ) -> _Record:
        """A record, as it was kept, or made now."""
        return self._part(
            (kind, jar),
            made_of,
            make,
            pack=pack_record,
            unpack=lambda packed: unpack_record(like, packed),
        )

    def _part(
        self,
        name: tuple[str, str],
        made_of: tuple[object, ...],
        make: Callable[[], _Record],
        *,
        pack: Callable[[_Record], bytes],
        unpack: Callable[[bytes], _Record],
    ) -> _Record:
        kind, jar = name
        told_of = self._told_of.get(jar)
        if told_of is None:
            return make()
        digest = part_digest(kind, jar, told_of, made_of)
        return kept_part(self._store, name, digest, make, pack=pack, unpack=unpack)


def kept_part(
    store: Store,
    name: tuple[str, str],
    digest: bytes,
    make: Callable[[], _Record],
    *,
    pack: Callable[[_Record], bytes],
    unpack: Callable[[bytes], _Record],
) -> _Record:
    """A part, by its kind and its jar, as the store has it under this digest; else made, and kept.

    What comes is unpacked in either case: a part is the same whether it was kept or made now.
    """
    kept = store.part(*name)
    if kept is not None and kept[0] == digest:
        try:
            return unpack(kept[1])
        except (PackingError, zlib.error, ValueError):
            pass
    packed = pack(make())
    store.keep_part(*name, digest=digest, made=packed)
    return unpack(packed)
