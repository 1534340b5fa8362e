"""Text files as editors and spreadsheets of any country save them: bytes -> text, and back."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

_MARKS: Final = (
    (b"\xef\xbb\xbf", "utf-8"),
    (b"\xff\xfe", "utf-16-le"),
    (b"\xfe\xff", "utf-16-be"),
)
"""Byte-order marks and what they stand for."""

OLD_ENCODING: Final = "cp1252"
"""What spreadsheets of western Europe and America save where they are not asked for UTF-8."""

_SPREADSHEETS: Final = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
"""First bytes of a zip archive (as .xlsx and .ods are), and of an old .xls file."""


class NoTextError(ValueError):
    """What was opened is no text; the message says what it is, and ends without a full stop."""

    def __init__(self, what: str, *, remedy: str = "Save it as CSV, UTF-8.") -> None:
        super().__init__(what)
        self.remedy = remedy


@dataclass(frozen=True)
class TextFile:
    """A text, and how its file encodes it, so that it can be written again in the same way.

    ``mark`` is the byte-order mark that stands before it.
    """

    text: str
    encoding: str = "utf-8"
    mark: bytes = b""

    @property
    def guessed(self) -> bool:
        """Whether nothing in the file tells its encoding: letters with accents may be wrong."""
        return self.encoding == OLD_ENCODING

    def encode(self, text: str) -> bytes:
        """Bytes of the file with another text; where the text is the same, so are the bytes.

        Raises
        ------
        UnicodeEncodeError
            The file's encoding has no such letter.
        """
        return self.mark + text.encode(self.encoding)


def read_text_file(path: Path) -> TextFile:
    """Read a text file.

    Raises
    ------
    NoTextError
        It is a folder, a spreadsheet's own file, or no text at all.
    OSError
        It cannot be read.
    """
    if path.is_dir():
        raise NoTextError("is a folder", remedy="Name the CSV file in it.")
    return decode_text(path.read_bytes())


def decode_text(data: bytes) -> TextFile:
    """Tell text by its byte-order mark; else it is UTF-8 where it can be, else Windows-1252.

    Raises
    ------
    NoTextError
        The bytes are no text.
    """
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return _decoded(data[len(mark) :], encoding, mark)
    if data.startswith(_SPREADSHEETS):
        raise NoTextError("is a spreadsheet's own file, not a CSV")
    if b"\x00" in data:
        raise NoTextError("is no text file")
    try:
        return TextFile(data.decode("utf-8"))
    except UnicodeDecodeError:
        return _decoded(data, OLD_ENCODING)


def _decoded(data: bytes, encoding: str, mark: bytes = b"") -> TextFile:
    try:
        return TextFile(data.decode(encoding), encoding, mark)
    except UnicodeDecodeError:
        raise NoTextError("is damaged, or no text file") from None
