"""Records -> compressed JSON and back, whatever their fields: for the store.

A field that a later version adds with a default is filled in; one that it drops is passed over.
"""

from __future__ import annotations

import json
import struct
import zlib
from base64 import b64decode, b64encode
from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING, Any, Final, TypeVar

from jarvision.records import ShelfResult

if TYPE_CHECKING:
    from cattrs import Converter

FORMAT: Final = 1
"""Raised when the layout of the packed bytes changes; other formats are refused."""

_LEVEL: Final = 1  # outlines shrink to a third; higher levels take longer and gain little

_Record = TypeVar("_Record")


class PackingError(ValueError):
    """Bytes that are not a packed record of that kind: damaged, or of another format."""


def pack_record(record: object) -> bytes:
    """Pack a dataclass of plain values, times, tuples, bytes and other such dataclasses.

    Numbers come back bit by bit as they went in, texts too, bytes of odd file names included.
    """
    document = {"format": FORMAT, "record": _converter().unstructure(record)}
    # ASCII with escapes: file names may hold bytes that are no text, which UTF-8 would refuse
    text = json.dumps(document, separators=(",", ":"), default=_plain)
    return zlib.compress(text.encode("ascii"), _LEVEL)


def unpack_record(kind: type[_Record], packed: bytes) -> _Record:
    """Unpack what :func:`pack` made of a ``kind``.

    Raises
    ------
    PackingError
        Not such bytes; zlib's checksum (RFC 1950) tells damaged ones.
    """
    try:
        document = json.loads(zlib.decompress(packed))
        if document["format"] != FORMAT:
            raise PackingError(f"format {document['format']}, not {FORMAT}")
        return _converter().structure(document["record"], kind)
    except PackingError:
        raise
    except Exception as error:  # zlib, JSON and the converter have an error for each way to fail
        raise PackingError(f"{type(error).__name__}: {error}") from error


def pack_joined(records: Sequence[bytes], *, field: str) -> bytes:
    """Pack a record whose one field ``field`` holds packed records, without unpacking them.

    Raises
    ------
    PackingError
        One of them is damaged.
    """
    start, end = b'{"format":%d,"record":' % FORMAT, b"}"
    try:
        texts = [zlib.decompress(record) for record in records]
    except zlib.error as error:
        raise PackingError(str(error)) from error
    if not all(text.startswith(start) and text.endswith(end) for text in texts):
        raise PackingError("no packed record of this format")
    every = b",".join(text[len(start) : -len(end)] for text in texts)
    name = json.dumps(field).encode("ascii")
    return zlib.compress(start + b"{" + name + b":[" + every + b"]}" + end, _LEVEL)


def pack_pieces(pieces: Sequence[bytes]) -> bytes:
    """Put pieces of bytes one behind the other, so that :func:`unpack_pieces` parts them."""
    return struct.pack(f"<I{len(pieces)}I", len(pieces), *map(len, pieces)) + b"".join(pieces)


def unpack_pieces(packed: bytes) -> list[bytes]:
    """The pieces that :func:`pack_pieces` put together.

    Raises
    ------
    PackingError
        Not such bytes.
    """
    try:
        (count,) = struct.unpack_from("<I", packed)
        lengths = struct.unpack_from(f"<{count}I", packed, 4)
    except struct.error as error:
        raise PackingError(str(error)) from error
    at, pieces = 4 + 4 * count, []
    for length in lengths:
        pieces.append(packed[at : at + length])
        at += length
    if at != len(packed):
        raise PackingError("pieces are missing")
    return pieces


@cache
def _converter() -> Converter:
    from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn, override
    from cattrs.preconf.json import make_converter
    from markupsafe import Markup

    converter = make_converter(detailed_validation=False)
    omit = override(omit=True)  # parts belong to a run
    converter.register_unstructure_hook(
        ShelfResult, make_dict_unstructure_fn(ShelfResult, converter, parts=omit)
    )
    converter.register_structure_hook(
        ShelfResult, make_dict_structure_fn(ShelfResult, converter, parts=omit)
    )
    # base 64 (RFC 4648) in place of cattrs' base 85, which Python takes 2 ms a thumbnail to read
    converter.register_unstructure_hook(bytes, lambda raw: b64encode(raw).decode("ascii"))
    converter.register_structure_hook(Markup, lambda text, _: Markup(text))  # noqa: S704 - ours
    converter.register_structure_hook(bytes, lambda text, _: b64decode(text, validate=True))
    return converter


def _plain(value: Any) -> Any:
    """Plain number of a NumPy scalar that is no Python number by itself."""
    if hasattr(value, "item"):
        return value.item()
    raise TypeError(f"cannot pack a {type(value).__name__}")
