"""Read the species profiles of the package (``profiles/*.toml``) and find one by any of its names.

A profile is a TOML file with the names of a species and one inline table per value:
``spawn_run_days = { value = [12, 21], unit = "days", source = "..." }``. A value without a source
says "common practice, no source"; one that was remembered says "from memory". :data:`UNITS`
names the values, all of which must be there, each in its own unit.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from importlib import resources
from types import MappingProxyType
from typing import Any, get_args

from jarvision.base.errors import UsageError
from jarvision.records import PinHabit, SpeciesProfile

UNITS: Mapping[str, str] = MappingProxyType(
    {
        "spawn_run_days": "days",
        "spawn_run_c": "C",
        "fruiting_c": "C",
        "look": "",
        "normal_kinds": "",
        "ready_percent": "percent",
        "consolidation_days": "days",
        "keeps_days": "days",
        "pins_in_jar": "",
        "front_mm_per_day": "mm/day",
    }
)

MAY_BE_NORMAL = frozenset({"stain", "yellow", "pink"})
"""Patch kinds that a profile may call normal, and no other: a slip in a text file must not hide a
mould."""

_SPELT_OUT = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue"})

_LARGEST = 1000  # days, degrees or mm: no living culture needs more


@cache
def load_profiles() -> Mapping[str, SpeciesProfile]:
    """All profiles of the package by name, in alphabetical order."""
    folder = resources.files("jarvision.register.species") / "profiles"
    files = sorted((f for f in folder.iterdir() if f.name.endswith(".toml")), key=lambda f: f.name)
    profiles = (parse_profile(f.name[: -len(".toml")], f.read_text("utf-8")) for f in files)
    return MappingProxyType({profile.name: profile for profile in profiles})


def find_profile(name: str) -> SpeciesProfile:
    """The profile for a common, Latin or file name, or :data:`DEFAULT_PROFILE`.

    Case, hyphens, spaces and the full stop of ``P. ostreatus`` do not matter; a strain written
    behind the name (``Pleurotus ostreatus 'Blue'``, ``oyster, strain 3``) is passed over. A name
    that only resembles another is not found: the wrong profile is worse than the cautious one.
    """
    return package_book().find(name)


def is_known(name: str) -> bool:
    """Say whether :func:`find_profile` finds a profile of the species' own."""
    return package_book().knows(name)


@cache
def package_book() -> SpeciesBook:
    """The profiles of the package, to be asked by any name."""
    return SpeciesBook(load_profiles())


@dataclass(frozen=True)
class SpeciesBook:
    """Profiles by name of their file, and how to find one by any of its names."""

    profiles: Mapping[str, SpeciesProfile]

    def find(self, name: str) -> SpeciesProfile:
        """The profile, or :data:`DEFAULT_PROFILE`; see :func:`find_profile`."""
        return self._match(name) or DEFAULT_PROFILE

    def knows(self, name: str) -> bool:
        """Say whether there is a profile of the species' own."""
        return self._match(name) is not None

    def _match(self, name: str) -> SpeciesProfile | None:
        """Find the whole name, else its beginning before a comma, bracket or quotation mark."""
        head = re.split(r"[,;(\[\"\'‘“]", name.strip(), maxsplit=1)[0]
        words = (as_words(form).removesuffix(" mushroom") for form in (name, head))
        return next((self._index[w] for w in words if w in self._index), None)

    @cached_property
    def _index(self) -> Mapping[str, SpeciesProfile]:
        """Every written form of every name, in words, to its profile; later profiles win."""
        return {form: p for p in self.profiles.values() for form in written_forms(p)}


def parse_profile(name: str, text: str) -> SpeciesProfile:
    """Read one profile.

    Raises
    ------
    UsageError
        When the text is not TOML, or a value is missing, unknown, in another unit, without a
        source, out of order, or calls a mould's colour normal.
    """
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _bad(name, f"is not TOML ({error})") from error
    try:
        latin, common = str(table.pop("latin")), tuple(str(c) for c in table.pop("common"))
    except KeyError as error:
        raise _bad(name, f"has no {error}") from error
    if table.keys() != UNITS.keys():
        odd = ", ".join(sorted(table.keys() ^ UNITS.keys()))
        raise _bad(name, f"lacks or does not know: {odd}")
    values = {key: _sourced_value(name, key, table[key]) for key in UNITS}
    sources = {key: str(table[key]["source"]) for key in UNITS}
    return SpeciesProfile(name=name, latin=latin, common=common, sources=sources, **values)


