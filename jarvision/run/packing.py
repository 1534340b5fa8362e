"""Records -> compressed JSON and back, whatever their fields: for the store.

A field that a later version adds with a default is filled in; one that it drops is passed over.
"""

from __future__ import annotations

import json
import zlib
from base64 import b64decode, b64encode
from functools import cache
from typing import TYPE_CHECKING, Any, Final, TypeVar

if TYPE_CHECKING:
    from cattrs import Converter

FORMAT: Final = 1
"""Raised when the layout of the packed bytes changes; other formats are refused."""

_LEVEL: Final = 1  # outlines shrink to a third; higher levels take longer and gain little

Record = TypeVar("Record")


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


def unpack_record(kind: type[Record], packed: bytes) -> Record:
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


@cache
def _converter() -> Converter:
    from cattrs.preconf.json import make_converter

    converter = make_converter(detailed_validation=False)
    # base 64 (RFC 4648) in place of cattrs' base 85, which Python takes 2 ms a thumbnail to read
    converter.register_unstructure_hook(bytes, lambda raw: b64encode(raw).decode("ascii"))
    converter.register_structure_hook(bytes, lambda text, _: b64decode(text, validate=True))
    return converter


def _plain(value: Any) -> Any:
    """Plain number of a NumPy scalar that is no Python number by itself."""
    if hasattr(value, "item"):
        return value.item()
    raise TypeError(f"cannot pack a {type(value).__name__}")
