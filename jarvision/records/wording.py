"""Facts put into words: one template, told as files write them or as the page does.

A template is text with facts in braces, as of :meth:`str.format`, and these additions:

- ``[...]`` is left out where one of its facts is missing; ``{low|not known}`` says so instead.
- ``{area_cm2:.1f cm2}`` leaves the sign of the unit to the voice.
- ``{views:photo/photos}`` counts things.
- ``{day}`` is a date, ``{day:weekday}`` one with its weekday; ``{kind:capital}`` begins a sentence.
- ``{place}`` is made of ``angle_deg`` and ``height_mm``, and is told alike in every voice.
"""

from __future__ import annotations

import re
import string
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

Fact = float | str | date
IN_FRONT_DEG: Final = 10.0
"""Nearer to the middle of the wall than this is in front: no jar is set down straighter by hand."""

_OPTIONAL: Final = re.compile(r"\[([^\[\]]*)\]")


@dataclass(frozen=True)
class Voice:
    """How values are written."""

    area_unit: str
    day: Callable[[date], str]
    weekday: Callable[[date], str]


PLAIN: Final = Voice(
    area_unit="cm2",
    day=date.isoformat,
    weekday=lambda day: f"{day:%a} {day.isoformat()}",
)
"""For files and terminals: ASCII, ISO 8601."""


def tell_side(angle_deg: float) -> str:
    """Where round the jar: ``in front``, ``35 degrees to the right``, ``at the back``."""
    away = abs((angle_deg + 180.0) % 360.0 - 180.0)
    if away < IN_FRONT_DEG:
        return "in front"
    if away > 180.0 - IN_FRONT_DEG:
        return "at the back"
    right = angle_deg % 360.0 < 180.0
    return f"{away:.0f} degrees to the {'right' if right else 'left'}"


def tell_place(angle_deg: float, height_mm: float) -> str:
    """A place on the wall as one finds it by eye: ``14 degrees to the left, 40 mm up``."""
    return f"{tell_side(angle_deg)}, {height_mm:.0f} mm up"


def put_into_words(template: str, facts: Mapping[str, Fact], voice: Voice = PLAIN) -> str:
    """Fill a template with facts.

    Raises
    ------
    KeyError
        A fact is missing outside of square brackets.
    """
    teller = _Teller(voice)
    known: dict[str, Any] = dict(facts)
    if "angle_deg" in facts:
        known["place"] = (facts["angle_deg"], facts["height_mm"])
    parts = _OPTIONAL.split(template)  # every second one stood in brackets
    return "".join(
        teller.vformat(part, (), known) if not number % 2 else _if_known(teller, part, known)
        for number, part in enumerate(parts)
    )


def _if_known(teller: _Teller, part: str, facts: Mapping[str, Any]) -> str:
    try:
        return teller.vformat(part, (), facts)
    except KeyError:
        return ""


class _Teller(string.Formatter):
    """Formats facts in one voice."""

    def __init__(self, voice: Voice) -> None:
        self.voice = voice

    def get_value(self, key: int | str, args: Sequence[Any], kwargs: Mapping[str, Any]) -> Any:
        name, _, otherwise = str(key).partition("|")
        if name not in kwargs and otherwise:
            return otherwise
        return kwargs[name]

    def format_field(self, value: Any, format_spec: str) -> str:
        if isinstance(value, tuple):
            return tell_place(*value)
        if isinstance(value, date):
            return self.voice.weekday(value) if format_spec == "weekday" else self.voice.day(value)
        if isinstance(value, str):
            return value.capitalize() if format_spec == "capital" else value
        return self._number(value, format_spec)

    def _number(self, value: float, how: str) -> str:
        if how.endswith(" cm2"):
            return f"{value:{how.removesuffix(' cm2')}} {self.voice.area_unit}"
        if "/" in how:
            one, many = how.split("/")
            return f"{value:.0f} {one if value == 1 else many}"
        return format(value, how)