# --------------------------------------------------------------------------- values
def _sourced_value(name: str, key: str, cell: Any) -> Any:
    """Check one inline table and return its value, pairs as tuples."""
    if not isinstance(cell, dict) or not cell.get("source") or "value" not in cell:
        raise _bad(name, f"gives no value or no source for {key}")
    if cell.get("unit", "") != UNITS[key]:
        raise _bad(name, f"gives {key} in '{cell.get('unit', '')}', not in '{UNITS[key]}'")
    try:
        return checked_value(key, cell["value"])
    except ValueError as error:
        raise _bad(name, str(error)) from None


def checked_value(key: str, value: Any) -> Any:  # noqa: C901 - one case for each key
    """A value of a profile as the profile holds it.

    Raises
    ------
    ValueError
        Says what is wanted, to stand behind the profile's name: ``wants [low, high] for ...``.
    """
    match key:
        case "spawn_run_days" | "spawn_run_c" | "fruiting_c" | "front_mm_per_day":
            numbers = isinstance(value, list) and all(_is_number(v) for v in value)
            if not numbers or len(value) != 2 or not 0 < value[0] <= value[1] < _LARGEST:
                raise ValueError(f"wants [low, high] for {key}, in {UNITS[key]}")
            return (float(value[0]), float(value[1]))
        case "normal_kinds":
            if not isinstance(value, list) or not {*map(str, value)} <= MAY_BE_NORMAL:
                raise ValueError(f"may call only {', '.join(sorted(MAY_BE_NORMAL))} normal")
            return tuple(value)
        case "ready_percent":
            if not _is_number(value) or not 50 <= value < 100:
                raise ValueError("wants ready_percent from 50 to below 100")
            return float(value)
        case "pins_in_jar":
            if value not in get_args(PinHabit):
                raise ValueError(f"wants one of {', '.join(get_args(PinHabit))} for {key}")
            return value
        case "consolidation_days" | "keeps_days":
            if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value < _LARGEST:
                raise ValueError(f"wants whole days from 1 for {key}")
            return value
    return str(value)


def _bad(name: str, what: str) -> UsageError:
    return UsageError(f"The species profile '{name}' {what}", "Correct its TOML file.")


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


# --------------------------------------------------------------------------- names
def as_words(name: str) -> str:
    """A name as lower-case words: ``"P.  Ostreatus"`` becomes ``"p ostreatus"``.

    Umlauts are spelt as on keyboards without them: ``ä`` becomes ``ae``, ``ß`` becomes ``ss``.
    """
    plain = unicodedata.normalize("NFC", name).casefold().translate(_SPELT_OUT)
    return " ".join(re.findall(r"[^\W_]+", re.sub("['’]", "", plain)))


def written_forms(profile: SpeciesProfile) -> frozenset[str]:
    """Every name of a species, in words: of its file, Latin in full and short, common ones."""
    genus, _, epithet = profile.latin.partition(" ")
    latin = (profile.latin, f"{genus[0]} {epithet}") if genus and epithet else ()
    words = (as_words(form) for form in (profile.name, *latin, *profile.common))
    return frozenset(filter(None, words))  # an empty name would be that of every other jar


DEFAULT_PROFILE = SpeciesProfile(
    name="default",
    latin="",
    common=(),
    spawn_run_days=(10.0, 30.0),
    spawn_run_c=(20.0, 24.0),
    fruiting_c=(10.0, 21.0),
    look="unknown species: no colour but white and cream is taken for normal",
    normal_kinds=(),
    ready_percent=97.0,
    consolidation_days=5,
    keeps_days=7,
    pins_in_jar="often",
    front_mm_per_day=(1.0, 8.0),
    sources=dict.fromkeys(UNITS, "cautious choice for a species without a profile, no source"),
)
"""For unknown species: the latest start, the earliest end, and no colour called normal."""
