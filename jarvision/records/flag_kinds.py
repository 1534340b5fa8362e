"""The forms of flags and of the words of findings; flags.py holds the tables of both."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["note", "look", "act"]


@dataclass(frozen=True)
class FlagKind:
    """A thing about a jar that a person should know.

    ``severity``: ``note`` (good to know), ``look`` (a person must look), ``act`` (do it today).
    """

    word: str
    severity: Severity
    meaning: str
    remedy: str


@dataclass(frozen=True)
class Wording:
    """How a finding is told, as templates of :mod:`jarvision.records.wording`.

    ``sentence`` has all numbers and ends in a full stop; ``short`` has those that matter most and
    fits two lines on a narrow phone, 64 letters. A note needs no ``short``. ``flag`` is a word of
    :data:`jarvision.records.flags.FLAGS`, empty for what needs no flag.
    """

    sentence: str
    short: str = ""
    flag: str = ""
