"""Card values in files: the folder ``calibration`` beside the photos.

It holds CGATS.17 or ISO 28178 text: whatever the grower measured, and the dated files that
``jarvision calibrate`` writes.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from jarvision.base.cgats import CgatsError, CgatsTable, read_cgats, write_cgats
from jarvision.base.colourspace import (
    WHITE_D50,
    WHITE_D65,
    d50_to_d65,
    delta_e_2000,
    lab_to_xyz,
    linear_to_lab,
    linear_to_xyz,
    xyz_to_linear,
)
from jarvision.base.errors import NotWritableError, UsageError
from jarvision.base.spectra import reflectance_to_xyz
from jarvision.records import FloatArray
from jarvision.vision.calibration.spectral_fields import has_spectra, read_spectra
from jarvision.vision.calibration.values import (
    MEASURED_DE00,
    NOMINAL_DE00,
    CardValues,
    nominal_values,
)
from jarvision.vision.card.layout import CardLayout, load_layout

VALUES_FOLDER = "calibration"
SUFFIXES = (".txt", ".cgats", ".cgt")
_MAX_BYTES = 5_000_000
"""No table of a card's colours is larger, with spectra and all."""

REPEATS_MAX_DE00 = 3.0
"""Readings of one swatch that are further from their mean are not of one swatch, CIEDE2000."""

_AS_PRINTED, _SCALE, _VERSION, _ERROR = "AS_PRINTED", "PRINT_SCALE", "CARD_VERSION", "EXPECTED_DE00"
_XYZ, _LAB = ("XYZ_X", "XYZ_Y", "XYZ_Z"), ("LAB_L", "LAB_A", "LAB_B")
_FULL_SCALE_XYZ = 100.0
_WHITE_OF_UNIT_SCALE = 2.0  # a lightest swatch below this means that white is 1, not 100
_LARGEST = 200.0  # no XYZ (0 to 100) or CIELAB value of a print is larger
_NAME_FIELDS = ("SAMPLE_NAME", "SAMPLE_ID")


def load_card_values(folder: Path, *, layout: CardLayout | None = None) -> CardValues:
    """Choose the best values in ``folder/calibration``.

    Measured ones come before as-printed ones, newer before older (by the date in the file's
    ``CREATED``, then by name); nominal values when there are none.

    Raises
    ------
    UsageError
        A file there cannot be read, or is for another version of the card: it is told rather than
        passed over, or a mistyped measurement would go unnoticed.
    """
    layout = layout or load_layout()
    found = [read_card_values(path, layout=layout) for path in value_files(folder)]
    if not found:
        return nominal_values(layout)
    return max(found, key=lambda dated: dated.rank).values


def value_files(folder: Path) -> list[Path]:
    """The files of card values in ``folder/calibration``, by name; none is fine."""
    place = folder / VALUES_FOLDER
    if not place.is_dir():
        return []
    return sorted(
        path for path in place.iterdir() if path.suffix.lower() in SUFFIXES and path.is_file()
    )


def write_as_printed(
    folder: Path, values: CardValues, *, day: date, layout: CardLayout | None = None
) -> Path:
    """Write ``calibration/as-printed-DATE.txt`` below ``folder``; an older one of that day goes.

    Raises
    ------
    NotWritableError
    """
    layout = layout or load_layout()
    text = write_cgats(
        {
            "ORIGINATOR": "jarvision calibrate",
            "FILE_DESCRIPTOR": "Colours of the printed card, estimated from photos",
            "CREATED": day.isoformat(),
            "WEIGHTING_FUNCTION": "ILLUMINANT,D65 OBSERVER,2degree",
            _AS_PRINTED: "yes",
            _VERSION: str(layout.version),
            _SCALE: f"{values.print_scale:.4f}",
            _ERROR: f"{values.expected_de00:.2f}",
        },
        fields=("SAMPLE_ID", *_XYZ, *_LAB),
        rows=[
            (name, *(float(number) for number in (*xyz, *lab)))
            for name, xyz, lab in zip(
                layout.names,
                linear_to_xyz(values.linear) * _FULL_SCALE_XYZ,
                values.lab,
                strict=True,
            )
        ],
    )
    path = folder / VALUES_FOLDER / f"as-printed-{day.isoformat()}.txt"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="ascii")
    except OSError as error:
        raise NotWritableError(
            f"Cannot write {path}: {error.strerror}", "Choose another folder with --out."
        ) from error
    return path


