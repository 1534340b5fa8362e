"""Names of photos that come in: made here, of jar and time; a phone's own names are in none.

A name follows the rules of :mod:`jarvision.register.photo_names`, and is read back before it is
used. Its last number is made of the photo's content, so that the same photo never has two names.
"""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Final

from jarvision.base.text import safe_name
from jarvision.records import View
from jarvision.register.photo_names import read_name

SHA: Final = re.compile(r"[0-9a-f]{64}")
_DIGITS: Final = 12  # 40 bits: of ten thousand photos two are alike once in twenty thousand shelves
_NO_JAR: Final = "IMG"
_OWN: Final = re.compile(r".+_(\d{4}-\d\d-\d\d-\d{6}-(\d{12})(?:_[a-d])?\.[a-z]+)")

_SIGNATURES: Final = (
    (0, b"\xff\xd8\xff", ".jpg"),
    (0, b"\x89PNG\r\n\x1a\n", ".png"),
    (0, b"II*\x00", ".tif"),
    (0, b"MM\x00*", ".tif"),
    (8, b"WEBP", ".webp"),
    (4, b"ftyp", ".heic"),
)
SIGNATURE_BYTES: Final = 12


def suffix_of(head: bytes) -> str:
    """File suffix of a picture, by its first bytes; empty for what is none."""
    return next((suffix for at, mark, suffix in _SIGNATURES if head[at:].startswith(mark)), "")


def photo_file_name(
    jar: str, taken_at: datetime, sha: str, suffix: str, *, view: View = "front"
) -> tuple[str, bool]:
    """Name of a photo, and whether it tells the jar; where not, ``photo_jars.csv`` must."""
    mark = "" if view == "front" else f"_{view}"
    tail = f"{taken_at:%Y-%m-%d-%H%M%S}-{_number(sha)}{mark}{suffix}"
    return _of_jar(jar, tail, taken_at.date(), view)


def name_for_other_jar(name: str, jar: str, sha: str) -> str:
    """What a photo is called once it is known to show another jar.

    ``name`` is its name under the folder. One that was not made here is the grower's own and stays.
    """
    found = _OWN.fullmatch(name)
    if found is None or "/" in name or found[2] != _number(sha):
        return name
    parts = read_name(name)
    return _of_jar(jar, found[1], parts.day, parts.view)[0]


def clock_in(name: str) -> str:
    """The time of day in a name that was made here, as ``09:30``; empty in others."""
    found = _OWN.fullmatch(name)
    return f"{found[1][11:13]}:{found[1][13:15]}" if found else ""


def _of_jar(jar: str, tail: str, day: date | None, view: View) -> tuple[str, bool]:
    name = f"{safe_name(jar)}_{tail}"
    parts = read_name(name)
    if (parts.jar, parts.day, parts.view, parts.odd_view) == (jar, day, view, ""):
        return name, True
    return f"{_NO_JAR}_{tail}", False


def _number(sha: str) -> str:
    return f"{int(sha[:10], 16) % 10**_DIGITS:0{_DIGITS}d}"
