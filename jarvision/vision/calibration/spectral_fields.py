"""Spectra in a table of measured colours: which fields hold them, and in which scale.

Three ways of writing them are met (names from memory, and common practice):

- one field for each wavelength, the wavelength in its name: ``SPECTRAL_NM380``, ``SPECTRAL_380``,
  ``SPECTRAL_PCT_380``, ``SPEC_380``, ``NM380``, ``R_380``, ``380NM``;
- pairs of the standard's own fields, ``SPECTRAL_NM`` with ``SPECTRAL_DEC`` (perfect white 1) or
  ``SPECTRAL_PCT`` (100), repeated over the row;
- one such pair in each row, and a row for each wavelength of a sample.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from jarvision.base.cgats import REPEATED_FIELDS, CgatsError, CgatsTable
from jarvision.base.spectra import LARGEST_NM, SMALLEST_NM, wavelength_fault
from jarvision.records import FloatArray

_IN_NAME = re.compile(
    r"(?:(?:SPECTRAL|SPEC)_?(?:(NM|PCT|DEC)_?)?|NM_?|R_?)(\d{3,4}(?:\.\d+)?)(?:_?NM)?"
    r"|(\d{3,4}(?:\.\d+)?)_?NM"
)
_NM, _DEC, _PCT = REPEATED_FIELDS
_NORM = "SPECTRAL_NORM"
_PERCENT = 100.0
_WHITE_OF_UNIT_SCALE = 2.0  # a lightest reading above this means that white is 100, not 1
_LOWEST, _HIGHEST = -0.05, 1.8  # reflectance of noise on black, and of paper that fluoresces

_EXPORT = "Export the spectra of 380 to 730 nm in steps of 10 nm, or XYZ for D50, 2 degrees."


@dataclass(frozen=True)
class Spectra:
    """Measured spectra.

    Attributes
    ----------
    nm
        Rising wavelengths ``(n,)``.
    reflectance
        ``(readings, n)``, 1 for the perfect white.
    rows
        Of each reading the row of the table in which it begins.
    """

    nm: FloatArray
    reflectance: FloatArray
    rows: tuple[int, ...]


def has_spectra(table: CgatsTable) -> bool:
    """Tell whether a table has fields that this module reads."""
    return len(_fields_by_wavelength(table)) > 1 or _NM in table.fields


def read_spectra(table: CgatsTable, *, sample: Sequence[str]) -> Spectra:
    """Read the spectra of a table that has some.

    Parameters
    ----------
    sample
        What each row is a reading of; used where a sample goes over several rows.

    Raises
    ------
    CgatsError
        Wavelengths that cannot be used, or numbers that are no reflectance.
    """
    by_name = _fields_by_wavelength(table)
    spectra = _wide(table, by_name) if len(by_name) > 1 else _paired(table, sample)
    if fault := wavelength_fault(spectra.nm):
        raise CgatsError(fault, remedy=_EXPORT)
    low, high = spectra.reflectance.min(axis=1), spectra.reflectance.max(axis=1)
    for wrong, number in ((low < _LOWEST, low), (high > _HIGHEST, high)):
        if wrong.any():
            line = table.lines[spectra.rows[int(np.argmax(wrong))]]
            raise CgatsError(f"{number[wrong][0]:g} is no reflectance", line=line)
    return spectra


# --------------------------------------------------------------------------- a field a wavelength
def _fields_by_wavelength(table: CgatsTable) -> dict[str, float]:
    """Wavelength of every field that has one in its name."""
    found = {}
    for name in table.fields:
        match = _IN_NAME.fullmatch(name)
        if match and SMALLEST_NM <= (nm := float(match[2] or match[3])) <= LARGEST_NM:
            found[name] = nm
    return found


def _wide(table: CgatsTable, by_name: dict[str, float]) -> Spectra:
    names = sorted(by_name, key=by_name.__getitem__)
    numbers = table.numbers(*names)
    if len(numbers) == 0:
        raise CgatsError("the table is empty")
    kinds = {match[1] for name in names if (match := _IN_NAME.fullmatch(name))} & {"PCT", "DEC"}
    if len(kinds) > 1:
        raise CgatsError("spectra in per cent and in decimals", remedy=_EXPORT)
    white = _white(table, numbers, field=kinds.pop() if kinds else "")
    nm = np.array([by_name[name] for name in names])
    return Spectra(nm, numbers / white, tuple(range(len(numbers))))


def _white(table: CgatsTable, numbers: FloatArray, *, field: str) -> float:
    """The number that stands for the perfect white: by the field, the header, or the size."""
    if field:
        return _PERCENT if field == "PCT" else 1.0
    said = table.header.get(_NORM, ())
    if said:
        try:
            norm = float(said[-1])
        except ValueError:
            norm = 0.0
        if not 0.0 < norm <= _PERCENT:
            raise CgatsError(f"{_NORM} is '{said[-1][:40]}', neither 1 nor 100")
        return norm
    return _PERCENT if numbers.max() > _WHITE_OF_UNIT_SCALE else 1.0


# --------------------------------------------------------------------------- pairs of fields
def _paired(table: CgatsTable, sample: Sequence[str]) -> Spectra:
    """Read ``SPECTRAL_NM`` with ``SPECTRAL_DEC`` or ``SPECTRAL_PCT``, over rows or down them."""
    value = _value_field(table)
    nm, numbers = table.repeated(_NM), table.repeated(value)
    if nm.shape != numbers.shape:
        raise CgatsError(f"{nm.shape[1]} fields {_NM}, but {numbers.shape[1]} fields {value}")
    if len(nm) == 0:
        raise CgatsError("the table is empty")
    readings = list(_readings(nm, sample))
    first = np.sort(nm[readings[0]].ravel())
    reflectance = []
    for rows in readings:
        order = np.argsort(nm[rows].ravel(), kind="stable")
        if not np.array_equal(nm[rows].ravel()[order], first):
            raise CgatsError(
                f"other wavelengths than in line {table.lines[0]}", line=table.lines[rows[0]]
            )
        reflectance.append(numbers[rows].ravel()[order])
    white = _PERCENT if value == _PCT else 1.0
    return Spectra(first, np.array(reflectance) / white, tuple(rows[0] for rows in readings))


def _value_field(table: CgatsTable) -> str:
    given = [name for name in (_DEC, _PCT) if name in table.fields]
    if len(given) != 1:
        raise CgatsError(f"{_NM} needs {_DEC} or {_PCT} beside it, one of them", remedy=_EXPORT)
    return given[0]


def _readings(nm: FloatArray, sample: Sequence[str]) -> Iterator[list[int]]:
    """Rows of each reading: a row that holds several wavelengths is one, else a run of rows."""
    if nm.shape[1] > 1:
        yield from ([row] for row in range(len(nm)))
        return
    rows: list[int] = []
    for row in range(len(nm)):
        other = bool(rows) and sample[row] != sample[rows[0]]
        if other or nm[row, 0] in nm[rows, 0]:  # another sample, or the same once more
            yield rows
            rows = []
        rows.append(row)
    yield rows
