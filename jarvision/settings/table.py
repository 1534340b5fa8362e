"""What every setting is: its section, name, unit, range and reason, read off the dataclasses.

The dataclasses of the modules beside this one are the one source. The unit and the usual range
follow from the name (``_mm``, ``_percent``, ...); a range that the name does not tell stands beside
the field as :class:`~jarvision.settings.limits.Limits`; the reason is the text below the field. A
text below several fields is for all of them.
"""

from __future__ import annotations

import ast
import inspect
import textwrap
import types
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cache
from typing import Any, get_args, get_type_hints

from jarvision.settings.groups import Settings
from jarvision.settings.limits import Limits

_WHOLE_NAME_UNITS = {"mm_per_day": "mm/day", "px_per_mm": "px/mm"}
_UNITS = {
    "mm": "mm",
    "mm2": "mm2",
    "cm2": "cm2",
    "deg": "degrees",
    "percent": "percent",
    "points": "points",
    "days": "days",
    "day": "days",
    "px": "pixels",
    "cells": "cells",
    "de": "colour difference",
    "de00": "CIEDE2000",
}
_HIGHEST = {
    "percent": 100.0,
    "points": 100.0,
    "degrees": 180.0,
    "mm": 1000.0,
    "mm2": 10_000.0,
    "cm2": 1000.0,
    "mm/day": 1000.0,
    "px/mm": 100.0,
    "pixels": 100.0,
    "days": 3650.0,
    "colour difference": 200.0,
    "CIEDE2000": 200.0,
}
_HIGHEST_OF_ALL = 1000.0
"""Far above whatever could be meant, and low enough that no photo takes for ever."""

_SHARES = frozenset(
    {"share", "clipped", "opacity", "confidence", "interval", "linear", "agreement"}
)

ORDERED = (
    ("verdict", "off_colour_check_cm2", "off_colour_no_go_cm2"),
    ("verdict", "off_colour_no_go_cm2", "off_colour_alone_cm2"),
    ("verdict", "wet_check_cm2", "wet_no_go_cm2"),
    ("verdict", "bare_check_cm2", "dead_patch_cm2"),
    ("growth", "stall_days", "stall_longest_days"),
    ("plan", "pasteurise_low_c", "pasteurise_high_c"),
    ("jar", "radius_min_mm", "radius_max_mm"),
    ("jar", "upright_top_mm", "upright_bottom_mm"),
)
"""Pairs of which the first may not be above the second: section, lower, higher."""


@dataclass(frozen=True)
class SettingField:
    """One setting.

    Attributes
    ----------
    section, name
        Its place in a settings file.
    whole
        True when only whole numbers will do.
    default
        A number, or None for not set.
    unit
        In words; empty for a pure number.
    limits
        What it may be.
    reason
        Why the default is so, one paragraph; empty where the source code is not installed.
    """

    section: str
    name: str
    whole: bool
    default: float | None
    unit: str
    limits: Limits
    reason: str

    @property
    def allowed(self) -> str:
        """What it may be, in words: ``a whole number, 1 or more``."""
        return f"a {'whole ' if self.whole else ''}number, {self.limits}"


@dataclass(frozen=True)
class Section:
    """A group of settings: its name, what it is for, and its fields by name."""

    name: str
    about: str
    fields: Mapping[str, SettingField]


@cache
def sections() -> Mapping[str, Section]:
    """Every section of a settings file by name, in the order of the work."""
    return types.MappingProxyType(
        {name: _section(name, type(group)) for name, group in groups(Settings())}
    )


def groups(settings: Settings) -> Iterator[tuple[str, Any]]:
    """Yield section name and group of every group of thresholds, photo to verdict."""
    for owner in (settings.photo, settings):
        for item in fields(owner):
            group = getattr(owner, item.name)
            if not any(is_dataclass(getattr(group, inner.name)) for inner in fields(group)):
                yield item.name, group


def _section(name: str, kind: type[Any]) -> Section:
    hints = get_type_hints(kind, include_extras=True)
    reasons = _reasons(kind)
    defaults = kind()
    found = {
        item.name: _field(
            name, item.name, hints[item.name], getattr(defaults, item.name), reasons.get(item.name)
        )
        for item in fields(kind)
    }
    return Section(name, inspect.cleandoc(kind.__doc__ or ""), types.MappingProxyType(found))


def _field(section: str, name: str, hint: Any, default: Any, reason: str | None) -> SettingField:
    stated = [extra for extra in getattr(hint, "__metadata__", ()) if isinstance(extra, Limits)]
    plain = get_args(hint)[0] if stated else hint
    kinds = get_args(plain) or (plain,)
    unit = stated[0].unit if stated and stated[0].unit is not None else _unit(name)
    limits = stated[0] if stated else _usual_limits(name, unit, whole=int in kinds)
    if limits.high is None:
        limits = replace(limits, high=_HIGHEST.get(unit, _HIGHEST_OF_ALL))
    return SettingField(
        section=section,
        name=name,
        whole=int in kinds,
        default=default,
        unit=unit,
        limits=limits,
        reason=reason or "",
    )


def _unit(name: str) -> str:
    for part, unit in _WHOLE_NAME_UNITS.items():
        if part in name:
            return unit
    found = [_UNITS[word] for word in name.split("_") if word in _UNITS]
    return found[-1] if found else ""


def _usual_limits(name: str, unit: str, *, whole: bool) -> Limits:
    """Above 0, and as high as the unit goes: percent end at 100, shares at 1."""
    share = not unit and not _SHARES.isdisjoint(name.split("_"))
    highest = 1.0 if share else _HIGHEST.get(unit)
    return Limits(1.0, highest) if whole else Limits(0.0, highest, above=True)


def _reasons(kind: type[Any]) -> dict[str, str]:
    """Field name to the text below it in the source of its class."""
    try:
        source = inspect.getsource(kind)
    except (OSError, TypeError):  # installed without its source
        return {}
    (tree,) = ast.parse(textwrap.dedent(source)).body
    assert isinstance(tree, ast.ClassDef)
    found: dict[str, str] = {}
    waiting: list[str] = []
    for node in tree.body:
        if isinstance(node, ast.AnnAssign):
            waiting.append(ast.unparse(node.target))
        elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            text = " ".join(str(node.value.value).split())
            found |= dict.fromkeys(waiting, text)
            waiting.clear()
    return found