# --------------------------------------------------------------------------- reading
@dataclass(frozen=True)
class DatedValues:
    """The values of one file, and the day on which it says that it was made."""

    values: CardValues
    created: date

    @property
    def rank(self) -> tuple[bool, date, str]:
        """Sorts files: measured after as-printed, newer after older, then by name."""
        return self.values.reference == "measured", self.created, self.values.source


def read_card_values(path: Path, *, layout: CardLayout | None = None) -> DatedValues:
    """Read one file.

    ``XYZ_X`` to ``XYZ_Z`` (0 to 100) or ``LAB_L`` to ``LAB_B``, for the 2 degree observer, under
    D50 unless the header says D65; D50 values are adapted by Bradford. Spectra are used before
    them: a spectrum says what the swatch is under D65 without any adaptation, whatever observer
    and illuminant the header names for the other fields. Swatches are known by ``SAMPLE_NAME`` or
    ``SAMPLE_ID``: their name, or their number from 1, down the left column, then down the right
    one. Repeated readings of a swatch are averaged.

    Raises
    ------
    UsageError
        Not a table, not of this card, or not complete; names the file and, where it can, the line.
    """
    layout = layout or load_layout()
    try:
        table = _colour_table(_text_of(path))
        _check_version(table, layout)
        as_printed = bool(table.header.get(_AS_PRINTED))
        values = CardValues(
            linear=_linear_of(table, layout),
            reference="as-printed" if as_printed else "measured",
            expected_de00=_header_number(
                table, _ERROR, NOMINAL_DE00 if as_printed else MEASURED_DE00
            ),
            source=path.name,
            print_scale=_header_number(table, _SCALE, 1.0),
        )
    except CgatsError as error:
        other = f"If it is no measurement of the card, take it out of {path.parent.name}."
        raise UsageError(f"{path}, {error.message}", f"{error.remedy} {other}".strip()) from error
    return DatedValues(values, _created(table, path))


def _text_of(path: Path) -> str:
    try:
        if path.stat().st_size > _MAX_BYTES:
            raise CgatsError("too large for a table of colours")
        return path.read_bytes().decode("utf-8", errors="replace")
    except OSError as error:
        raise CgatsError(f"cannot be read: {error.strerror}", remedy="") from error


def _colour_table(text: str) -> CgatsTable:
    tables = read_cgats(text)
    for table in tables:
        if has_spectra(table):
            return table
    for table in tables:
        if _colour_fields(table):
            return table
    raise CgatsError(
        "no spectra, no XYZ_X, XYZ_Y, XYZ_Z and no LAB_L, ...",
        remedy="Export spectra, or XYZ or CIELAB for D50 (or D65) and the 2 degree observer.",
    )


def _colour_fields(table: CgatsTable) -> tuple[str, ...]:
    """Names of the XYZ or else the CIELAB fields; empty when there are none."""
    return next((names for names in (_XYZ, _LAB) if set(names) <= set(table.fields)), ())


def _check_version(table: CgatsTable, layout: CardLayout) -> None:
    said = table.header.get(_VERSION, ())
    if said and said[-1].strip() != str(layout.version):
        raise CgatsError(
            f"made for card version {said[-1]}, this is version {layout.version}",
            remedy="Print the card anew and calibrate it, or take the file away.",
        )


@dataclass(frozen=True)
class _Readings:
    """Of each reading: what it is of, the line on which it begins, XYZ under D65, white 1."""

    names: tuple[str, ...]
    lines: tuple[int, ...]
    xyz: FloatArray


def _linear_of(table: CgatsTable, layout: CardLayout) -> FloatArray:
    """``(n, 3)`` in the order of the layout, every swatch once."""
    names = _names(table, layout)
    read = _by_spectra(table, names) if has_spectra(table) else _by_values(table, names)
    linear = xyz_to_linear(read.xyz)
    readings: dict[str, list[int]] = {name: [] for name in layout.names}
    for row, name in enumerate(read.names):
        if name in readings:
            readings[name].append(row)
    missing = [name for name, rows in readings.items() if not rows]
    if missing:
        raise CgatsError(
            f"no values for {', '.join(missing[:4])}"
            + (f" and {len(missing) - 4} more" if len(missing) > 4 else ""),
            remedy="SAMPLE_NAME is the swatch's name as in card.toml, or SAMPLE_ID its number.",
        )
    for name, rows in readings.items():
        lab = linear_to_lab(linear[rows])
        if delta_e_2000(lab, lab.mean(axis=0)).max() > REPEATS_MAX_DE00:
            raise CgatsError(f"the readings of {name} disagree", line=read.lines[rows[-1]])
    return np.array([linear[rows].mean(axis=0) for rows in readings.values()])


