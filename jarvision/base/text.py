"""Text that any file system, terminal, table or page can hold."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterable
from typing import Final

# Device names that Windows keeps for itself, whatever the suffix.
_RESERVED: Final = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?$", re.IGNORECASE)


_MAX_NAME_CHARS: Final = 56  # at four bytes a letter, with digest and suffix: under 255 bytes


def safe_name(text: str) -> str:
    """Turn any text into a file name that stays in its folder on every file system.

    Letters, digits, ``-``, ``_`` and inner dots stay; everything else becomes ``-``. A name that
    had to be changed ends in eight hex digits of its SHA-256, so that two names never meet.
    """
    plain = unicodedata.normalize("NFC", text)
    kept = "".join(c if c.isalnum() or c in "-_." else "-" for c in plain)
    kept = kept.strip(".-")[:_MAX_NAME_CHARS]
    if kept and kept == text and not _RESERVED.match(kept):
        return kept
    return with_digest("jar" if not kept or _RESERVED.match(kept) else kept, text)


def with_digest(name: str, source: str) -> str:
    """Name and eight hex digits of the SHA-256 of its source, so that two never meet."""
    return f"{name}-{hashlib.sha256(source.encode('utf-8', 'surrogatepass')).hexdigest()[:8]}"


def printable(text: str) -> str:
    """Text that any terminal, CSV file or page can hold: bytes that are no text are spelt out."""
    if text.isprintable():  # nearly all; then it has no space but the plain one
        return text
    spelt = text.encode("utf-8", "backslashreplace").decode("utf-8")
    spaced = "".join(" " if c.isspace() else c for c in spelt)
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in spaced)


def alike(name: str) -> str:
    """What names have in common that differ only in capitals, spaces and kinds of letters."""
    return "".join(unicodedata.normalize("NFKC", name).casefold().split())


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """Ask for the name that was meant, ``Did you mean K07?``; empty where none is near."""
    import difflib  # only where something went wrong

    names = {alike(other): other for other in known}
    near = difflib.get_close_matches(alike(name), names, n=3)
    return f"Did you mean {printable(' or '.join(names[n] for n in near))}?" if near else ""


def counted(number: int, thing: str, things: str = "") -> str:
    """Number and noun, ``1 jar`` or ``2 jars``; ``things`` where the plural is not in s."""
    return f"1 {thing}" if number == 1 else f"{number} {things or f'{thing}s'}"
