"""Read the species profiles of the package (``profiles/*.toml``) and find one by any of its names.

A profile is a TOML file with the names of a species and one inline table per value:
``spawn_run_days = { value = [12, 21], unit = "days", source = "..." }``. A value without a source
says "common practice, no source"; one that was remembered says "from memory". :data:`UNITS`
names the values, all of which must be there, each in its own unit.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any, Literal, get_args

from jarvision.errors import UsageError

PinHabit = Literal["rarely", "sometimes", "often"]

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

NEVER_NORMAL = frozenset({"green", "black", "bare", "wet"})
"""Patch kinds that no profile may call normal: a slip in a text file must not hide a mould."""

MAY_BE_NORMAL = frozenset({"stain", "yellow", "pink"})


@dataclass(frozen=True)
class SpeciesProfile:
    """What a grower may expect of one species in a jar.

    Attributes
    ----------
    name
        Key of the profile: the file's name.
    spawn_run_days, spawn_run_c, fruiting_c
        Shortest and longest; lowest and highest.
    normal_kinds
        Patch kinds of colours that are normal for the species, of ``stain``, ``yellow``, ``pink``.
    ready_percent
        Coverage at which the jar counts as run through.
    consolidation_days
        Rest between ready and use.
    keeps_days
        How long the jar stays good after its rest, before it is overdue.
    pins_in_jar
        Whether it forms pins inside the jar.
    front_mm_per_day
        Slowest and fastest ordinary speed of its front on grain or straw.
    sources
        Name of the value to where it comes from.
    """

    name: str
    latin: str
    common: tuple[str, ...]
    spawn_run_days: tuple[float, float]
    spawn_run_c: tuple[float, float]
    fruiting_c: tuple[float, float]
    look: str
    normal_kinds: tuple[str, ...]
    ready_percent: float
    consolidation_days: int
    keeps_days: int
    pins_in_jar: PinHabit
    front_mm_per_day: tuple[float, float]
    sources: Mapping[str, str]


@cache
def load_profiles() -> Mapping[str, SpeciesProfile]:
    """Return all profiles of the package by name, in alphabetical order."""
    folder = resources.files("jarvision.species") / "profiles"
    files = sorted((f for f in folder.iterdir() if f.name.endswith(".toml")), key=lambda f: f.name)
    profiles = (parse_profile(f.name[: -len(".toml")], f.read_text("utf-8")) for f in files)
    return MappingProxyType({profile.name: profile for profile in profiles})


def find_profile(name: str) -> SpeciesProfile:
    """Return the profile for a common, Latin or file name, or :data:`DEFAULT_PROFILE`.

    Case, hyphens, spaces and the full stop of ``P. ostreatus`` do not matter; a strain written
    behind the name (``Pleurotus ostreatus 'Blue'``, ``oyster, strain 3``) is passed over. A name
    that only resembles another is not found: the wrong profile is worse than the cautious one.
    """
    return _match(name) or DEFAULT_PROFILE


def is_known(name: str) -> bool:
    """Say whether :func:`find_profile` finds a profile of the species' own."""
    return _match(name) is not None


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
    values = {key: _value(name, key, table[key]) for key in UNITS}
    sources = {key: str(table[key]["source"]) for key in UNITS}
    return SpeciesProfile(name=name, latin=latin, common=common, sources=sources, **values)


# --------------------------------------------------------------------------- values
def _value(name: str, key: str, cell: Any) -> Any:
    """Check one inline table and return its value, pairs as tuples."""
    if not isinstance(cell, dict) or not cell.get("source") or "value" not in cell:
        raise _bad(name, f"gives no value or no source for {key}")
    if cell.get("unit", "") != UNITS[key]:
        raise _bad(name, f"gives {key} in '{cell.get('unit', '')}', not in '{UNITS[key]}'")
    value = cell["value"]
    match key:
        case "spawn_run_days" | "spawn_run_c" | "fruiting_c" | "front_mm_per_day":
            if len(value) != 2 or not 0 < value[0] <= value[1]:
                raise _bad(name, f"wants [low, high] for {key}")
            return (float(value[0]), float(value[1]))
        case "normal_kinds":
            if not set(value) <= MAY_BE_NORMAL:
                raise _bad(name, f"may call only {', '.join(sorted(MAY_BE_NORMAL))} normal")
            return tuple(value)
        case "ready_percent":
            if not 50 <= value < 100:
                raise _bad(name, "wants ready_percent from 50 to below 100")
            return float(value)
        case "pins_in_jar":
            if value not in get_args(PinHabit):
                raise _bad(name, f"wants one of {', '.join(get_args(PinHabit))} for {key}")
            return value
        case "consolidation_days" | "keeps_days":
            if not isinstance(value, int) or value < 1:
                raise _bad(name, f"wants whole days from 1 for {key}")
            return value
    return str(value)


def _bad(name: str, what: str) -> UsageError:
    return UsageError(f"The species profile '{name}' {what}", "Correct its TOML file.")


# --------------------------------------------------------------------------- names
def _words(name: str) -> str:
    """Return a name as lower-case words: ``"P.  Ostreatus"`` becomes ``"p ostreatus"``."""
    return " ".join(re.findall(r"[^\W_]+", re.sub("['’]", "", name.casefold())))


@cache
def _index() -> Mapping[str, SpeciesProfile]:
    """Return every written form of every name, in words, to its profile."""
    index: dict[str, SpeciesProfile] = {}
    for profile in load_profiles().values():
        genus, _, epithet = profile.latin.partition(" ")
        latin = (profile.latin, f"{genus[0]} {epithet}")
        for form in (profile.name, *latin, *profile.common):
            index[_words(form)] = profile
    return index


def _match(name: str) -> SpeciesProfile | None:
    """Find the whole name, else its beginning before a comma, bracket or quotation mark."""
    head = re.split(r"[,;(\[\"'‘“]", name.strip(), maxsplit=1)[0]
    candidates = (_words(form).removesuffix(" mushroom") for form in (name, head))
    return next((_index()[c] for c in candidates if c in _index()), None)


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
