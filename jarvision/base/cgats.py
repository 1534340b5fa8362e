"""Tables of measured colours as text: CGATS.17 and its international twin, ISO 28178.

The grammar (both standards, from memory): a first line that names the standard; then keywords
with values; ``BEGIN_DATA_FORMAT``, the names of the fields, ``END_DATA_FORMAT``; ``BEGIN_DATA``,
the sets of values, ``END_DATA``. Words are parted by blanks, tabs or line ends, strings stand in
double quotes (a doubled quote is one quote), ``#`` begins a comment. A file may hold several
tables, one after the other.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from jarvision.base.errors import UsageError
from jarvision.records import FloatArray

IDENTIFIER = "CGATS.17"

REPEATED_FIELDS = ("SPECTRAL_NM", "SPECTRAL_DEC", "SPECTRAL_PCT")
"""Fields that may stand several times in a row: a wavelength and what was measured there."""

_LINE_END = re.compile(r"\r\n|\r|\n")
_WORD = re.compile(r'[ \t\f\v]*(?:"((?:[^"]|"")*)"|(#.*)|([^\s"]\S*))')
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?")
_BEGIN_FORMAT, _END_FORMAT = "BEGIN_DATA_FORMAT", "END_DATA_FORMAT"
_BEGIN_DATA, _END_DATA = "BEGIN_DATA", "END_DATA"

# Keywords that the standards define and that are written here; others must be declared first.
_STANDARD = {"ORIGINATOR", "FILE_DESCRIPTOR", "CREATED", "WEIGHTING_FUNCTION"}

_SAVE_AGAIN = "Save the measurement again as CGATS.17 or ISO 28178 text, or mend that line."


class CgatsError(UsageError):
    """A text that is no CGATS.17 or ISO 28178 table; the message gives the line."""

    def __init__(self, problem: str, *, line: int | None = None, remedy: str = _SAVE_AGAIN) -> None:
        super().__init__(problem if line is None else f"line {line}: {problem}", remedy)
        self.line = line


@dataclass(frozen=True)
class CgatsTable:
    """One table.

    Attributes
    ----------
    header
        Keyword to its values, in the order of the file; a keyword may stand there several times.
    fields
        Names of the columns, upper case.
    rows
        The sets, one string for each field.
    lines
        The line on which each set begins, counted from 1.
    """

    header: Mapping[str, tuple[str, ...]]
    fields: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]

    def column(self, name: str) -> tuple[str, ...]:
        """Strings of one field; ``KeyError`` when there is none of that name."""
        if name not in self.fields:
            raise KeyError(name)
        index = self.fields.index(name)
        return tuple(row[index] for row in self.rows)

    def numbers(self, *names: str) -> FloatArray:
        """``(rows, names)`` numbers.

        Raises
        ------
        CgatsError
            A value is no finite decimal number.
        """
        return self._numbers([self.fields.index(name) for name in names])

    def repeated(self, name: str) -> FloatArray:
        """``(rows, times)`` numbers of a field, as often as it stands in a row; as above."""
        return self._numbers([n for n, field in enumerate(self.fields) if field == name])

    def _numbers(self, places: Sequence[int]) -> FloatArray:
        rows = [
            [_number(row[place], line) for place in places]
            for row, line in zip(self.rows, self.lines, strict=True)
        ]
        return np.array(rows, dtype=np.float64).reshape(len(self.rows), len(places))


def read_cgats(text: str) -> tuple[CgatsTable, ...]:
    """Parse a text.

    Raises
    ------
    CgatsError
        The text does not follow the grammar, or holds no table.
    """
    reader = _Reader()
    for number, line in enumerate(_LINE_END.split(text.removeprefix("\ufeff")), start=1):
        reader.feed(_words(line, number), number)
    return reader.close()


def write_cgats(
    header: Mapping[str, str], *, fields: Sequence[str], rows: Iterable[Sequence[str | float]]
) -> str:
    """Write one table as CGATS.17 text; numbers get four decimals, strings quotes."""
    table = [tuple(row) for row in rows]
    lines = [IDENTIFIER]
    for keyword, value in header.items():
        if keyword not in _STANDARD:
            lines.append(f'KEYWORD "{keyword}"')
        lines.append(f"{keyword} {_quoted(value)}")
    lines += [f"NUMBER_OF_FIELDS {len(fields)}", _BEGIN_FORMAT, " ".join(fields), _END_FORMAT]
    lines += [f"NUMBER_OF_SETS {len(table)}", _BEGIN_DATA]
    lines += ["\t".join(_cell(value) for value in row) for row in table]
    return "\n".join([*lines, _END_DATA, ""])


def _quoted(text: str) -> str:
    doubled = " ".join(text.split()).replace('"', '""')
    return f'"{doubled}"'


def _cell(value: str | float) -> str:
    return _quoted(value) if isinstance(value, str) else f"{value:.4f}"


# --------------------------------------------------------------------------- reading
@dataclass(frozen=True)
class _Word:
    text: str
    line: int
    quoted: bool

    @property
    def keyword(self) -> str:
        """Upper case, empty for a quoted string: a string is never a keyword."""
        return "" if self.quoted else self.text.upper()


def _words(line: str, number: int) -> list[_Word]:
    words, place = [], 0
    while place < len(line.rstrip()):
        found = _WORD.match(line, place)
        if found is None:
            raise CgatsError("a double quote is never closed", line=number)
        place = found.end()
        string, comment, bare = found.groups()
        if comment is not None:
            break
        quoted = string is not None
        words.append(_Word(string.replace('""', '"') if quoted else bare, number, quoted))
    return words


@dataclass
class _Reader:
    """The tables so far, and the one that is being read."""

    tables: list[CgatsTable] = field(default_factory=list)
    header: dict[str, tuple[str, ...]] = field(default_factory=dict)
    fields: list[_Word] = field(default_factory=list)
    data: list[_Word] = field(default_factory=list)
    inside: str = ""
    since: int = 0

    def feed(self, words: list[_Word], line: int) -> None:
        """Take one line."""
        while words:
            words = self._body(words) if self.inside else self._header(words, line)

    def _header(self, words: list[_Word], line: int) -> list[_Word]:
        """Take a keyword and its values; return what follows the begin of a body."""
        keyword = words[0].keyword
        if keyword in (_BEGIN_FORMAT, _BEGIN_DATA):
            if keyword == _BEGIN_DATA and not self.fields:
                raise CgatsError(f"{_BEGIN_DATA} before the fields were named", line=line)
            self.inside, self.since = keyword.removeprefix("BEGIN"), line
            return words[1:]
        if keyword in (_END_FORMAT, _END_DATA):
            raise CgatsError(f"{keyword} without its beginning", line=line)
        value = " ".join(word.text for word in words[1:])
        self.header[keyword] = (*self.header.get(keyword, ()), value)
        return []

    def _body(self, words: list[_Word]) -> list[_Word]:
        """Take words up to the end of the body; return what follows it."""
        body = self.fields if self.inside == "_DATA_FORMAT" else self.data
        for index, word in enumerate(words):
            if word.keyword == f"END{self.inside}":
                self._end(word.line)
                return words[index + 1 :]
            if word.keyword in (_BEGIN_FORMAT, _BEGIN_DATA, _END_FORMAT, _END_DATA):
                raise CgatsError(
                    f"{word.keyword} before the end of BEGIN{self.inside} in line {self.since}",
                    line=word.line,
                )
            body.append(word)
        return []

    def _end(self, line: int) -> None:
        if self.inside == "_DATA_FORMAT":
            self._check_fields(line)
        else:
            self._add_table(line)
        self.inside = ""

    def _check_fields(self, line: int) -> None:
        names = [word.text.upper() for word in self.fields]
        if not names:
            raise CgatsError("no field is named", line=line)
        for word in self.fields:
            name = word.text.upper()
            if names.count(name) > 1 and name not in REPEATED_FIELDS:
                raise CgatsError(f"field {word.text} is named twice", line=word.line)
        self._check_count("NUMBER_OF_FIELDS", len(names), line)

    def _add_table(self, line: int) -> None:
        width = len(self.fields)
        if len(self.data) % width:
            raise self._odd_line(width)
        sets = [self.data[start : start + width] for start in range(0, len(self.data), width)]
        self._check_count("NUMBER_OF_SETS", len(sets), line)
        self.tables.append(
            CgatsTable(
                header=self.header,
                fields=tuple(word.text.upper() for word in self.fields),
                rows=tuple(tuple(word.text for word in row) for row in sets),
                lines=tuple(row[0].line for row in sets),
            )
        )
        self.header, self.fields, self.data = {}, [], []

    def _odd_line(self, width: int) -> CgatsError:
        """Point at the first line whose values do not fill its fields."""
        counts: dict[int, int] = {}
        for word in self.data:
            counts[word.line] = counts.get(word.line, 0) + 1
        line = next(number for number, count in counts.items() if count % width)
        return CgatsError(f"{counts[line]} values for {width} fields", line=line)

    def _check_count(self, keyword: str, counted: int, line: int) -> None:
        """Compare with what the header says; a shortened file is found by it."""
        for said in self.header.get(keyword, ()):
            if said.strip() and said.strip() != str(counted):
                raise CgatsError(f"{keyword} is {said} but {counted} are there", line=line)

    def close(self) -> tuple[CgatsTable, ...]:
        if self.inside:
            raise CgatsError(f"BEGIN{self.inside} is never ended", line=self.since)
        if not self.tables:
            raise CgatsError(f"no table: {_BEGIN_FORMAT} and {_BEGIN_DATA} are missing")
        return tuple(self.tables)


def _number(text: str, line: int) -> float:
    if not _NUMBER.fullmatch(text):
        hint = " (write a decimal point)" if _NUMBER.fullmatch(text.replace(",", ".")) else ""
        raise CgatsError(f"'{text[:40]}' is not a number{hint}", line=line)
    number = float(text)
    if not np.isfinite(number):
        raise CgatsError(f"'{text[:40]}' is too large", line=line)
    return number
