"""Species profiles of the grower's own: the folder ``species`` beside the photos.

One TOML file per species or strain, named as the register calls it. A value is written plainly,
``ready_percent = 92``, in the unit of :data:`~jarvision.register.species.profiles.UNITS`; what is
not there comes from the species named by ``like``, or from the cautious default::

    like = "oyster"
    common = ["blue strain"]
    ready_percent = 92
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path
from types import MappingProxyType
from typing import Any

from jarvision.base.errors import SettingsError
from jarvision.records import SpeciesProfile
from jarvision.register.species.profiles import (
    DEFAULT_PROFILE,
    UNITS,
    SpeciesBook,
    as_words,
    checked_value,
    load_profiles,
    package_book,
    written_forms,
)

SPECIES_FOLDER = "species"
_MAX_BYTES = 1_000_000
OWN_SOURCE = "the grower's own profile"
_NAMES = ("like", "latin", "common")


def load_species(folder: Path) -> SpeciesBook:
    """The package's profiles together with those in ``folder/species``.

    A profile of the grower's own goes before one of the package under every name that both have.

    Raises
    ------
    SettingsError
        A file there is wrong, or two of them claim one name: it is told rather than passed over,
        or a jar would be judged by a profile that its grower did not mean.
    """
    place = folder / SPECIES_FOLDER
    if not place.is_dir():
        return package_book()
    files = sorted(path for path in place.iterdir() if path.suffix.lower() == ".toml")
    own: dict[str, SpeciesProfile] = {}
    owners: dict[str, Path] = {}
    for path in files:
        profile = read_own_profile(path)
        for form in written_forms(profile):
            if form in owners:
                raise SettingsError(
                    f"species/{path.name} and species/{owners[form].name} both mean '{form}'",
                    "Take that name out of one of the two.",
                )
            owners[form] = path
        own[profile.name] = profile
    packaged = {name: p for name, p in load_profiles().items() if name not in own}
    return SpeciesBook(MappingProxyType({**packaged, **own}))


def read_own_profile(path: Path) -> SpeciesProfile:
    """Read one profile of the grower's own.

    Raises
    ------
    SettingsError
        Not TOML, an unknown name, a wrong value, or ``like`` a species without a profile; names the
        file and, where it can, the line.
    """
    shown = f"species/{path.name}"
    try:
        text = path.read_bytes()[:_MAX_BYTES].decode("utf-8-sig")
        table = tomllib.loads(text)
    except OSError as error:
        raise SettingsError(f"{shown} cannot be read ({error.strerror})", "Close it.") from error
    except (ValueError, RecursionError) as error:  # of TOML, of UTF-8, of endless numbers
        raise SettingsError(
            f"{shown} is not TOML ({error})", "Write lines such as: ready_percent = 92."
        ) from error
    try:
        return _profile(path.stem, table)
    except _WrongValueError as wrong:
        line = _line_of(wrong.key, text)
        place = shown if line is None else f"{shown}, line {line}"
        raise SettingsError(f"{place}: {wrong}", wrong.remedy) from None


class _WrongValueError(Exception):
    def __init__(self, key: str, what: str, remedy: str = "Correct this line.") -> None:
        super().__init__(what)
        self.key, self.remedy = key, remedy


def _profile(name: str, table: Mapping[str, Any]) -> SpeciesProfile:
    known = (*_NAMES, *UNITS)
    for key in table:
        if key not in known:
            near = get_close_matches(key, known, n=1)
            hint = f" (the nearest is '{near[0]}')" if near else ""
            what = f"a profile has no value '{key}'{hint}"
            raise _WrongValueError(key, what, f"It may hold: {', '.join(known)}.")
    base = _base(name, table.get("like"))
    values, sources = {}, dict(base.sources)
    for key in (key for key in UNITS if key in table):
        values[key], sources[key] = _own_value(key, table[key])
    return replace(
        base,
        name=name,
        latin=_text("latin", table.get("latin", base.latin if base.name == name else "")),
        common=_texts("common", table.get("common", [*base.common] if base.name == name else [])),
        sources=MappingProxyType(sources),
        **values,
    )


def _base(name: str, like: Any) -> SpeciesProfile:
    """The profile that fills the gaps: the one named by ``like``, the package's own, or none."""
    if like is None:
        return load_profiles().get(name, DEFAULT_PROFILE)
    wanted = _text("like", like)
    if not package_book().knows(wanted):
        near = get_close_matches(as_words(wanted).replace(" ", "-"), load_profiles(), n=1)
        hint = f" (the nearest is '{near[0]}')" if near else ""
        raise _WrongValueError(
            "like",
            f"there is no profile of '{wanted}'{hint}",
            f"Known are: {', '.join(load_profiles())}.",
        )
    return package_book().find(wanted)


def _own_value(key: str, cell: Any) -> tuple[Any, str]:
    """Value and source; a table with ``value``, ``unit`` and ``source`` as in the package, too."""
    plain = not isinstance(cell, dict)
    value = cell if plain else cell.get("value")
    unit = UNITS[key] if plain else cell.get("unit", UNITS[key])
    if unit != UNITS[key]:
        raise _WrongValueError(key, f"{key} is in '{UNITS[key]}', not in '{unit}'")
    try:
        checked = checked_value(key, value)
    except ValueError as error:
        raise _WrongValueError(key, f"the profile {error}") from None
    return checked, OWN_SOURCE if plain else str(cell.get("source", OWN_SOURCE))


def _text(key: str, value: Any) -> str:
    if not isinstance(value, str):
        raise _WrongValueError(key, f"{key} must be words in quotation marks")
    return value


def _texts(key: str, value: Any) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise _WrongValueError(key, f'{key} must be a list of names: ["blue strain"]')
    return tuple(_text(key, item) for item in value)


def _line_of(key: str, text: str) -> int | None:
    pattern = re.compile(rf"\s*[\"']?{re.escape(key)}[\"']?\s*[=.]|\s*\[\s*{re.escape(key)}\s*\]")
    return next((n for n, line in enumerate(text.split("\n"), 1) if pattern.match(line)), None)