def _names(table: CgatsTable, layout: CardLayout) -> tuple[str, ...]:
    """Swatch name of every row; rows of other things keep their own word."""
    for field in _NAME_FIELDS:
        if field not in table.fields:
            continue
        words = [word.strip().lower() for word in table.column(field)]
        if set(words) & set(layout.names):
            return tuple(words)
    if "SAMPLE_ID" not in table.fields:
        raise CgatsError("neither SAMPLE_NAME nor SAMPLE_ID names the card's swatches")
    numbered = {str(n): name for n, name in enumerate(layout.names, start=1)}
    return tuple(numbered.get(word.strip(), word) for word in table.column("SAMPLE_ID"))


def _by_spectra(table: CgatsTable, names: tuple[str, ...]) -> _Readings:
    spectra = read_spectra(table, sample=names)
    xyz = reflectance_to_xyz(spectra.nm, spectra.reflectance, light="D65")
    white = reflectance_to_xyz(spectra.nm, np.ones_like(spectra.nm), light="D65")
    return _Readings(
        names=tuple(names[row] for row in spectra.rows),
        lines=tuple(table.lines[row] for row in spectra.rows),
        xyz=xyz * (WHITE_D65 / white),  # sRGB's white and the sum of D65 differ in the fourth digit
    )


def _by_values(table: CgatsTable, names: tuple[str, ...]) -> _Readings:
    under_d65 = _is_d65(table)
    fields = _colour_fields(table)
    if fields == _XYZ:
        xyz = _colours(table, _XYZ) / _FULL_SCALE_XYZ
        if xyz[:, 1].max() * _FULL_SCALE_XYZ < _WHITE_OF_UNIT_SCALE:
            raise CgatsError("XYZ must run from 0 to 100", line=table.lines[0])
    else:
        xyz = lab_to_xyz(_colours(table, _LAB))
        if not under_d65:  # CIELAB holds ratios to the white of its own illuminant
            xyz = xyz / WHITE_D65 * WHITE_D50
    return _Readings(names, table.lines, xyz if under_d65 else xyz @ d50_to_d65().T)


def _colours(table: CgatsTable, names: tuple[str, ...]) -> FloatArray:
    numbers = table.numbers(*names)
    for row, line in zip(numbers, table.lines, strict=True):
        if np.abs(row).max() > _LARGEST:
            raise CgatsError(f"{np.abs(row).max():g} is no colour value", line=line)
    if len(numbers) == 0:
        raise CgatsError("the table is empty")
    return numbers


def _is_d65(table: CgatsTable) -> bool:
    """Tell D65 from D50 by the header; instruments for print measure D50 (ISO 13655)."""
    said = " ".join(value for values in table.header.values() for value in values).upper()
    compact = said.replace(" ", "").replace("_", "")
    if "10DEG" in compact or "OBSERVERANGLE=10" in compact or "OBSERVER,10" in compact:
        raise CgatsError(
            "measured for the 10 degree observer", remedy="Export for the 2 degree observer."
        )
    if "D50" in compact and "D65" in compact:
        raise CgatsError("both D50 and D65 are named", remedy="Keep the illuminant of the values.")
    return "D65" in compact


def _header_number(table: CgatsTable, keyword: str, default: float) -> float:
    said = table.header.get(keyword, ())
    try:
        number = float(said[-1]) if said else default
    except ValueError:
        raise CgatsError(f"{keyword} is '{said[-1][:40]}', not a number") from None
    if not 0.0 < number < 100.0:
        raise CgatsError(f"{keyword} is {number:g}")
    return number


def _created(table: CgatsTable, path: Path) -> date:
    for said in table.header.get("CREATED", ()):
        try:
            return date.fromisoformat(said.strip()[:10])
        except ValueError:
            continue
    return date.fromtimestamp(path.stat().st_mtime)
